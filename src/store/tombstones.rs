//! What went when its time was over: that it did, when, by which rule, and the SHA-256 of what it was; and photo files that
//! nothing opens any more and that are still there.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::TombstoneId;
use crate::plan::coded;
use crate::store::BlobName;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

coded! {
    /// What went.
    pub enum Gone {
        /// One patient's whole record.
        Patient = "patient",
        /// Letters that were sent, and work that failed.
        Letters = "letters",
        /// Half-filled checks, and sessions of staff that ended.
        Passing = "passing",
        /// The oldest lines of the record of who did or saw what.
        Record = "record",
    }
}

/// One tombstone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tombstone {
    pub id: TombstoneId,
    pub practice: PracticeId,
    pub gone: Gone,
    /// Such as `clinical_years=15`.
    pub rule: String,
    pub at: Timestamp,
    pub rows: i64,
    /// Photo files whose keys went with the rows.
    pub files: i64,
    /// Of the rows, 64 hex letters.
    pub sha256: String,
}

fn tombstone(row: &AnyRow) -> Stored<Tombstone> {
    Ok(Tombstone {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        gone: row.parsed("kind")?,
        rule: row.text("rule")?,
        at: row.time("gone_ms")?,
        rows: row.whole("rows_gone")?,
        files: row.whole("files_gone")?,
        sha256: row.text("sha256")?,
    })
}

pub async fn insert(conn: &mut Conn, stone: &Tombstone) -> Stored<()> {
    const SQL: &str = "INSERT INTO tombstone (id, practice_id, kind, rule, gone_ms, rows_gone, files_gone, sha256) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7, $8)";
    sqlx::query(SQL)
        .bind(stone.id.to_string())
        .bind(stone.practice.to_string())
        .bind(stone.gone.code())
        .bind(&stone.rule)
        .bind(stone.at.as_millisecond())
        .bind(stone.rows)
        .bind(stone.files)
        .bind(&stone.sha256)
        .execute(conn)
        .await?;
    Ok(())
}

/// The newest first, at most `limit`.
pub async fn newest(conn: &mut Conn, practice: PracticeId, limit: i64) -> Stored<Vec<Tombstone>> {
    sqlx::query("SELECT * FROM tombstone WHERE practice_id = $1 ORDER BY gone_ms DESC, id DESC LIMIT $2")
        .bind(practice.to_string())
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(tombstone)
        .collect()
}

/// When photos of any practice last went; `None`: none ever did. Whoever makes back-ups asks.
pub async fn photos_last_went(conn: &mut Conn) -> Stored<Option<Timestamp>> {
    const SQL: &str = "SELECT MAX(gone_ms) AS last_ms FROM tombstone WHERE practice_id <> '' AND kind = 'patient' \
                       AND files_gone > 0";
    sqlx::query(SQL).fetch_one(conn).await?.time_maybe("last_ms")
}

/// Notes a photo file that is to be taken away.
pub async fn insert_file(conn: &mut Conn, practice: PracticeId, file: &str, at: Timestamp) -> Stored<()> {
    const SQL: &str =
        "INSERT INTO purged_file (practice_id, file, since_ms) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING";
    sqlx::query(SQL).bind(practice.to_string()).bind(file).bind(at.as_millisecond()).execute(conn).await?;
    Ok(())
}

/// Files that wait to be taken away since before then, at most `limit`.
pub async fn files_since(
    conn: &mut Conn,
    practice: PracticeId,
    before: Timestamp,
    limit: i64,
) -> Stored<Vec<BlobName>> {
    sqlx::query(
        "SELECT file FROM purged_file WHERE practice_id = $1 AND since_ms <= $2 ORDER BY since_ms, file LIMIT $3",
    )
    .bind(practice.to_string())
    .bind(before.as_millisecond())
    .bind(limit)
    .fetch_all(conn)
    .await?
    .iter()
    .map(|row| row.parsed("file"))
    .collect()
}

/// A file was taken away.
pub async fn forget_file(conn: &mut Conn, practice: PracticeId, file: &BlobName) -> Stored<()> {
    sqlx::query("DELETE FROM purged_file WHERE practice_id = $1 AND file = $2")
        .bind(practice.to_string())
        .bind(file.as_str().to_owned())
        .execute(conn)
        .await?;
    Ok(())
}
