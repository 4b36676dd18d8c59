//! How long it takes to read a record of 1,000,000 lines and to see that it is whole (safety promise B7: ten seconds of one
//! core).
//!
//! `cargo bench --bench record -- [--quick] [lines]`. The lines are written as the program writes them, by the same function, ten
//! thousand to a transaction; what is timed is what `closewatch verify` does. Held to the limit is the processor time of all
//! threads together, which is what one core would need and which others on the machine do not lengthen. Fewer lines have as much
//! less time. With `TEST_PG_URL` the same on PostgreSQL, whose own processor time is not counted.
#![expect(clippy::disallowed_methods, reason = "a stopwatch is what this is")]

#[path = "../tests/support/mod.rs"]
mod support;

use std::fs;
use std::process::ExitCode;
use std::time::Instant;

use jiff::SignedDuration;

use closewatch::store::audit;
use closewatch::store::audit::Note;

use support::Place;
use support::Practice;

const LINES: i64 = 1_000_000;
const QUICK_LINES: i64 = 20_000;
const LIMIT_S: f64 = 10.0;
const IN_ONE_TRANSACTION: i64 = 10_000;
/// Of a clock tick in `/proc/self/stat` (`USER_HZ` is 100 on Linux).
const TICKS_PER_S: f64 = 100.0;

fn main() -> ExitCode {
    let asked: Vec<String> = std::env::args().skip(1).collect();
    let named = asked.iter().find_map(|word| word.parse::<i64>().ok()).filter(|lines| *lines > 0);
    let short = if asked.iter().any(|word| word == "--quick") { QUICK_LINES } else { LINES };
    let lines = named.unwrap_or(short);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let is_kept = runtime.block_on(async {
        let mut is_kept = measure("SQLite", Place::sqlite(), lines).await;
        match std::env::var("TEST_PG_URL") {
            Ok(url) => is_kept &= measure("PostgreSQL", Place::postgres(&url).await, lines).await,
            Err(_) => println!("TEST_PG_URL is not set: PostgreSQL was not measured"),
        }
        is_kept
    });
    if is_kept { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Writes a record and reads it. True: the limit is kept.
async fn measure(engine: &str, place: Place, lines: i64) -> bool {
    let practice = Practice::open(&place).await;
    let begun = Instant::now();
    write(&practice, lines).await;
    let written_s = begun.elapsed().as_secs_f64();
    let mut books = practice.books().await;
    let (begun, cpu_s) = (Instant::now(), used_s());
    let read = audit::read_chain(&mut books, practice.id, &[]).await.expect("the record can be read");
    let (took_s, used_s) = (begun.elapsed().as_secs_f64(), used_s() - cpu_s);
    assert_eq!(read, Ok(lines), "the record is whole");
    drop(books);
    place.clear().await;
    let limit_s = LIMIT_S * lines as f64 / LINES as f64;
    let is_kept = used_s <= limit_s;
    let kept = if is_kept { "kept" } else { "NOT KEPT" };
    println!(
        "| B7 | {engine}: {lines} lines of the record verified | {used_s:.2} s of one core ({took_s:.2} s passed; written in \
         {written_s:.0} s) | ≤ {limit_s:.2} s | {kept} |"
    );
    is_kept
}

async fn write(practice: &Practice, lines: i64) {
    let already =
        audit::head(&mut *practice.books().await, practice.id, practice.now()).await.expect("a head");
    let mut next = already.sequence + 1;
    while next <= lines {
        let mut tx = practice.desk().db.write().await.expect("the books can be written");
        for line in next..=lines.min(next + IN_ONE_TRANSACTION - 1) {
            // As long as most lines are: who looked at which check or photo.
            let actor = format!("staff:018f0000-0000-7000-8001-{:012}", line % 12);
            let subject = format!("check:018f0000-0000-7000-8002-{:012}", line / 4);
            let action = ["check.view", "check.claim", "photo.view", "check.decide"][(line % 4) as usize];
            let note = Note { actor: &actor, action, subject: &subject, detail: "urgency=today" };
            let at = practice.now() + SignedDuration::from_millis(line);
            audit::append(&mut tx, practice.id, &note, at).await.expect("a line can be written");
        }
        tx.commit().await.expect("the books can be written");
        next += IN_ONE_TRANSACTION;
    }
}

/// Processor time this process used so far, of all its threads.
fn used_s() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").expect("the system counts time");
    let after = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
    let field = |at: usize| after.split_whitespace().nth(at).and_then(|field| field.parse::<f64>().ok());
    (field(11).unwrap_or(0.0) + field(12).unwrap_or(0.0)) / TICKS_PER_S
}
