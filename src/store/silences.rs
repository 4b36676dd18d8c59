//! Silences: what was due and did not come, every call about it, and how it ended.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::SilenceCallId;
use crate::ids::SilenceId;
use crate::ids::StaffId;
use crate::ids::WoundId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::text_columns::SILENCE_ASKED_NOTE;
use crate::store::text_columns::SILENCE_CALL_NOTE;
use crate::store::text_columns::SILENCE_CALL_SPOKE_WITH;
use crate::store::text_columns::SILENCE_DECIDED_NOTE;
use crate::store::text_columns::SILENCE_ENDED_NOTE;
use crate::triage::CallResult;
use crate::triage::SilenceKind;
use crate::triage::SilenceStep;
use crate::triage::Whom;

coded! {
    /// Where a silence stands.
    pub enum SilenceState { Open = "open", Ended = "ended" }
}

coded! {
    /// How a silence ended.
    pub enum SilenceEnd {
        /// What was due came.
        Came = "came",
        /// The plan waits for it no more: moved, paused, ended.
        NotDue = "not_due",
        /// Told on the phone.
        Told = "told",
        /// A person ended it, and said why.
        ByHand = "by_hand",
    }
}

coded! {
    /// Whether somebody translated a call.
    pub enum Interpreter {
        NotNeeded = "not_needed",
        /// A trained interpreter.
        Used = "used",
        /// The caller speaks the language.
        CallerSpeaks = "caller_speaks",
        /// An adult of the patient's choice; never a child.
        OwnAdult = "own_adult",
        Declined = "declined",
    }
}

/// One silence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Silence {
    pub id: SilenceId,
    pub practice: PracticeId,
    pub wound: WoundId,
    pub kind: SilenceKind,
    /// What was due, such as `step:ID`.
    pub about: String,
    /// Since when it is missing.
    pub since: Timestamp,
    pub state: SilenceState,
    pub reminded: Option<Timestamp>,
    pub letter: Option<Timestamp>,
    /// When the patient was last spoken with about it.
    pub spoke: Option<Timestamp>,
    /// Until when it was agreed to wait.
    pub waits_until: Option<Timestamp>,
    pub next: SilenceStep,
    /// From when the next step is due.
    pub next_from: Timestamp,
    /// By when it must be taken.
    pub by: Timestamp,
    /// When the surgeon was asked; `None`: not.
    pub asked: Option<Timestamp>,
    pub asked_note: FreeText,
    /// What the surgeon said is to be done; empty: nothing yet.
    pub decided_note: FreeText,
    pub decided_by: Option<StaffId>,
    pub ended_why: Option<SilenceEnd>,
    pub ended_note: FreeText,
    /// `None`: what was due came by itself.
    pub ended_by: Option<StaffId>,
    pub ended: Option<Timestamp>,
    pub begun: Timestamp,
}

/// One call about a silence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SilenceCall {
    pub id: SilenceCallId,
    pub practice: PracticeId,
    pub silence: SilenceId,
    pub staff: StaffId,
    pub whom: Whom,
    pub result: CallResult,
    /// Who spoke; empty when nobody did.
    pub spoke_with: FreeText,
    pub interpreter: Interpreter,
    pub note: FreeText,
    pub at: Timestamp,
}

fn silence(row: &AnyRow, texts: &Texts) -> Stored<Silence> {
    let id: SilenceId = row.parsed("id")?;
    Ok(Silence {
        id,
        practice: row.parsed("practice_id")?,
        wound: row.parsed("wound_id")?,
        kind: row.parsed("kind")?,
        about: row.text("about")?,
        since: row.time("since_ms")?,
        state: row.parsed("state")?,
        reminded: row.time_maybe("reminded_ms")?,
        letter: row.time_maybe("letter_ms")?,
        spoke: row.time_maybe("spoke_ms")?,
        waits_until: row.time_maybe("waits_until_ms")?,
        next: row.parsed("next_step")?,
        next_from: row.time("next_ms")?,
        by: row.time("by_ms")?,
        asked: row.time_maybe("asked_ms")?,
        asked_note: texts.open(row, &SILENCE_ASKED_NOTE, id)?,
        decided_note: texts.open(row, &SILENCE_DECIDED_NOTE, id)?,
        decided_by: row.parsed_maybe("decided_by")?,
        ended_why: row.parsed_maybe("ended_why")?,
        ended_note: texts.open(row, &SILENCE_ENDED_NOTE, id)?,
        ended_by: row.parsed_maybe("ended_by")?,
        ended: row.time_maybe("ended_ms")?,
        begun: row.time("begun_ms")?,
    })
}

