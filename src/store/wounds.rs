//! Wounds from operation to closure, and the dated steps of their care plans.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::Moment;
use crate::ids::PatientId;
use crate::ids::PlanStepId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::ids::WoundId;
use crate::plan::Operation;
use crate::plan::PlanStep;
use crate::plan::RiskFactors;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::wound_words;
use crate::store::wound_words::Apart;

/// One open wound.
#[derive(Clone, Debug, PartialEq)]
pub struct Wound {
    pub id: WoundId,
    pub practice: PracticeId,
    pub patient: PatientId,
    pub surgeon: StaffId,
    pub operation: Operation,
    pub risk: RiskFactors,
    /// When all of the strip was reported out; `None`: not yet, or there never was one.
    pub strip_out: Option<Timestamp>,
    /// When the last check came in; `None`: none yet.
    pub last_check: Option<Timestamp>,
    pub state: WoundState,
    pub enrolled: Timestamp,
}

crate::plan::coded! {
    /// Where a wound stands in the practice's books.
    pub enum WoundState { Open = "open", Closed = "closed" }
}

fn wound(row: &AnyRow, texts: &Texts) -> Stored<Wound> {
    let id = row.parsed("id")?;
    let (operation, risk) = wound_words::read(row, texts, id)?;
    Ok(Wound {
        id,
        practice: row.parsed("practice_id")?,
        patient: row.parsed("patient_id")?,
        surgeon: row.parsed("surgeon_id")?,
        operation,
        risk,
        strip_out: row.time_maybe("strip_out_ms")?,
        last_check: row.time_maybe("last_check_ms")?,
        state: row.parsed("state")?,
        enrolled: row.time("created_ms")?,
    })
}

/// `enrol_key`: the enrolment form's own key; a second wound under the same key is a duplicate.
pub async fn insert(conn: &mut Conn, wound: &Wound, enrol_key: &str) -> Stored<()> {
    const SQL: &str = "INSERT INTO wound (id, practice_id, patient_id, surgeon_id, operation, risk_factors, \
                       operated_ms, state, enrol_key, created_ms, typed_sealed) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)";
    let Apart { operation, risk, typed } =
        wound_words::apart(&wound.operation, &wound.risk, conn.texts(), wound.id)?;
    sqlx::query(SQL)
        .bind(wound.id.to_string())
        .bind(wound.practice.to_string())
        .bind(wound.patient.to_string())
        .bind(wound.surgeon.to_string())
        .bind(operation)
        .bind(risk)
        .bind(wound.operation.operated.as_millisecond())
        .bind(wound.state.code())
        .bind(enrol_key)
        .bind(wound.enrolled.as_millisecond())
        .bind(typed)
        .execute(conn)
        .await?;
    Ok(())
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: WoundId) -> Stored<Option<Wound>> {
    sqlx::query("SELECT * FROM wound WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| wound(row, conn.texts()))
        .transpose()
}

/// Reads a wound and holds it until the transaction ends: whoever else wants to hold it waits. A step that reads what
/// stands about a wound and then writes what follows from it holds the wound first, before it locks anything else, so
/// that nothing it read is overtaken. On SQLite a write transaction is alone anyway.
pub async fn hold(conn: &mut Conn, practice: PracticeId, id: WoundId) -> Stored<Option<Wound>> {
    sqlx::query("UPDATE wound SET state = state WHERE practice_id = $1 AND id = $2 RETURNING *")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| wound(row, conn.texts()))
        .transpose()
}

/// The wound an enrolment form already made; `None` when its key is new.
pub async fn by_enrol_key(conn: &mut Conn, practice: PracticeId, enrol_key: &str) -> Stored<Option<Wound>> {
    sqlx::query("SELECT * FROM wound WHERE practice_id = $1 AND enrol_key = $2")
        .bind(practice.to_string())
        .bind(enrol_key)
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| wound(row, conn.texts()))
        .transpose()
}

/// A patient's wounds, newest operation first.
pub async fn of_patient(conn: &mut Conn, practice: PracticeId, patient: PatientId) -> Stored<Vec<Wound>> {
    sqlx::query(
        "SELECT * FROM wound WHERE practice_id = $1 AND patient_id = $2 ORDER BY operated_ms DESC, id",
    )
    .bind(practice.to_string())
    .bind(patient.to_string())
    .fetch_all(&mut *conn)
    .await?
    .iter()
    .map(|row| wound(row, conn.texts()))
    .collect()
}

