//! Texts that could not be opened when they were last tried, and what is mixed into PINs, when it could not. A place is the
//! name of a column of texts, or [`PIN_PEPPER`].

use jiff::Timestamp;

use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

/// What is mixed into the PINs of a practice; its row is the practice.
pub const PIN_PEPPER: &str = "practice.pin_pepper";

/// Notes that a text cannot be opened; false: it was known.
pub async fn note(
    conn: &mut Conn,
    practice: PracticeId,
    place: &str,
    row_id: &str,
    at: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "INSERT INTO unreadable_text (practice_id, place, row_id, since_ms) VALUES ($1, $2, $3, $4) \
                       ON CONFLICT (practice_id, place, row_id) DO NOTHING";
    let noted = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(place)
        .bind(row_id)
        .bind(at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(noted.rows_affected() == 1)
}

/// The rows of a place whose texts could not be opened.
pub async fn rows(conn: &mut Conn, practice: PracticeId, place: &str) -> Stored<Vec<String>> {
    sqlx::query("SELECT row_id FROM unreadable_text WHERE practice_id = $1 AND place = $2 ORDER BY row_id")
        .bind(practice.to_string())
        .bind(place)
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.text("row_id"))
        .collect()
}

/// It can be opened again, or is there no more.
pub async fn forget(conn: &mut Conn, practice: PracticeId, place: &str, row_id: &str) -> Stored<()> {
    sqlx::query("DELETE FROM unreadable_text WHERE practice_id = $1 AND place = $2 AND row_id = $3")
        .bind(practice.to_string())
        .bind(place)
        .bind(row_id)
        .execute(conn)
        .await?;
    Ok(())
}

/// How many texts of the practice could not be opened.
pub async fn count(conn: &mut Conn, practice: PracticeId) -> Stored<i64> {
    const SQL: &str = "SELECT COUNT(*) AS many FROM unreadable_text WHERE practice_id = $1";
    sqlx::query(SQL).bind(practice.to_string()).fetch_one(conn).await?.whole("many")
}
