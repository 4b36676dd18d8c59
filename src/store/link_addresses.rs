//! Browsers on which whoever holds a patient link wants to be told of an answer.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::LinkAddressId;
use crate::ids::LinkId;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

/// One browser.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinkAddress {
    pub id: LinkAddressId,
    pub practice: PracticeId,
    pub link: LinkId,
    /// The phone's session it was asked for in.
    pub phone_sha256: String,
    /// A push subscription as JSON.
    pub address: String,
    pub since: Timestamp,
}

fn link_address(row: &AnyRow) -> Stored<LinkAddress> {
    Ok(LinkAddress {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        link: row.parsed("link_id")?,
        phone_sha256: row.text("phone_sha256")?,
        address: row.text("address")?,
        since: row.time("since_ms")?,
    })
}

/// Keeps a browser; one that was kept under an earlier session of the same phone counts for this one from now on.
pub async fn keep(conn: &mut Conn, kept: &LinkAddress) -> Stored<()> {
    const SQL: &str = "INSERT INTO link_address (id, practice_id, link_id, phone_sha256, address, since_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6) \
                       ON CONFLICT (link_id, address) DO UPDATE SET phone_sha256 = $4";
    sqlx::query(SQL)
        .bind(kept.id.to_string())
        .bind(kept.practice.to_string())
        .bind(kept.link.to_string())
        .bind(&kept.phone_sha256)
        .bind(&kept.address)
        .bind(kept.since.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// The browsers of a link whose phone is still in, first kept first.
pub async fn of_link(
    conn: &mut Conn,
    practice: PracticeId,
    link: LinkId,
    now: Timestamp,
) -> Stored<Vec<LinkAddress>> {
    const SQL: &str = "SELECT link_address.* FROM link_address JOIN patient_session \
                       ON patient_session.token_sha256 = link_address.phone_sha256 \
                       AND patient_session.link_id = link_address.link_id \
                       WHERE link_address.practice_id = $1 AND link_address.link_id = $2 \
                       AND patient_session.expires_ms > $3 ORDER BY link_address.since_ms, link_address.id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(link.to_string())
        .bind(now.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(link_address)
        .collect()
}

/// Whether this phone is told.
pub async fn is_told(conn: &mut Conn, practice: PracticeId, phone_sha256: &str) -> Stored<bool> {
    const SQL: &str = "SELECT id FROM link_address WHERE practice_id = $1 AND phone_sha256 = $2 LIMIT 1";
    let found = sqlx::query(SQL).bind(practice.to_string()).bind(phone_sha256).fetch_optional(conn).await?;
    Ok(found.is_some())
}

/// This phone is told no more. False: it was not.
pub async fn forget_phone(conn: &mut Conn, phone_sha256: &str) -> Stored<bool> {
    let forgotten = sqlx::query("DELETE FROM link_address WHERE phone_sha256 = $1")
        .bind(phone_sha256)
        .execute(conn)
        .await?;
    Ok(forgotten.rows_affected() > 0)
}

/// The browser is no more. Returns whose links were told there.
pub async fn remove_gone(conn: &mut Conn, practice: PracticeId, address: &str) -> Stored<Vec<LinkId>> {
    const SQL: &str = "DELETE FROM link_address WHERE practice_id = $1 AND address = $2 RETURNING link_id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(address)
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("link_id"))
        .collect()
}
