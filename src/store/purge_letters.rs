//! Taking away what is kept for a while only: letters that were sent, work that failed, half-filled checks, sessions of staff that ended.

use jiff::Timestamp;

use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::purge::Heap;
use crate::store::row::Columns;

/// What went: how many rows, and their SHA-256. `rows` 0: nothing did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TakenRows {
    pub rows: i64,
    pub sha256: String,
    /// There may be more.
    pub is_full: bool,
}

/// Notices from before `$2` that nobody is to be told of any more: no letter of theirs waits, and no open alarm is about one.
/// `$3` at most.
const LETTERS: &str = "SELECT id FROM notice WHERE practice_id = $1 AND due_ms < $2 AND state <> 'waiting' \
     AND NOT EXISTS (SELECT 1 FROM delivery WHERE delivery.notice_id = notice.id AND delivery.state = 'waiting') \
     AND NOT EXISTS (SELECT 1 FROM alarm WHERE alarm.practice_id = $1 AND alarm.ended_ms IS NULL \
     AND alarm.about = 'notice:' || notice.id) \
     AND NOT EXISTS (SELECT 1 FROM alarm JOIN delivery ON alarm.about = 'delivery:' || delivery.id \
     WHERE alarm.practice_id = $1 AND alarm.ended_ms IS NULL AND delivery.notice_id = notice.id) \
     ORDER BY due_ms, id LIMIT $3";

const LETTERS_COUNTED: &str =
    "SELECT COUNT(*) AS many FROM notice WHERE practice_id = $1 AND due_ms < $2 AND state <> 'waiting'";

/// Work that failed, or was done, before `$2`, and that no open alarm is about.
const JOBS: &str = "SELECT * FROM job WHERE practice_id = $1 AND state <> 'waiting' AND ended_ms < $2 \
     AND NOT EXISTS (SELECT 1 FROM alarm WHERE alarm.practice_id = $1 AND alarm.ended_ms IS NULL \
     AND alarm.about = 'job:' || job.id) ORDER BY ended_ms, id LIMIT $3";

/// Takes away what was sent, and what failed, before `before`: at most `limit` notices with their letters, and as many jobs.
pub async fn take_letters(
    conn: &mut Conn,
    practice: PracticeId,
    before: Timestamp,
    limit: i64,
) -> Stored<TakenRows> {
    let (mut heap, practice) = (Heap::default(), practice.to_string());
    let due = sqlx::query(LETTERS)
        .bind(&practice)
        .bind(before.as_millisecond())
        .bind(limit)
        .fetch_all(&mut *conn)
        .await?;
    for row in &due {
        let id = row.text("id")?;
        let letters = sqlx::query("SELECT * FROM delivery WHERE practice_id = $1 AND notice_id = $2")
            .bind(&practice)
            .bind(&id)
            .fetch_all(&mut *conn)
            .await?;
        heap.add("delivery", &letters)?;
        let notice = sqlx::query("SELECT * FROM notice WHERE practice_id = $1 AND id = $2")
            .bind(&practice)
            .bind(&id)
            .fetch_all(&mut *conn)
            .await?;
        heap.add("notice", &notice)?;
        sqlx::query("DELETE FROM delivery WHERE practice_id = $1 AND notice_id = $2")
            .bind(&practice)
            .bind(&id)
            .execute(&mut *conn)
            .await?;
        sqlx::query("DELETE FROM notice WHERE practice_id = $1 AND id = $2")
            .bind(&practice)
            .bind(&id)
            .execute(&mut *conn)
            .await?;
    }
    let jobs = sqlx::query(JOBS)
        .bind(&practice)
        .bind(before.as_millisecond())
        .bind(limit)
        .fetch_all(&mut *conn)
        .await?;
    for row in &jobs {
        sqlx::query("DELETE FROM job WHERE practice_id = $1 AND id = $2")
            .bind(&practice)
            .bind(row.text("id")?)
            .execute(&mut *conn)
            .await?;
    }
    heap.add("job", &jobs)?;
    let (rows, sha256) = heap.finish();
    Ok(TakenRows { rows, sha256, is_full: due.len() as i64 == limit || jobs.len() as i64 == limit })
}

/// How many notices from before then there are.
pub async fn count_letters(conn: &mut Conn, practice: PracticeId, before: Timestamp) -> Stored<i64> {
    sqlx::query(LETTERS_COUNTED)
        .bind(practice.to_string())
        .bind(before.as_millisecond())
        .fetch_one(conn)
        .await?
        .whole("many")
}

/// A kind of thing that was never meant to last. A phone's session is none, however old: by its cookie whoever knocks at a closed link
/// is still known, and it goes with the patient.
struct Passing {
    table: &'static str,
    read: &'static str,
    take: &'static str,
}

const PASSING: [Passing; 2] = [
    Passing {
        table: "check_draft",
        read: "SELECT * FROM check_draft WHERE practice_id = $1 AND updated_ms < $2",
        take: "DELETE FROM check_draft WHERE practice_id = $1 AND updated_ms < $2",
    },
    Passing {
        table: "staff_session",
        read: "SELECT * FROM staff_session WHERE practice_id = $1 AND last_seen_ms < $2",
        take: "DELETE FROM staff_session WHERE practice_id = $1 AND last_seen_ms < $2",
    },
];

/// Takes away what was half filled in, and sessions of staff that ended, before `before`.
pub async fn take_passing(conn: &mut Conn, practice: PracticeId, before: Timestamp) -> Stored<TakenRows> {
    let (mut heap, practice) = (Heap::default(), practice.to_string());
    for passing in PASSING {
        let rows = sqlx::query(passing.read)
            .bind(&practice)
            .bind(before.as_millisecond())
            .fetch_all(&mut *conn)
            .await?;
        heap.add(passing.table, &rows)?;
        sqlx::query(passing.take).bind(&practice).bind(before.as_millisecond()).execute(&mut *conn).await?;
    }
    let (rows, sha256) = heap.finish();
    Ok(TakenRows { rows, sha256, is_full: false })
}
