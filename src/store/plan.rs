//! The dated steps of care plans as they are kept, what staff did to them, and whether a plan is paused or has ended.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::Moment;
use crate::ids::PlanChangeId;
use crate::ids::PlanStepId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::ids::WoundId;
use crate::plan::EndWhy;
use crate::plan::PlanStep;
use crate::plan::StepKind;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::store::text_columns::PLAN_CHANGE_REASON;

coded! {
    /// Why a step will not be.
    pub enum CancelledWhy {
        /// The plan is paused over it; resuming brings it back.
        Paused = "paused",
        Ended = "ended",
    }
}

/// One step as kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptStep {
    pub id: PlanStepId,
    pub wound: WoundId,
    pub step: PlanStep,
    /// When it was heard to be done; `None`: not yet.
    pub done: Option<Timestamp>,
    pub cancelled: Option<Timestamp>,
    /// Rises with every change.
    pub sequence: i64,
    /// When it was last changed; `None`: it is as it was made.
    pub changed: Option<Timestamp>,
}

impl KeptStep {
    /// Neither done nor cancelled.
    pub fn is_open(&self) -> bool {
        self.done.is_none() && self.cancelled.is_none()
    }
}

fn kept(row: &AnyRow) -> Stored<KeptStep> {
    let changed = row.time("changed_ms")?;
    Ok(KeptStep {
        id: row.parsed("id")?,
        wound: row.parsed("wound_id")?,
        step: PlanStep { kind: row.parsed("kind")?, from: row.time("from_ms")?, due: row.time("due_ms")? },
        done: row.time_maybe("done_ms")?,
        cancelled: row.time_maybe("cancelled_ms")?,
        sequence: row.whole("sequence")?,
        changed: (changed.as_millisecond() != 0).then_some(changed),
    })
}

