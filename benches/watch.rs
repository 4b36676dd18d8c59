//! What one look of the watch costs in a practice with 30, 300 and 3,000 open wounds, a tenth of whose patients are silent.
//!
//! `cargo bench --bench watch`. The reference is the same run's plain reading of every open wound and its steps, over the
//! same connection. Ends with 1 when a wound costs more than one and a half times as much among 3,000 as among 300.
#![expect(clippy::disallowed_methods, reason = "a stopwatch is what this is")]

#[path = "../tests/support/mod.rs"]
mod support;

use std::process::ExitCode;
use std::time::Instant;

use sqlx::AssertSqlSafe;

use support::Place;
use support::Practice;
use support::middle_ms;

const MOST_GROWTH: f64 = 1.5;
const WOUNDS: [usize; 3] = [30, 300, 3_000];
/// One in so many patients is silent.
const SILENT: usize = 10;
/// The silences begin and their reminders go in the first looks.
const WARM_UP: usize = 4;
const ROUNDS: usize = 15;
/// The day of every wound's course.
const DAY: i64 = 10;

struct Cost {
    wounds: usize,
    look_ms: f64,
    reading_ms: f64,
}

fn main() -> ExitCode {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let costs = runtime.block_on(async {
        let mut costs = Vec::new();
        for wounds in WOUNDS {
            costs.push(measure(wounds).await);
        }
        costs
    });
    println!("open wounds: one look of the watch, reading their rows, each look as so many readings");
    for Cost { wounds, look_ms, reading_ms } in &costs {
        println!("  {wounds:5}: {look_ms:8.1} ms, {reading_ms:7.2} ms, {:5.1}", look_ms / reading_ms);
    }
    let each = |cost: &Cost| cost.look_ms / cost.wounds as f64;
    let growth = each(&costs[2]) / each(&costs[1]);
    println!("among 3,000 a wound costs {growth:.2} times what it costs among 300 (limit {MOST_GROWTH})");
    if growth > MOST_GROWTH { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}

async fn measure(wounds: usize) -> Cost {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    office.enrols("Mia Stone", &surgeon).await;
    practice.minutes_pass(DAY * 24 * 60);
    fill(&practice, wounds).await;
    let (mut looks, mut readings) = (Vec::new(), Vec::new());
    for round in 0..WARM_UP + ROUNDS {
        practice.seconds_pass(31);
        let began = Instant::now();
        practice.works().await;
        let look = began.elapsed();
        let began = Instant::now();
        let read = read_all(&practice).await;
        let reading = began.elapsed();
        assert!(read >= wounds, "{read} rows");
        if round >= WARM_UP {
            looks.push(look);
            readings.push(reading);
        }
    }
    let silent = count(&practice, "SELECT COUNT(*) FROM silence WHERE state = 'open'").await;
    assert_eq!(silent, wounds as i64 / SILENT as i64, "patients are silent");
    place.clear().await;
    Cost { wounds, look_ms: middle_ms(&mut looks), reading_ms: middle_ms(&mut readings) }
}

async fn count(practice: &Practice, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(&mut *practice.books().await).await.unwrap()
}

async fn read_all(practice: &Practice) -> usize {
    let mut conn = practice.books().await;
    let open = "SELECT * FROM wound WHERE state = 'open'";
    let steps = "SELECT plan_step.* FROM plan_step JOIN wound ON wound.id = plan_step.wound_id WHERE wound.state = 'open' \
                 AND plan_step.done_ms IS NULL AND plan_step.cancelled_ms IS NULL";
    let wounds = sqlx::query(open).fetch_all(&mut *conn).await.unwrap();
    wounds.len() + sqlx::query(steps).fetch_all(&mut *conn).await.unwrap().len()
}

/// Multiplies the first patient, wound, link and plan in the database itself. Whoever is not silent sent a check today.
async fn fill(practice: &Practice, wounds: usize) {
    let numbers =
        format!("WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < {})", wounds - 1);
    // Twelve digits are twelve hex letters: the end of an id.
    let id = |kind: &str, number: &str| {
        format!("'018f0000-0000-7000-{kind}-' || CAST(100000000000 + ({number}) AS TEXT)")
    };
    let (patient, wound, link) = (id("8001", "n.i"), id("8002", "n.i"), id("8003", "n.i"));
    let step = id("8004", "n.i * 1000 + s.place");
    let now = practice.now().as_millisecond();
    let statements = [
        format!(
            "INSERT INTO patient (id, practice_id, name, name_folded, born, phone, language, created_ms) {numbers} \
             SELECT {patient}, p.practice_id, p.name, p.name_folded, p.born, p.phone, p.language, p.created_ms \
             FROM n, (SELECT * FROM patient LIMIT 1) p"
        ),
        format!(
            "INSERT INTO wound (id, practice_id, patient_id, surgeon_id, operation, risk_factors, operated_ms, state, \
             enrol_key, created_ms) {numbers} SELECT {wound}, w.practice_id, {patient}, w.surgeon_id, w.operation, \
             w.risk_factors, w.operated_ms, w.state, 'key ' || n.i, w.created_ms \
             FROM n, (SELECT * FROM wound LIMIT 1) w"
        ),
        format!(
            "INSERT INTO patient_link (id, practice_id, wound_id, name, token_sha256, code_locator, code_phc, pin_phc, \
             expires_ms, created_ms) {numbers} SELECT {link}, l.practice_id, {wound}, l.name, 'token ' || n.i, \
             'code ' || n.i, l.code_phc, l.pin_phc, l.expires_ms, l.created_ms \
             FROM n, (SELECT * FROM patient_link LIMIT 1) l"
        ),
        format!(
            "INSERT INTO plan_step (id, practice_id, wound_id, kind, from_ms, due_ms) {numbers} \
             SELECT {step}, s.practice_id, {wound}, s.kind, s.from_ms, s.due_ms \
             FROM n, (SELECT *, ROW_NUMBER() OVER (ORDER BY id) AS place FROM plan_step) s"
        ),
        format!("UPDATE wound SET strip_out_ms = {now}"),
        "UPDATE plan_step SET done_ms = due_ms WHERE kind = 'packing_removal'".to_owned(),
        // Rows stand in the order in which they came.
        format!("UPDATE wound SET last_check_ms = {now} WHERE rowid % {SILENT} <> 0"),
        format!(
            "UPDATE plan_step SET done_ms = due_ms WHERE due_ms <= {now} AND wound_id IN \
             (SELECT id FROM wound WHERE last_check_ms IS NOT NULL)"
        ),
    ];
    let mut tx = practice.desk().db.write().await.unwrap();
    for statement in statements {
        sqlx::query(AssertSqlSafe(statement)).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
}
