//! A contradiction is found and shown, and none of its two answers ever makes a check calmer than the other alone.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use proptest::prelude::*;

use crate::plan::Diabetes;
use crate::plan::Operation;
use crate::plan::Packing;
use crate::plan::RiskFactors;
use crate::plan::Side;
use crate::plan::Site;
use crate::triage::Assessment;
use crate::triage::Context;
use crate::triage::Contradiction;
use crate::triage::Enrolled;
use crate::triage::Facts;
use crate::triage::Protocol;
use crate::triage::QUESTIONS;
use crate::triage::Reading;
use crate::triage::Value;
use crate::triage::assess;
use crate::triage::contradictions;
use crate::triage::not_asked;
use crate::triage::read;
use crate::triage::well_answers::well_and;

type Fields = &'static [(&'static str, &'static str)];

/// Each kind: one answer, the other, and whether a strip was placed (and found to be out).
const PAIRS: &[(Contradiction, Fields, Fields, Strip)] = &[
    (Contradiction::NoDangerButTicked, &[("danger", "none")], &[("danger", "skin")], Strip::In),
    (Contradiction::NoBleedingButDanger, &[("bleed", "none")], &[("danger", "bleed")], Strip::In),
    (Contradiction::NoBleedingButTwice, &[("bleed", "none")], &[("bleed_repeat", "yes")], Strip::In),
    (Contradiction::PictureAndRuler, &[("edge", "none")], &[("edge_mm", "12")], Strip::In),
    (Contradiction::PictureAndRuler, &[("edge", "to_2_inches")], &[("edge_mm", "3")], Strip::In),
    (Contradiction::NoRednessButGrowing, &[("edge", "none")], &[("edge_move", "bigger")], Strip::In),
    (Contradiction::NoRednessButStreaks, &[("edge", "none")], &[("streaks", "yes")], Strip::In),
    (
        Contradiction::NotBiggerButMoved,
        &[("edge_move", "smaller")],
        &[("edge_cm", "3"), ("edge_hours", "5")],
        Strip::In,
    ),
    (Contradiction::NothingHotButTicked, &[("warm_hard", "none")], &[("warm_hard", "hot")], Strip::In),
    (
        Contradiction::NothingHotButGrowing,
        &[("warm_hard", "none")],
        &[("warm_hard_trend", "bigger")],
        Strip::In,
    ),
    (Contradiction::NoThermometerButReading, &[("temp", "none")], &[("temp", "36.9")], Strip::In),
    (Contradiction::NoThermometerButReading, &[("temp", "none")], &[("temp", "39.1")], Strip::In),
    (Contradiction::NoThermometerButReading, &[("temp", "not_sure")], &[("temp", "36.9")], Strip::In),
    (Contradiction::NoPainButWorse, &[("pain", "0")], &[("pain_trend", "worse")], Strip::In),
    (Contradiction::LittlePainButDanger, &[("pain", "3")], &[("danger", "pain")], Strip::In),
    (Contradiction::NothingComesButMore, &[("drain", "none")], &[("drain_amount", "more")], Strip::In),
    (Contradiction::NeverHadStripButPlaced, &[], &[("strip", "never_had")], Strip::In),
    (Contradiction::StripButNonePlaced, &[], &[("strip", "part_out")], Strip::None),
    (Contradiction::StripInAfterOut, &[], &[("strip", "still_in")], Strip::Out),
    (Contradiction::NotSickButTicked, &[("sugar_sick", "none")], &[("sugar_sick", "vomiting")], Strip::In),
    (Contradiction::NoLooseStoolsButBlood, &[("loose_stools", "0")], &[("stool_blood", "yes")], Strip::In),
    (Contradiction::PeesWellButTicked, &[("pee_signs", "none")], &[("pee_signs", "urge")], Strip::In),
];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Strip {
    None,
    In,
    Out,
}

/// What a well patient says, but for the questions of the pair.
static WELL: LazyLock<Vec<(&str, &str)>> = LazyLock::new(|| well_and(&[("temp", "36.8")]));

/// Answers that make some of those checks graver, or open a branch.
const MORE: Fields = &[
    ("temp", "38.6"),
    ("temp", "none"),
    ("feels_feverish", "no"),
    ("fever_pill", "no"),
    ("edge", "not_sure"),
    ("edge", "to_1_inch"),
    ("edge_move", "bigger"),
    ("pain", "8"),
    ("pain_trend", "worse"),
    ("drain", "thick"),
    ("bleed", "soaks_pad_hour"),
    ("lump_back", "yes"),
    ("closed_over", "yes"),
    ("pulse", "112"),
    ("rash", "hives"),
    ("sugar", "320"),
    ("pee", "9"),
    ("better", "very_ill"),
];

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn operation(site: Site, strip: Strip) -> Operation {
    let placed = at("2026-03-02T14:00:00Z");
    Operation {
        site,
        side: Side::Left,
        procedure: "abscess drained".to_owned(),
        operated: placed,
        size: None,
        packing: (strip != Strip::None).then_some(Packing { pieces: 1, length_cm: None, placed }),
        pen_line: None,
    }
}

