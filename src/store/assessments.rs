//! Assessments: every one a check ever had, and the facts a trial reads.

use futures::TryStreamExt;
use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::WoundCheckId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::checks::WoundCheck;
use crate::store::row::Columns;
use crate::store::row::to_json;
use crate::triage::Assessment;
use crate::triage::CheckFacts;
use crate::triage::Urgency;

/// One assessment, as kept.
#[derive(Clone, Debug)]
pub struct KeptAssessment {
    /// From 1 within the check.
    pub number: i64,
    pub made: Timestamp,
    /// `None`: made before facts were kept.
    pub facts: Option<CheckFacts>,
    pub assessment: Assessment,
}

fn kept(row: &AnyRow) -> Stored<KeptAssessment> {
    let facts = match row.text_maybe("facts")? {
        Some(_) => Some(row.json("facts")?),
        None => None,
    };
    Ok(KeptAssessment {
        number: row.whole("number")?,
        made: row.time("made_ms")?,
        facts,
        assessment: row.json("assessment")?,
    })
}

/// Adds the check's assessment as it stands now. The check's wound must be held.
pub async fn add(conn: &mut Conn, check: &WoundCheck, made: Timestamp) -> Stored<()> {
    const SQL: &str = "INSERT INTO assessment (check_id, practice_id, number, made_ms, protocol_version, facts, \
                       assessment) SELECT $1, $2, COALESCE(MAX(number), 0) + 1, $3, $4, $5, $6 FROM assessment \
                       WHERE check_id = $1";
    sqlx::query(SQL)
        .bind(check.id.to_string())
        .bind(check.practice.to_string())
        .bind(made.as_millisecond())
        .bind(&check.assessment.protocol_version)
        .bind(check.facts.as_ref().map(to_json).transpose()?)
        .bind(to_json(&check.assessment)?)
        .execute(conn)
        .await?;
    Ok(())
}

/// Every assessment of a check, oldest first.
pub async fn of_check(
    conn: &mut Conn,
    practice: PracticeId,
    check: WoundCheckId,
) -> Stored<Vec<KeptAssessment>> {
    sqlx::query("SELECT * FROM assessment WHERE practice_id = $1 AND check_id = $2 ORDER BY number")
        .bind(practice.to_string())
        .bind(check.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(kept)
        .collect()
}

/// What a trial reads of one check: small, so that years of them pass through quickly.
#[derive(Clone, Debug)]
pub struct TriedCheck {
    pub id: String,
    pub sequence: i64,
    /// [`CheckFacts`] as JSON; `None`: received before facts were kept.
    pub facts: Option<String>,
}

/// The next checks after `sequence`, in order of arrival, at most `limit` of them.
pub async fn after(
    conn: &mut Conn,
    practice: PracticeId,
    sequence: i64,
    limit: i64,
) -> Stored<Vec<TriedCheck>> {
    const SQL: &str = "SELECT id, sequence, facts FROM wound_check WHERE practice_id = $1 AND sequence > $2 \
                       ORDER BY sequence LIMIT $3";
    let mut rows = sqlx::query(SQL).bind(practice.to_string()).bind(sequence).bind(limit).fetch(&mut *conn);
    let mut checks = Vec::new();
    while let Some(row) = rows.try_next().await? {
        checks.push(TriedCheck {
            id: row.text("id")?,
            sequence: row.whole("sequence")?,
            facts: row.text_maybe("facts")?,
        });
    }
    Ok(checks)
}

/// The part of an assessment that says which rules fired.
#[derive(serde::Deserialize)]
struct Fired {
    reasons: Vec<FiredRule>,
}

#[derive(serde::Deserialize)]
struct FiredRule {
    rule_id: String,
    urgency: Urgency,
}

/// Hands every rule that fired in a check received from `begins` on to `each`, with the class it had then.
pub async fn each_fired(
    conn: &mut Conn,
    practice: PracticeId,
    begins: Timestamp,
    mut each: impl FnMut(WoundCheckId, String, Urgency),
) -> Stored<()> {
    const SQL: &str = "SELECT id, assessment FROM wound_check WHERE practice_id = $1 AND received_ms >= $2";
    let mut rows =
        sqlx::query(SQL).bind(practice.to_string()).bind(begins.as_millisecond()).fetch(&mut *conn);
    while let Some(row) = rows.try_next().await? {
        let check = row.parsed("id")?;
        let fired: Fired = row.json("assessment")?;
        for rule in fired.reasons {
            each(check, rule.rule_id, rule.urgency);
        }
    }
    Ok(())
}
