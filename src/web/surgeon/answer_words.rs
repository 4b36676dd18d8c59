//! The checklist as filled in, in a surgeon's English: every question in its order, changed answers beside what they
//! were.

use std::fmt::Display;

use crate::triage::Amount;
use crate::triage::Answers;
use crate::triage::Bleeding;
use crate::triage::Chills;
use crate::triage::Context;
use crate::triage::DangerItem;
use crate::triage::Drainage;
use crate::triage::Edge;
use crate::triage::EdgeBand;
use crate::triage::Feels;
use crate::triage::Ketones;
use crate::triage::MeterReading;
use crate::triage::PainTrend;
use crate::triage::PeeSign;
use crate::triage::QUESTIONS;
use crate::triage::Rash;
use crate::triage::Said;
use crate::triage::StripAnswer;
use crate::triage::SugarSick;
use crate::triage::SugarUnit;
use crate::triage::TakenTemperature;
use crate::triage::TempUnit;
use crate::triage::Temperature;
use crate::triage::Trend;
use crate::triage::UrineKetones;
use crate::triage::WarmHard;
use crate::triage::Who;
use crate::triage::YesNo;
use crate::triage::changes;
use crate::triage::not_asked;
use crate::web::chart_words;

/// One line of the table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AnswerLine {
    pub question: &'static str,
    pub answer: String,
    /// Not answered, or not sure: unknown, never "no".
    pub is_unknown: bool,
    pub is_changed: bool,
    /// Answered although this patient was not asked.
    pub is_unasked: bool,
    /// What was said in the check before; empty when nothing changed or there was none.
    pub was: String,
}

/// The table. Questions that neither this check nor the one before answered are left out.
pub fn lines(now: &Answers, before: Option<&Answers>, context: &Context) -> Vec<AnswerLine> {
    let unasked = not_asked(now, context);
    let changed: Vec<&str> = before
        .map(|before| changes(before, now).into_iter().map(|change| change.question_id).collect())
        .unwrap_or_default();
    QUESTIONS
        .iter()
        .filter_map(|question| {
            let said = answer(now, question.id);
            let is_changed = changed.contains(&question.id);
            let was = before.filter(|_| is_changed).and_then(|before| answer(before, question.id));
            if said.is_none() && was.is_none() {
                return None;
            }
            Some(AnswerLine {
                question: label(question.id),
                is_unknown: said.as_deref().is_none_or(|said| said == NOT_SURE),
                answer: said.unwrap_or_else(|| NOT_ANSWERED.to_owned()),
                is_changed,
                is_unasked: unasked.contains(&question.id),
                was: if is_changed { was.unwrap_or_else(|| NOT_ANSWERED.to_owned()) } else { String::new() },
            })
        })
        .collect()
}

pub const NOT_SURE: &str = "not sure";
const NOT_ANSWERED: &str = "not answered";

/// A question as staff read it.
pub fn label(id: &str) -> &'static str {
    match id {
        "who" => "Who answered",
        "danger" => "Danger signs",
        "better" => "Since yesterday",
        "temp" => "Temperature",
        "temp_again" => "Temperature, taken again",
        "feels_feverish" => "Feels feverish",
        "fever_pill" => "Fever or pain pill in 6 h",
        "chills" => "Chills in the last day",
        "edge" => "Redness reaches",
        "edge_move" => "Redness since last photo or line",
        "edge_hours" => "How fast it moved",
        "warm_hard" => "Skin beside the wound",
        "warm_hard_trend" => "Heat or hardness is",
        "streaks" => "Red lines running away",
        "pain" => "Pain at rest, 0–10",
        "pain_trend" => "Pain since yesterday",
        "pain_just_packed" => "Washed or unpacked within the hour",
        "drain" => "Comes out after washing",
        "drain_amount" => "Amount since yesterday",
        "smell" => "Smells bad",
        "bleed" => "Bleeding",
        "bleed_repeat" => "Bled twice or more",
        "strip" => "Gauze strip",
        "wash" => "Washes yesterday",
        "gauze_changed" => "Changed the gauze",
        "lump_back" => "Lump filling again",
        "closed_over" => "Skin closed on top",
        "sugar" => "Last sugar",
        "sugar_sick" => "Sick with the sugar",
        "ketones" => "Ketones",
        "pills_missed" => "Antibiotic doses missed",
        "pills_vomited" => "Antibiotic doses thrown up",
        "rash" => "New rash",
        "loose_stools" => "Loose stools in a day",
        "stool_blood" => "Blood in the stool",
        "pee" => "Hours since last urine",
        "pee_signs" => "Bladder and bowel",
        "finger" => "Finger stuck bent, swollen, hurts to straighten",
        "pulse" => "Pulse",
        "breaths" => "Breaths per minute",
        "pressure" => "Systolic pressure",
        "phone" => "Best phone for 2 hours",
        "voicemail" => "Voice message there",
        "words" => "In their own words",
        _ => "Another question",
    }
}