fn out(strip: Strip) -> Option<Timestamp> {
    (strip == Strip::Out).then(|| at("2026-03-04T14:00:00Z"))
}

fn reading(fields: &[(&str, &str)], operation: &Operation, risk: &RiskFactors, strip: Strip) -> Reading {
    let fields: Vec<(String, String)> =
        fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
    read(&fields, &Context::of(operation, risk, out(strip)))
}

fn facts(fields: &[(&str, &str)], operation: &Operation, risk: &RiskFactors, strip: Strip) -> Facts {
    let answers = reading(fields, operation, risk, strip).answers;
    let enrolled = Enrolled { operation, risk, age_years: Some(40), strip_out_confirmed: out(strip) };
    Facts::from_check(&answers, &enrolled, at("2026-03-07T14:00:00Z"), &TimeZone::UTC)
}

fn come_out(fields: &[(&str, &str)], operation: &Operation, risk: &RiskFactors, strip: Strip) -> Assessment {
    assess(Protocol::built_in(), &facts(fields, operation, risk, strip))
}

/// Everybody meets every question: diabetes, an antibiotic, a wound near the bottom.
fn meets_all() -> RiskFactors {
    RiskFactors { diabetes: Some(Diabetes::T2), takes_antibiotic: Some(true), ..RiskFactors::default() }
}

#[test]
fn every_kind_of_contradiction_is_found_with_both_answers_and_with_neither_alone() {
    for (kind, one, other, strip) in PAIRS {
        let operation = operation(Site::Perianal, *strip);
        let found = |fields: &[(&str, &str)]| {
            let answers = reading(fields, &operation, &meets_all(), *strip).answers;
            contradictions(&answers, &Context::of(&operation, &meets_all(), out(*strip)))
        };
        assert_eq!(found(&[*one, *other].concat()), vec![*kind], "{one:?} {other:?}");
        assert_eq!(found(one), vec![], "{one:?}");
        if !one.is_empty() {
            assert_eq!(found(other), vec![], "{other:?}");
        }
    }
    for kind in Contradiction::ALL {
        assert!(PAIRS.iter().any(|(paired, ..)| paired == kind), "{kind:?}");
        assert!(QUESTIONS.iter().any(|question| question.id == kind.stands()), "{kind:?}");
    }
}

#[test]
fn a_ruler_that_is_off_by_a_little_contradicts_no_picture() {
    let operation = operation(Site::Thigh, Strip::None);
    let clash = |edge, mm| {
        let answers =
            reading(&[("edge", edge), ("edge_mm", mm)], &operation, &meets_all(), Strip::None).answers;
        !contradictions(&answers, &Context::of(&operation, &meets_all(), None)).is_empty()
    };
    assert!(!clash("none", "0") && clash("none", "1"));
    assert!(!clash("thin", "8") && clash("thin", "9") && clash("thin", "0"));
    assert!(!clash("to_1_inch", "2") && clash("to_1_inch", "1"));
    assert!(!clash("to_1_inch", "28") && clash("to_1_inch", "29"));
    assert!(!clash("to_2_inches", "53") && clash("to_2_inches", "54"));
    assert!(!clash("over_2_inches", "47") && clash("over_2_inches", "46"));
}

#[test]
fn of_two_answers_to_one_question_the_graver_counts_until_the_patient_has_chosen() {
    let operation = operation(Site::Thigh, Strip::In);
    let both = |name: &'static str, values: [&'static str; 2]| {
        let fields = values.map(|value| (name, value));
        let two = reading(&fields, &operation, &meets_all(), Strip::In);
        assert_eq!(two.faults.len(), 1, "{name}");
        let graver = reading(&[(name, values[1])], &operation, &meets_all(), Strip::In);
        assert_eq!(two.answers, graver.answers, "{name}");
    };
    both("better", ["better", "very_ill"]);
    both("chills", ["no", "shaking"]);
    both("streaks", ["no", "yes"]);
    both("streaks", ["no", "not_sure"]);
    both("chills", ["not_sure", "shaking"]);
    both("pain_just_packed", ["yes", "no"]);
    both("sugar", ["120", "lo"]);
    both("sugar", ["lo", "400"]);
    both("sugar", ["399", "lo"]);
    both("sugar", ["120", "hi"]);
}

