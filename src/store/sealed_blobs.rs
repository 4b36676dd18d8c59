//! The books of the photo store: where each blob lies, and its own key, wrapped.

use std::collections::BTreeMap;

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PhotoId;
use crate::ids::PracticeId;
use crate::ids::WoundCheckId;
use crate::store::BlobName;
use crate::store::Conn;
use crate::store::KeptBlob;
use crate::store::Stored;
use crate::store::row::Columns;

fn kept(row: &AnyRow) -> Stored<KeptBlob> {
    Ok(KeptBlob {
        name: row.parsed("sha256")?,
        file: row.parsed("sealed_sha256")?,
        key_version: row.whole("key_version")? as u32,
        wrapped_key: row.bytes("wrapped_key")?,
        bytes: row.whole("bytes")? as usize,
    })
}

/// Notes a blob whose file is durable. The first of two with one name stands: they hold the same.
pub async fn insert(conn: &mut Conn, practice: PracticeId, blob: &KeptBlob, at: Timestamp) -> Stored<()> {
    const SQL: &str = "INSERT INTO sealed_blob (practice_id, sha256, sealed_sha256, key_version, wrapped_key, bytes, \
                       kept_ms) VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT DO NOTHING";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(blob.name.as_str().to_owned())
        .bind(blob.file.as_str().to_owned())
        .bind(i64::from(blob.key_version))
        .bind(blob.wrapped_key.clone())
        .bind(blob.bytes as i64)
        .bind(at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

pub async fn find(conn: &mut Conn, practice: PracticeId, name: &BlobName) -> Stored<Option<KeptBlob>> {
    sqlx::query("SELECT * FROM sealed_blob WHERE practice_id = $1 AND sha256 = $2")
        .bind(practice.to_string())
        .bind(name.as_str().to_owned())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(kept)
        .transpose()
}

/// Puts another wrap in the place of the one of `before`; false: somebody else was quicker.
pub async fn set_key(
    conn: &mut Conn,
    practice: PracticeId,
    before: &KeptBlob,
    version: u32,
    wrapped_key: &[u8],
) -> Stored<bool> {
    const SQL: &str = "UPDATE sealed_blob SET key_version = $4, wrapped_key = $5 WHERE practice_id = $1 AND sha256 = $2 \
                       AND key_version = $3";
    let set = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(before.name.as_str().to_owned())
        .bind(i64::from(before.key_version))
        .bind(i64::from(version))
        .bind(wrapped_key.to_vec())
        .execute(conn)
        .await?;
    Ok(set.rows_affected() == 1)
}

/// How many blobs each key's version opens, the oldest first; 0 stands for what was never sealed.
pub async fn count_by_key(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<(u32, i64)>> {
    const SQL: &str = "SELECT key_version, COUNT(*) AS many FROM sealed_blob WHERE practice_id = $1 \
                       GROUP BY key_version ORDER BY key_version";
    let rows = sqlx::query(SQL).bind(practice.to_string()).fetch_all(conn).await?;
    rows.iter().map(|row| Ok((row.whole("key_version")? as u32, row.whole("many")?))).collect()
}

/// Blobs that were not read since `before`, the longest unread first, at most so many.
pub async fn to_scrub(
    conn: &mut Conn,
    practice: PracticeId,
    before: Timestamp,
    limit: i64,
) -> Stored<Vec<KeptBlob>> {
    const SQL: &str = "SELECT * FROM sealed_blob WHERE practice_id = $1 AND COALESCE(scrubbed_ms, kept_ms) < $2 \
                       ORDER BY COALESCE(scrubbed_ms, kept_ms), sha256 LIMIT $3";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(before.as_millisecond())
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(kept)
        .collect()
}

/// The blobs whose names come after this one, in the order of their names, at most so many.
pub async fn after(conn: &mut Conn, practice: PracticeId, name: &str, limit: i64) -> Stored<Vec<KeptBlob>> {
    sqlx::query("SELECT * FROM sealed_blob WHERE practice_id = $1 AND sha256 > $2 ORDER BY sha256 LIMIT $3")
        .bind(practice.to_string())
        .bind(name)
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(kept)
        .collect()
}

/// What reading a blob came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Condition {
    Whole,
    /// Changed, cut off, gone, or its key is missing.
    Damaged,
}

/// Notes that a blob was read; true: its condition is another than before.
pub async fn note_condition(
    conn: &mut Conn,
    practice: PracticeId,
    name: &BlobName,
    condition: Condition,
    at: Timestamp,
) -> Stored<bool> {
    const WAS: &str = "SELECT damaged_ms FROM sealed_blob WHERE practice_id = $1 AND sha256 = $2";
    const SQL: &str =
        "UPDATE sealed_blob SET scrubbed_ms = $3, damaged_ms = $4 WHERE practice_id = $1 AND sha256 = $2";
    let was = sqlx::query(WAS)
        .bind(practice.to_string())
        .bind(name.as_str().to_owned())
        .fetch_optional(&mut *conn)
        .await?;
    let since = match was {
        Some(row) => row.time_maybe("damaged_ms")?,
        None => return Ok(false),
    };
    let damaged = match condition {
        Condition::Whole => None,
        Condition::Damaged => Some(since.unwrap_or(at)),
    };
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(name.as_str().to_owned())
        .bind(at.as_millisecond())
        .bind(damaged.map(|at| at.as_millisecond()))
        .execute(conn)
        .await?;
    Ok(since.is_some() != damaged.is_some())
}

/// How many blobs could not be read when they were read last.
pub async fn count_damaged(conn: &mut Conn, practice: PracticeId) -> Stored<i64> {
    const SQL: &str =
        "SELECT COUNT(*) AS many FROM sealed_blob WHERE practice_id = $1 AND damaged_ms IS NOT NULL";
    sqlx::query(SQL).bind(practice.to_string()).fetch_one(conn).await?.whole("many")
}

/// Of a check's photos those with a file that could not be read when it was read last, and since when.
pub async fn damaged_photos(
    conn: &mut Conn,
    practice: PracticeId,
    check: WoundCheckId,
) -> Stored<BTreeMap<PhotoId, Timestamp>> {
    const SQL: &str = "SELECT photo.id AS photo, MIN(sealed_blob.damaged_ms) AS since_ms FROM photo \
                       JOIN sealed_blob ON sealed_blob.practice_id = photo.practice_id \
                       AND sealed_blob.sha256 IN (photo.full_sha256, photo.review_sha256, photo.small_sha256) \
                       WHERE photo.practice_id = $1 AND photo.check_id = $2 \
                       AND sealed_blob.damaged_ms IS NOT NULL GROUP BY photo.id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(check.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| Ok((row.parsed("photo")?, row.time("since_ms")?)))
        .collect()
}
