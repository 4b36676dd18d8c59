//! What an assessment costs beside reading its check back, and how fast a draft runs over 200,000 stored checks.
//!
//! `taskset -c 0 cargo bench --bench assess` keeps everything on one core. Ends with 1 when asking all rules about a
//! check costs a twentieth of reading its row from SQLite or more, when fewer than 50,000 checks are tried in a second,
//! or when the trial's memory grows with the number of checks. What the words cost (reasons, what is not known) is
//! printed beside it: they are made once for each check, when it comes in.
#![expect(clippy::disallowed_methods, reason = "a stopwatch is what this is")]

#[path = "../tests/support/mod.rs"]
mod support;

use std::hint::black_box;
use std::process::ExitCode;
use std::time::Duration;
use std::time::Instant;

use closewatch::care::protocol_draft;
use closewatch::store::assessments;
use closewatch::store::check_counts;
use closewatch::store::checks;
use closewatch::triage;
use closewatch::triage::Answers;
use closewatch::triage::Chills;
use closewatch::triage::Edits;
use closewatch::triage::Protocol;
use closewatch::triage::Said;
use sqlx::AssertSqlSafe;

use support::Place;
use support::Practice;
use support::in_danger;
use support::no_danger;
use support::with_temperature;
use support::with_words;

/// Asking all rules about a check may cost at most this part of reading its row.
const MOST_OF_READING: f64 = 1.0 / 20.0;
const FEWEST_TRIED_A_SECOND: f64 = 50_000.0;
/// Peak memory may grow by this much between a trial of a tenth of the checks and one of all.
const MOST_GROWTH_MIB: f64 = 24.0;
const STORED: usize = 200_000;
const ROUNDS: usize = 2_000;