/// What was said to one question; `None`: nothing.
pub fn answer(answers: &Answers, id: &str) -> Option<String> {
    match id {
        "who" => said(&answers.who, |who| match who {
            Who::Patient => "the patient",
            Who::Helper => "a helper",
        }),
        "danger" => many(&answers.danger, danger),
        "better" => said(&answers.better, |feels| match feels {
            Feels::Better => "feels better",
            Feels::Same => "feels the same",
            Feels::Worse => "feels worse",
            Feels::VeryIll => "feels very ill",
        }),
        "temp" => said(&answers.temp, |reading| match reading {
            Temperature::NoThermometer => "no thermometer".to_owned(),
            Temperature::Taken(taken) => temperature(taken),
        }),
        "temp_again" => said(&answers.temp_again, temperature),
        "feels_feverish" => yes_no(&answers.feels_feverish),
        "fever_pill" => yes_no(&answers.fever_pill),
        "chills" => said(&answers.chills, |chills| match chills {
            Chills::No => "none",
            Chills::HotCold => "hot and cold",
            Chills::Shaking => "shaking",
        }),
        "edge" => said(&answers.edge, edge),
        "edge_move" => trend(&answers.edge_move),
        "edge_hours" => said(&answers.edge_hours, |pace| {
            format!("{} mm in {}", pace.moved_mm, minutes(pace.over_minutes))
        }),
        "warm_hard" => many(&answers.warm_hard, |sign| match sign {
            WarmHard::Hot => "hot",
            WarmHard::Hard => "hard",
            WarmHard::Swollen => "swollen",
        }),
        "warm_hard_trend" => trend(&answers.warm_hard_trend),
        "streaks" => yes_no(&answers.streaks),
        "pain" => said(&answers.pain, u8::to_string),
        "pain_trend" => said(&answers.pain_trend, |trend| match trend {
            PainTrend::Better => "better",
            PainTrend::Same => "the same",
            PainTrend::Worse => "worse",
        }),
        "pain_just_packed" => yes_no(&answers.pain_just_packed),
        _ => answer_after_pain(answers, id),
    }
}

fn answer_after_pain(answers: &Answers, id: &str) -> Option<String> {
    match id {
        "drain" => said(&answers.drain, |drainage| match drainage {
            Drainage::None => "nothing",
            Drainage::Clear => "clear or pink",
            Drainage::ThinYellow => "thin yellow",
            Drainage::Thick => "thick yellow, green or white",
            Drainage::Gray => "thin and grey",
            Drainage::Stool => "stool",
        }),
        "drain_amount" => said(&answers.drain_amount, |amount| match amount {
            Amount::Less => "less",
            Amount::Same => "the same",
            Amount::More => "more",
        }),
        "smell" => yes_no(&answers.smell),
        "bleed" => said(&answers.bleed, |bleeding| match bleeding {
            Bleeding::None => "none",
            Bleeding::Spots => "spots",
            Bleeding::AfterWashStopped => "after washing, stopped with pressing",
            Bleeding::SoaksPadHour => "soaked a pad within an hour",
        }),
        "bleed_repeat" => yes_no(&answers.bleed_repeat),
        "strip" => said(&answers.strip, |strip| match strip {
            StripAnswer::NeverHad => "never had one",
            StripAnswer::AllOut => "all out, in one piece",
            StripAnswer::FellOut => "fell out by itself",
            StripAnswer::PartOut => "part came out",
            StripAnswer::Unsure => "not sure what came out",
            StripAnswer::StillIn => "still in",
            StripAnswer::Stuck => "tried, and it stuck",
        }),
        "wash" => said(&answers.wash, u8::to_string),
        "gauze_changed" => yes_no(&answers.gauze_changed),
        "lump_back" => yes_no(&answers.lump_back),
        "closed_over" => yes_no(&answers.closed_over),
        "sugar" => said(&answers.sugar, |sugar| {
            let reading = meter(&sugar.reading);
            match sugar.hours_ago {
                Some(hours) => format!("{reading}, {hours} h before"),
                None => format!("{reading}, time not said"),
            }
        }),
        "sugar_sick" => many(&answers.sugar_sick, |sign| match sign {
            SugarSick::Vomiting => "vomiting",
            SugarSick::BellyPain => "belly pain",
            SugarSick::FastBreathing => "deep fast breathing",
            SugarSick::FruityBreath => "fruity breath",
            SugarSick::Drowsy => "drowsy",
            SugarSick::Thirsty => "very thirsty",
        }),
        "ketones" => said(&answers.ketones, ketones),
        _ => answer_after_sugar(answers, id),
    }
}

