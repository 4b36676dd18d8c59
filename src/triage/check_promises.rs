//! From a form as posted to its assessment: nothing posted breaks it, and a worse answer never comes out calmer.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use proptest::prelude::*;

use crate::plan::Diabetes;
use crate::plan::Immunity;
use crate::plan::Operation;
use crate::plan::Packing;
use crate::plan::RiskFactors;
use crate::plan::Side;
use crate::plan::Site;
use crate::triage::AnswerKind;
use crate::triage::Answers;
use crate::triage::Assessment;
use crate::triage::Context;
use crate::triage::DangerItem;
use crate::triage::Enrolled;
use crate::triage::Facts;
use crate::triage::Protocol;
use crate::triage::QUESTIONS;
use crate::triage::Reading;
use crate::triage::Urgency;
use crate::triage::Value;
use crate::triage::assess;
use crate::triage::read;
use crate::triage::well_answers::well_and;

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

/// An abscess drained and packed on Monday, 2 March 2026.
fn drained(site: Site) -> Operation {
    Operation {
        site,
        side: Side::Left,
        procedure: "abscess drained".to_owned(),
        operated: at("2026-03-02T14:00:00Z"),
        size: None,
        packing: Some(Packing { pieces: 1, length_cm: Some(60.0), placed: at("2026-03-02T14:00:00Z") }),
        pen_line: None,
    }
}

fn robust() -> RiskFactors {
    RiskFactors {
        diabetes: Some(Diabetes::None),
        immunity: Some(Immunity::None),
        blood_thinner: Some(false),
        ..RiskFactors::default()
    }
}

fn posted(fields: &[(&str, &str)], operation: &Operation, risk: &RiskFactors) -> Reading {
    let fields: Vec<(String, String)> =
        fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
    read(&fields, &Context::of(operation, risk, None))
}

fn facts(answers: &Answers, operation: &Operation, risk: &RiskFactors) -> Facts {
    let enrolled = Enrolled { operation, risk, age_years: Some(40), strip_out_confirmed: None };
    Facts::from_check(answers, &enrolled, at("2026-03-07T14:00:00Z"), &TimeZone::UTC)
}

fn come_out(fields: &[(&str, &str)], operation: &Operation, risk: &RiskFactors) -> Assessment {
    let reading = posted(fields, operation, risk);
    assess(Protocol::built_in(), &facts(&reading.answers, operation, risk))
}

/// A patient five days on who is well and answers everything asked.
static WELL: LazyLock<Vec<(&str, &str)>> =
    LazyLock::new(|| well_and(&[("temp", "98.4"), ("temp_unit", "f"), ("strip", "all_out")]));

fn well_but<'a>(changes: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let kept = WELL.iter().filter(|(name, _)| changes.iter().all(|(changed, _)| changed != name));
    kept.chain(changes).copied().collect()
}

#[test]
fn a_well_patient_who_answers_everything_is_on_track_and_has_skipped_nothing() {
    let reading = posted(&WELL, &drained(Site::Thigh), &robust());
    assert_eq!((reading.faults, reading.skipped), (vec![], vec![]));
    let assessment = come_out(&WELL, &drained(Site::Thigh), &robust());
    assert_eq!(assessment.urgency, Urgency::OnTrack, "{assessment:#?}");
    assert_eq!(assessment.reasons, vec![]);
}

#[test]
fn leaving_any_core_question_blank_or_unsure_keeps_a_well_patient_from_being_on_track() {
    for (name, value) in [("danger", "none"), ("temp", "98.4"), ("edge", "thin"), ("edge_move", "same")]
        .into_iter()
        .chain([("pain_trend", "better"), ("bleed", "spots"), ("strip", "all_out"), ("chills", "no")])
    {
        for unknown in ["", "not_sure"] {
            let fields = well_but(&[(name, unknown)]);
            let assessment = come_out(&fields, &drained(Site::Thigh), &robust());
            assert!(assessment.urgency >= Urgency::Tomorrow, "{name} {unknown} instead of {value}");
        }
    }
}

