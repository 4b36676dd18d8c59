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
    /// Lines about this patient, their wounds and whatever belongs to these, what was sent to their links, and what came through
    /// them.
    pub patient: Option<PatientId>,
}

/// What else is asked of a line, with `$2` to `$14`.
macro_rules! fits {
    () => {
        "audit.sequence < $2 AND ($3 = '' OR audit.actor = $3) AND audit.at_ms >= $4 AND audit.at_ms < $5 \
         AND ($6 = '' OR audit.action LIKE $6 OR audit.action LIKE $7 OR audit.action LIKE $8 \
         OR audit.action LIKE $9 OR audit.action LIKE $10 OR audit.action LIKE $11 OR audit.action LIKE $12 \
         OR audit.action LIKE $13) ORDER BY audit.sequence DESC LIMIT $14"
    };
}

const OF_ALL: &str = concat!("SELECT audit.* FROM audit WHERE audit.practice_id = $1 AND ", fits!());

/// About the patient `$15`. What lines can be about is gathered first, and each of it looked up by its index: a practice's whole
/// record is never read for one patient. A CROSS JOIN keeps SQLite to that order.
const OF_PATIENT: &str = concat!(
    "WITH of_wounds AS (SELECT id FROM wound WHERE practice_id = $1 AND patient_id = $15), \
     of_checks AS (SELECT wound_check.id FROM of_wounds CROSS JOIN wound_check \
        WHERE wound_check.practice_id = $1 AND wound_check.wound_id = of_wounds.id), \
     of_links AS (SELECT id FROM patient_link WHERE practice_id = $1 AND wound_id IN (SELECT id FROM of_wounds)), \
     of_calls AS (SELECT callback.id FROM of_wounds CROSS JOIN callback \
        WHERE callback.practice_id = $1 AND callback.wound_id = of_wounds.id), \
     of_notices AS (SELECT notice.id FROM of_links CROSS JOIN notice \
        WHERE notice.practice_id = $1 AND notice.recipient = 'link:' || of_links.id), \
     of_letters AS (SELECT delivery.id FROM of_notices CROSS JOIN delivery \
        WHERE delivery.practice_id = $1 AND delivery.notice_id = of_notices.id), \
     named AS (SELECT 'patient:' || id AS thing FROM patient WHERE practice_id = $1 AND id = $15 \
        UNION ALL SELECT 'wound:' || id FROM of_wounds \
        UNION ALL SELECT 'check:' || id FROM of_checks \
        UNION ALL SELECT 'link:' || id FROM of_links \
        UNION ALL SELECT 'callback:' || id FROM of_calls \
        UNION ALL SELECT 'call:' || id FROM of_calls \
        UNION ALL SELECT 'notice:' || id FROM of_notices \
        UNION ALL SELECT 'delivery:' || id FROM of_letters \
        UNION ALL SELECT 'photo:' || photo.id FROM of_checks CROSS JOIN photo \
            WHERE photo.practice_id = $1 AND photo.check_id = of_checks.id \
        UNION ALL SELECT 'review:' || id FROM review WHERE practice_id = $1 AND check_id IN (SELECT id FROM of_checks) \
        UNION ALL SELECT 'message:' || id FROM message WHERE practice_id = $1 AND wound_id IN (SELECT id FROM of_wounds) \
        UNION ALL SELECT 'silence:' || id FROM silence WHERE practice_id = $1 AND wound_id IN (SELECT id FROM of_wounds) \
        UNION ALL SELECT 'antibiotic:' || id FROM antibiotic_course WHERE practice_id = $1 \
            AND wound_id IN (SELECT id FROM of_wounds) \
        UNION ALL SELECT 'step:' || id FROM plan_step WHERE practice_id = $1 AND wound_id IN (SELECT id FROM of_wounds) \
        UNION ALL SELECT 'late_knock:' || id FROM late_knock WHERE practice_id = $1 \
            AND wound_id IN (SELECT id FROM of_wounds)), \
     of_ladders AS (SELECT ladder.id FROM named CROSS JOIN ladder \
        WHERE ladder.practice_id = $1 AND ladder.about = named.thing), \
     worked_on AS (SELECT id FROM of_notices UNION ALL SELECT id FROM of_letters UNION ALL SELECT id FROM of_ladders), \
     things AS (SELECT thing FROM named \
        UNION ALL SELECT 'ladder:' || id FROM of_ladders \
        UNION ALL SELECT 'job:' || job.id FROM worked_on CROSS JOIN job \
            WHERE job.practice_id = $1 AND job.about = worked_on.id), \
     theirs AS (SELECT audit.sequence FROM things CROSS JOIN audit \
            WHERE audit.practice_id = $1 AND audit.subject = things.thing \
        UNION SELECT audit.sequence FROM of_links CROSS JOIN audit \
            WHERE audit.practice_id = $1 AND audit.actor = 'link:' || of_links.id) \
     SELECT audit.* FROM theirs CROSS JOIN audit WHERE audit.practice_id = $1 AND audit.sequence = theirs.sequence AND ",
    fits!()
);

