//! What the assessment promises whatever is answered: worse is never calmer, unknown is never calmer than calm.

use std::sync::LazyLock;

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use proptest::prelude::*;
use serde_json::Map;
use serde_json::Value as Json;

use crate::triage::Assessment;
use crate::triage::CheckFacts;
use crate::triage::DICTIONARY;
use crate::triage::Fact;
use crate::triage::FactId;
use crate::triage::Facts;
use crate::triage::Group;
use crate::triage::Origin;
use crate::triage::Protocol;
use crate::triage::Urgency;
use crate::triage::Value;
use crate::triage::Verdict;
use crate::triage::Worse;
use crate::triage::assess;
use crate::triage::assess_check;
use crate::triage::could_raise;
use crate::triage::protocol_checks::quiet_but;
use crate::triage::telling::telling_values;
use crate::triage::verdict;
use crate::triage::verdict_of_check;

fn number(number: f64) -> Value {
    Value::Number { low: number, high: number }
}

/// Every value worth trying for each given fact.
static VALUES: LazyLock<Vec<(&'static Fact, Vec<Value>)>> = LazyLock::new(|| {
    let given = FactId::all().filter(|id| id.fact().from != Origin::Derived);
    given.map(|id| (id.fact(), telling_values(Protocol::built_in(), id))).collect()
});

/// How often a fact is drawn: what every patient is asked more often than what few are.
fn draws(name: &str) -> usize {
    static QUIET: LazyLock<Facts> = LazyLock::new(|| quiet_but("{}"));
    if QUIET.value(name).is_some() { 8 } else { 1 }
}

/// A quiet wound with up to 24 facts changed or made unknown: some still quiet, some very ill.
fn patients() -> impl Strategy<Value = Facts> {
    let places: Vec<usize> =
        (0..VALUES.len()).flat_map(|place| std::iter::repeat_n(place, draws(VALUES[place].0.name))).collect();
    let change = (prop::sample::select(places), any::<prop::sample::Index>(), 0..6_u8);
    prop::collection::vec(change, 0..24).prop_map(|changes| {
        let mut facts = quiet_but("{}");
        for (place, index, forget) in changes {
            let (fact, values) = &VALUES[place];
            if forget == 0 {
                facts.forget(fact.name);
            } else {
                facts.set(fact.name, *index.get(values)).unwrap();
            }
        }
        facts
    })
}

/// How bad a value is; only values of one fact compare, and `None` has no fixed place.
fn badness(fact: &Fact, value: Value) -> Option<f64> {
    match (fact.worse, value) {
        (Worse::WhenTrue, Value::Flag(flag)) => Some(f64::from(u8::from(flag))),
        (Worse::WhenFalse, Value::Flag(flag)) => Some(f64::from(u8::from(!flag))),
        (Worse::Higher, Value::Number { low, .. }) => Some(low),
        (Worse::Lower, Value::Number { low, .. }) => Some(-low),
        (Worse::Along(order), Value::Word(word)) => {
            order.iter().position(|other| *other == word).map(|place| place as f64)
        }
        _ => None,
    }
}

/// Whether `to` is worse than `from` for this fact.
fn is_worse(fact: &Fact, from: Value, to: Value) -> bool {
    if let (Worse::Outside { low, high }, Value::Number { low: from, .. }, Value::Number { low: to, .. }) =
        (fact.worse, from, to)
    {
        return (to > from && from >= low && to >= high) || (to < from && from <= high && to <= low);
    }
    match (badness(fact, from), badness(fact, to)) {
        (Some(from), Some(to)) => to > from,
        _ => false,
    }
}

/// The calmest value of a fact; `None` where there is none whatever else is true.
fn calmest(fact: &Fact, values: &[Value]) -> Option<Value> {
    if let Worse::Outside { high, .. } = fact.worse {
        return Some(number(high));
    }
    let known = values.iter().filter_map(|value| Some((badness(fact, *value)?, *value)));
    known.min_by(|one, other| one.0.total_cmp(&other.0)).map(|(_, value)| value)
}

fn built_in(facts: &Facts) -> Assessment {
    assess(Protocol::built_in(), facts)
}