fn answer_after_sugar(answers: &Answers, id: &str) -> Option<String> {
    let per_minute = |number: &u16| format!("{number} /min");
    match id {
        "pills_missed" => said(&answers.pills_missed, u8::to_string),
        "pills_vomited" => said(&answers.pills_vomited, u8::to_string),
        "rash" => said(&answers.rash, |rash| match rash {
            Rash::None => "no",
            Rash::Mild => "mild, or itches",
            Rash::Hives => "hives",
            Rash::Blister => "blisters or peeling skin",
        }),
        "loose_stools" => said(&answers.loose_stools, u8::to_string),
        "stool_blood" => yes_no(&answers.stool_blood),
        "pee" => said(&answers.pee, u8::to_string),
        "pee_signs" => many(&answers.pee_signs, |sign| match sign {
            PeeSign::UrgeNothingComes => "urge, and nothing comes",
            PeeSign::DeepPressure => "deep pressure",
            PeeSign::CannotPassStool => "cannot pass stool",
        }),
        "finger" => yes_no(&answers.finger),
        "pulse" => said(&answers.pulse, per_minute),
        "breaths" => said(&answers.breaths, per_minute),
        "pressure" => said(&answers.pressure, |mm_hg| format!("{mm_hg} mmHg")),
        "phone" => said(&answers.phone, chart_words::best_phone),
        "voicemail" => yes_no(&answers.voicemail),
        "words" => Some(answers.words.trim().to_owned()).filter(|words| !words.is_empty()),
        _ => None,
    }
}

fn said<T, W: Display>(said: &Said<T>, words: impl Fn(&T) -> W) -> Option<String> {
    match said {
        Said::Blank => None,
        Said::NotSure => Some(NOT_SURE.to_owned()),
        Said::Is(answer) => Some(words(answer).to_string()),
    }
}

fn many<T: Ord>(
    answers: &Said<std::collections::BTreeSet<T>>,
    words: impl Fn(&T) -> &'static str,
) -> Option<String> {
    said(answers, |set| {
        if set.is_empty() {
            return "none of these".to_owned();
        }
        set.iter().map(&words).collect::<Vec<_>>().join("; ")
    })
}

fn yes_no(answer: &Said<YesNo>) -> Option<String> {
    said(answer, |answer| match answer {
        YesNo::Yes => "yes",
        YesNo::No => "no",
    })
}

fn trend(answer: &Said<Trend>) -> Option<String> {
    said(answer, |trend| match trend {
        Trend::Smaller => "smaller",
        Trend::Same => "the same",
        Trend::Bigger => "bigger",
    })
}

fn danger(item: &DangerItem) -> &'static str {
    match item {
        DangerItem::Bleed => "bleeding that does not stop",
        DangerItem::Mind => "fainted, confused or hard to wake",
        DangerItem::Breath => "short of breath or chest pain",
        DangerItem::Swell => "face or throat swelling",
        DangerItem::Skin => "black, purple or grey skin, blisters or crackling",
        DangerItem::Pain => "pain climbing by the hour, pills do not help",
        DangerItem::Low => "numb between the legs, or private parts swelling",
        DangerItem::Face => "eye or neck signs",
    }
}

/// Both units, the typed one first.
fn temperature(taken: &TakenTemperature) -> String {
    let celsius = f64::from(taken.tenths_c) / 10.0;
    let fahrenheit = celsius * 9.0 / 5.0 + 32.0;
    match taken.unit {
        TempUnit::Celsius => format!("{celsius:.1} °C ({fahrenheit:.1} °F)"),
        TempUnit::Fahrenheit => format!("{} °F ({celsius:.1} °C)", taken.entered.trim()),
    }
}

