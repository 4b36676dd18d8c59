//! Finding lines of the record: by person, kind, day and patient.

use jiff::Timestamp;

use crate::ids::PatientId;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::audit::AuditEntry;
use crate::store::audit::entry;
use crate::store::row::Columns;

/// As many beginnings of actions as one kind of line may have.
pub const MOST_BEGINNINGS: usize = 8;

/// What is looked for; what is left empty asks for nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Looked {
    /// As lines name who did it, such as `staff:ID` or `program`; empty: anybody.
    pub actor: String,
    /// What the action begins with, such as `sign_in`; none: any. At most [`MOST_BEGINNINGS`] count.
    pub beginnings: Vec<&'static str>,
    /// The first moment; `None`: from the beginning.
    pub from: Option<Timestamp>,
    /// The first moment that is too late; `None`: until now.
    pub until: Option<Timestamp>,
    /// Lines about this patient, their wounds and whatever belongs to these, and what came through their links.
    pub patient: Option<PatientId>,
}

/// The lines that fit, newest first, before the line `before`, at most `limit`.
pub async fn find(
    conn: &mut Conn,
    practice: PracticeId,
    looked: &Looked,
    before: i64,
    limit: i64,
) -> Stored<Vec<AuditEntry>> {
    const SQL: &str = "WITH of_wounds AS (SELECT id FROM wound WHERE practice_id = $1 AND patient_id = $15), \
        of_checks AS (SELECT id FROM wound_check WHERE practice_id = $1 AND wound_id IN (SELECT id FROM of_wounds)), \
        of_links AS (SELECT id FROM patient_link WHERE practice_id = $1 AND wound_id IN (SELECT id FROM of_wounds)), \
        of_calls AS (SELECT id FROM callback WHERE practice_id = $1 AND wound_id IN (SELECT id FROM of_wounds)), \
        things AS (SELECT 'patient:' || id AS thing FROM patient WHERE practice_id = $1 AND id = $15 \
            UNION ALL SELECT 'wound:' || id FROM of_wounds \
            UNION ALL SELECT 'check:' || id FROM of_checks \
            UNION ALL SELECT 'link:' || id FROM of_links \
            UNION ALL SELECT 'callback:' || id FROM of_calls \
            UNION ALL SELECT 'call:' || id FROM of_calls \
            UNION ALL SELECT 'photo:' || id FROM photo WHERE practice_id = $1 AND check_id IN (SELECT id FROM of_checks) \
            UNION ALL SELECT 'review:' || id FROM review WHERE practice_id = $1 AND check_id IN (SELECT id FROM of_checks) \
            UNION ALL SELECT 'message:' || id FROM message WHERE practice_id = $1 \
                AND wound_id IN (SELECT id FROM of_wounds) \
            UNION ALL SELECT 'silence:' || id FROM silence WHERE practice_id = $1 \
                AND wound_id IN (SELECT id FROM of_wounds) \
            UNION ALL SELECT 'antibiotic:' || id FROM antibiotic_course WHERE practice_id = $1 \
                AND wound_id IN (SELECT id FROM of_wounds) \
            UNION ALL SELECT 'step:' || id FROM plan_step WHERE practice_id = $1 \
                AND wound_id IN (SELECT id FROM of_wounds) \
            UNION ALL SELECT 'late_knock:' || id FROM late_knock WHERE practice_id = $1 \
                AND wound_id IN (SELECT id FROM of_wounds) \
            UNION ALL SELECT 'ladder:' || id FROM ladder WHERE practice_id = $1 \
                AND (about IN (SELECT 'check:' || id FROM of_checks) OR about IN (SELECT 'callback:' || id FROM of_calls))) \
        SELECT * FROM audit WHERE practice_id = $1 AND sequence < $2 AND ($3 = '' OR actor = $3) \
        AND at_ms >= $4 AND at_ms < $5 \
        AND ($6 = '' OR action LIKE $6 OR action LIKE $7 OR action LIKE $8 OR action LIKE $9 OR action LIKE $10 \
            OR action LIKE $11 OR action LIKE $12 OR action LIKE $13) \
        AND ($15 = '' OR subject IN (SELECT thing FROM things) \
            OR (actor LIKE 'link:%' AND actor IN (SELECT thing FROM things))) \
        ORDER BY sequence DESC LIMIT $14";
    let mut query = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(before)
        .bind(&looked.actor)
        .bind(looked.from.map_or(i64::MIN, Timestamp::as_millisecond))
        .bind(looked.until.map_or(i64::MAX, Timestamp::as_millisecond));
    for place in 0..MOST_BEGINNINGS {
        query =
            query.bind(looked.beginnings.get(place).map_or_else(String::new, |begins| format!("{begins}%")));
    }
    query
        .bind(limit)
        .bind(looked.patient.map_or_else(String::new, |patient| patient.to_string()))
        .fetch_all(conn)
        .await?
        .iter()
        .map(entry)
        .collect()
}

/// The patients a reference can mean: an id, at least the last six letters of one, or the receipt of a check. More than one:
/// it does not say enough.
pub async fn patients_meant(
    conn: &mut Conn,
    practice: PracticeId,
    reference: &str,
) -> Stored<Vec<PatientId>> {
    const SQL: &str = "SELECT id FROM patient WHERE practice_id = $1 AND id LIKE $2 ESCAPE '!' \
                       UNION SELECT wound.patient_id FROM wound_check JOIN wound ON wound.id = wound_check.wound_id \
                       WHERE wound_check.practice_id = $1 AND wound_check.receipt = $3";
    const SHORTEST: usize = 6;
    let plain = reference.trim().to_lowercase();
    let is_end_of_id =
        plain.len() >= SHORTEST && plain.chars().all(|letter| letter.is_ascii_hexdigit() || letter == '-');
    let end = if is_end_of_id { format!("%{plain}") } else { String::new() };
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(end)
        .bind(reference.trim().to_uppercase())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("id"))
        .collect()
}