/// Every step of a wound, in order, cancelled ones too.
pub async fn steps(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<KeptStep>> {
    sqlx::query(
        "SELECT * FROM plan_step WHERE practice_id = $1 AND wound_id = $2 ORDER BY from_ms, due_ms, id",
    )
    .bind(practice.to_string())
    .bind(wound.to_string())
    .fetch_all(conn)
    .await?
    .iter()
    .map(kept)
    .collect()
}

/// Steps of open wounds that somebody waits to hear of and whose due time passed without it. A plan that is paused now
/// waits for nothing, and neither does what was due before the patient was enrolled, the strip excepted.
pub async fn unheard(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Stored<Vec<KeptStep>> {
    const SQL: &str = "SELECT plan_step.* FROM plan_step JOIN wound ON wound.id = plan_step.wound_id \
                       WHERE plan_step.practice_id = $1 AND plan_step.done_ms IS NULL \
                       AND plan_step.cancelled_ms IS NULL AND plan_step.due_ms < $2 \
                       AND plan_step.kind IN ('packing_removal', 'photo', 'antibiotic_check', 'visit') AND wound.state = 'open' \
                       AND (wound.paused_until_ms IS NULL OR wound.paused_until_ms <= $2) \
                       AND (plan_step.due_ms >= wound.created_ms OR plan_step.kind = 'packing_removal') \
                       ORDER BY plan_step.due_ms, plan_step.id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(now.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(kept)
        .collect()
}

/// Steps of open wounds that somebody waits to hear of and whose time is now: begun, not over, nothing heard, and the
/// plan is not paused.
pub async fn awaited(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Stored<Vec<KeptStep>> {
    const SQL: &str = "SELECT plan_step.* FROM plan_step JOIN wound ON wound.id = plan_step.wound_id \
                       WHERE plan_step.practice_id = $1 AND plan_step.done_ms IS NULL \
                       AND plan_step.cancelled_ms IS NULL AND plan_step.from_ms <= $2 AND plan_step.due_ms > $2 \
                       AND plan_step.kind IN ('packing_removal', 'photo', 'antibiotic_check') \
                       AND wound.state = 'open' \
                       AND (wound.paused_until_ms IS NULL OR wound.paused_until_ms <= $2) \
                       ORDER BY plan_step.due_ms, plan_step.id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(now.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(kept)
        .collect()
}

/// Adds one step to a wound's plan.
pub async fn add(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
    step: PlanStep,
    moment: &Moment,
) -> Stored<PlanStepId> {
    const SQL: &str = "INSERT INTO plan_step (id, practice_id, wound_id, kind, from_ms, due_ms, changed_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7)";
    let id = PlanStepId::mint(moment);
    sqlx::query(SQL)
        .bind(id.to_string())
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(step.kind.code())
        .bind(step.from.as_millisecond())
        .bind(step.due.as_millisecond())
        .bind(moment.now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(id)
}

/// Keeps a step's new kind and times.
pub async fn change(
    conn: &mut Conn,
    practice: PracticeId,
    id: PlanStepId,
    step: PlanStep,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE plan_step SET kind = $3, from_ms = $4, due_ms = $5, sequence = sequence + 1, \
                       changed_ms = $6 WHERE practice_id = $1 AND id = $2";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(step.kind.code())
        .bind(step.from.as_millisecond())
        .bind(step.due.as_millisecond())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Notes that one step was done; the first time stands.
pub async fn note_done(conn: &mut Conn, practice: PracticeId, id: PlanStepId, at: Timestamp) -> Stored<()> {
    sqlx::query("UPDATE plan_step SET done_ms = COALESCE(done_ms, $3) WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Notes that the open steps of a kind that began at `until` or before were done.
pub async fn note_kind_done(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
    kind: StepKind,
    until: Timestamp,
    at: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE plan_step SET done_ms = $5 WHERE practice_id = $1 AND wound_id = $2 AND kind = $3 \
                       AND from_ms <= $4 AND done_ms IS NULL";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(kind.code())
        .bind(until.as_millisecond())
        .bind(at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// What was noted as done at `done` or later is open again, at the times it had.
pub async fn reopen_kind(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
    kind: StepKind,
    done: Timestamp,
    at: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE plan_step SET done_ms = NULL, sequence = sequence + 1, changed_ms = $5 \
                       WHERE practice_id = $1 AND wound_id = $2 AND kind = $3 AND done_ms >= $4";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(kind.code())
        .bind(done.as_millisecond())
        .bind(at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Cancels one open step.
pub async fn cancel(
    conn: &mut Conn,
    practice: PracticeId,
    id: PlanStepId,
    why: CancelledWhy,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE plan_step SET cancelled_ms = $3, cancelled_why = $4, sequence = sequence + 1, \
                       changed_ms = $3 WHERE practice_id = $1 AND id = $2 AND done_ms IS NULL \
                       AND cancelled_ms IS NULL";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(now.as_millisecond())
        .bind(why.code())
        .execute(conn)
        .await?;
    Ok(())
}

/// Brings back what a pause cancelled and is due after `now`.
pub async fn bring_back(conn: &mut Conn, practice: PracticeId, wound: WoundId, now: Timestamp) -> Stored<()> {
    const SQL: &str = "UPDATE plan_step SET cancelled_ms = NULL, cancelled_why = NULL, sequence = sequence + 1, \
                       changed_ms = $3 WHERE practice_id = $1 AND wound_id = $2 AND cancelled_why = 'paused' \
                       AND due_ms > $3";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// A pause as it was set; it may have run out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pause {
    pub since: Timestamp,
    pub until: Timestamp,
}

/// How a plan ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ended {
    pub why: EndWhy,
    pub by: StaffId,
    pub at: Timestamp,
}

/// How a wound's plan stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    pub pause: Option<Pause>,
    pub ended: Option<Ended>,
}

impl Standing {
    /// The pause that runs now; `None`: the plan runs.
    pub fn paused(&self, now: Timestamp) -> Option<Pause> {
        self.pause.filter(|pause| pause.until > now)
    }
}

/// How a wound's plan stands; as one that runs when there is no such wound.
pub async fn standing(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Standing> {
    const SQL: &str = "SELECT paused_ms, paused_until_ms, ended_why, ended_by, ended_ms FROM wound \
                       WHERE practice_id = $1 AND id = $2";
    let row =
        sqlx::query(SQL).bind(practice.to_string()).bind(wound.to_string()).fetch_optional(conn).await?;
    let Some(row) = row else { return Ok(Standing::default()) };
    let pause = match (row.time_maybe("paused_ms")?, row.time_maybe("paused_until_ms")?) {
        (Some(since), Some(until)) => Some(Pause { since, until }),
        (Some(_) | None, _) => None,
    };
    let ended =
        match (row.parsed_maybe("ended_why")?, row.parsed_maybe("ended_by")?, row.time_maybe("ended_ms")?) {
            (Some(why), Some(by), Some(at)) => Some(Ended { why, by, at }),
            (Some(_) | None, _, _) => None,
        };
    Ok(Standing { pause, ended })
}

/// Sets or lifts a pause.
pub async fn set_pause(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
    pause: Option<Pause>,
) -> Stored<()> {
    sqlx::query("UPDATE wound SET paused_ms = $3, paused_until_ms = $4 WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(pause.map(|pause| pause.since.as_millisecond()))
        .bind(pause.map(|pause| pause.until.as_millisecond()))
        .execute(conn)
        .await?;
    Ok(())
}

/// Ends a wound's plan and cancels what was still to come. False: it had ended before.
pub async fn end(conn: &mut Conn, practice: PracticeId, wound: WoundId, ended: Ended) -> Stored<bool> {
    const SQL: &str = "UPDATE wound SET state = 'closed', ended_why = $3, ended_by = $4, ended_ms = $5 \
                       WHERE practice_id = $1 AND id = $2 AND state = 'open'";
    let closed = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(ended.why.code())
        .bind(ended.by.to_string())
        .bind(ended.at.as_millisecond())
        .execute(&mut *conn)
        .await?;
    if closed.rows_affected() != 1 {
        return Ok(false);
    }
    for step in steps(conn, practice, wound).await? {
        cancel(conn, practice, step.id, CancelledWhy::Ended, ended.at).await?;
    }
    Ok(true)
}

coded! {
    /// What staff did to a plan.
    pub enum ChangeKind {
        Moved = "moved",
        Done = "done",
        Paused = "paused",
        Resumed = "resumed",
        /// Washing twice a day from week 2, because of bowel trouble.
        WashTwice = "wash_twice",
        WashOnce = "wash_once",
        Visit = "visit",
        Ended = "ended",
    }
}

/// One thing done to a plan.
#[derive(Clone, Debug)]
pub struct PlanChange {
    pub kind: ChangeKind,
    /// `None`: about the whole plan.
    pub step: Option<PlanStepId>,
    pub was: Option<Timestamp>,
    /// The new due time, or the end of a pause.
    pub becomes: Option<Timestamp>,
    /// In the words of whoever did it; may be empty.
    pub reason: FreeText,
    pub by: StaffId,
    pub at: Timestamp,
}

pub async fn note_change(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
    change: &PlanChange,
    moment: &Moment,
) -> Stored<()> {
    const SQL: &str = "INSERT INTO plan_change (id, practice_id, wound_id, step_id, kind, was_ms, becomes_ms, \
                       reason, reason_sealed, staff_id, at_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7, '', $8, $9, $10)";
    let id = PlanChangeId::mint(moment);
    let reason = conn.texts().seal(&change.reason, &PLAN_CHANGE_REASON, id)?;
    sqlx::query(SQL)
        .bind(id.to_string())
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(change.step.map(|step| step.to_string()))
        .bind(change.kind.code())
        .bind(change.was.map(Timestamp::as_millisecond))
        .bind(change.becomes.map(Timestamp::as_millisecond))
        .bind(reason)
        .bind(change.by.to_string())
        .bind(change.at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// What was done to a wound's plan, newest first.
pub async fn changes(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<PlanChange>> {
    sqlx::query(
        "SELECT * FROM plan_change WHERE practice_id = $1 AND wound_id = $2 ORDER BY at_ms DESC, id DESC",
    )
    .bind(practice.to_string())
    .bind(wound.to_string())
    .fetch_all(&mut *conn)
    .await?
    .iter()
    .map(|row| {
        Ok(PlanChange {
            kind: row.parsed("kind")?,
            step: row.parsed_maybe("step_id")?,
            was: row.time_maybe("was_ms")?,
            becomes: row.time_maybe("becomes_ms")?,
            reason: conn.texts().open(row, &PLAN_CHANGE_REASON, row.text("id")?)?,
            by: row.parsed("staff_id")?,
            at: row.time("at_ms")?,
        })
    })
    .collect()
}
