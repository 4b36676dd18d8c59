//! How the form asks back: each fault by name, and which questions whom.

use crate::plan::Diabetes;
use crate::plan::Site;
use crate::triage::AnswerKind;
use crate::triage::Answers;
use crate::triage::Context;
use crate::triage::DangerItem;
use crate::triage::Edge;
use crate::triage::EdgeBand;
use crate::triage::Fault;
use crate::triage::FaultKind;
use crate::triage::MeterReading;
use crate::triage::NOT_SURE;
use crate::triage::QUESTIONS;
use crate::triage::Reading;
use crate::triage::Said;
use crate::triage::StripKnown;
use crate::triage::Temperature;
use crate::triage::read;

const THIGH: Context = Context {
    site: Site::Thigh,
    diabetes: Some(Diabetes::None),
    sglt2: Some(false),
    blood_thinner: Some(false),
    strip: StripKnown::Unresolved,
};

fn posted(fields: &[(&str, &str)]) -> Reading {
    let fields: Vec<(String, String)> =
        fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
    read(&fields, &THIGH)
}

fn faults(fields: &[(&str, &str)]) -> Vec<(&'static str, FaultKind)> {
    posted(fields).faults.into_iter().map(|fault| (fault.field, fault.kind)).collect()
}

fn tenths_c(reading: &Reading) -> Option<u16> {
    match reading.answers.temp.known()? {
        Temperature::NoThermometer => None,
        Temperature::Taken(taken) => Some(taken.tenths_c),
    }
}

#[test]
fn an_odd_temperature_is_kept_and_asked_for_once_more() {
    for (typed, again) in [("33.9", true), ("34.0", true), ("35.0", true), ("35.1", false), ("42.0", false)]
        .into_iter()
        .chain([("42.1", true), ("43.0", true), ("107.6", false), ("107.7", true)])
    {
        let reading = posted(&[("temp", typed)]);
        assert!(tenths_c(&reading).is_some(), "{typed}");
        let expected = if again { vec![("temp", FaultKind::TakeAgain)] } else { vec![] };
        assert_eq!(faults(&[("temp", typed)]), expected, "{typed}");
        assert_eq!(faults(&[("temp", typed), ("temp_again", "36.8")]), vec![], "{typed}");
    }
}

#[test]
fn a_temperature_nobody_has_is_refused_with_what_was_typed() {
    for typed in ["29.9", "43.1", "60", "85.9", "113.1"] {
        let reading = posted(&[("temp", typed)]);
        let fault = Fault { field: "temp", kind: FaultKind::OutOfRange, typed: typed.to_owned() };
        assert_eq!((reading.faults, reading.answers.temp), (vec![fault], Said::Blank));
    }
    assert_eq!(faults(&[("temp", "warm")]), vec![("temp", FaultKind::NotANumber)]);
}

#[test]
fn a_unit_that_contradicts_the_number_is_asked_about_and_the_number_counts() {
    let reading = posted(&[("temp", "38.5"), ("temp_unit", "f")]);
    assert_eq!(tenths_c(&reading), Some(385));
    assert_eq!(reading.faults[0].kind, FaultKind::WhichUnit);
    let reading = posted(&[("temp", "101.3"), ("temp_unit", "c")]);
    assert_eq!(tenths_c(&reading), Some(385));
    assert_eq!(reading.faults[0].field, "temp_unit");
    assert_eq!(faults(&[("temp", "101.3"), ("temp_unit", "f")]), vec![]);
}

#[test]
fn a_sugar_without_a_sure_unit_is_kept_for_the_eye_and_asked_about() {
    let reading = posted(&[("sugar", "25"), ("sugar_unit", "mg_dl")]);
    assert_eq!(reading.faults[0].kind, FaultKind::WhichUnit);
    let kept = reading.answers.sugar.known().unwrap();
    assert!(matches!(&kept.reading, MeterReading::Unclear { entered, .. } if entered == "25"));
    let confirmed = [("sugar", "25"), ("sugar_unit", "mg_dl"), ("sugar_unit_checked", "mg_dl")];
    assert_eq!(faults(&confirmed), vec![]);
}

