//! Callbacks: the calls the office must make, and every attempt at them.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::CallAttemptId;
use crate::ids::CallbackId;
use crate::ids::PracticeId;
use crate::ids::ReviewId;
use crate::ids::StaffId;
use crate::ids::WoundCheckId;
use crate::ids::WoundId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::triage::CallOutcome;
use crate::triage::CallResult;
use crate::triage::Urgency;

coded! {
    /// Where a callback stands.
    pub enum CallbackState { Open = "open", HandedBack = "handed_back", Closed = "closed" }
}

/// A call the office must make.
#[derive(Clone, Debug)]
pub struct Callback {
    pub id: CallbackId,
    pub practice: PracticeId,
    pub wound: WoundId,
    pub check: WoundCheckId,
    pub review: ReviewId,
    /// Rises with missed attempts; never falls.
    pub urgency: Urgency,
    pub reason: String,
    /// What to ask or say, one line each.
    pub ask: String,
    pub due: Timestamp,
    /// Attempts nobody answered.
    pub missed: i64,
    pub state: CallbackState,
    pub outcome: Option<CallOutcome>,
    /// Why it was handed back to the surgeon; empty otherwise.
    pub hand_back_note: String,
    pub closed: Option<Timestamp>,
    pub created: Timestamp,
}

/// One attempt.
#[derive(Clone, Debug)]
pub struct CallAttempt {
    pub id: CallAttemptId,
    pub practice: PracticeId,
    pub callback: CallbackId,
    pub staff: StaffId,
    pub result: CallResult,
    pub note: String,
    pub at: Timestamp,
}

fn callback(row: &AnyRow) -> Stored<Callback> {
    Ok(Callback {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        wound: row.parsed("wound_id")?,
        check: row.parsed("check_id")?,
        review: row.parsed("review_id")?,
        urgency: row.urgency("urgency")?,
        reason: row.text("reason")?,
        ask: row.text("ask")?,
        due: row.time("due_ms")?,
        missed: row.whole("missed")?,
        state: row.parsed("state")?,
        outcome: row.parsed_maybe("outcome")?,
        hand_back_note: row.text("hand_back_note")?,
        closed: row.time_maybe("closed_ms")?,
        created: row.time("created_ms")?,
    })
}

pub async fn insert(conn: &mut Conn, callback: &Callback) -> Stored<()> {
    const SQL: &str = "INSERT INTO callback (id, practice_id, wound_id, check_id, review_id, urgency, reason, ask, \
                       due_ms, state, created_ms) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)";
    sqlx::query(SQL)
        .bind(callback.id.to_string())
        .bind(callback.practice.to_string())
        .bind(callback.wound.to_string())
        .bind(callback.check.to_string())
        .bind(callback.review.to_string())
        .bind(i64::from(callback.urgency.rank()))
        .bind(&callback.reason)
        .bind(&callback.ask)
        .bind(callback.due.as_millisecond())
        .bind(callback.state.code())
        .bind(callback.created.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: CallbackId) -> Stored<Option<Callback>> {
    sqlx::query("SELECT * FROM callback WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(callback)
        .transpose()
}

/// Open callbacks, due first within each class.
pub async fn open(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<Callback>> {
    sqlx::query(
        "SELECT * FROM callback WHERE practice_id = $1 AND state = 'open' ORDER BY urgency, due_ms, id",
    )
    .bind(practice.to_string())
    .fetch_all(conn)
    .await?
    .iter()
    .map(callback)
    .collect()
}

/// Callbacks that ended, newest first, at most `limit`.
pub async fn ended(conn: &mut Conn, practice: PracticeId, limit: i64) -> Stored<Vec<Callback>> {
    const SQL: &str = "SELECT * FROM callback WHERE practice_id = $1 AND state <> 'open' \
                       ORDER BY closed_ms DESC, id LIMIT $2";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(callback)
        .collect()
}

pub async fn of_check(conn: &mut Conn, practice: PracticeId, check: WoundCheckId) -> Stored<Vec<Callback>> {
    sqlx::query("SELECT * FROM callback WHERE practice_id = $1 AND check_id = $2 ORDER BY created_ms, id")
        .bind(practice.to_string())
        .bind(check.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(callback)
        .collect()
}

/// Keeps what an attempt changed: class, due time, missed attempts.
pub async fn note_attempt(conn: &mut Conn, callback: &Callback) -> Stored<()> {
    sqlx::query(
        "UPDATE callback SET urgency = $3, due_ms = $4, missed = $5 WHERE practice_id = $1 AND id = $2",
    )
    .bind(callback.practice.to_string())
    .bind(callback.id.to_string())
    .bind(i64::from(callback.urgency.rank()))
    .bind(callback.due.as_millisecond())
    .bind(callback.missed)
    .execute(conn)
    .await?;
    Ok(())
}

/// Keeps why the office hands a callback back.
pub async fn note_hand_back(conn: &mut Conn, callback: &Callback, note: &str) -> Stored<()> {
    sqlx::query("UPDATE callback SET hand_back_note = $3 WHERE practice_id = $1 AND id = $2")
        .bind(callback.practice.to_string())
        .bind(callback.id.to_string())
        .bind(note)
        .execute(conn)
        .await?;
    Ok(())
}

/// Ends an open callback; false when somebody ended it before.
pub async fn end(
    conn: &mut Conn,
    callback: &Callback,
    state: CallbackState,
    outcome: Option<CallOutcome>,
    by: StaffId,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE callback SET state = $3, outcome = $4, closed_by = $5, closed_ms = $6 \
                       WHERE practice_id = $1 AND id = $2 AND state = 'open'";
    let ended = sqlx::query(SQL)
        .bind(callback.practice.to_string())
        .bind(callback.id.to_string())
        .bind(state.code())
        .bind(outcome.map(|outcome| outcome.code().to_owned()))
        .bind(by.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(ended.rows_affected() == 1)
}

pub async fn insert_attempt(conn: &mut Conn, attempt: &CallAttempt) -> Stored<()> {
    const SQL: &str = "INSERT INTO call_attempt (id, practice_id, callback_id, staff_id, result, note, at_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7)";
    sqlx::query(SQL)
        .bind(attempt.id.to_string())
        .bind(attempt.practice.to_string())
        .bind(attempt.callback.to_string())
        .bind(attempt.staff.to_string())
        .bind(attempt.result.code())
        .bind(&attempt.note)
        .bind(attempt.at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// A callback's attempts, oldest first.
pub async fn attempts(conn: &mut Conn, practice: PracticeId, id: CallbackId) -> Stored<Vec<CallAttempt>> {
    sqlx::query("SELECT * FROM call_attempt WHERE practice_id = $1 AND callback_id = $2 ORDER BY at_ms, id")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| {
            Ok(CallAttempt {
                id: row.parsed("id")?,
                practice: row.parsed("practice_id")?,
                callback: row.parsed("callback_id")?,
                staff: row.parsed("staff_id")?,
                result: row.parsed("result")?,
                note: row.text("note")?,
                at: row.time("at_ms")?,
            })
        })
        .collect()
}
