//! The canary's books: the practice that is nobody's, the check under way, and clearing away what it left.

use jiff::Timestamp;

use crate::ids::PracticeId;
use crate::ids::WoundCheckId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

/// How the canary stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Flight {
    /// When the last one set out.
    pub begun: Timestamp,
    /// The check under way; `None`: none is.
    pub check: Option<WoundCheckId>,
    /// When the last one came through; `None`: none ever did.
    pub came_through: Option<Timestamp>,
}

/// The canary's practice; `None`: there is none yet.
pub async fn practice(conn: &mut Conn) -> Stored<Option<PracticeId>> {
    sqlx::query("SELECT id FROM practice WHERE purpose = 'canary'")
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(|row| row.parsed("id"))
        .transpose()
}

/// Says of a practice just made that it is the canary's. A second one is refused as a duplicate.
pub async fn mark(conn: &mut Conn, practice: PracticeId) -> Stored<()> {
    sqlx::query("UPDATE practice SET purpose = 'canary' WHERE id = $1")
        .bind(practice.to_string())
        .execute(conn)
        .await?;
    Ok(())
}

/// `None`: no canary ever set out.
pub async fn flight(conn: &mut Conn, practice: PracticeId) -> Stored<Option<Flight>> {
    let row = sqlx::query("SELECT * FROM canary WHERE practice_id = $1")
        .bind(practice.to_string())
        .fetch_optional(conn)
        .await?;
    row.map(|row| {
        Ok(Flight {
            begun: row.time("begun_ms")?,
            check: row.parsed_maybe("check_id")?,
            came_through: row.time_maybe("came_through_ms")?,
        })
    })
    .transpose()
}

pub async fn keep(conn: &mut Conn, practice: PracticeId, flight: &Flight) -> Stored<()> {
    const SQL: &str = "INSERT INTO canary (practice_id, begun_ms, check_id, came_through_ms) \
                       VALUES ($1, $2, $3, $4) ON CONFLICT (practice_id) DO UPDATE SET \
                       begun_ms = excluded.begun_ms, check_id = excluded.check_id, \
                       came_through_ms = excluded.came_through_ms";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(flight.begun.as_millisecond())
        .bind(flight.check.map(|check| check.to_string()))
        .bind(flight.came_through.map(Timestamp::as_millisecond))
        .execute(conn)
        .await?;
    Ok(())
}

/// What a flight leaves behind, what points at others first. `job`: all but what comes again by itself.
const LEFT: [&str; 13] = [
    "DELETE FROM delivery WHERE practice_id = $1",
    "DELETE FROM notice WHERE practice_id = $1",
    "DELETE FROM ladder_rung WHERE practice_id = $1",
    "DELETE FROM ladder WHERE practice_id = $1",
    "DELETE FROM alarm WHERE practice_id = $1",
    "DELETE FROM job WHERE practice_id = $1 AND kind NOT IN ('canary', 'watch', 'sweep', 'check_books')",
    "DELETE FROM message WHERE practice_id = $1",
    "DELETE FROM review WHERE practice_id = $1",
    "DELETE FROM answers_version WHERE practice_id = $1",
    "DELETE FROM assessment WHERE practice_id = $1",
    "DELETE FROM wound_check WHERE practice_id = $1",
    "DELETE FROM audit WHERE practice_id = $1",
    "UPDATE practice SET audit_sequence = 0, audit_head = '' WHERE id = $1 AND purpose = 'canary'",
];

/// Clears away whatever the canary left; does nothing to any other practice.
pub async fn clear(conn: &mut Conn, of: PracticeId) -> Stored<()> {
    if practice(conn).await? != Some(of) {
        return Ok(());
    }
    for sql in LEFT {
        sqlx::query(sql).bind(of.to_string()).execute(&mut *conn).await?;
    }
    Ok(())
}