#[test]
fn pain_runs_from_0_to_10() {
    for (typed, pain) in [("0", 0), ("10", 10), ("6,5", 7)] {
        assert_eq!(posted(&[("pain", typed)]).answers.pain, Said::Is(pain), "{typed}");
    }
    assert_eq!(faults(&[("pain", "11")]), vec![("pain", FaultKind::OutOfRange)]);
    assert_eq!(faults(&[("pain", "-1")]), vec![("pain", FaultKind::NotANumber)]);
    assert_eq!(posted(&[("pain", NOT_SURE)]).answers.pain, Said::NotSure);
}

#[test]
fn of_a_picture_and_a_ruler_the_wider_counts() {
    let edge = |band: &str, mm: &str| posted(&[("edge", band), ("edge_mm", mm)]).answers.edge;
    assert_eq!(edge("to_1_inch", "24"), Said::Is(Edge::Band(EdgeBand::ToOneInch)));
    assert_eq!(edge("to_1_inch", "26"), Said::Is(Edge::RulerMm(26)));
    assert_eq!(edge("", "12,2"), Said::Is(Edge::RulerMm(13)));
    assert_eq!(edge(NOT_SURE, "30"), Said::Is(Edge::RulerMm(30)));
    assert_eq!(edge("to_1_inch", ""), Said::Is(Edge::Band(EdgeBand::ToOneInch)));
    assert_eq!(faults(&[("edge_mm", "301")]), vec![("edge_mm", FaultKind::OutOfRange)]);
}

#[test]
fn half_an_answer_and_two_answers_are_asked_about() {
    assert_eq!(faults(&[("edge_hours", "3")]), vec![("edge_cm", FaultKind::OtherHalf)]);
    assert_eq!(faults(&[("edge_cm", "3")]), vec![("edge_hours", FaultKind::OtherHalf)]);
    assert_eq!(faults(&[("better", "same"), ("better", "worse")]), vec![("better", FaultKind::TwoAnswers)]);
    assert_eq!(faults(&[("better", "same"), ("better", "same")]), vec![]);
    assert_eq!(faults(&[("better", "fine")]), vec![("better", FaultKind::NoSuchAnswer)]);
    assert_eq!(faults(&[("danger", "fire"), ("danger", "skin")]), vec![("danger", FaultKind::NoSuchAnswer)]);
}

#[test]
fn words_are_kept_whole_even_when_there_are_too_many() {
    let long = "a".repeat(1_001);
    let reading = posted(&[("words", &long)]);
    assert_eq!((reading.answers.words.len(), reading.faults[0].kind), (1_001, FaultKind::TooLong));
    assert_eq!(faults(&[("words", &long[1..])]), vec![]);
}

#[test]
fn the_danger_screen_asks_two_more_things_where_they_belong() {
    let items = |site| Context { site, ..THIGH }.danger_items();
    assert!(
        !items(Site::Thigh).contains(&DangerItem::Low) && !items(Site::Thigh).contains(&DangerItem::Face)
    );
    assert!(items(Site::Perianal).contains(&DangerItem::Low));
    assert!(items(Site::Scalp).contains(&DangerItem::Face));
}