#[test]
fn without_a_thermometer_no_fever_and_no_chills_are_enough() {
    let without = [("temp", "none"), ("feels_feverish", "no"), ("fever_pill", "no")];
    let assessment = come_out(&well_but(&without), &drained(Site::Thigh), &robust());
    assert_eq!(assessment.urgency, Urgency::OnTrack);
    let unasked = well_but(&[("temp", "none")]);
    let assessment = come_out(&unasked, &drained(Site::Thigh), &robust());
    assert_eq!(assessment.gates[0].id, "temp");
}

#[test]
fn every_danger_item_is_an_emergency_at_every_site_whatever_else_is_said() {
    for site in Site::ALL {
        for item in DangerItem::ALL {
            let fields = well_but(&[("danger", item.code())]);
            let assessment = come_out(&fields, &drained(*site), &robust());
            assert_eq!(assessment.urgency, Urgency::GoNow, "{site:?} {item:?}");
            let told = format!("ticked: danger.{}", item.code());
            let shown = assessment.reasons.iter().flat_map(|reason| &reason.tripped);
            assert!(shown.into_iter().any(|tripped| tripped.value.contains(&told)), "{site:?} {item:?}");
        }
    }
}

#[test]
fn a_tick_stands_above_none_of_these() {
    let mut fields = well_but(&[]);
    fields.push(("danger", "swell"));
    let assessment = come_out(&fields, &drained(Site::Thigh), &robust());
    assert_eq!(assessment.urgency, Urgency::GoNow);
}

#[test]
fn alarm_words_raise_and_are_quoted() {
    let fields = well_but(&[("words", "Better today, but some chest pain since noon")]);
    let assessment = come_out(&fields, &drained(Site::Thigh), &robust());
    assert_eq!(assessment.urgency, Urgency::GoNow);
    assert_eq!(assessment.reasons[0].tripped[0].value, "yes (wrote: chest pain)");
}

#[test]
fn not_being_able_to_tell_the_redness_turns_to_heat_hardness_and_swelling() {
    let reading = posted(&well_but(&[("edge", "not_sure")]), &drained(Site::Thigh), &robust());
    let facts = facts(&reading.answers, &drained(Site::Thigh), &robust());
    assert_eq!(facts.value("red_hard_to_see"), Some(Value::Flag(true)));
    assert_eq!(facts.value("red_cm"), None);
}

#[test]
fn the_strip_answer_is_held_against_what_was_placed() {
    let packing = |site_packed: bool, strip: &str| {
        let mut operation = drained(Site::Thigh);
        if !site_packed {
            operation.packing = None;
        }
        let reading = posted(&[("strip", strip)], &operation, &robust());
        match facts(&reading.answers, &operation, &robust()).value("packing") {
            Some(Value::Word(word)) => Some(word),
            _ => None,
        }
    };
    assert_eq!(packing(true, "never_had"), Some("unsure"));
    assert_eq!(packing(true, "not_sure"), Some("unsure"));
    assert_eq!(packing(true, "stuck"), Some("in"));
    assert_eq!(packing(true, ""), None);
    assert_eq!(packing(false, ""), Some("none"));
    assert_eq!(packing(false, "part_out"), Some("partly"));
}

#[test]
fn a_sugar_reading_counts_for_a_day() {
    let mut diabetic = robust();
    diabetic.diabetes = Some(Diabetes::T2);
    let glucose = |hours: &str| {
        let fields = [("sugar", "320"), ("sugar_unit", "mg_dl"), ("sugar_hours", hours)];
        let reading = posted(&fields, &drained(Site::Thigh), &diabetic);
        facts(&reading.answers, &drained(Site::Thigh), &diabetic).value("glucose").is_some()
    };
    assert!(glucose("24") && glucose(""));
    assert!(!glucose("25"));
}

#[test]
fn redness_that_moved_over_more_than_six_hours_counts_at_least_its_share() {
    let grew = |hours: &str, cm: &str| {
        let fields = [("edge_hours", hours), ("edge_cm", cm)];
        let reading = posted(&fields, &drained(Site::Thigh), &robust());
        facts(&reading.answers, &drained(Site::Thigh), &robust()).value("red_grew_cm_6h")
    };
    assert_eq!(grew("6", "2,5"), Some(Value::Number { low: 2.5, high: 2.5 }));
    assert_eq!(grew("12", "5"), Some(Value::Number { low: 2.5, high: 5.0 }));
    assert_eq!(grew("6.5", "5"), Some(Value::Number { low: 2.5, high: 5.0 }));
}