#[test]
fn what_was_not_asked_is_named_and_raises_without_calming() {
    let operation = operation(Site::Thigh, Strip::None);
    let risk = RiskFactors {
        diabetes: Some(Diabetes::None),
        takes_antibiotic: Some(false),
        ..RiskFactors::default()
    };
    let fields =
        [("sugar", "45"), ("sugar_unit", "mg_dl"), ("finger", "no"), ("stool_blood", "yes"), ("pain", "3")];
    let answers = reading(&fields, &operation, &risk, Strip::None).answers;
    assert_eq!(
        not_asked(&answers, &Context::of(&operation, &risk, None)),
        vec!["sugar", "stool_blood", "finger"]
    );
    let found = facts(&fields, &operation, &risk, Strip::None);
    assert_eq!(found.value("glucose"), Some(Value::Number { low: 45.0, high: 45.0 }));
    assert_eq!(found.value("stool_blood"), Some(Value::Flag(true)));
    assert_eq!(found.value("finger_bent"), None);
    let calm = facts(&[("sugar", "100"), ("sugar_unit", "mg_dl")], &operation, &risk, Strip::None);
    assert_eq!(calm.value("glucose"), None);
}

#[test]
fn a_branch_that_was_closed_again_says_nothing_calm() {
    // "Bigger" was chosen, the pace typed in, and then "the same" chosen: the pace is still in the form.
    let operation = operation(Site::Thigh, Strip::None);
    let fields = [("edge_move", "same"), ("edge_cm", "4"), ("edge_hours", "6")];
    let found = facts(&fields, &operation, &meets_all(), Strip::None);
    assert_eq!(found.value("red_grew_cm_6h"), Some(Value::Number { low: 4.0, high: 4.0 }));
    assert_eq!(found.value("red_trend"), Some(Value::Word("bigger")));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3_000))]

    #[test]
    fn a_contradicting_answer_never_lowers_class_or_score(
        pair in prop::sample::select(PAIRS),
        site in prop::sample::select(Site::ALL),
        diabetes in prop::option::of(prop::sample::select(Diabetes::ALL)),
        antibiotic in prop::option::of(any::<bool>()),
        thinner in prop::option::of(any::<bool>()),
        red_hard_to_see in prop::option::of(any::<bool>()),
        more in prop::collection::vec(prop::sample::select(MORE), 0..6),
    ) {
        let (kind, one, other, strip) = pair;
        let operation = operation(site, strip);
        let risk = RiskFactors {
            diabetes,
            takes_antibiotic: antibiotic,
            blood_thinner: thinner,
            redness_hard_to_see: red_hard_to_see,
            ..RiskFactors::default()
        };
        let in_pair = |name: &str| one.iter().chain(other).any(|(paired, _)| *paired == name);
        let mut base: BTreeMap<&str, &str> = WELL.iter().chain(&more).copied().collect();
        base.retain(|name, _| !in_pair(name));
        // Where the pair stands against the enrolment, the question is otherwise left out.
        let with = |added: &[(&'static str, &'static str)]| {
            let fields: Vec<(&str, &str)> = base.iter().map(|(name, value)| (*name, *value)).chain(added.iter().copied()).collect();
            come_out(&fields, &operation, &risk, strip)
        };
        let both = with(&[one, other].concat());
        for alone in [one, other] {
            let before = with(alone);
            prop_assert!(
                (both.urgency, both.score) >= (before.urgency, before.score),
                "{kind:?} after {alone:?}: {before:#?} {both:#?}"
            );
        }
    }

    #[test]
    fn an_answer_to_a_question_that_was_not_asked_never_lowers_class_or_score(
        site in prop::sample::select(Site::ALL),
        diabetes in prop::option::of(prop::sample::select(Diabetes::ALL)),
        strip in prop::sample::select(&[Strip::None, Strip::In, Strip::Out][..]),
        question in prop::sample::select(QUESTIONS),
        value in prop::sample::select(&["none", "no", "yes", "not_sure", "0", "3", "40", "120", "500", "lo", "smaller",
            "bigger", "all_out", "still_in", "fell_out", "mild", "blister", "urge", "large", "37.0"][..]),
        more in prop::collection::vec(prop::sample::select(MORE), 0..6),
    ) {
        let operation = operation(site, strip);
        let risk = RiskFactors { diabetes, ..RiskFactors::default() };
        let mut base: BTreeMap<&str, &str> = WELL.iter().chain(&more).copied().collect();
        for field in question.fields {
            base.remove(field);
        }
        let mut fields: Vec<(&str, &str)> = base.into_iter().collect();
        let before = come_out(&fields, &operation, &risk, strip);
        let first = question.fields[0];
        fields.push((first, value));
        let answers = reading(&fields, &operation, &risk, strip).answers;
        let context = Context::of(&operation, &risk, out(strip));
        if not_asked(&answers, &context).contains(&question.id) {
            let after = come_out(&fields, &operation, &risk, strip);
            prop_assert!((after.urgency, after.score) >= (before.urgency, before.score), "{first} {value}");
        }
    }
}