/// Neither the class nor the score is lower, and the answer is due no later, whenever the check came in.
fn not_calmer(after: &Assessment, before: &Assessment) -> bool {
    static ZONE: LazyLock<TimeZone> = LazyLock::new(|| TimeZone::get("America/New_York").unwrap());
    // Each hour of a week in which the clocks change (8 March 2026, IANA time zone database).
    let hours = (0..24 * 8).step_by(5).map(|hour| {
        let start: Timestamp = "2026-03-05T00:00:00Z".parse().unwrap();
        start + SignedDuration::from_hours(hour)
    });
    let targets = Protocol::built_in().targets();
    let due = |urgency, received| targets.due(urgency, received, &ZONE);
    after.urgency >= before.urgency
        && after.score >= before.score
        && (after.urgency == before.urgency
            || hours.into_iter().all(|at| due(after.urgency, at) <= due(before.urgency, at)))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn a_worse_answer_never_lowers_the_class_or_the_score_or_moves_the_due_time_later(
        facts in patients(),
        place in any::<prop::sample::Index>(),
    ) {
        let before = built_in(&facts);
        let worse: Vec<(&str, Value)> = VALUES
            .iter()
            .filter_map(|(fact, values)| Some((fact, facts.value(fact.name)?, values)))
            .flat_map(|(fact, from, values)| {
                let worse = values.iter().filter(move |to| is_worse(fact, from, **to));
                worse.flat_map(|to| std::iter::repeat_n((fact.name, *to), draws(fact.name)))
            })
            .collect();
        prop_assume!(!worse.is_empty());
        let (name, value) = place.get(&worse);
        let mut worsened = facts.clone();
        worsened.set(name, *value).unwrap();
        let after = built_in(&worsened);
        prop_assert!(not_calmer(&after, &before), "{name} {value:?}: {before:#?} {after:#?}");
    }

    #[test]
    fn leaving_a_question_out_is_never_calmer_than_answering_it_calmly(
        facts in patients(),
        place in any::<prop::sample::Index>(),
    ) {
        let calm: Vec<(&str, Value)> = VALUES
            .iter()
            .filter_map(|(fact, values)| Some((fact.name, calmest(fact, values)?)))
            .flat_map(|(name, calm)| std::iter::repeat_n((name, calm), draws(name)))
            .collect();
        let (name, value) = place.get(&calm);
        let (mut calmly, mut unknown) = (facts.clone(), facts);
        calmly.set(name, *value).unwrap();
        unknown.forget(name);
        let (calmly, unknown) = (built_in(&calmly), built_in(&unknown));
        prop_assert!(not_calmer(&unknown, &calmly), "{name} {value:?}: {calmly:#?} {unknown:#?}");
    }

    #[test]
    fn an_added_rule_never_lowers_the_class_or_the_score(
        facts in patients(),
        place in any::<prop::sample::Index>(),
    ) {
        let protocol = Protocol::built_in();
        let without = protocol.without_rule(place.index(protocol.rules().len()));
        prop_assert!(not_calmer(&built_in(&facts), &assess(&without, &facts)));
    }

    #[test]
    fn a_photo_can_raise_and_never_lower(
        facts in patients(),
        seen in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>()), 0..5),
    ) {
        let names = ["red_cm", "area_change_pct", "par_28", "both_scaled", "photo_ok", "bed"];
        let mut measured = Facts::default();
        for (name, value) in &seen {
            let name = *name.get(&names);
            let (_, values) = VALUES.iter().find(|(fact, _)| fact.name == name).unwrap();
            measured.set(name, *value.get(values)).unwrap();
        }
        let alone = built_in(&facts);
        let check = CheckFacts { answered: facts, measured };
        let with_photo = assess_check(Protocol::built_in(), &check);
        let verdict = verdict_of_check(Protocol::built_in(), &check);
        prop_assert_eq!((verdict.urgency, verdict.score), (with_photo.urgency, with_photo.score));
        prop_assert!(not_calmer(&with_photo, &alone));
        for reason in &alone.reasons {
            prop_assert!(with_photo.reasons.iter().any(|kept| kept.rule_id == reason.rule_id));
        }
    }

    #[test]
    fn fever_growing_or_wide_redness_rising_pain_chills_or_heavy_bleeding_are_never_on_track(
        facts in patients(),
    ) {
        let flag = |name| facts.value(name) == Some(Value::Flag(true));
        let word = |name, word| facts.value(name) == Some(Value::Word(word));
        let over = |name, limit: f64| matches!(facts.value(name), Some(Value::Number { low, .. }) if low > limit);
        let heavy = ["soaks_pad_hour", "wont_stop_10min", "spurting"];
        let troubled = over("temp_c", 37.9)
            || over("red_cm", 0.5)
            || word("red_trend", "bigger")
            || word("pain_trend", "worse")
            || flag("chills")
            || heavy.into_iter().any(|heavy| word("bleeding", heavy));
        prop_assert!(!troubled || built_in(&facts).urgency > Urgency::OnTrack);
    }

    /// Nothing hidden: the class is that of the worst reason or raise, or the gates' floor; without the facts a
    /// reason shows, its rule is silent.
    #[test]
    fn the_reasons_shown_are_the_whole_of_the_class(facts in patients()) {
        let assessment = built_in(&facts);
        let reasons = assessment.reasons.iter().filter(|reason| reason.group != Group::Note);
        let worst = reasons
            .map(|reason| reason.urgency)
            .chain(assessment.raises.iter().filter_map(|raise| raise.to))
            .max();
        let floor = if assessment.gates.is_empty() { Urgency::OnTrack } else { Urgency::Tomorrow };
        prop_assert_eq!(assessment.urgency, worst.unwrap_or(floor));
        prop_assert!(worst.is_none() || assessment.gates.is_empty());
        for reason in &assessment.reasons {
            let mut without = facts.clone();
            for tripped in &reason.tripped {
                without.forget(&tripped.fact);
            }
            let silent = built_in(&without).reasons.iter().all(|kept| kept.rule_id != reason.rule_id);
            prop_assert!(silent, "{}", reason.rule_id);
        }
    }

    #[test]
    fn a_more_urgent_class_always_has_the_higher_score(one in patients(), other in patients()) {
        let (one, other) = (built_in(&one), built_in(&other));
        prop_assert!(one.score <= 100);
        if one.urgency > other.urgency {
            prop_assert!(one.score > other.score, "{one:#?} {other:#?}");
        }
    }

    /// What a surgeon is told could raise a check does raise it, to the class it says, and nothing smaller would.
    #[test]
    fn what_could_raise_a_check_does(facts in patients()) {
        let stands = built_in(&facts).urgency;
        for set in could_raise(Protocol::built_in(), &facts, stands) {
            prop_assert!(set.to > stands);
            let [name] = set.facts[..] else { continue };
            let (_, values) = VALUES.iter().find(|(fact, _)| fact.name == name).unwrap();
            let reached = values.iter().map(|value| {
                let mut known = facts.clone();
                known.set(name, *value).unwrap();
                built_in(&known).urgency
            });
            prop_assert_eq!(reached.max(), Some(set.to));
            prop_assert!(facts.value(name).is_none());
        }
    }

    #[test]
    fn an_assessment_reads_back_from_json(facts in patients()) {
        let assessment = built_in(&facts);
        let json = serde_json::to_string(&assessment).unwrap();
        prop_assert_eq!(serde_json::from_str::<Assessment>(&json).unwrap(), assessment);
    }

    #[test]
    fn no_facts_from_outside_make_it_panic(
        given in prop::collection::btree_map("[a-z_]{0,12}", -1e9..1e9_f64, 0..4),
        known in prop::sample::subsequence(DICTIONARY.iter().map(|fact| fact.name).collect::<Vec<_>>(), 0..4),
        value in -1e9..1e9_f64,
    ) {
        let mut map: Map<String, Json> =
            given.into_iter().map(|(name, number)| (name, Json::from(number))).collect();
        map.extend(known.into_iter().map(|name| (name.to_owned(), Json::from(value))));
        if let Ok(facts) = Facts::from_json(&map) {
            built_in(&facts);
        }
    }
}

