//! Where people are reached, and where they do not want to be written to any more.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::StaffAddressId;
use crate::ids::StaffId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

coded! {
    /// By what a person is reached.
    pub enum Reached { Sms = "sms", Voice = "voice", Email = "email", Push = "push" }
}

/// One place where a member of staff is reached.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StaffAddress {
    pub id: StaffAddressId,
    pub practice: PracticeId,
    pub staff: StaffId,
    pub channel: Reached,
    /// A number, a mail address, or a push subscription as JSON.
    pub address: String,
    /// From 1; tried in this order.
    pub place: i64,
    pub since: Timestamp,
}

fn staff_address(row: &AnyRow) -> Stored<StaffAddress> {
    Ok(StaffAddress {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        staff: row.parsed("staff_id")?,
        channel: row.parsed("channel")?,
        address: row.text("address")?,
        place: row.whole("place")?,
        since: row.time("since_ms")?,
    })
}

/// Keeps an address. False: the person has it already.
pub async fn insert(conn: &mut Conn, address: &StaffAddress) -> Stored<bool> {
    const SQL: &str = "INSERT INTO staff_address (id, practice_id, staff_id, channel, address, place, since_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT (staff_id, channel, address) DO NOTHING";
    let kept = sqlx::query(SQL)
        .bind(address.id.to_string())
        .bind(address.practice.to_string())
        .bind(address.staff.to_string())
        .bind(address.channel.code())
        .bind(&address.address)
        .bind(address.place)
        .bind(address.since.as_millisecond())
        .execute(conn)
        .await?;
    Ok(kept.rows_affected() == 1)
}

/// A person's addresses, in the order they are tried.
pub async fn of_staff(conn: &mut Conn, practice: PracticeId, staff: StaffId) -> Stored<Vec<StaffAddress>> {
    sqlx::query(
        "SELECT * FROM staff_address WHERE practice_id = $1 AND staff_id = $2 ORDER BY place, since_ms, id",
    )
    .bind(practice.to_string())
    .bind(staff.to_string())
    .fetch_all(conn)
    .await?
    .iter()
    .map(staff_address)
    .collect()
}

/// Takes an address away. False: it is not this person's.
pub async fn remove(
    conn: &mut Conn,
    practice: PracticeId,
    staff: StaffId,
    id: StaffAddressId,
) -> Stored<bool> {
    let removed =
        sqlx::query("DELETE FROM staff_address WHERE practice_id = $1 AND staff_id = $2 AND id = $3")
            .bind(practice.to_string())
            .bind(staff.to_string())
            .bind(id.to_string())
            .execute(conn)
            .await?;
    Ok(removed.rows_affected() == 1)
}

/// Nothing more is sent to this address.
pub async fn opt_out(
    conn: &mut Conn,
    practice: PracticeId,
    channel: Reached,
    address: &str,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "INSERT INTO opt_out (practice_id, channel, address, since_ms) VALUES ($1, $2, $3, $4) \
                       ON CONFLICT (practice_id, channel, address) DO NOTHING";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(channel.code())
        .bind(address)
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Whether nothing more may be sent to this address.
pub async fn opted_out(
    conn: &mut Conn,
    practice: PracticeId,
    channel: Reached,
    address: &str,
) -> Stored<bool> {
    const SQL: &str = "SELECT since_ms FROM opt_out WHERE practice_id = $1 AND channel = $2 AND address = $3";
    let found = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(channel.code())
        .bind(address)
        .fetch_optional(conn)
        .await?;
    Ok(found.is_some())
}
