//! Jobs: work that is due at a time, queued with what it follows from and ended with what it changes.
//!
//! A job is claimed under a lease. Whoever ends it, or gives it back, names the lease: a runner that was away too long finds
//! its job in other hands and must undo what it did, which it does by not committing.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::guards;
use crate::guards::Guard;
use crate::ids::JobId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

coded! {
    /// What a job does.
    pub enum JobKind {
        /// Fires a ladder's next rung. About a ladder.
        ClimbLadder = "climb_ladder",
        /// Finds out whom a notice goes to. About a notice.
        AddressNotice = "address_notice",
        /// Sends one letter. About a delivery.
        SendLetter = "send_letter",
        /// Looks at everything that waits, and begins what must be begun. About the practice; comes again and again.
        Watch = "watch",
        /// Sends a canary the whole way of a check, or looks how far it has come. About the canary's practice; comes again
        /// and again.
        Canary = "canary",
        /// Clears away photo files that belong to nothing. About the canary's practice; comes again every day.
        Sweep = "sweep",
        /// Checks that the books are whole. About the canary's practice; comes again every day.
        CheckBooks = "check_books",
        /// Takes away what has been kept for as long as the practice's lead said. About the practice; comes again every day.
        Purge = "purge",
    }
}

coded! {
    /// Where a job stands.
    pub enum JobState { Waiting = "waiting", Done = "done", Failed = "failed" }
}

/// One job, as it stands in the books.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    pub id: JobId,
    pub practice: PracticeId,
    pub kind: JobKind,
    /// Id of what it is about.
    pub about: String,
    pub state: JobState,
    pub due: Timestamp,
    /// How often it was claimed, this time among them.
    pub tries: i64,
    /// Empty: nobody has it.
    pub lease: String,
    pub leased_until: Timestamp,
    /// What went wrong the last time; empty: nothing.
    pub why: String,
    pub queued: Timestamp,
    pub ended: Option<Timestamp>,
}

/// What is queued.
#[derive(Clone, Copy, Debug)]
pub struct Queueing<'a> {
    pub practice: PracticeId,
    pub kind: JobKind,
    pub about: &'a str,
    pub once_key: &'a str,
    pub due: Timestamp,
}

fn job(row: &AnyRow) -> Stored<Job> {
    Ok(Job {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        kind: row.parsed("kind")?,
        about: row.text("about")?,
        state: row.parsed("state")?,
        due: row.time("due_ms")?,
        tries: row.whole("tries")?,
        lease: row.text("lease")?,
        leased_until: row.time("leased_until_ms")?,
        why: row.text("why")?,
        queued: row.time("queued_ms")?,
        ended: row.time_maybe("ended_ms")?,
    })
}