fn minutes(minutes: u16) -> String {
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

fn edge(edge: &Edge) -> String {
    match edge {
        Edge::RulerMm(mm) => format!("{mm} mm, by ruler"),
        Edge::Band(band) => edge_band(*band).to_owned(),
        Edge::Both { band, ruler_mm } => format!("{}; and {ruler_mm} mm, by ruler", edge_band(*band)),
    }
}

fn edge_band(band: EdgeBand) -> &'static str {
    match band {
        EdgeBand::None => "no redness",
        EdgeBand::Thin => "a thin line, up to 5 mm",
        EdgeBand::ToOneInch => "up to one inch (25 mm)",
        EdgeBand::ToTwoInches => "one to two inches (25–50 mm)",
        EdgeBand::OverTwoInches => "over two inches (50 mm)",
    }
}

fn meter(reading: &MeterReading) -> String {
    match reading {
        MeterReading::Low => "meter showed LO".to_owned(),
        MeterReading::High => "meter showed HI".to_owned(),
        MeterReading::Measured { entered, unit, mg_dl } => match unit {
            SugarUnit::MgDl => format!("{mg_dl} mg/dL"),
            SugarUnit::MmolL => format!("{entered} mmol/L ({mg_dl} mg/dL)"),
        },
        MeterReading::Unclear { entered, .. } => format!("“{entered}”, unit unclear"),
    }
}

fn ketones(ketones: &Ketones) -> String {
    match ketones {
        Ketones::BloodTenthsMmolL(tenths) => format!("{:.1} mmol/L, blood", f64::from(*tenths) / 10.0),
        Ketones::Urine(strip) => match strip {
            UrineKetones::None => "none, urine",
            UrineKetones::Trace => "trace, urine",
            UrineKetones::Small => "small, urine",
            UrineKetones::Moderate => "moderate, urine",
            UrineKetones::Large => "large, urine",
        }
        .to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Diabetes;
    use crate::plan::Site;
    use crate::triage::StripKnown;

    fn robust() -> Context {
        Context {
            site: Site::Thigh,
            diabetes: Some(Diabetes::None),
            sglt2: Some(false),
            blood_thinner: Some(false),
            antibiotic: Some(false),
            strip: StripKnown::NeverPlaced,
        }
    }

    #[test]
    fn what_was_not_asked_is_shown_as_such() {
        let now = Answers { pain: Said::Is(3), finger: Said::Is(YesNo::Yes), ..Answers::default() };
        let lines = lines(&now, None, &robust());
        assert_eq!(lines.iter().map(|line| line.is_unasked).collect::<Vec<_>>(), [false, true]);
    }

    #[test]
    fn every_question_has_a_label_for_staff() {
        for question in QUESTIONS {
            assert_ne!(label(question.id), "Another question", "{}", question.id);
        }
    }

    #[test]
    fn a_changed_answer_stands_beside_what_it_was_and_unknown_is_never_no() {
        let before = Answers { pain: Said::Is(3), smell: Said::Is(YesNo::No), ..Answers::default() };
        let now = Answers { pain: Said::Is(8), smell: Said::NotSure, ..Answers::default() };
        let lines = lines(&now, Some(&before), &robust());
        assert_eq!((lines[0].answer.as_str(), lines[0].was.as_str(), lines[0].is_changed), ("8", "3", true));
        assert_eq!((lines[1].answer.as_str(), lines[1].was.as_str()), ("not sure", "no"));
        assert!(lines[1].is_unknown);
    }

    #[test]
    fn an_answer_that_is_missing_now_is_shown_as_not_answered() {
        let before = Answers { pain: Said::Is(3), ..Answers::default() };
        let lines = lines(&Answers::default(), Some(&before), &robust());
        assert_eq!((lines[0].answer.as_str(), lines[0].was.as_str()), ("not answered", "3"));
        assert!(lines[0].is_unknown);
    }

    #[test]
    fn a_temperature_is_shown_in_both_units() {
        let taken =
            TakenTemperature { entered: "101.3".to_owned(), unit: TempUnit::Fahrenheit, tenths_c: 385 };
        assert_eq!(temperature(&taken), "101.3 °F (38.5 °C)");
        let taken = TakenTemperature { entered: "38,5".to_owned(), unit: TempUnit::Celsius, tenths_c: 385 };
        assert_eq!(temperature(&taken), "38.5 °C (101.3 °F)");
    }
}