fn call(row: &AnyRow, texts: &Texts) -> Stored<SilenceCall> {
    let id: SilenceCallId = row.parsed("id")?;
    Ok(SilenceCall {
        id,
        practice: row.parsed("practice_id")?,
        silence: row.parsed("silence_id")?,
        staff: row.parsed("staff_id")?,
        whom: row.parsed("whom")?,
        result: row.parsed("result")?,
        spoke_with: texts.open(row, &SILENCE_CALL_SPOKE_WITH, id)?,
        interpreter: row.parsed("interpreter")?,
        note: texts.open(row, &SILENCE_CALL_NOTE, id)?,
        at: row.time("at_ms")?,
    })
}

/// What begins a silence.
#[derive(Clone, Copy, Debug)]
pub struct Beginning<'a> {
    pub practice: PracticeId,
    pub wound: WoundId,
    pub kind: SilenceKind,
    pub about: &'a str,
    pub since: Timestamp,
    pub next: (SilenceStep, Timestamp),
    pub by: Timestamp,
}

/// Begins a silence. `None`: it is open already, or a person ended it after it was due.
pub async fn begin(conn: &mut Conn, beginning: Beginning<'_>, moment: &Moment) -> Stored<Option<SilenceId>> {
    const SQL: &str = "INSERT INTO silence (id, practice_id, wound_id, kind, about, since_ms, state, next_step, \
                       next_ms, by_ms, begun_ms) \
                       SELECT $1, $2, $3, $4, $5, $6, 'open', $7, $8, $9, $10 FROM practice WHERE id = $2 \
                       AND NOT EXISTS (SELECT 1 FROM silence WHERE practice_id = $2 AND kind = $4 AND about = $5 \
                       AND (state = 'open' OR (ended_by IS NOT NULL AND ended_ms >= $6))) \
                       ON CONFLICT (practice_id, kind, about) WHERE state = 'open' DO NOTHING";
    let id = SilenceId::mint(moment);
    let begun = sqlx::query(SQL)
        .bind(id.to_string())
        .bind(beginning.practice.to_string())
        .bind(beginning.wound.to_string())
        .bind(beginning.kind.code())
        .bind(beginning.about)
        .bind(beginning.since.as_millisecond())
        .bind(beginning.next.0.code())
        .bind(beginning.next.1.as_millisecond())
        .bind(beginning.by.as_millisecond())
        .bind(moment.now.as_millisecond())
        .execute(conn)
        .await?;
    Ok((begun.rows_affected() == 1).then_some(id))
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: SilenceId) -> Stored<Option<Silence>> {
    sqlx::query("SELECT * FROM silence WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| silence(row, conn.texts()))
        .transpose()
}

/// Every open silence of the practice, the most pressing step first.
pub async fn open(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<Silence>> {
    sqlx::query("SELECT * FROM silence WHERE practice_id = $1 AND state = 'open' ORDER BY by_ms, id")
        .bind(practice.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| silence(row, conn.texts()))
        .collect()
}

/// Open silences whose next step should have been taken by now, first due first.
pub async fn late(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Stored<Vec<SilenceId>> {
    const SQL: &str = "SELECT id FROM silence WHERE practice_id = $1 AND state = 'open' \
                       AND next_step <> 'reminder' AND by_ms < $2 ORDER BY by_ms, id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(now.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("id"))
        .collect()
}

/// Silences that ended, newest first, at most `limit`.
pub async fn ended(conn: &mut Conn, practice: PracticeId, limit: i64) -> Stored<Vec<Silence>> {
    const SQL: &str = "SELECT * FROM silence WHERE practice_id = $1 AND state = 'ended' \
                       ORDER BY ended_ms DESC, id LIMIT $2";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(limit)
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| silence(row, conn.texts()))
        .collect()
}

/// Every silence of one wound, newest first.
pub async fn of_wound(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<Silence>> {
    sqlx::query("SELECT * FROM silence WHERE practice_id = $1 AND wound_id = $2 ORDER BY begun_ms DESC, id")
        .bind(practice.to_string())
        .bind(wound.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| silence(row, conn.texts()))
        .collect()
}

/// Keeps how far a silence has come: reminder, letter, agreements, questions, the next step.
pub async fn keep(conn: &mut Conn, silence: &Silence) -> Stored<()> {
    const SQL: &str = "UPDATE silence SET reminded_ms = $3, letter_ms = $4, spoke_ms = $5, waits_until_ms = $6, \
                       next_step = $7, next_ms = $8, by_ms = $9, asked_ms = $10, \
                       asked_note = CASE WHEN $14 = 1 THEN asked_note ELSE '' END, asked_note_sealed = $11, \
                       decided_note = CASE WHEN $15 = 1 THEN decided_note ELSE '' END, decided_note_sealed = $12, \
                       decided_by = $13 WHERE practice_id = $1 AND id = $2";
    let ms = |at: Option<Timestamp>| at.map(|at| at.as_millisecond());
    let asked = conn.texts().seal(&silence.asked_note, &SILENCE_ASKED_NOTE, silence.id)?;
    let decided = conn.texts().seal(&silence.decided_note, &SILENCE_DECIDED_NOTE, silence.id)?;
    sqlx::query(SQL)
        .bind(silence.practice.to_string())
        .bind(silence.id.to_string())
        .bind(ms(silence.reminded))
        .bind(ms(silence.letter))
        .bind(ms(silence.spoke))
        .bind(ms(silence.waits_until))
        .bind(silence.next.code())
        .bind(silence.next_from.as_millisecond())
        .bind(silence.by.as_millisecond())
        .bind(ms(silence.asked))
        .bind(asked)
        .bind(decided)
        .bind(silence.decided_by.map(|by| by.to_string()))
        .bind(i64::from(silence.asked_note.strange().is_some()))
        .bind(i64::from(silence.decided_note.strange().is_some()))
        .execute(conn)
        .await?;
    Ok(())
}

/// How a silence ends.
#[derive(Clone, Copy, Debug)]
pub struct Ending<'a> {
    pub why: SilenceEnd,
    pub note: &'a str,
    /// `None`: by itself.
    pub by: Option<StaffId>,
    pub at: Timestamp,
}

/// Ends an open silence; false when it had ended before.
pub async fn end(conn: &mut Conn, practice: PracticeId, id: SilenceId, ending: Ending<'_>) -> Stored<bool> {
    const SQL: &str = "UPDATE silence SET state = 'ended', ended_why = $3, ended_note = '', \
                       ended_note_sealed = $4, ended_by = $5, ended_ms = $6 WHERE practice_id = $1 AND id = $2 AND state = 'open'";
    let note = conn.texts().seal_words(ending.note, &SILENCE_ENDED_NOTE, id)?;
    let ended = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(ending.why.code())
        .bind(note)
        .bind(ending.by.map(|by| by.to_string()))
        .bind(ending.at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(ended.rows_affected() == 1)
}

pub async fn insert_call(conn: &mut Conn, call: &SilenceCall) -> Stored<()> {
    const SQL: &str = "INSERT INTO silence_call (id, practice_id, silence_id, staff_id, whom, result, spoke_with, \
                       spoke_with_sealed, interpreter, note, note_sealed, at_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, '', $7, $8, '', $9, $10)";
    let spoke_with = conn.texts().seal(&call.spoke_with, &SILENCE_CALL_SPOKE_WITH, call.id)?;
    let note = conn.texts().seal(&call.note, &SILENCE_CALL_NOTE, call.id)?;
    sqlx::query(SQL)
        .bind(call.id.to_string())
        .bind(call.practice.to_string())
        .bind(call.silence.to_string())
        .bind(call.staff.to_string())
        .bind(call.whom.code())
        .bind(call.result.code())
        .bind(spoke_with)
        .bind(call.interpreter.code())
        .bind(note)
        .bind(call.at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Every call about a silence, oldest first.
pub async fn calls(conn: &mut Conn, practice: PracticeId, id: SilenceId) -> Stored<Vec<SilenceCall>> {
    sqlx::query("SELECT * FROM silence_call WHERE practice_id = $1 AND silence_id = $2 ORDER BY at_ms, id")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| call(row, conn.texts()))
        .collect()
}

/// Every call about any silence of a wound, oldest first.
pub async fn calls_of_wound(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
) -> Stored<Vec<SilenceCall>> {
    const SQL: &str = "SELECT silence_call.* FROM silence_call JOIN silence ON silence.id = silence_call.silence_id \
                       WHERE silence_call.practice_id = $1 AND silence.wound_id = $2 ORDER BY silence_call.at_ms";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| call(row, conn.texts()))
        .collect()
}
