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
use crate::triage::heading_of;
use crate::triage::is_optional;
use crate::triage::read;
use crate::triage::screen_questions;
use crate::triage::well_answers::well_and;

const THIGH: Context = Context {
    site: Site::Thigh,
    diabetes: Some(Diabetes::None),
    sglt2: Some(false),
    blood_thinner: Some(false),
    antibiotic: Some(false),
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
    let both = Edge::Both { band: EdgeBand::ToOneInch, ruler_mm: 40 };
    assert_eq!((edge("to_1_inch", "40"), both.reach_mm()), (Said::Is(both), 40));
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
    let on_pills = Context { antibiotic: Some(true), ..THIGH };
    for id in ["pills_missed", "pills_vomited", "rash", "loose_stools"] {
        assert!(asks(id, &[], &on_pills) && !asks(id, &[], &THIGH), "{id}");
        assert!(!asks(id, &[], &Context { antibiotic: None, ..THIGH }), "{id}");
    }
    assert!(asks("stool_blood", &[("loose_stools", "1")], &on_pills));
    assert!(asks("stool_blood", &[("loose_stools", NOT_SURE)], &on_pills));
    assert!(!asks("stool_blood", &[("loose_stools", "0")], &on_pills));
    for site in Site::ALL {
        let context = Context { site: *site, ..THIGH };
        assert_eq!(
            (asks("pee", &[], &context), asks("pee_signs", &[], &context)),
            (site.is_low(), site.is_low())
        );
        assert_eq!(asks("finger", &[], &context), *site == Site::Hand);
        assert!(asks("pulse", &[], &context) && asks("phone", &[], &context));
    }
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
            | AnswerKind::Phone
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
    // Beside the answers stands where "none" contradicted one of them.
    assert_eq!(fields, QUESTIONS.len() + 1, "{refused}");
}

#[test]
fn what_was_asked_and_left_blank_is_named() {
    let skipped = posted(&[("danger", "none"), ("temp", "none")]).skipped;
    assert!(!skipped.contains(&"danger") && !skipped.contains(&"temp") && !skipped.contains(&"who"));
    assert!(skipped.contains(&"better") && skipped.contains(&"feels_feverish") && skipped.contains(&"strip"));
    assert!(!skipped.contains(&"sugar"));
}

#[test]
fn whole_numbers_have_bounds_of_their_own_and_a_pressure_may_be_typed_whole() {
    for (name, lowest, highest) in [
        ("pills_missed", 0, 20),
        ("pills_vomited", 0, 20),
        ("loose_stools", 0, 30),
        ("pee", 0, 48),
        ("pulse", 30, 220),
        ("breaths", 5, 60),
        ("pressure", 50, 260),
    ] {
        for number in [lowest, highest] {
            let reading = posted(&[(name, &number.to_string())]);
            assert_eq!(reading.faults, vec![], "{name} {number}");
            let json = serde_json::to_value(&reading.answers).unwrap();
            assert_eq!(json[name], number, "{name}");
        }
        let outside = if lowest == 0 { vec![highest + 1] } else { vec![lowest - 1, highest + 1] };
        for number in outside {
            assert_eq!(
                faults(&[(name, &number.to_string())]),
                vec![(name, FaultKind::OutOfRange)],
                "{number}"
            );
        }
        assert_eq!(faults(&[(name, "many")]), vec![(name, FaultKind::NotANumber)]);
        assert_eq!(faults(&[(name, NOT_SURE)]), vec![]);
    }
    assert_eq!(posted(&[("pressure", "118/76 mmHg")]).answers.pressure, Said::Is(118));
    assert_eq!(posted(&[("pulse", "72 bpm")]).answers.pulse, Said::Is(72));
    // A number beside "not sure" counts: it was typed.
    assert_eq!(posted(&[("pulse", "72"), ("pulse", NOT_SURE)]).answers.pulse, Said::Is(72));
}

#[test]
fn a_telephone_number_is_completed_or_kept_as_typed_and_never_shown_to_a_developer() {
    let reading = posted(&[("phone", "(202) 555-0143"), ("voicemail", "no")]);
    let phone = reading.answers.phone.known().unwrap();
    assert_eq!((phone.number.as_deref(), reading.faults.len()), (Some("+12025550143"), 0));
    assert!(!format!("{:?}", reading.answers).contains("555"));
    let reading = posted(&[("phone", "555-0143")]);
    assert_eq!(reading.faults[0].kind, FaultKind::NotAPhone);
    let phone = reading.answers.phone.known().unwrap();
    assert_eq!((phone.entered.as_str(), phone.number.as_deref()), ("555-0143", None));
    // Nobody has to give one.
    assert!(!posted(&[]).skipped.contains(&"phone") && !posted(&[]).skipped.contains(&"pulse"));
}

/// What a quiet patient says to everything.
fn quiet() -> Vec<(&'static str, &'static str)> {
    well_and(&[("temp", "36.8"), ("strip", "still_in"), ("sugar", "120"), ("loose_stools", "0")])
}

#[test]
fn a_quiet_patient_meets_about_twelve_questions() {
    let quiet = posted(&quiet()).answers;
    let count = |context: &Context| screen_questions(&quiet, context).len();
    // Stage A and the eleven questions of the core, the strip among them.
    for site in Site::ALL {
        let context = Context { site: *site, ..THIGH };
        let own = usize::from(site.is_low()) + usize::from(*site == Site::Hand);
        assert_eq!(count(&context), 12 + own, "{site:?}: {:?}", screen_questions(&quiet, &context));
        assert!(count(&context) <= 13, "{site:?}");
        assert_eq!(count(&Context { strip: StripKnown::ConfirmedOut, ..context }), 11 + own);
    }
    assert_eq!(count(&Context { blood_thinner: None, ..THIGH }), 12);
    assert_eq!(count(&Context { diabetes: Some(Diabetes::T1), sglt2: Some(true), ..THIGH }), 13);
    // An antibiotic adds the doses, and rash with stools.
    assert_eq!(count(&Context { antibiotic: Some(true), ..THIGH }), 14);
    let all = Context { site: Site::Perianal, diabetes: Some(Diabetes::T2), antibiotic: Some(true), ..THIGH };
    assert_eq!(count(&all), 16);
    let optional = QUESTIONS.iter().filter(|question| is_optional(question.id));
    let optional: std::collections::BTreeSet<&str> = optional
        .filter(|question| question.asked(&quiet, &THIGH))
        .map(|question| heading_of(question.id))
        .collect();
    assert_eq!(optional.into_iter().collect::<Vec<_>>(), vec!["phone", "pulse", "who", "words"]);
}
