//! How long the queue page takes with 100 checks that wait, behind 100, 10,000 and 200,000 that are kept.
//!
//! `cargo bench --bench queue_page`; with `TEST_PG_URL` PostgreSQL is measured as well. Ends with 1 when the page with
//! 200,000 takes more than one and a half times as long as the one with 100.
#![expect(clippy::disallowed_methods, reason = "a stopwatch is what this is")]

#[path = "../tests/support/mod.rs"]
mod support;

use std::process::ExitCode;
use std::time::Duration;
use std::time::Instant;

use axum::http::StatusCode;
use closewatch::store::Engine;
use sqlx::AssertSqlSafe;

use support::Place;
use support::Practice;
use support::Staff;
use support::middle_ms;
use support::with_temperature;

const MOST_GROWTH: f64 = 1.5;
const ROUNDS: usize = 60;
const WARM_UP: usize = 10;

/// How many checks are kept, and how many of them wait.
#[derive(Clone, Copy)]
struct Load {
    kept: usize,
    waiting: usize,
}

const LOADS: [Load; 3] = [
    Load { kept: 100, waiting: 100 },
    Load { kept: 10_000, waiting: 100 },
    Load { kept: 200_000, waiting: 100 },
];
/// Not held to the limit: more than two hundred waiting are more than a page shows.
const CROWDED: Load = Load { kept: 20_000, waiting: 10_000 };

/// One load, ready to be looked at, and how long each look took.
struct Queue {
    load: Load,
    limited: bool,
    surgeon: Staff,
    /// As a surgeon opens the page; the look is noted in the record.
    opened: Vec<Duration>,
    /// As an open page reads its list again.
    refreshed: Vec<Duration>,
}

fn main() -> ExitCode {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    let grew_too_much = runtime.block_on(async {
        let mut grew = measure("SQLite", async || Place::sqlite()).await;
        match std::env::var("TEST_PG_URL") {
            Ok(url) => grew |= measure("PostgreSQL", async || Place::postgres(&url).await).await,
            Err(_) => println!("TEST_PG_URL is not set: PostgreSQL was not measured"),
        }
        grew
    });
    if grew_too_much {
        println!("the queue page grows more than {MOST_GROWTH} times");
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

/// Measures every load on one engine and prints a line each. True: it grew too much.
async fn measure(engine: &str, place: impl AsyncFn() -> Place) -> bool {
    let (mut places, mut queues) = (Vec::new(), Vec::new());
    for (load, limited) in LOADS.into_iter().map(|load| (load, true)).chain([(CROWDED, false)]) {
        let place = place().await;
        queues.push(ready(&place, load, limited).await);
        places.push(place);
    }
    // In turn, so that whatever else the machine does meanwhile hits all alike.
    for round in 0..WARM_UP + ROUNDS {
        for queue in &mut queues {
            let opened = look(&queue.surgeon, "/queue", queue.load).await;
            let refreshed = look(&queue.surgeon, "/queue?fragment=1", queue.load).await;
            if round >= WARM_UP {
                queue.opened.push(opened);
                queue.refreshed.push(refreshed);
            }
        }
    }
    for place in places {
        place.clear().await;
    }
    report(engine, &mut queues)
}

fn report(engine: &str, queues: &mut [Queue]) -> bool {
    println!(
        "{engine}: kept, waiting: middle of {ROUNDS} openings, of {ROUNDS} re-readings (times the first)"
    );
    let mut first = None;
    let mut grew = false;
    for queue in queues {
        let (opened_ms, refreshed_ms) = (middle_ms(&mut queue.opened), middle_ms(&mut queue.refreshed));
        let (opened_first_ms, refreshed_first_ms) = *first.get_or_insert((opened_ms, refreshed_ms));
        let (opened, refreshed) = (opened_ms / opened_first_ms, refreshed_ms / refreshed_first_ms);
        let note = if queue.limited { "" } else { "  not held to the limit" };
        let Load { kept, waiting } = queue.load;
        println!(
            "  {kept:7} {waiting:6}: {opened_ms:7.2} ms ({opened:.2}), {refreshed_ms:7.2} ms ({refreshed:.2}){note}"
        );
        grew |= queue.limited && opened.max(refreshed) > MOST_GROWTH;
    }
    grew
}

async fn ready(place: &Place, load: Load, limited: bool) -> Queue {
    let practice = Practice::open(place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    phone.sends("first", with_temperature(386), &[]).await;
    fill(&practice, load).await;
    Queue { load, limited, surgeon, opened: Vec::new(), refreshed: Vec::new() }
}

async fn look(surgeon: &Staff, path: &str, load: Load) -> Duration {
    let began = Instant::now();
    let page = surgeon.opens(path).await;
    let took = began.elapsed();
    assert_eq!(page.status, StatusCode::OK);
    // A page that lost its rows would be quick for the wrong reason.
    assert_eq!(page.html().matches("queue-row ").count(), load.waiting.min(200), "rows on the page");
    took
}

/// Multiplies the first patient, wound and check in the database itself: a check for every fiftieth of a wound, the
/// last ones waiting, each of those with a photo.
async fn fill(practice: &Practice, load: Load) {
    let wounds = (load.kept / 50).max(load.waiting);
    let more = load.kept - 1;
    let closed_up_to = load.kept - load.waiting;
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
             SELECT {patient}, p.practice_id, p.name, p.name_folded, p.born, p.phone, p.language, p.created_ms \
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
        // Due times spread over the hour before and after now; every class.
        format!(
            "INSERT INTO wound_check (id, practice_id, wound_id, link_id, sequence, form_key, receipt, state, \
             received_ms, answers, assessment, protocol_version, urgency, score, due_ms, photos_expected, closed_ms) {} \
             SELECT {check}, c.practice_id, {its_wound}, c.link_id, n.i + 1, 'form ' || CAST(n.i AS TEXT), \
             'R' || CAST(n.i AS TEXT), CASE WHEN n.i < {closed_up_to} THEN 'closed' ELSE 'queued' END, c.received_ms, \
             c.answers, c.assessment, c.protocol_version, n.i % 5, c.score, \
             c.received_ms + (n.i % 120 - 60) * 60000, 1, \
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
        format!("UPDATE practice SET check_sequence = {}", load.kept),
    ];
    let mut tx = practice.desk().db.write().await.unwrap();
    if closed_up_to > 0 {
        let close = "UPDATE wound_check SET state = 'closed', closed_ms = received_ms";
        sqlx::query(close).execute(&mut *tx).await.unwrap();
    }
    for statement in statements {
        sqlx::query(AssertSqlSafe(statement)).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
    // PostgreSQL gathers its statistics by itself some time after many rows came; SQLite goes on without.
    if practice.desk().db.engine() == Engine::Postgres {
        sqlx::query("ANALYZE").execute(&mut *practice.books().await).await.unwrap();
    }
}
