//! The loop as a machine of states: random days of patients, staff, runners, providers and clocks over the real books, the
//! program killed between any two statements, and after every step the laws of `loop_machine/laws.rs`.
//!
//! `LOOP_SEQUENCES` says how many days are lived; a day that breaks a law is shrunk to its shortest.

#[path = "loop_machine/action.rs"]
mod action;
#[path = "loop_machine/books.rs"]
mod books;
#[path = "loop_machine/days.rs"]
mod days;
#[path = "loop_machine/guards.rs"]
mod guards;
#[path = "loop_machine/laws.rs"]
mod laws;
#[path = "loop_machine/model.rs"]
mod model;
#[path = "loop_machine/outside.rs"]
mod outside;
#[path = "loop_machine/pages.rs"]
mod pages;
#[path = "loop_machine/rest.rs"]
mod rest;
#[path = "loop_machine/tally.rs"]
mod tally;
#[path = "loop_machine/town.rs"]
mod town;
#[path = "loop_machine/unread.rs"]
mod unread;
#[path = "loop_machine/world.rs"]
mod world;

#[path = "support/mod.rs"]
mod support;

use std::env;
use std::sync::Mutex;
use std::thread;

use proptest::test_runner::Config;
use proptest::test_runner::RngAlgorithm;
use proptest::test_runner::TestCaseError;
use proptest::test_runner::TestError;
use proptest::test_runner::TestRng;
use proptest::test_runner::TestRunner;

use crate::action::Step;
use crate::days::live;
use crate::guards::LeftOut;
use crate::tally::SOMETIMES;
use crate::tally::Tally;
use crate::town::Town;
use crate::town::fast_folder;

/// Days lived side by side.
const LANES: u32 = 2;
const DAYS: u32 = 10_000;
/// More steps than this make a day slower, not harder.
const LONGEST_DAY: usize = 16;

/// Lives so many random days. The seed is fixed, so that a failure comes again; `LOOP_SEED` gives others.
fn lives(days: u32, lane: u32, tally: &Mutex<Tally>) -> Result<(), String> {
    let seed: u64 = env::var("LOOP_SEED").ok().and_then(|seed| seed.parse().ok()).unwrap_or(1);
    let mut bytes = [0; 32];
    bytes[..8].copy_from_slice(&seed.to_le_bytes());
    bytes[8..12].copy_from_slice(&lane.to_le_bytes());
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &bytes);
    let config =
        Config { cases: days, max_shrink_iters: 2_000, failure_persistence: None, ..Config::default() };
    let mut runner = TestRunner::new_with_rng(config, rng);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let town = runtime.block_on(Town::build());
    let folder = fast_folder();
    let lived = runner.run(&action::day(LONGEST_DAY), |day| {
        let mut own = Tally::default();
        let came_to = runtime.block_on(live(&town, folder.path(), &day, "", &mut own));
        if came_to.is_ok() {
            tally.lock().unwrap().add(own);
        }
        came_to.map_err(TestCaseError::fail)
    });
    lived.map_err(|fault| match fault {
        TestError::Fail(broken, day) => {
            let steps: Vec<String> = day.iter().map(|step| format!("    {step:?}")).collect();
            format!("{broken}\n{}", steps.join("\n"))
        }
        TestError::Abort(why) => why.to_string(),
    })
}

#[test]
fn whatever_happens_on_a_day_no_law_of_the_loop_is_broken() {
    let days = env::var("LOOP_SEQUENCES").ok().and_then(|days| days.parse().ok()).unwrap_or(DAYS);
    let tally = Mutex::new(Tally::default());
    let faults: Vec<String> = thread::scope(|scope| {
        let lanes: Vec<_> = (0..LANES)
            .map(|lane| {
                scope.spawn({
                    let tally = &tally;
                    move || lives(days / LANES, lane, tally)
                })
            })
            .collect();
        lanes.into_iter().filter_map(|lane| lane.join().unwrap().err()).collect()
    });
    let tally = tally.into_inner().unwrap();
    println!("{tally}");
    assert!(faults.is_empty(), "\n{}\n", faults.join("\n\n"));
    let missing = tally.missing(SOMETIMES);
    assert!(days < 1_000 || missing.is_empty(), "never reached: {missing:?}");
}

#[test]
fn no_guard_can_be_left_out_without_a_law_being_broken() {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let town = runtime.block_on(Town::build());
    let folder = fast_folder();
    let live_one = |day: &[Step], left_out: Option<LeftOut>| {
        let (guard, sabotage) = match left_out {
            Some(LeftOut::Guard(guard)) => (Some(guard), ""),
            Some(LeftOut::Books(trigger)) => (None, trigger),
            None => (None, ""),
        };
        closewatch::guards::leave_out(guard);
        let came_to = runtime.block_on(live(&town, folder.path(), day, sabotage, &mut Tally::default()));
        closewatch::guards::leave_out(None);
        came_to.err()
    };
    let mut faults = Vec::new();
    for case in guards::cases() {
        for day in &case.days {
            if let Some(fault) = live_one(day, None) {
                faults.push(format!("with every guard in place: {fault}\n    {day:?}"));
            }
        }
        let found: Vec<String> =
            case.days.iter().filter_map(|day| live_one(day, Some(case.left_out))).collect();
        match found.iter().find(|fault| fault.starts_with(case.law)) {
            Some(fault) => {
                println!("{:?}\n    {} of {} days: {fault}", case.left_out, found.len(), case.days.len())
            }
            None => faults.push(format!("{:?} can be left out: {found:?}", case.left_out)),
        }
    }
    assert!(faults.is_empty(), "\n{}\n", faults.join("\n"));
}
