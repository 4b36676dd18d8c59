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

/// Puts an address at a place in the order of its person's.
pub async fn set_place(
    conn: &mut Conn,
    practice: PracticeId,
    staff: StaffId,
    id: StaffAddressId,
    place: i64,
) -> Stored<()> {
    sqlx::query("UPDATE staff_address SET place = $4 WHERE practice_id = $1 AND staff_id = $2 AND id = $3")
        .bind(practice.to_string())
        .bind(staff.to_string())
        .bind(id.to_string())
        .bind(place)
        .execute(conn)
        .await?;
    Ok(())
}

/// Every address of the practice's staff, switched off or not.
pub async fn of_practice(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<StaffAddress>> {
    sqlx::query("SELECT * FROM staff_address WHERE practice_id = $1 ORDER BY staff_id, place, since_ms, id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(staff_address)
        .collect()
}

/// Takes a place away from whoever of the practice has it: it is no more. Returns whose it was.
pub async fn remove_gone(
    conn: &mut Conn,
    practice: PracticeId,
    channel: Reached,
    address: &str,
) -> Stored<Vec<StaffId>> {
    const SQL: &str = "DELETE FROM staff_address WHERE practice_id = $1 AND channel = $2 AND address = $3 RETURNING staff_id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(channel.code())
        .bind(address)
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("staff_id"))
        .collect()
}

/// The shortest number that is compared by its end: a local number without its area.
const LOCAL_DIGITS: usize = 7;

/// Whether two places are one. Numbers are typed in many ways, with and without country and area: they are the same when
/// one ends with the digits of the other, which rather takes two for one than misses a STOP.
pub fn is_same(channel: Reached, one: &str, other: &str) -> bool {
    let digits = |number: &str| number.chars().filter(char::is_ascii_digit).collect::<String>();
    match channel {
        Reached::Sms | Reached::Voice => {
            let (one, other) = (digits(one), digits(other));
            one.len().min(other.len()) >= LOCAL_DIGITS && (one.ends_with(&other) || other.ends_with(&one))
        }
        Reached::Email | Reached::Push => one == other,
    }
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
    Ok(opted_out_since(conn, practice, channel, address).await?.is_some())
}

/// Since when nothing more may be sent to this address; `None`: it may.
pub async fn opted_out_since(
    conn: &mut Conn,
    practice: PracticeId,
    channel: Reached,
    address: &str,
) -> Stored<Option<Timestamp>> {
    for (kept, since) in opt_outs(conn, practice, channel).await? {
        if is_same(channel, &kept, address) {
            return Ok(Some(since));
        }
    }
    Ok(None)
}

/// The address may be written to again. False: it always might.
pub async fn opt_in(conn: &mut Conn, practice: PracticeId, channel: Reached, address: &str) -> Stored<bool> {
    const SQL: &str = "DELETE FROM opt_out WHERE practice_id = $1 AND channel = $2 AND address = $3";
    let mut any = false;
    for (kept, _) in opt_outs(conn, practice, channel).await? {
        if is_same(channel, &kept, address) {
            sqlx::query(SQL)
                .bind(practice.to_string())
                .bind(channel.code())
                .bind(&kept)
                .execute(&mut *conn)
                .await?;
            any = true;
        }
    }
    Ok(any)
}

async fn opt_outs(
    conn: &mut Conn,
    practice: PracticeId,
    channel: Reached,
) -> Stored<Vec<(String, Timestamp)>> {
    const SQL: &str = "SELECT address, since_ms FROM opt_out WHERE practice_id = $1 AND channel = $2 ORDER BY since_ms, address";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(channel.code())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| Ok((row.text("address")?, row.time("since_ms")?)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_the_same_however_much_of_it_was_typed() {
        let sms = |one, other| is_same(Reached::Sms, one, other);
        assert!(sms("202-555-0142", "+12025550142"));
        assert!(sms("555-0142", "+1 (202) 555-0142"));
        assert!(!sms("202-555-0142", "+12025550143"));
        // Six digits and fewer say nothing about whose number it is.
        assert!(!sms("55-0142", "+12025550142"));
        assert!(!sms("", "+12025550142"));
        assert!(!is_same(Reached::Email, "a@b.example", "ba@b.example"));
    }
}