#[test]
fn branches_open_where_an_answer_calls_for_them() {
    let asks = |id: &str, fields: &[(&str, &str)], context: &Context| {
        let answers = posted(fields).answers;
        QUESTIONS.iter().any(|question| question.id == id && question.asked(&answers, context))
    };
    for (id, closed, open) in [
        ("temp_again", ("temp", "35.1"), ("temp", "35.0")),
        ("feels_feverish", ("temp", "37"), ("temp", "none")),
        ("fever_pill", ("temp", "37.9"), ("temp", "38.0")),
        ("fever_pill", ("chills", "no"), ("chills", "hot_cold")),
        ("edge_hours", ("edge_move", "same"), ("edge_move", "bigger")),
        ("warm_hard_trend", ("warm_hard", "none"), ("warm_hard", "swollen")),
        ("streaks", ("edge", "thin"), ("edge", "to_1_inch")),
        ("streaks", ("edge_mm", "5"), ("edge_mm", "6")),
        ("streaks", ("warm_hard", "swollen"), ("warm_hard", "hot")),
        ("pain_just_packed", ("pain", "6"), ("pain", "7")),
        ("drain_amount", ("drain", "none"), ("drain", "clear")),
        ("lump_back", ("pain_trend", "same"), ("pain_trend", "worse")),
        ("closed_over", ("drain_amount", "same"), ("drain_amount", "more")),
        ("ketones", ("sugar", "250"), ("sugar", "251")),
        ("sugar_sick", ("sugar", "250"), ("sugar", "HI")),
    ] {
        assert!(!asks(id, &[closed], &THIGH), "{id} after {closed:?}");
        assert!(asks(id, &[open], &THIGH), "{id} after {open:?}");
    }
    let thinner = Context { blood_thinner: Some(true), ..THIGH };
    assert!(asks("bleed_repeat", &[("bleed", "after_wash_stopped")], &thinner));
    assert!(!asks("bleed_repeat", &[("bleed", "after_wash_stopped")], &THIGH));
    assert!(!asks("bleed_repeat", &[("bleed", "spots")], &thinner));
    let diabetic = Context { diabetes: Some(Diabetes::T1), ..THIGH };
    assert!(asks("sugar", &[], &diabetic) && !asks("sugar", &[], &THIGH));
    assert!(asks("ketones", &[("better", "worse")], &diabetic));
    assert!(!asks("ketones", &[("better", "same")], &diabetic));
    for (strip, asked) in
        [(StripKnown::Unresolved, true), (StripKnown::ConfirmedOut, false), (StripKnown::NeverPlaced, false)]
    {
        assert_eq!(asks("strip", &[], &Context { strip, ..THIGH }), asked);
    }
}

#[test]
fn every_question_reads_every_one_of_its_codes() {
    for question in QUESTIONS {
        let (field, codes) = match question.kind {
            AnswerKind::One(codes) | AnswerKind::Many(codes) => (question.fields[0], codes),
            AnswerKind::BandOrRuler(codes) => (question.fields[0], codes),
            AnswerKind::Ketones(codes) => (question.fields[1], codes),
            AnswerKind::Whole { .. }
            | AnswerKind::Temperature
            | AnswerKind::Pace
            | AnswerKind::Sugar
            | AnswerKind::Words => continue,
        };
        for code in codes {
            let reading = posted(&[(field, code)]);
            assert_eq!(reading.faults, vec![], "{field} {code}");
            assert_ne!(reading.answers, Answers::default(), "{field} {code}");
        }
    }
}

#[test]
fn every_question_is_a_field_of_the_answers_and_the_other_way_round() {
    for question in QUESTIONS {
        let json = if question.kind == AnswerKind::Words { "\"a\"" } else { "null" };
        let text = format!("{{\"{}\":{json}}}", question.id);
        assert!(serde_json::from_str::<Answers>(&text).is_ok(), "{}", question.id);
    }
    let refused = serde_json::from_str::<Answers>(r#"{"no_such":1}"#).unwrap_err().to_string();
    let fields = refused.matches('`').count() / 2 - 1;
    assert_eq!(fields, QUESTIONS.len(), "{refused}");
}

#[test]
fn what_was_asked_and_left_blank_is_named() {
    let skipped = posted(&[("danger", "none"), ("temp", "none")]).skipped;
    assert!(!skipped.contains(&"danger") && !skipped.contains(&"temp") && !skipped.contains(&"who"));
    assert!(skipped.contains(&"better") && skipped.contains(&"feels_feverish") && skipped.contains(&"strip"));
    assert!(!skipped.contains(&"sugar"));
}