#[test]
fn random_patients_reach_every_class() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let mut classes = std::collections::BTreeMap::new();
    let strategy = patients();
    for _ in 0..2_000 {
        let facts = strategy.new_tree(&mut runner).unwrap().current();
        *classes.entry(built_in(&facts).urgency).or_insert(0) += 1;
    }
    assert!(
        Urgency::ALL.iter().all(|urgency| classes.get(urgency).is_some_and(|count| *count > 20)),
        "{classes:?}"
    );
}

/// Not left to the draw: every fact of the dictionary that has a worse way, each of its values against each worse one,
/// in patients of every kind. A new fact is tried from the day it is written.
#[test]
fn every_fact_that_gets_worse_lowers_nothing() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let strategy = patients();
    let bases: Vec<Facts> = (0..25).map(|_| strategy.new_tree(&mut runner).unwrap().current()).collect();
    let mut tried = std::collections::BTreeSet::new();
    for (fact, values) in VALUES.iter() {
        for base in &bases {
            let verdicts: Vec<Verdict> = values
                .iter()
                .map(|value| {
                    let mut facts = base.clone();
                    facts.set(fact.name, *value).unwrap();
                    verdict(Protocol::built_in(), &facts)
                })
                .collect();
            for (from, before) in values.iter().zip(&verdicts) {
                for (to, after) in values.iter().zip(&verdicts).filter(|(to, _)| is_worse(fact, *from, **to))
                {
                    let stands = after.urgency >= before.urgency && after.score >= before.score;
                    assert!(stands, "{} {from:?} {to:?}: {before:?} {after:?} {base:?}", fact.name);
                    tried.insert(fact.name);
                }
            }
        }
    }
    let without: Vec<&str> =
        VALUES.iter().map(|(fact, _)| fact.name).filter(|name| !tried.contains(name)).collect();
    assert_eq!(without, ["day", "hours_since_op", "hours_since_pack", "site"], "facts without a worse way");
}
