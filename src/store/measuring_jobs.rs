//! Photos that wait to be measured: queued in the transaction that keeps them, worked off by one lane at a time.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PhotoId;
use crate::ids::PracticeId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

coded! {
    /// Why a photo is measured.
    pub enum Why {
        Received = "received",
        /// The past is measured under a new method.
        Again = "again",
    }
}

/// One photo to be measured, leased to whoever claimed it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Job {
    pub practice: PracticeId,
    pub photo: PhotoId,
    pub why: Why,
    /// This try among them.
    pub tries: i64,
}

fn job(row: &AnyRow) -> Stored<Job> {
    Ok(Job {
        practice: row.parsed("practice_id")?,
        photo: row.parsed("photo_id")?,
        why: row.parsed("why")?,
        tries: row.whole("tries")?,
    })
}

/// Queues a photo. False: it waits already.
pub async fn enqueue(
    conn: &mut Conn,
    practice: PracticeId,
    photo: PhotoId,
    why: Why,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "INSERT INTO measuring_job (photo_id, practice_id, why, queued_ms, due_ms) \
                       VALUES ($1, $2, $3, $4, $4) ON CONFLICT (photo_id) DO NOTHING";
    let queued = sqlx::query(SQL)
        .bind(photo.to_string())
        .bind(practice.to_string())
        .bind(why.code())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(queued.rows_affected() == 1)
}

/// Takes the job that is due longest, of any practice, those of new photos first, and leases it until `leased_until`.
/// `None`: none is due, or another lane was quicker.
///
/// The lease is asked for twice. Without the outer condition two lanes on PostgreSQL that chose the same row both get
/// it: the second waits for the first and then updates the row all the same.
pub async fn claim(conn: &mut Conn, now: Timestamp, leased_until: Timestamp) -> Stored<Option<Job>> {
    const SQL: &str = "UPDATE measuring_job SET leased_until_ms = $2, tries = tries + 1 \
                       WHERE photo_id = (SELECT photo_id FROM measuring_job WHERE due_ms <= $1 \
                       AND leased_until_ms <= $1 ORDER BY CASE why WHEN 'received' THEN 0 ELSE 1 END, due_ms, photo_id \
                       LIMIT 1) AND leased_until_ms <= $1 AND due_ms <= $1 \
                       RETURNING practice_id, photo_id, why, tries";
    sqlx::query(SQL)
        .bind(now.as_millisecond())
        .bind(leased_until.as_millisecond())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(job)
        .transpose()
}

/// Gives a job back, to be tried again from `due` on.
pub async fn put_off(conn: &mut Conn, job: &Job, due: Timestamp) -> Stored<()> {
    const SQL: &str = "UPDATE measuring_job SET due_ms = $3, leased_until_ms = 0 \
                       WHERE practice_id = $1 AND photo_id = $2";
    sqlx::query(SQL)
        .bind(job.practice.to_string())
        .bind(job.photo.to_string())
        .bind(due.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Takes a job off the list: it is done, or no longer wanted.
pub async fn remove(conn: &mut Conn, practice: PracticeId, photo: PhotoId) -> Stored<()> {
    sqlx::query("DELETE FROM measuring_job WHERE practice_id = $1 AND photo_id = $2")
        .bind(practice.to_string())
        .bind(photo.to_string())
        .execute(conn)
        .await?;
    Ok(())
}

/// Photos of a practice that wait to be measured.
pub async fn waiting(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<PhotoId>> {
    sqlx::query("SELECT photo_id FROM measuring_job WHERE practice_id = $1 ORDER BY due_ms, photo_id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("photo_id"))
        .collect()
}

/// Whether this photo waits to be measured.
pub async fn is_waiting(conn: &mut Conn, practice: PracticeId, photo: PhotoId) -> Stored<bool> {
    const SQL: &str = "SELECT photo_id FROM measuring_job WHERE practice_id = $1 AND photo_id = $2";
    let found =
        sqlx::query(SQL).bind(practice.to_string()).bind(photo.to_string()).fetch_optional(conn).await?;
    Ok(found.is_some())
}

/// Whether a job of any practice could be claimed now.
pub async fn any_due(conn: &mut Conn, now: Timestamp) -> Stored<bool> {
    const SQL: &str =
        "SELECT practice_id FROM measuring_job WHERE due_ms <= $1 AND leased_until_ms <= $1 LIMIT 1";
    Ok(sqlx::query(SQL).bind(now.as_millisecond()).fetch_optional(conn).await?.is_some())
}