#[test]
fn a_second_low_reading_makes_the_cold_certain_and_an_odd_first_one_gives_way() {
    let temp = |first: &str, second: &str| {
        let fields = [("temp", first), ("temp_again", second)];
        let reading = posted(&fields, &drained(Site::Thigh), &robust());
        let facts = facts(&reading.answers, &drained(Site::Thigh), &robust());
        (facts.value("temp_c"), facts.value("temp_repeat_low"))
    };
    let number = |celsius: f64| Some(Value::Number { low: celsius, high: celsius });
    assert_eq!(temp("35.0", ""), (number(35.0), None));
    assert_eq!(temp("35.0", "34.8"), (number(34.8), Some(Value::Flag(true))));
    assert_eq!(temp("35.0", "35.1"), (number(35.0), Some(Value::Flag(false))));
    assert_eq!(temp("31.0", "36.8"), (number(36.8), Some(Value::Flag(false))));
    assert_eq!(temp("42.5", "38.9"), (number(38.9), Some(Value::Flag(false))));
}

/// Form fields with their values from calm to grave.
const CHAINS: &[(&str, &[&str])] = &[
    ("danger", &["none", "bleed"]),
    ("danger", &["none", "skin"]),
    ("better", &["better", "same", "worse", "very_ill"]),
    ("temp", &["36.9", "37.9", "38.0", "38.5", "38.6", "39.0", "41"]),
    ("temp", &["36.5", "35.9", "35.0", "34.2"]),
    ("feels_feverish", &["no", "yes"]),
    ("fever_pill", &["no", "yes"]),
    ("chills", &["no", "hot_cold", "shaking"]),
    ("edge", &["none", "thin", "to_1_inch", "to_2_inches", "over_2_inches"]),
    ("edge_mm", &["0", "5", "6", "20", "21", "25", "26", "50", "51", "300"]),
    ("edge_move", &["smaller", "same", "bigger"]),
    ("edge_cm", &["0", "2.4", "2.5", "30"]),
    ("warm_hard", &["none", "hot"]),
    ("warm_hard", &["none", "hard"]),
    ("warm_hard_trend", &["smaller", "same", "bigger"]),
    ("streaks", &["no", "yes"]),
    ("pain", &["0", "6", "7", "8", "10"]),
    ("pain_trend", &["better", "same", "worse"]),
    ("pain_just_packed", &["yes", "no"]),
    ("drain", &["none", "clear", "thin_yellow", "thick"]),
    ("drain", &["none", "clear", "thin_yellow", "gray"]),
    ("smell", &["no", "yes"]),
    ("bleed", &["none", "spots", "after_wash_stopped", "soaks_pad_hour"]),
    ("bleed_repeat", &["no", "yes"]),
    ("strip", &["all_out", "part_out"]),
    ("strip", &["all_out", "unsure"]),
    ("strip", &["all_out", "still_in", "stuck"]),
    ("wash", &["2", "1", "0"]),
    ("lump_back", &["no", "yes"]),
    ("closed_over", &["no", "yes"]),
    ("sugar", &["100", "151", "251", "301", "400", "600"]),
    ("sugar", &["100", "69", "53"]),
    ("sugar_sick", &["none", "thirsty", "vomiting"]),
    ("ketones", &["0", "1.4", "1.5", "3.0"]),
    ("ketones_urine", &["none", "small", "moderate", "large"]),
    ("pills_missed", &["0", "1", "2", "20"]),
    ("pills_vomited", &["0", "1", "2", "20"]),
    ("rash", &["none", "mild", "hives", "blister"]),
    ("loose_stools", &["0", "2", "3", "30"]),
    ("stool_blood", &["no", "yes"]),
    ("pee", &["0", "7", "8", "48"]),
    ("pee_signs", &["none", "urge"]),
    ("pee_signs", &["none", "pressure"]),
    ("pee_signs", &["none", "no_stool"]),
    ("finger", &["no", "yes"]),
    ("pulse", &["70", "91", "111", "131", "220"]),
    ("breaths", &["14", "21", "22", "25", "60"]),
    ("pressure", &["130", "100", "90", "50"]),
    ("words", &["", "chest pain"]),
];

