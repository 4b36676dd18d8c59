//! On facts that are all known, a condition means what the Common Expression Language says it means.
//!
//! Compared with the `cel` crate's own evaluator here, and with PyPI's `cel-python` by
//! `tests/outside/triage/check.py`, which reads what this file keeps in `tests/truth/cel.json`.

use cel::Context;
use cel::Program;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use serde_json::Map;
use serde_json::Value as Json;
use serde_json::json;

use crate::triage::Facts;
use crate::triage::Kind;
use crate::triage::Origin;
use crate::triage::Protocol;
use crate::triage::Truth;
use crate::triage::Unit;
use crate::triage::Value;
use crate::triage::condition::Condition;
use crate::triage::dictionary::FactId;
use crate::triage::facts::Known;
use crate::triage::telling::telling_values;

const TRUTH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/truth/cel.json");
/// Patients kept for the other evaluator.
const KEPT: usize = 40;

/// Patients of whom everything is known, each value one that can make a difference.
fn known_patients() -> impl Strategy<Value = Facts> {
    let given: Vec<FactId> = FactId::all().filter(|id| id.fact().from != Origin::Derived).collect();
    prop::collection::vec(any::<prop::sample::Index>(), given.len()).prop_map(move |chosen| {
        let mut facts = Facts::default();
        for (id, index) in given.iter().zip(chosen) {
            facts.put_at(*id, *index.get(&telling_values(Protocol::built_in(), *id)));
        }
        facts
    })
}

fn conditions() -> Vec<&'static Condition> {
    let protocol = Protocol::built_in();
    let rules = protocol.rules().iter().map(|rule| &rule.when);
    let raises = protocol.raises().iter().map(|raise| &raise.when);
    let gates = protocol.gates().iter().map(|gate| &gate.when);
    let patterns = protocol.patterns().iter().map(|pattern| &pattern.when);
    rules.chain(raises).chain(gates).chain(patterns).collect()
}

/// A number as the language's own types take it: what is counted is whole, what is measured is not.
fn number(unit: Unit, number: f64) -> Json {
    match unit {
        Unit::Count => json!(number as i64),
        Unit::Celsius
        | Unit::Cm
        | Unit::PerMinute
        | Unit::MmHg
        | Unit::MgPerDl
        | Unit::MmolPerL
        | Unit::Hours
        | Unit::Days
        | Unit::Years
        | Unit::Percent => json!(number),
    }
}

/// Every fact, the worked-out ones too, and the limits.
fn variables(known: &Known<'_>) -> Map<String, Json> {
    let mut variables = Map::new();
    for id in FactId::all() {
        let value = match (known.values[id.place()].unwrap(), id.fact().kind) {
            (Value::Flag(flag), _) => json!(flag),
            (Value::Word(word), _) => json!(word),
            (Value::Number { low, high }, Kind::Number { unit, .. }) => {
                assert_eq!(low, high, "{}", id.name());
                number(unit, low)
            }
            (Value::Number { .. }, _) => panic!("{}", id.name()),
        };
        variables.insert(id.name().to_owned(), value);
    }
    let limits = Protocol::built_in().limits().all().iter();
    let limits: Map<String, Json> =
        limits.map(|limit| (limit.id.clone(), number(limit.unit, limit.value))).collect();
    variables.insert("limit".to_owned(), Json::Object(limits));
    variables
}

/// What the crate's evaluator says.
fn by_the_crate(text: &str, variables: &Map<String, Json>) -> bool {
    let mut context = Context::default();
    for (name, value) in variables {
        context.add_variable(name.as_str(), value.clone()).unwrap();
    }
    // Of known facts, everything is known and everything true is surely true.
    context.add_function("known", |_: cel::Value| true).unwrap();
    context.add_function("sure", |holds: bool| holds).unwrap();
    match Program::compile(text).unwrap().execute(&context).unwrap() {
        cel::Value::Bool(holds) => holds,
        other => panic!("{text}: {other:?}"),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn every_condition_of_the_protocol_means_what_the_language_says(facts in known_patients()) {
        let known = facts.completed(Protocol::built_in().limits());
        let variables = variables(&known);
        for condition in conditions() {
            let ours = condition.holds(&known);
            let theirs = by_the_crate(condition.text(), &variables);
            prop_assert_eq!(ours, Truth::of(Some(theirs)), "{}", condition.text());
        }
    }
}

/// What `cel-python` is asked. Renewed with `RENEW_TRUTH=1`; every condition comes out both ways.
#[test]
fn the_conditions_kept_for_the_other_evaluator_are_those_of_the_protocol() {
    let mut runner = TestRunner::deterministic();
    let strategy = known_patients();
    let mut patients = Vec::new();
    let mut holds = Vec::new();
    for _ in 0..KEPT {
        let facts = strategy.new_tree(&mut runner).unwrap().current();
        let known = facts.completed(Protocol::built_in().limits());
        patients.push(Json::Object(variables(&known)));
        let truths =
            conditions().iter().map(|condition| condition.holds(&known).known().unwrap()).collect::<Vec<_>>();
        holds.push(json!(truths));
    }
    let texts: Vec<&str> = conditions().iter().map(|condition| condition.text()).collect();
    let text = serde_json::to_string(&json!({
        "made_by": "RENEW_TRUTH=1 cargo test cel_checks; compared by tests/outside/triage/check.py",
        "conditions": texts,
        "patients": patients,
        "holds": holds,
    }))
    .unwrap();
    if std::env::var_os("RENEW_TRUTH").is_some_and(|renew| renew == "1") {
        std::fs::write(TRUTH, &text).unwrap();
    }
    assert!(std::fs::read_to_string(TRUTH).unwrap() == text, "RENEW_TRUTH=1 renews {TRUTH}");
}
