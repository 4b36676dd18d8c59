//! How many checks there are, without reading what they say.

use jiff::Timestamp;
use sqlx::Row;

use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::triage::Urgency;

/// How many checks the practice ever received.
pub async fn received(conn: &mut Conn, practice: PracticeId) -> Stored<i64> {
    const SQL: &str = "SELECT COUNT(*) AS received FROM wound_check WHERE practice_id = $1";
    Ok(sqlx::query(SQL).bind(practice.to_string()).fetch_one(conn).await?.try_get("received")?)
}

/// How many checks wait, whatever the filter.
pub async fn waiting(conn: &mut Conn, practice: PracticeId) -> Stored<i64> {
    const SQL: &str = "SELECT COUNT(*) AS waiting FROM wound_check WHERE practice_id = $1 \
                       AND state IN ('queued', 'in_review')";
    Ok(sqlx::query(SQL).bind(practice.to_string()).fetch_one(conn).await?.try_get("waiting")?)
}

/// How many checks wait in each effective class at `now`; a class nobody waits in is absent.
pub async fn by_urgency(
    conn: &mut Conn,
    practice: PracticeId,
    now: Timestamp,
) -> Stored<Vec<(Urgency, i64)>> {
    const SQL: &str = "SELECT effective, COUNT(*) AS waiting FROM (SELECT CASE WHEN due_ms < $2 AND urgency > 0 \
                       THEN urgency - 1 ELSE urgency END AS effective FROM wound_check WHERE practice_id = $1 \
                       AND state IN ('queued', 'in_review')) counted GROUP BY effective ORDER BY effective";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(now.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| Ok((row.urgency("effective")?, row.whole("waiting")?)))
        .collect()
}
