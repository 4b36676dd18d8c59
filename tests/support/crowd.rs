//! A practice with thousands of checks, made in the database itself from its first one.

use sqlx::AssertSqlSafe;

use closewatch::store::Engine;

use super::Practice;

/// How many checks are kept, and how many of them wait, each on a wound of its own.
#[derive(Clone, Copy)]
pub struct Crowd {
    pub kept: usize,
    pub waiting: usize,
    pub due: Due,
}

/// When what waits is due, and how urgent it is.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Due {
    /// In the hour before and after now, in every class.
    AroundNow,
    /// In the hours to come, and nothing that calls anybody.
    Later,
}

impl Due {
    /// Its class and how many minutes from now, by the number of the check.
    fn sql(self) -> (&'static str, &'static str) {
        match self {
            Due::AroundNow => ("n.i % 5", "n.i % 120 - 60"),
            Due::Later => ("2 + n.i % 3", "120 + n.i % 1200"),
        }
    }
}

/// Multiplies the first patient, wound and check of a practice: a check for every fiftieth of a wound, the last ones waiting,
/// each of those with a photo. They stand there as an older program left them, without sums: summing so many takes a minute.
pub async fn fill(practice: &Practice, crowd: Crowd) {
    let wounds = (crowd.kept / 50).max(crowd.waiting);
    let more = crowd.kept - 1;
    let closed_up_to = crowd.kept - crowd.waiting;
    let (class, minutes) = crowd.due.sql();
    let numbers = |up_to: usize| {
        format!("WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < {up_to})")
    };
    // Twelve digits are twelve hex letters: the end of an id.
    let id = |kind: &str, number: &str| {
        format!("'018f0000-0000-7000-{kind}-' || CAST(100000000000 + ({number}) AS TEXT)")
    };
    let (patient, wound) = (id("8001", "n.i"), id("8002", "n.i"));
    let (check, its_wound) = (id("8003", "n.i"), id("8002", &format!("1 + n.i % {wounds}")));
    let photo = id("8004", "n.i");
    let statements = [
        format!(
            "INSERT INTO patient (id, practice_id, name, name_folded, born, phone, language, created_ms) {} \
             SELECT {patient}, p.practice_id, p.name || ' ' || CAST(n.i AS TEXT), \
             p.name_folded || ' ' || CAST(n.i AS TEXT), p.born, p.phone, p.language, p.created_ms \
             FROM n, (SELECT * FROM patient LIMIT 1) p",
            numbers(wounds)
        ),
        format!(
            "INSERT INTO wound (id, practice_id, patient_id, surgeon_id, operation, risk_factors, operated_ms, state, \
             enrol_key, created_ms) {} SELECT {wound}, w.practice_id, {patient}, w.surgeon_id, w.operation, \
             w.risk_factors, w.operated_ms, w.state, 'key ' || CAST(n.i AS TEXT), w.created_ms \
             FROM n, (SELECT * FROM wound LIMIT 1) w",
            numbers(wounds)
        ),
        format!(
            "INSERT INTO wound_check (id, practice_id, wound_id, link_id, sequence, form_key, receipt, state, \
             received_ms, answers, assessment, protocol_version, urgency, score, due_ms, photos_expected, closed_ms) {} \
             SELECT {check}, c.practice_id, {its_wound}, c.link_id, n.i + 1, 'form ' || CAST(n.i AS TEXT), \
             'R' || CAST(n.i AS TEXT), CASE WHEN n.i < {closed_up_to} THEN 'closed' ELSE 'queued' END, c.received_ms, \
             c.answers, c.assessment, c.protocol_version, {class}, c.score, \
             c.received_ms + ({minutes}) * 60000, 1, \
             CASE WHEN n.i < {closed_up_to} THEN c.received_ms ELSE NULL END \
             FROM n, (SELECT * FROM wound_check LIMIT 1) c",
            numbers(more)
        ),
        format!(
            "INSERT INTO photo (id, practice_id, check_id, position, sent_sha256, small_sha256, flags, received_ms) {} \
             SELECT {photo}, c.practice_id, {check}, 1, 'sent', 'small', '[]', c.received_ms \
             FROM n, (SELECT * FROM wound_check LIMIT 1) c",
            numbers(more)
        ),
        format!("UPDATE practice SET check_sequence = {}", crowd.kept),
        "DELETE FROM unsummed".to_owned(),
    ];
    if closed_up_to > 0 {
        let close = "UPDATE wound_check SET state = 'closed', closed_ms = received_ms";
        let mut tx = practice.desk().db.write().await.unwrap();
        sqlx::query(close).execute(&mut *tx).await.unwrap();
        tx.commit().await.unwrap();
    }
    let mut tx = practice.desk().db.write().await.unwrap();
    for statement in statements {
        sqlx::query(AssertSqlSafe(statement)).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
    // PostgreSQL gathers its statistics by itself some time after many rows came; SQLite goes on without.
    if practice.desk().db.engine() == Engine::Postgres {
        sqlx::query("ANALYZE").execute(&mut *practice.books().await).await.unwrap();
    }
}
