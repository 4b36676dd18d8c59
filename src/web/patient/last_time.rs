//! What was answered in the check before, beside each question in the patient's words: to compare with, never filled in.

use std::collections::BTreeSet;

use crate::triage::Answers;
use crate::triage::DangerItem;
use crate::triage::Edge;
use crate::triage::Ketones;
use crate::triage::MeterReading;
use crate::triage::Said;
use crate::triage::Sugar;
use crate::triage::SugarUnit;
use crate::triage::TakenTemperature;
use crate::triage::TempUnit;
use crate::triage::Temperature;
use crate::web::patient::danger;
use crate::web::patient::questions::option;
use crate::words::Language;
use crate::words::patient_danger::DangerWords;

/// The answer in the check before, in plain words; empty when it was left blank, or is none to repeat (the words, the
/// number to ring).
pub fn words(before: &Answers, id: &str, language: Language) -> String {
    match id {
        "danger" => danger_words(&before.danger, language),
        "temp" => said(&before.temp, id, language, |reading| match reading {
            Temperature::NoThermometer => option("temp", "none", language),
            Temperature::Taken(taken) => temperature(taken),
        }),
        "temp_again" => said(&before.temp_again, id, language, temperature),
        "edge" => said(&before.edge, id, language, |edge| match edge {
            Edge::Band(band) => option("edge", band.code(), language),
            Edge::RulerMm(mm) => format!("{mm} mm"),
            Edge::Both { band, ruler_mm } => {
                format!("{}, {ruler_mm} mm", option("edge", band.code(), language))
            }
        }),
        "edge_hours" => said(&before.edge_hours, id, language, |pace| {
            format!("{} cm, {} h", f64::from(pace.moved_mm) / 10.0, f64::from(pace.over_minutes) / 60.0)
        }),
        "sugar" => said(&before.sugar, id, language, |sugar| meter(sugar, language)),
        "ketones" => said(&before.ketones, id, language, |ketones| match ketones {
            Ketones::BloodTenthsMmolL(tenths) => format!("{:.1} mmol/L", f64::from(*tenths) / 10.0),
            Ketones::Urine(strip) => option("ketones", strip.code(), language),
        }),
        "words" | "phone" | "voicemail" | "who" => String::new(),
        _ => coded(before, id, language),
    }
}

/// Answers whose code or number is what the page shows.
fn coded(before: &Answers, id: &str, language: Language) -> String {
    let written = serde_json::to_value(before).unwrap_or_default();
    let code = |value: &serde_json::Value| match value {
        serde_json::Value::String(code) => option(id, code, language),
        other => other.to_string(),
    };
    match written.get(id) {
        None => String::new(),
        Some(serde_json::Value::Array(none)) if none.is_empty() => option(id, "none", language),
        Some(serde_json::Value::Array(codes)) => codes.iter().map(code).collect::<Vec<_>>().join(", "),
        Some(value) => code(value),
    }
}

fn said<T>(said: &Said<T>, id: &str, language: Language, words: impl Fn(&T) -> String) -> String {
    match said {
        Said::Blank => String::new(),
        Said::NotSure => option(id, "not_sure", language),
        Said::Is(answer) => words(answer),
    }
}

fn danger_words(before: &Said<BTreeSet<DangerItem>>, language: Language) -> String {
    let words = DangerWords(language);
    match before {
        Said::Blank => String::new(),
        Said::NotSure => words.not_sure(),
        Said::Is(none) if none.is_empty() => words.none(),
        Said::Is(items) => items.iter().map(|item| danger::sign(*item, words)).collect::<Vec<_>>().join(" "),
    }
}

/// As it was typed, with its unit.
fn temperature(taken: &TakenTemperature) -> String {
    let figures = taken.entered.trim().trim_end_matches(|sign: char| !sign.is_ascii_digit());
    match taken.unit {
        TempUnit::Celsius => format!("{figures} °C"),
        TempUnit::Fahrenheit => format!("{figures} °F"),
    }
}

fn meter(sugar: &Sugar, language: Language) -> String {
    match &sugar.reading {
        MeterReading::Low => option("sugar", "lo", language),
        MeterReading::High => option("sugar", "hi", language),
        MeterReading::Measured { entered, unit, .. } => match unit {
            SugarUnit::MgDl => format!("{entered} mg/dL"),
            SugarUnit::MmolL => format!("{entered} mmol/L"),
        },
        MeterReading::Unclear { entered, .. } => entered.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Diabetes;
    use crate::plan::Site;
    use crate::triage::Context;
    use crate::triage::QUESTIONS;
    use crate::triage::StripKnown;
    use crate::triage::read;

    fn answered(fields: &[(&str, &str)]) -> Answers {
        let context = Context {
            site: Site::Perianal,
            diabetes: Some(Diabetes::T1),
            sglt2: None,
            blood_thinner: None,
            antibiotic: Some(true),
            strip: StripKnown::Unresolved,
        };
        let fields: Vec<(String, String)> =
            fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        read(&fields, &context).answers
    }

    #[test]
    fn an_answer_is_repeated_in_the_patients_words_and_units() {
        for (fields, id, english, spanish) in [
            (&[("temp", "37,2")][..], "temp", "37,2 °C", "37,2 °C"),
            (&[("temp", "99.1 F")], "temp", "99.1 °F", "99.1 °F"),
            (&[("temp", "none")], "temp", "I have no thermometer", "No tengo termómetro"),
            (&[("edge", "thin")], "edge", "A thin line, up to 5 mm", "Una línea fina, hasta 5 mm"),
            (&[("edge_mm", "12")], "edge", "12 mm", "12 mm"),
            (&[("edge_move", "not_sure")], "edge_move", "No line, or I don't know", "No hay línea, o no sé"),
            (&[("warm_hard", "hot"), ("warm_hard", "hard")], "warm_hard", "Hot, Hard", "Caliente, Dura"),
            (&[("warm_hard", "none")], "warm_hard", "None of these", "Nada de esto"),
            (&[("pain", "3")], "pain", "3", "3"),
            (&[("wash", "not_sure")], "wash", "Not sure", "No estoy seguro(a)"),
            (&[("smell", "no")], "smell", "No", "No"),
            (&[("sugar", "5.6"), ("sugar_unit", "mmol_l")], "sugar", "5.6 mmol/L", "5.6 mmol/L"),
            (&[("sugar", "lo")], "sugar", "The meter shows LO", "El medidor dice LO"),
            (&[("danger", "none")], "danger", "None of these", "Nada de esto"),
            (&[("edge_cm", "2.5"), ("edge_hours", "6")], "edge_hours", "2.5 cm, 6 h", "2.5 cm, 6 h"),
            (&[("phone", "202-555-0143")], "phone", "", ""),
            (&[("words", "itches")], "words", "", ""),
            (&[], "pain", "", ""),
        ] {
            let before = answered(fields);
            assert_eq!(words(&before, id, Language::English), english, "{id}");
            assert_eq!(words(&before, id, Language::Spanish), spanish, "{id}");
        }
    }

    #[test]
    fn no_code_is_shown_to_a_patient() {
        // A sugar nobody could read is repeated as it was typed.
        for question in QUESTIONS.iter().filter(|question| question.id != "sugar") {
            for code in ["yes", "none", "hives", "urge", "bigger", "stuck", "very_ill", "gray", "not_sure"] {
                let before = answered(&[(question.fields[0], code)]);
                for language in Language::ALL {
                    let shown = words(&before, question.id, language);
                    assert!(!shown.contains('_') && shown != code, "{} {code}: {shown}", question.id);
                }
            }
        }
    }
}