/// Queues a job. False: one with this key was queued before, whatever became of it.
pub async fn enqueue(conn: &mut Conn, queueing: Queueing<'_>, moment: &Moment) -> Stored<bool> {
    const SQL: &str = "INSERT INTO job (id, practice_id, kind, about, once_key, state, due_ms, queued_ms) \
                       VALUES ($1, $2, $3, $4, $5, 'waiting', $6, $7) ON CONFLICT (once_key) DO NOTHING";
    let id = JobId::mint(moment).to_string();
    let once_key = if guards::stands(Guard::OnceKey) { queueing.once_key } else { &id };
    let queued = sqlx::query(SQL)
        .bind(&id)
        .bind(queueing.practice.to_string())
        .bind(queueing.kind.code())
        .bind(queueing.about)
        .bind(once_key)
        .bind(queueing.due.as_millisecond())
        .bind(moment.now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(queued.rows_affected() == 1)
}

/// Takes the job that is due longest, of any practice, and leases it until `leased_until`. `None`: none is due, or another
/// runner was quicker.
///
/// The lease is asked for in the outer `UPDATE` too: on PostgreSQL two runners that chose one row would both get it.
pub async fn claim(
    conn: &mut Conn,
    now: Timestamp,
    lease: &str,
    leased_until: Timestamp,
) -> Stored<Option<Job>> {
    const SQL: &str = "UPDATE job SET lease = $2, leased_until_ms = $3, tries = tries + 1 \
                       WHERE id = (SELECT id FROM job WHERE state = 'waiting' AND due_ms <= $1 \
                       AND leased_until_ms <= $1 ORDER BY due_ms, id LIMIT 1) \
                       AND state = 'waiting' AND due_ms <= $1 AND leased_until_ms <= $1 RETURNING *";
    sqlx::query(SQL)
        .bind(now.as_millisecond())
        .bind(lease)
        .bind(leased_until.as_millisecond())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(job)
        .transpose()
}

/// Whether a job of any practice could be claimed now.
pub async fn any_due(conn: &mut Conn, now: Timestamp) -> Stored<bool> {
    const SQL: &str = "SELECT practice_id FROM job WHERE state = 'waiting' AND due_ms <= $1 \
                       AND leased_until_ms <= $1 LIMIT 1";
    Ok(sqlx::query(SQL).bind(now.as_millisecond()).fetch_optional(conn).await?.is_some())
}

/// When the next job of any practice is due; `None`: none waits.
pub async fn next_due(conn: &mut Conn) -> Stored<Option<Timestamp>> {
    const SQL: &str =
        "SELECT due_ms FROM job WHERE practice_id <> '' AND state = 'waiting' ORDER BY due_ms LIMIT 1";
    sqlx::query(SQL).fetch_optional(conn).await?.as_ref().map(|row| row.time("due_ms")).transpose()
}

/// Ends a job that was done. False: the lease is somebody else's by now, and what was done must not be kept.
pub async fn end(conn: &mut Conn, job: &Job, now: Timestamp) -> Stored<bool> {
    const SQL: &str = "UPDATE job SET state = 'done', ended_ms = $4, why = '' \
                       WHERE practice_id = $1 AND id = $2 AND lease = $3 AND state = 'waiting'";
    let ended = sqlx::query(SQL)
        .bind(job.practice.to_string())
        .bind(job.id.to_string())
        .bind(&job.lease)
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(ended.rows_affected() == 1 || !guards::stands(Guard::LeaseAtTheEnd))
}

/// Gives a job back, to be done, or done again, from `due` on. False: it is in other hands.
pub async fn put_off(conn: &mut Conn, job: &Job, due: Timestamp, why: &str) -> Stored<bool> {
    const SQL: &str = "UPDATE job SET due_ms = $4, leased_until_ms = 0, lease = '', why = $5, \
                       tries = CASE WHEN $5 = '' THEN 0 ELSE tries END \
                       WHERE practice_id = $1 AND id = $2 AND lease = $3 AND state = 'waiting'";
    let put_off = sqlx::query(SQL)
        .bind(job.practice.to_string())
        .bind(job.id.to_string())
        .bind(&job.lease)
        .bind(due.as_millisecond())
        .bind(why)
        .execute(conn)
        .await?;
    Ok(put_off.rows_affected() == 1 || !guards::stands(Guard::LeaseAtTheEnd))
}

/// Gives a job up. It stays on the list of failed ones until a person has it tried again. False: it is in other hands.
pub async fn give_up(conn: &mut Conn, job: &Job, why: &str, now: Timestamp) -> Stored<bool> {
    const SQL: &str = "UPDATE job SET state = 'failed', ended_ms = $4, leased_until_ms = 0, why = $5 \
                       WHERE practice_id = $1 AND id = $2 AND lease = $3 AND state = 'waiting'";
    let given_up = sqlx::query(SQL)
        .bind(job.practice.to_string())
        .bind(job.id.to_string())
        .bind(&job.lease)
        .bind(now.as_millisecond())
        .bind(why)
        .execute(conn)
        .await?;
    Ok(given_up.rows_affected() == 1 || !guards::stands(Guard::LeaseAtTheEnd))
}

/// Ends the waiting jobs about something of one kind: they are done with another one. Those that somebody has are left.
pub async fn end_others(
    conn: &mut Conn,
    practice: PracticeId,
    kind: JobKind,
    about: &str,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE job SET state = 'done', ended_ms = $4 WHERE practice_id = $1 AND kind = $2 \
                       AND about = $3 AND state = 'waiting' AND leased_until_ms <= $4";
    let ended = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(kind.code())
        .bind(about)
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(ended.rows_affected() > 0)
}

/// Ends whatever waits of these kinds without doing it: what is told of the demo's past was told then.
pub async fn end_undone(
    conn: &mut Conn,
    practice: PracticeId,
    kinds: &[JobKind],
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE job SET state = 'done', ended_ms = $3, why = 'told before' \
                       WHERE practice_id = $1 AND kind = $2 AND state = 'waiting' AND due_ms <= $3";
    for kind in kinds {
        sqlx::query(SQL)
            .bind(practice.to_string())
            .bind(kind.code())
            .bind(now.as_millisecond())
            .execute(&mut *conn)
            .await?;
    }
    Ok(())
}

/// Ends, without doing it, whatever waits since before then to be sent or climbed: the books came out of a back-up.
pub async fn put_aside(
    conn: &mut Conn,
    practice: PracticeId,
    before: Timestamp,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE job SET state = 'done', ended_ms = $3, why = 'from before the restore' \
                       WHERE practice_id = $1 AND state = 'waiting' AND queued_ms < $2 \
                       AND kind IN ('climb_ladder', 'address_notice', 'send_letter')";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(before.as_millisecond())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// A failed job is tried again now, by hand. False: it is not failed.
pub async fn try_again(conn: &mut Conn, practice: PracticeId, id: JobId, now: Timestamp) -> Stored<bool> {
    const SQL: &str = "UPDATE job SET state = 'waiting', due_ms = $3, tries = 0, ended_ms = NULL, lease = '' \
                       WHERE practice_id = $1 AND id = $2 AND state = 'failed'";
    let again = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(again.rows_affected() == 1)
}

/// A job that waits for its next try is due now, by hand. False: it does not wait, or a runner has it.
pub async fn hurry(conn: &mut Conn, practice: PracticeId, id: JobId, now: Timestamp) -> Stored<bool> {
    const SQL: &str = "UPDATE job SET due_ms = $3 WHERE practice_id = $1 AND id = $2 AND state = 'waiting' \
                       AND leased_until_ms <= $3";
    let hurried = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(hurried.rows_affected() == 1)
}

/// Failed jobs about something are done with: a person saw to it.
pub async fn set_aside(conn: &mut Conn, practice: PracticeId, about: &str, now: Timestamp) -> Stored<()> {
    const SQL: &str = "UPDATE job SET state = 'done', ended_ms = $3 \
                       WHERE practice_id = $1 AND about = $2 AND state = 'failed'";
    sqlx::query(SQL).bind(practice.to_string()).bind(about).bind(now.as_millisecond()).execute(conn).await?;
    Ok(())
}

/// How many jobs of a practice stand in one state.
pub async fn count_in_state(conn: &mut Conn, practice: PracticeId, state: JobState) -> Stored<i64> {
    let row = sqlx::query("SELECT COUNT(*) AS many FROM job WHERE practice_id = $1 AND state = $2")
        .bind(practice.to_string())
        .bind(state.code())
        .fetch_one(conn)
        .await?;
    row.whole("many")
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: JobId) -> Stored<Option<Job>> {
    sqlx::query("SELECT * FROM job WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(job)
        .transpose()
}

/// A practice's jobs in one state, due first, at most `limit`.
pub async fn in_state(
    conn: &mut Conn,
    practice: PracticeId,
    state: JobState,
    limit: i64,
) -> Stored<Vec<Job>> {
    const SQL: &str = "SELECT * FROM job WHERE practice_id = $1 AND state = $2 ORDER BY due_ms, id LIMIT $3";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(state.code())
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(job)
        .collect()
}

/// Jobs about one thing, in the order they were queued.
pub async fn about(conn: &mut Conn, practice: PracticeId, about: &str) -> Stored<Vec<Job>> {
    sqlx::query("SELECT * FROM job WHERE practice_id = $1 AND about = $2 ORDER BY queued_ms, due_ms, id")
        .bind(practice.to_string())
        .bind(about)
        .fetch_all(conn)
        .await?
        .iter()
        .map(job)
        .collect()
}

/// Clears away what was done before `before`. The failed ones stay.
pub async fn clear_done(conn: &mut Conn, practice: PracticeId, before: Timestamp) -> Stored<u64> {
    let cleared = sqlx::query("DELETE FROM job WHERE practice_id = $1 AND state = 'done' AND ended_ms < $2")
        .bind(practice.to_string())
        .bind(before.as_millisecond())
        .execute(conn)
        .await?;
    Ok(cleared.rows_affected())
}