/// Ids of every wound the practice ever had, in the order of enrolment.
pub async fn all(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<WoundId>> {
    sqlx::query("SELECT id FROM wound WHERE practice_id = $1 ORDER BY created_ms, id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("id"))
        .collect()
}

/// Every open wound of the practice, newest operation first.
pub async fn open(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<Wound>> {
    sqlx::query("SELECT * FROM wound WHERE practice_id = $1 AND state = 'open' ORDER BY operated_ms DESC, id")
        .bind(practice.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| wound(row, conn.texts()))
        .collect()
}

pub async fn note_check(conn: &mut Conn, wound: &Wound, received: Timestamp) -> Stored<()> {
    sqlx::query("UPDATE wound SET last_check_ms = $3 WHERE practice_id = $1 AND id = $2")
        .bind(wound.practice.to_string())
        .bind(wound.id.to_string())
        .bind(received.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Keeps what is known about the patient's risks; what was assessed before keeps the facts of its day. The wound must be held.
pub async fn set_risk(conn: &mut Conn, practice: PracticeId, id: WoundId, risk: &RiskFactors) -> Stored<()> {
    const NOW: &str =
        "SELECT operation, risk_factors, typed_sealed FROM wound WHERE practice_id = $1 AND id = $2";
    const SQL: &str = "UPDATE wound SET operation = $3, risk_factors = $4, typed_sealed = $5 \
                       WHERE practice_id = $1 AND id = $2";
    let found =
        sqlx::query(NOW).bind(practice.to_string()).bind(id.to_string()).fetch_optional(&mut *conn).await?;
    let Some(row) = found else { return Ok(()) };
    let kept = wound_words::with_risk(&row, risk, conn.texts(), id)?;
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(kept.operation)
        .bind(kept.risk)
        .bind(kept.typed)
        .execute(conn)
        .await?;
    Ok(())
}

/// Notes that all of the strip was reported out. The first report stands.
pub async fn note_strip_out(conn: &mut Conn, wound: &Wound, at: Timestamp) -> Stored<()> {
    sqlx::query(
        "UPDATE wound SET strip_out_ms = COALESCE(strip_out_ms, $3) WHERE practice_id = $1 AND id = $2",
    )
    .bind(wound.practice.to_string())
    .bind(wound.id.to_string())
    .bind(at.as_millisecond())
    .execute(conn)
    .await?;
    Ok(())
}

/// Takes back that all of the strip was out.
pub async fn note_strip_in(conn: &mut Conn, practice: PracticeId, id: WoundId) -> Stored<()> {
    sqlx::query("UPDATE wound SET strip_out_ms = NULL WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .execute(conn)
        .await?;
    Ok(())
}

pub async fn insert_plan(conn: &mut Conn, wound: &Wound, steps: &[PlanStep], moment: &Moment) -> Stored<()> {
    const SQL: &str = "INSERT INTO plan_step (id, practice_id, wound_id, kind, from_ms, due_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6)";
    for step in steps {
        sqlx::query(SQL)
            .bind(PlanStepId::mint(moment).to_string())
            .bind(wound.practice.to_string())
            .bind(wound.id.to_string())
            .bind(step.kind.code())
            .bind(step.from.as_millisecond())
            .bind(step.due.as_millisecond())
            .execute(&mut *conn)
            .await?;
    }
    Ok(())
}

/// The wound's dated steps, in order, without those that were cancelled.
pub async fn plan(conn: &mut Conn, practice: PracticeId, id: WoundId) -> Stored<Vec<PlanStep>> {
    sqlx::query(
        "SELECT * FROM plan_step WHERE practice_id = $1 AND wound_id = $2 AND cancelled_ms IS NULL \
         ORDER BY from_ms, due_ms, id",
    )
    .bind(practice.to_string())
    .bind(id.to_string())
    .fetch_all(conn)
    .await?
    .iter()
    .map(|row| {
        Ok(PlanStep { kind: row.parsed("kind")?, from: row.time("from_ms")?, due: row.time("due_ms")? })
    })
    .collect()
}