fn main() -> ExitCode {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    let too_slow = runtime.block_on(async {
        let place = Place::sqlite();
        let practice = Practice::open(&place).await;
        send_some(&practice).await;
        let one = one_assessment(&practice).await;
        let all = trial(&practice).await;
        place.clear().await;
        one || all
    });
    if too_slow { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}

/// Checks of several kinds, from quiet to an emergency.
async fn send_some(practice: &Practice) {
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    let shaking = Answers { chills: Said::Is(Chills::Shaking), ..with_temperature(383) };
    let kinds = [
        no_danger(),
        with_temperature(368),
        with_temperature(377),
        with_temperature(386),
        with_words("it hurts more since last night"),
        in_danger(),
        shaking,
    ];
    for (place, answers) in kinds.into_iter().enumerate() {
        phone.sends(&format!("form {place}"), answers, &[]).await;
    }
}

/// Prints what an assessment costs beside reading its row. True: too much.
async fn one_assessment(practice: &Practice) -> bool {
    let mut books = practice.books().await;
    let first = assessments::after(&mut books, practice.id, 0, 100).await.unwrap();
    let ids: Vec<_> = first.iter().map(|check| check.id.parse().unwrap()).collect();
    let protocol = Protocol::built_in();
    let (mut reading, mut assessing, mut verdicts) = (Vec::new(), Vec::new(), Vec::new());
    // In turn, so that whatever else the machine does meanwhile hits all alike.
    for round in 0..ROUNDS {
        let began = Instant::now();
        let check = checks::find(&mut books, practice.id, ids[round % ids.len()]).await.unwrap().unwrap();
        reading.push(began.elapsed());
        let facts = check.facts.unwrap();
        let began = Instant::now();
        black_box(triage::assess_check(protocol, black_box(&facts)));
        assessing.push(began.elapsed());
        let began = Instant::now();
        black_box(triage::verdict_of_check(protocol, black_box(&facts)));
        verdicts.push(began.elapsed());
    }
    let (reading, assessing, verdicts) =
        (middle_us(&mut reading), middle_us(&mut assessing), middle_us(&mut verdicts));
    let part = verdicts / reading;
    println!("reading a check's row from SQLite: {reading:.1} µs (the reference)");
    println!("asking all rules, raises and gates, for class and score: {verdicts:.2} µs, {part:.4} of it");
    println!(
        "the same with every reason and unknown in words: {assessing:.2} µs, {:.2} of it",
        assessing / reading
    );
    part >= MOST_OF_READING
}

fn middle_us(times: &mut [Duration]) -> f64 {
    times.sort_unstable();
    times[times.len() / 2].as_secs_f64() * 1e6
}

/// Prints how fast a draft is tried. True: too slow, or memory grows.
async fn trial(practice: &Practice) -> bool {
    let lead = practice.lead().await;
    multiply(practice, STORED / 10).await;
    tried_a_second(practice, &lead, 37.6).await;
    let before_mib = peak_mib();
    multiply(practice, STORED).await;
    let read = read_a_second(practice).await;
    let tried = tried_a_second(practice, &lead, 37.5).await;
    let grew_mib = peak_mib() - before_mib;
    println!("reading {STORED} rows of facts: {read:.0} a second (the reference)");
    println!("trying a draft on them: {tried:.0} a second, {:.2} of it", tried / read);
    println!("peak memory grew by {grew_mib:.1} MiB from a tenth of the checks to all");
    tried < FEWEST_TRIED_A_SECOND || grew_mib > MOST_GROWTH_MIB
}

/// Copies the first checks in the database itself until there are `up_to`.
async fn multiply(practice: &Practice, up_to: usize) {
    let mut tx = practice.desk().db.write().await.unwrap();
    let statement = format!(
        "WITH RECURSIVE n(i) AS (SELECT (SELECT MAX(sequence) FROM wound_check) + 1 \
         UNION ALL SELECT i + 1 FROM n WHERE i < {up_to}) \
         INSERT INTO wound_check (id, practice_id, wound_id, link_id, sequence, form_key, receipt, state, received_ms, \
         answers, assessment, protocol_version, urgency, score, due_ms, photos_expected, closed_ms, facts) \
         SELECT '018f0000-0000-7000-8003-' || CAST(100000000000 + n.i AS TEXT), c.practice_id, c.wound_id, c.link_id, \
         n.i, 'form ' || CAST(n.i AS TEXT), 'R' || CAST(n.i AS TEXT), 'closed', c.received_ms, c.answers, \
         c.assessment, c.protocol_version, c.urgency, c.score, c.due_ms, 0, c.received_ms, c.facts \
         FROM n JOIN wound_check c ON c.sequence = 1 + n.i % 7"
    );
    sqlx::query(AssertSqlSafe(statement)).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    // What the copying itself took is not the trial's.
    std::fs::write("/proc/self/clear_refs", "5").unwrap();
}

/// Rows of facts read in a second, and nothing done with them.
async fn read_a_second(practice: &Practice) -> f64 {
    let mut books = practice.books().await;
    let began = Instant::now();
    let (mut after, mut read) = (0, 0_usize);
    loop {
        let page = assessments::after(&mut books, practice.id, after, 2_000).await.unwrap();
        let Some(last) = page.last() else { break };
        after = last.sequence;
        read += page.len();
    }
    read as f64 / began.elapsed().as_secs_f64()
}

/// Checks tried in a second, by the same steps as a lead takes.
async fn tried_a_second(practice: &Practice, lead: &support::Staff, fever_c: f64) -> f64 {
    let edits = Edits { limits: vec![("fever_c".to_owned(), fever_c)], classes: Vec::new() };
    let base = Protocol::built_in().version();
    practice.minutes_pass(1);
    protocol_draft::keep(practice.desk(), &lead.member, base, &edits, practice.now()).await.unwrap();
    let began = Instant::now();
    protocol_draft::start_trial(practice.desk(), &lead.member, practice.now()).await.unwrap();
    loop {
        tokio::time::sleep(Duration::from_millis(5)).await;
        let open = protocol_draft::open(practice.desk(), &lead.member).await.unwrap().unwrap();
        if let Some(findings) = open.draft.trial {
            // A trial that lost checks would be quick for the wrong reason.
            let stored = check_counts::received(&mut *practice.books().await, practice.id).await.unwrap();
            assert_eq!(findings.tried, stored as u64);
            assert!(findings.raised_count() > 0, "the draft changes something");
            return findings.tried as f64 / began.elapsed().as_secs_f64();
        }
    }
}

/// The process's peak memory since it was last asked to forget it.
fn peak_mib() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1024.0
}
