//! What the assessment promises whatever is answered: worse is never calmer, unknown is never calmer than calm.

use proptest::prelude::*;
use serde_json::Map;
use serde_json::Value as Json;

use crate::triage::Assessment;
use crate::triage::DICTIONARY;
use crate::triage::Fact;
use crate::triage::Facts;
use crate::triage::Group;
use crate::triage::Kind;
use crate::triage::Origin;
use crate::triage::Protocol;
use crate::triage::Unit;
use crate::triage::Urgency;
use crate::triage::Value;
use crate::triage::Worse;
use crate::triage::assess;
use crate::triage::assess_with_photo;
use crate::triage::protocol_checks::quiet_but;

fn given_facts() -> Vec<&'static Fact> {
    DICTIONARY.iter().filter(|fact| fact.from != Origin::Derived).collect()
}

fn number(number: f64) -> Value {
    Value::Number { low: number, high: number }
}

/// Numbers on and just beside every limit of the protocol for this fact, and the ends of its range.
fn telling_numbers(name: &str, unit: Unit, lowest: f64, highest: f64) -> Vec<f64> {
    let step = match unit {
        Unit::Celsius | Unit::Cm | Unit::MmolPerL | Unit::Hours => 0.1,
        Unit::PerMinute
        | Unit::MmHg
        | Unit::MgPerDl
        | Unit::Days
        | Unit::Years
        | Unit::Percent
        | Unit::Count => 1.0,
    };
    let limits = Protocol::built_in().rules().iter().flat_map(|rule| rule.when.limits());
    let mut numbers: Vec<f64> = limits
        .filter(|(fact, _)| *fact == name)
        .flat_map(|(_, limit)| [limit - step, limit, limit + step])
        .chain(if name == "red_cm" { vec![1.9, 2.0, 2.1, 2.4, 2.5, 2.6] } else { vec![] })
        .chain(if name == "hours_silent" { vec![10.0, 20.0, 40.0, 100.0] } else { vec![] })
        .map(|number| number.clamp(lowest, highest))
        .chain([lowest, highest])
        .collect();
    numbers.sort_by(f64::total_cmp);
    numbers.dedup();
    numbers
}

/// Every value worth trying for each given fact.
fn values() -> Vec<(&'static Fact, Vec<Value>)> {
    let of = |fact: &Fact| match fact.kind {
        Kind::Flag => vec![Value::Flag(false), Value::Flag(true)],
        Kind::Word(words) => words.iter().map(|word| Value::Word(word)).collect(),
        Kind::Number { unit, lowest, highest } => {
            telling_numbers(fact.name, unit, lowest, highest).into_iter().map(number).collect()
        }
    };
    given_facts().into_iter().map(|fact| (fact, of(fact))).collect()
}

/// A quiet wound with up to 24 facts changed or made unknown: some still quiet, some very ill.
fn patients() -> impl Strategy<Value = Facts> {
    let values = values();
    let change = (0..values.len(), any::<prop::sample::Index>(), 0..6_u8);
    prop::collection::vec(change, 0..24).prop_map(move |changes| {
        let mut facts = quiet_but("{}");
        for (place, index, forget) in changes {
            let (fact, values) = &values[place];
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

fn not_calmer(after: &Assessment, before: &Assessment) -> bool {
    after.urgency >= before.urgency && after.score >= before.score
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn a_worse_answer_never_lowers_the_class_or_the_score(
        facts in patients(),
        place in any::<prop::sample::Index>(),
    ) {
        let before = built_in(&facts);
        let values = values();
        let worse: Vec<(&str, Value)> = values
            .iter()
            .filter_map(|(fact, values)| Some((fact, facts.value(fact.name)?, values)))
            .flat_map(|(fact, from, values)| {
                values.iter().filter(move |to| is_worse(fact, from, **to)).map(|to| (fact.name, *to))
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
        let values = values();
        let calm: Vec<(&str, Value)> = values
            .iter()
            .filter_map(|(fact, values)| Some((fact.name, calmest(fact, values)?)))
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
        let values = values();
        let measured: Vec<(&str, Value)> = seen
            .iter()
            .map(|(name, value)| {
                let name = *name.get(&names);
                let (_, values) = values.iter().find(|(fact, _)| fact.name == name).unwrap();
                (name, *value.get(values))
            })
            .collect();
        let alone = built_in(&facts);
        let with_photo = assess_with_photo(Protocol::built_in(), &facts, &measured);
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
fn random_patients_reach_every_class_and_fire_every_rule() {
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
