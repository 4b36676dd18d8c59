//! The formulas against what scipy and the queue's own balance equations say: `tests/truth/forecast.json`, renewed and
//! checked anew by `tests/outside/forecast/check.py`.

use rand::Rng;
use rand::SeedableRng;
use rand::rngs::Xoshiro256PlusPlus;
use serde_json::Value;

use crate::triage::Urgency;
use crate::triage::forecast::ByClass;
use crate::triage::forecast::FormulaWaits;
use crate::triage::forecast::T_TABLE;
use crate::triage::forecast::formula_waits;
use crate::triage::forecast::waiting_share;

fn truth() -> Value {
    serde_json::from_str(include_str!("../../../tests/truth/forecast.json")).unwrap()
}

fn list<'a>(truth: &'a Value, name: &str) -> &'a [Value] {
    let list = truth[name].as_array().unwrap();
    assert!(list.len() >= 3, "{name}");
    list
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn reviewers(case: &Value) -> u32 {
    u32::try_from(case["reviewers"].as_u64().unwrap()).unwrap()
}

fn waits(case: &Value) -> FormulaWaits {
    let per_hour = ByClass::of_each(|urgency| number(&case["per_hour"][usize::from(urgency.rank())]));
    formula_waits(&per_hour, number(&case["minutes"]), reviewers(case)).unwrap()
}

#[track_caller]
fn near(ours: f64, theirs: f64, limit: f64) {
    assert!((ours / theirs - 1.0).abs() <= limit, "{ours} and {theirs}");
}

#[test]
fn erlang_c_is_what_the_poisson_distribution_says() {
    for case in list(&truth(), "erlang_c") {
        near(waiting_share(number(&case["offered"]), reviewers(case)).unwrap(), number(&case["share"]), 1e-9);
    }
}

#[test]
fn waits_by_class_are_those_of_the_formula_and_of_the_queues_solved_states() {
    let truth = truth();
    for (name, limit) in [("waits", 1e-9), ("states", 1e-5)] {
        for case in list(&truth, name) {
            let ours = waits(case);
            for (rank, theirs) in (0_u8..).zip(case["by_class"].as_array().unwrap()) {
                let urgency = Urgency::from_rank(rank).unwrap();
                near(*ours.by_class_minutes.of(urgency), number(theirs), limit);
            }
            if let Some(first_come) = case["first_come"].as_f64() {
                near(ours.first_come_minutes, first_come, 1e-9);
                near(ours.weighted_mean_minutes, first_come, 1e-9);
            }
        }
    }
}

#[test]
fn the_table_of_students_t_is_scipys() {
    let truth = truth();
    let theirs = list(&truth, "t_975");
    assert_eq!(theirs.len(), T_TABLE.len());
    for (ours, theirs) in T_TABLE.iter().zip(theirs) {
        assert!((ours - number(theirs)).abs() <= 5e-7, "{ours} {theirs}");
    }
}

/// The generator behind the pages: were it to change, the same seed would give another page.
#[test]
fn the_random_numbers_of_a_seed_are_those_of_the_algorithms_definition() {
    let truth = truth();
    let numbers = &truth["xoshiro256_plus_plus"];
    let mut chance = Xoshiro256PlusPlus::seed_from_u64(numbers["seed"].as_u64().unwrap());
    for expected in numbers["first"].as_array().unwrap() {
        assert_eq!(chance.next_u64().to_string(), expected.as_str().unwrap());
    }
}
