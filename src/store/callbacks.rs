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
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::silences::Interpreter;
use crate::store::text_columns::CALL_ATTEMPT_NOTE;
use crate::store::text_columns::CALL_ATTEMPT_SPOKE_WITH;
use crate::store::text_columns::CALLBACK_ASK;
use crate::store::text_columns::CALLBACK_EMERGENCY_PLACE;
use crate::store::text_columns::CALLBACK_HAND_BACK_NOTE;
use crate::triage::CallOutcome;
use crate::triage::CallResult;
use crate::triage::Urgency;
use crate::triage::Whom;

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
    /// The decision it follows from, in the program's own words.
    pub reason: String,
    /// What to ask or say, one line each.
    pub ask: FreeText,
    pub due: Timestamp,
    /// Attempts nobody answered.
    pub missed: i64,
    pub state: CallbackState,
    pub outcome: Option<CallOutcome>,
    /// Why it was handed back to the surgeon; empty otherwise.
    pub hand_back_note: FreeText,
    pub closed: Option<Timestamp>,
    pub created: Timestamp,
    /// The visit the call booked; `None`: none.
    pub visit: Option<Timestamp>,
    /// The emergency department the patient goes to; empty: none, or not said.
    pub emergency_place: FreeText,
    /// When the caller means to try again; `None`: by the due time.
    pub next_try: Option<Timestamp>,
}

/// One attempt.
#[derive(Clone, Debug)]
pub struct CallAttempt {
    pub id: CallAttemptId,
    pub practice: PracticeId,
    pub callback: CallbackId,
    pub staff: StaffId,
    pub whom: Whom,
    pub result: CallResult,
    /// Who spoke; empty when nobody did.
    pub spoke_with: FreeText,
    pub interpreter: Interpreter,
    pub note: FreeText,
    pub at: Timestamp,
}

fn callback(row: &AnyRow, texts: &Texts) -> Stored<Callback> {
    let id: CallbackId = row.parsed("id")?;
    Ok(Callback {
        id,
        practice: row.parsed("practice_id")?,
        wound: row.parsed("wound_id")?,
        check: row.parsed("check_id")?,
        review: row.parsed("review_id")?,
        urgency: row.urgency("urgency")?,
        reason: row.text("reason")?,
        ask: texts.open(row, &CALLBACK_ASK, id)?,
        due: row.time("due_ms")?,
        missed: row.whole("missed")?,
        state: row.parsed("state")?,
        outcome: row.parsed_maybe("outcome")?,
        hand_back_note: texts.open(row, &CALLBACK_HAND_BACK_NOTE, id)?,
        closed: row.time_maybe("closed_ms")?,
        created: row.time("created_ms")?,
        visit: row.time_maybe("visit_ms")?,
        emergency_place: texts.open(row, &CALLBACK_EMERGENCY_PLACE, id)?,
        next_try: row.time_maybe("next_try_ms")?,
    })
}

pub async fn insert(conn: &mut Conn, callback: &Callback) -> Stored<()> {
    const SQL: &str = "INSERT INTO callback (id, practice_id, wound_id, check_id, review_id, urgency, reason, ask, \
                       ask_sealed, due_ms, state, created_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7, '', $8, $9, $10, $11)";
    let ask = conn.texts().seal(&callback.ask, &CALLBACK_ASK, callback.id)?;
    sqlx::query(SQL)
        .bind(callback.id.to_string())
        .bind(callback.practice.to_string())
        .bind(callback.wound.to_string())
        .bind(callback.check.to_string())
        .bind(callback.review.to_string())
        .bind(i64::from(callback.urgency.rank()))
        .bind(&callback.reason)
        .bind(ask)
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
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| callback(row, conn.texts()))
        .transpose()
}

