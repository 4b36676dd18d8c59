//! How long the queue page takes with 100 checks that wait, behind 100, 10,000 and 200,000 that are kept.
//!
//! `cargo bench --bench queue_page`; with `TEST_PG_URL` PostgreSQL is measured as well. Ends with 1 when the page with
//! 200,000 takes more than one and a half times as long as the one with 100, or sealed words make it more than a quarter slower.
#![expect(clippy::disallowed_methods, reason = "a stopwatch is what this is")]

#[path = "../tests/support/mod.rs"]
mod support;

use std::process::ExitCode;
use std::time::Duration;
use std::time::Instant;

use axum::http::StatusCode;

use closewatch::care::text_sealing;

use support::Crowd;
use support::Due;
use support::Place;
use support::Practice;
use support::Staff;
use support::fill;
use support::middle_ms;
use support::with_temperature;

const MOST_GROWTH: f64 = 1.5;
const ROUNDS: usize = 60;
const WARM_UP: usize = 10;

const fn load(kept: usize, waiting: usize) -> Crowd {
    Crowd { kept, waiting, due: Due::AroundNow }
}

const LOADS: [Crowd; 3] = [load(100, 100), load(10_000, 100), load(200_000, 100)];
/// Not held to the limit: more than two hundred waiting are more than a page shows.
const CROWDED: Crowd = load(20_000, 10_000);

/// The page with every wound's words sealed may take this much longer than with all of them as they were typed.
const MOST_SEALING: f64 = 1.25;

/// How what was typed lies in the books.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Lies {
    /// As an older program left it.
    Open,
    Sealed,
}

/// One load, ready to be looked at, and how long each look took.
struct Queue {
    load: Crowd,
    limited: bool,
    lies: Lies,
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
    let more = [(CROWDED, false, Lies::Open), (CROWDED, false, Lies::Sealed)];
    for (load, limited, lies) in LOADS.into_iter().map(|load| (load, true, Lies::Sealed)).chain(more) {
        let place = place().await;
        queues.push(ready(&place, load, limited, lies).await);
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
    let mut open_ms = None;
    for queue in queues {
        let (opened_ms, refreshed_ms) = (middle_ms(&mut queue.opened), middle_ms(&mut queue.refreshed));
        let (opened_first_ms, refreshed_first_ms) = *first.get_or_insert((opened_ms, refreshed_ms));
        let (opened, refreshed) = (opened_ms / opened_first_ms, refreshed_ms / refreshed_first_ms);
        let note = match (queue.limited, queue.lies) {
            (true, _) => String::new(),
            (false, Lies::Open) => {
                open_ms = Some(opened_ms);
                "  not held to the limit; words as typed".to_owned()
            }
            (false, Lies::Sealed) => {
                let sealing = open_ms.map_or(1.0, |open_ms| opened_ms / open_ms);
                grew |= sealing > MOST_SEALING;
                format!("  the same with words sealed: {sealing:.2} of that")
            }
        };
        let Crowd { kept, waiting, .. } = queue.load;
        println!(
            "  {kept:7} {waiting:6}: {opened_ms:7.2} ms ({opened:.2}), {refreshed_ms:7.2} ms ({refreshed:.2}){note}"
        );
        grew |= queue.limited && opened.max(refreshed) > MOST_GROWTH;
    }
    grew
}

async fn ready(place: &Place, load: Crowd, limited: bool, lies: Lies) -> Queue {
    let practice = Practice::open(place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    phone.sends("first", with_temperature(386), &[]).await;
    fill(&practice, load).await;
    types_procedures(&practice).await;
    if lies == Lies::Sealed {
        text_sealing::seal_all(practice.desk(), practice.now()).await.unwrap();
    }
    Queue { load, limited, lies, surgeon, opened: Vec::new(), refreshed: Vec::new() }
}

/// What was done stands with every wound, as it was typed.
async fn types_procedures(practice: &Practice) {
    let mut tx = practice.desk().db.write().await.unwrap();
    let sql = "UPDATE wound SET typed_sealed = NULL, operation = \
               replace(operation, '\"procedure\":\"\"', '\"procedure\":\"abscess drained\"')";
    sqlx::query(sql).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
}

async fn look(surgeon: &Staff, path: &str, load: Crowd) -> Duration {
    let began = Instant::now();
    let page = surgeon.opens(path).await;
    let took = began.elapsed();
    assert_eq!(page.status, StatusCode::OK);
    // A page that lost its rows would be quick for the wrong reason.
    assert_eq!(page.html().matches("queue-row ").count(), load.waiting.min(200), "rows on the page");
    took
}