/// The lines that fit, newest first, before the line `before`, at most `limit`.
pub async fn find(
    conn: &mut Conn,
    practice: PracticeId,
    looked: &Looked,
    before: i64,
    limit: i64,
) -> Stored<Vec<AuditEntry>> {
    let sql = if looked.patient.is_some() { OF_PATIENT } else { OF_ALL };
    let mut query = sqlx::query(sql)
        .bind(practice.to_string())
        .bind(before)
        .bind(&looked.actor)
        .bind(looked.from.map_or(i64::MIN, Timestamp::as_millisecond))
        .bind(looked.until.map_or(i64::MAX, Timestamp::as_millisecond));
    for place in 0..MOST_BEGINNINGS {
        query =
            query.bind(looked.beginnings.get(place).map_or_else(String::new, |begins| format!("{begins}%")));
    }
    query = query.bind(limit);
    if let Some(patient) = looked.patient {
        query = query.bind(patient.to_string());
    }
    query.fetch_all(conn).await?.iter().map(entry).collect()
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

#[cfg(test)]
mod tests {
    use sqlx::AssertSqlSafe;
    use sqlx::Row;

    use super::*;
    use crate::store::Db;

    #[tokio::test]
    async fn the_lines_of_one_patient_are_looked_up_and_no_whole_record_is_read_for_them() {
        let folder = tempfile::tempdir().unwrap();
        let db = Db::open(&format!("sqlite:{}", folder.path().join("a.sqlite").display())).await.unwrap();
        let plan = sqlx::query(AssertSqlSafe(format!("EXPLAIN QUERY PLAN {OF_PATIENT}")))
            .fetch_all(&mut *db.read().await.unwrap())
            .await
            .unwrap();
        let steps: Vec<String> = plan.iter().map(|row| row.try_get("detail").unwrap()).collect();
        for wanted in [
            "audit_by_subject (practice_id=? AND subject=?)",
            "audit_by_actor (practice_id=? AND actor=?)",
            "notice_to (practice_id=? AND recipient=?)",
            "delivery_by_notice (practice_id=? AND notice_id=?)",
        ] {
            assert!(steps.iter().any(|step| step.ends_with(wanted)), "{wanted}: {steps:#?}");
        }
        for table in ["audit", "notice", "delivery", "ladder", "job", "wound_check", "photo", "callback"] {
            let whole = [format!("SCAN {table}"), format!("SEARCH {table}")];
            let reads_whole = |step: &&String| {
                step.starts_with(&whole[0])
                    || step.starts_with(&whole[1]) && step.ends_with("(practice_id=?)")
            };
            assert_eq!(steps.iter().find(reads_whole), None, "{steps:#?}");
        }
        db.close().await;
    }
}