/// Open callbacks, due first within each class.
pub async fn open(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<Callback>> {
    sqlx::query(
        "SELECT * FROM callback WHERE practice_id = $1 AND state = 'open' ORDER BY urgency, due_ms, id",
    )
    .bind(practice.to_string())
    .fetch_all(&mut *conn)
    .await?
    .iter()
    .map(|row| callback(row, conn.texts()))
    .collect()
}

/// Open callbacks past their due time, first due first.
pub async fn late(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Stored<Vec<CallbackId>> {
    const SQL: &str = "SELECT id FROM callback WHERE practice_id = $1 AND state = 'open' AND due_ms < $2 ORDER BY due_ms, id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(now.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("id"))
        .collect()
}

/// Callbacks that ended, newest first, at most `limit`.
pub async fn ended(conn: &mut Conn, practice: PracticeId, limit: i64) -> Stored<Vec<Callback>> {
    const SQL: &str = "SELECT * FROM callback WHERE practice_id = $1 AND state <> 'open' \
                       ORDER BY closed_ms DESC, id LIMIT $2";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(limit)
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| callback(row, conn.texts()))
        .collect()
}

pub async fn of_check(conn: &mut Conn, practice: PracticeId, check: WoundCheckId) -> Stored<Vec<Callback>> {
    sqlx::query("SELECT * FROM callback WHERE practice_id = $1 AND check_id = $2 ORDER BY created_ms, id")
        .bind(practice.to_string())
        .bind(check.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| callback(row, conn.texts()))
        .collect()
}

/// Keeps what an attempt changed: class, due times, missed attempts, and what it booked.
pub async fn note_attempt(conn: &mut Conn, callback: &Callback) -> Stored<()> {
    let place = conn.texts().seal(&callback.emergency_place, &CALLBACK_EMERGENCY_PLACE, callback.id)?;
    sqlx::query(
        "UPDATE callback SET urgency = $3, due_ms = $4, missed = $5, visit_ms = $6, \
         emergency_place = CASE WHEN $9 = 1 THEN emergency_place ELSE '' END, emergency_place_sealed = $7, \
         next_try_ms = $8 WHERE practice_id = $1 AND id = $2",
    )
    .bind(callback.practice.to_string())
    .bind(callback.id.to_string())
    .bind(i64::from(callback.urgency.rank()))
    .bind(callback.due.as_millisecond())
    .bind(callback.missed)
    .bind(callback.visit.map(|at| at.as_millisecond()))
    .bind(place)
    .bind(callback.next_try.map(|at| at.as_millisecond()))
    .bind(i64::from(callback.emergency_place.strange().is_some()))
    .execute(conn)
    .await?;
    Ok(())
}

/// Keeps why the office hands a callback back.
pub async fn note_hand_back(conn: &mut Conn, callback: &Callback, note: &str) -> Stored<()> {
    const SQL: &str = "UPDATE callback SET hand_back_note = '', hand_back_note_sealed = $3 \
                       WHERE practice_id = $1 AND id = $2";
    let note = conn.texts().seal_words(note, &CALLBACK_HAND_BACK_NOTE, callback.id)?;
    sqlx::query(SQL)
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
    const SQL: &str = "INSERT INTO call_attempt (id, practice_id, callback_id, staff_id, result, note, \
                       note_sealed, at_ms, whom, spoke_with, spoke_with_sealed, interpreter) \
                       VALUES ($1, $2, $3, $4, $5, '', $6, $7, $8, '', $9, $10)";
    let note = conn.texts().seal(&attempt.note, &CALL_ATTEMPT_NOTE, attempt.id)?;
    let spoke_with = conn.texts().seal(&attempt.spoke_with, &CALL_ATTEMPT_SPOKE_WITH, attempt.id)?;
    sqlx::query(SQL)
        .bind(attempt.id.to_string())
        .bind(attempt.practice.to_string())
        .bind(attempt.callback.to_string())
        .bind(attempt.staff.to_string())
        .bind(attempt.result.code())
        .bind(note)
        .bind(attempt.at.as_millisecond())
        .bind(attempt.whom.code())
        .bind(spoke_with)
        .bind(attempt.interpreter.code())
        .execute(conn)
        .await?;
    Ok(())
}

/// A callback's attempts, oldest first.
pub async fn attempts(conn: &mut Conn, practice: PracticeId, id: CallbackId) -> Stored<Vec<CallAttempt>> {
    sqlx::query("SELECT * FROM call_attempt WHERE practice_id = $1 AND callback_id = $2 ORDER BY at_ms, id")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| {
            let (id, texts): (CallAttemptId, _) = (row.parsed("id")?, conn.texts());
            Ok(CallAttempt {
                id,
                practice: row.parsed("practice_id")?,
                callback: row.parsed("callback_id")?,
                staff: row.parsed("staff_id")?,
                whom: row.parsed("whom")?,
                result: row.parsed("result")?,
                spoke_with: texts.open(row, &CALL_ATTEMPT_SPOKE_WITH, id)?,
                interpreter: row.parsed("interpreter")?,
                note: texts.open(row, &CALL_ATTEMPT_NOTE, id)?,
                at: row.time("at_ms")?,
            })
        })
        .collect()
}

/// When nobody answered the practice's calls about a wound, since then.
pub async fn unanswered_since(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
    since: Timestamp,
) -> Stored<Vec<Timestamp>> {
    const SQL: &str = "SELECT call_attempt.at_ms FROM call_attempt \
                       JOIN callback ON callback.id = call_attempt.callback_id \
                       WHERE call_attempt.practice_id = $1 AND callback.wound_id = $2 \
                       AND call_attempt.result <> 'spoke' AND call_attempt.at_ms > $3 ORDER BY call_attempt.at_ms";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(since.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.time("at_ms"))
        .collect()
}

/// When somebody of the practice last spoke with the patient about a wound; `None`: never.
pub async fn last_spoke(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Option<Timestamp>> {
    const SQL: &str = "SELECT MAX(call_attempt.at_ms) AS at_ms FROM call_attempt \
                       JOIN callback ON callback.id = call_attempt.callback_id \
                       WHERE call_attempt.practice_id = $1 AND callback.wound_id = $2 \
                       AND call_attempt.result = 'spoke'";
    let row = sqlx::query(SQL).bind(practice.to_string()).bind(wound.to_string()).fetch_one(conn).await?;
    row.time_maybe("at_ms")
}

/// Open callbacks of one wound.
pub async fn open_of_wound(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<Callback>> {
    sqlx::query(
        "SELECT * FROM callback WHERE practice_id = $1 AND wound_id = $2 AND state = 'open' ORDER BY due_ms, id",
    )
    .bind(practice.to_string())
    .bind(wound.to_string())
    .fetch_all(&mut *conn)
    .await?
    .iter()
    .map(|row| callback(row, conn.texts()))
    .collect()
}