fn hosts() -> impl Strategy<Value = (Operation, RiskFactors)> {
    let site = prop::sample::select(Site::ALL);
    let diabetes = prop::option::of(prop::sample::select(Diabetes::ALL));
    let immunity = prop::option::of(prop::sample::select(Immunity::ALL));
    (site, diabetes, immunity, prop::option::of(any::<bool>())).prop_map(
        |(site, diabetes, immunity, thinner)| {
            let risk = RiskFactors {
                diabetes,
                immunity,
                blood_thinner: thinner,
                mrsa_before: thinner,
                takes_antibiotic: thinner,
                ..RiskFactors::default()
            };
            (drained(site), risk)
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn a_worse_answer_on_the_form_never_comes_out_calmer(
        (operation, risk) in hosts(),
        answered in prop::collection::vec((0..CHAINS.len(), any::<prop::sample::Index>()), 0..20),
        worsened in 0..CHAINS.len(),
        from in any::<prop::sample::Index>(),
    ) {
        let mut fields: BTreeMap<&str, &str> = WELL.iter().copied().collect();
        fields.extend([("temp", "36.9"), ("temp_unit", "c"), ("edge_hours", "6"), ("sugar_unit", "mg_dl")]);
        for (chain, index) in answered {
            let (name, values) = CHAINS[chain];
            fields.insert(name, values[index.index(values.len())]);
        }
        let (name, values) = CHAINS[worsened];
        let step = from.index(values.len() - 1);
        let outcome = |value| {
            let mut fields = fields.clone();
            fields.insert(name, value);
            come_out(&fields.into_iter().collect::<Vec<_>>(), &operation, &risk)
        };
        let (before, after) = (outcome(values[step]), outcome(values[step + 1]));
        prop_assert!(
            after.urgency >= before.urgency && after.score >= before.score,
            "{name} {} to {}: {before:#?} {after:#?}", values[step], values[step + 1]
        );
    }

    #[test]
    fn whatever_is_posted_is_read_assessed_and_kept(
        (operation, risk) in hosts(),
        posted in prop::collection::vec((names(), junk()), 0..30),
    ) {
        let reading = read(&posted, &Context::of(&operation, &risk, None));
        let json = serde_json::to_string(&reading.answers).unwrap();
        prop_assert_eq!(&serde_json::from_str::<Answers>(&json).unwrap(), &reading.answers);
        assess(Protocol::built_in(), &facts(&reading.answers, &operation, &risk));
        // Nothing typed into a question's first field vanishes: it is an answer or a fault.
        for question in QUESTIONS.iter().filter(|question| question.kind != AnswerKind::Words) {
            let typed = posted.iter().any(|(name, value)| name == question.id && !value.trim().is_empty());
            let answered = serde_json::to_value(&reading.answers).unwrap().get(question.id).is_some();
            let faulted = reading.faults.iter().any(|fault| question.fields.contains(&fault.field));
            prop_assert!(!typed || answered || faulted, "{}", question.id);
        }
    }
}

fn names() -> impl Strategy<Value = String> {
    let fields: Vec<&str> = QUESTIONS.iter().flat_map(|question| question.fields).copied().collect();
    prop_oneof![8 => prop::sample::select(fields).prop_map(str::to_owned), 1 => "\\PC{0,12}"]
}

fn junk() -> impl Strategy<Value = String> {
    let codes: Vec<&str> = QUESTIONS
        .iter()
        .flat_map(|question| match question.kind {
            AnswerKind::One(codes) | AnswerKind::Many(codes) => codes,
            AnswerKind::BandOrRuler(codes) | AnswerKind::Ketones(codes) => codes,
            AnswerKind::Whole { .. }
            | AnswerKind::Temperature
            | AnswerKind::Pace
            | AnswerKind::Sugar
            | AnswerKind::Phone
            | AnswerKind::Words => &["none", "not_sure", "hi", "LO", "mg_dl", "mmol_l"],
        })
        .copied()
        .collect();
    prop_oneof![
        4 => prop::sample::select(codes).prop_map(str::to_owned),
        3 => "[0-9]{1,3}([.,][0-9]{1,2})?",
        1 => "\\PC{0,30}",
        1 => "[-+0-9.,eE ]{0,24}",
    ]
}
