//! From a web form to answers: what was typed is kept, what is odd is asked about, nothing is guessed in silence.

use std::collections::BTreeSet;
use std::str::FromStr;

use crate::triage::answers::Answers;
use crate::triage::answers::Edge;
use crate::triage::answers::EdgeBand;
use crate::triage::answers::EdgePace;
use crate::triage::answers::Ketones;
use crate::triage::answers::MeterReading;
use crate::triage::answers::Sugar;
use crate::triage::answers::SugarUnit;
use crate::triage::answers::TakenTemperature;
use crate::triage::answers::TempUnit;
use crate::triage::answers::Temperature;
use crate::triage::answers::UrineKetones;
use crate::triage::questions::Context;
use crate::triage::questions::QUESTIONS;
use crate::triage::questions::Stage;
use crate::triage::questions::taken_again;
use crate::triage::readings;
use crate::triage::said::NOT_SURE;
use crate::triage::said::Said;

/// What a form came to. Faults are to be shown; they never stop a check from being sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reading {
    pub answers: Answers,
    pub faults: Vec<Fault>,
    /// Ids of the questions this patient was asked that were left blank and are not optional.
    pub skipped: Vec<&'static str>,
}

/// One thing to ask about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The form field.
    pub field: &'static str,
    pub kind: FaultKind,
    /// As typed.
    pub typed: String,
}

/// What is wrong with what was typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultKind {
    NotANumber,
    /// Cannot be a reading; the answer stays blank.
    OutOfRange,
    /// Hard to believe; kept, and asked for once more.
    TakeAgain,
    /// The number does not go with its unit.
    WhichUnit,
    /// A code the question does not have; the answer stays blank.
    NoSuchAnswer,
    /// Two different answers to a question that takes one; the answer stays blank.
    TwoAnswers,
    /// The other half of the answer is missing.
    OtherHalf,
    /// Longer than 1000 characters; kept whole.
    TooLong,
}

/// Longest free words asked for, in characters.
const WORDS_CHARS: usize = 1000;

/// Reads a form: names and values in order, names may repeat, unknown names are ignored.
pub fn read(fields: &[(String, String)], context: &Context) -> Reading {
    let mut form = Form { fields, faults: Vec::new() };
    let answers = Answers {
        who: form.one("who"),
        danger: form.many("danger"),
        better: form.one("better"),
        temp: form.temperature(),
        temp_again: form.taken("temp_again", "temp_again_unit", Again::Second),
        feels_feverish: form.one("feels_feverish"),
        fever_pill: form.one("fever_pill"),
        chills: form.one("chills"),
        edge: form.edge(),
        edge_move: form.one("edge_move"),
        edge_hours: form.pace(),
        warm_hard: form.many("warm_hard"),
        warm_hard_trend: form.one("warm_hard_trend"),
        streaks: form.one("streaks"),
        pain: form.whole("pain", 10),
        pain_trend: form.one("pain_trend"),
        pain_just_packed: form.one("pain_just_packed"),
        drain: form.one("drain"),
        drain_amount: form.one("drain_amount"),
        smell: form.one("smell"),
        bleed: form.one("bleed"),
        bleed_repeat: form.one("bleed_repeat"),
        strip: form.one("strip"),
        wash: form.whole("wash", 10),
        gauze_changed: form.one("gauze_changed"),
        lump_back: form.one("lump_back"),
        closed_over: form.one("closed_over"),
        sugar: form.sugar(),
        sugar_sick: form.many("sugar_sick"),
        ketones: form.ketones(),
        words: form.words(),
    };
    let mut faults = form.faults;
    if !answers.temp_again.is_blank() {
        faults.retain(|fault| fault.kind != FaultKind::TakeAgain);
    }
    let skipped = skipped(fields, &answers, context);
    Reading { answers, faults, skipped }
}

/// Questions asked and left blank. What was typed but could not be read is a fault, not skipped.
fn skipped(fields: &[(String, String)], answers: &Answers, context: &Context) -> Vec<&'static str> {
    let typed = |names: &[&str]| {
        fields.iter().any(|(name, value)| names.contains(&name.as_str()) && !value.trim().is_empty())
    };
    let optional = |id: &str| matches!(id, "who" | "ketones" | "temp_again");
    QUESTIONS
        .iter()
        .filter(|question| question.stage != Stage::Close && !optional(question.id))
        .filter(|question| question.asked(answers, context) && !typed(question.fields))
        .map(|question| question.id)
        .collect()
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Again {
    First,
    Second,
}

struct Form<'a> {
    fields: &'a [(String, String)],
    faults: Vec<Fault>,
}

impl<'a> Form<'a> {
    /// Everything typed under this name, without blanks, each once.
    fn all(&self, name: &str) -> Vec<&'a str> {
        let mut values: Vec<&str> = Vec::new();
        for (field, value) in self.fields {
            let value = value.trim();
            if field == name && !value.is_empty() && !values.contains(&value) {
                values.push(value);
            }
        }
        values
    }

    fn fault<T>(&mut self, field: &'static str, kind: FaultKind, typed: &str) -> Said<T> {
        self.faults.push(Fault { field, kind, typed: typed.to_owned() });
        Said::Blank
    }

    /// The one value typed under this name.
    fn single(&mut self, name: &'static str) -> Option<&'a str> {
        match self.all(name).as_slice() {
            [] => None,
            [value] => Some(value),
            several => {
                self.fault::<()>(name, FaultKind::TwoAnswers, &several.join(", "));
                None
            }
        }
    }

    fn one<T: FromStr>(&mut self, name: &'static str) -> Said<T> {
        match self.single(name) {
            None => Said::Blank,
            Some(NOT_SURE) => Said::NotSure,
            Some(code) => match code.parse() {
                Ok(answer) => Said::Is(answer),
                Err(_) => self.fault(name, FaultKind::NoSuchAnswer, code),
            },
        }
    }

    /// Anything ticked stands above `none` and above `not_sure`: a contradiction must not hide a sign.
    fn many<T: FromStr + Ord>(&mut self, name: &'static str) -> Said<BTreeSet<T>> {
        let typed = self.all(name);
        let mut ticked = BTreeSet::new();
        for code in typed.iter().filter(|code| !matches!(**code, "none" | NOT_SURE)) {
            match code.parse() {
                Ok(item) => {
                    ticked.insert(item);
                }
                Err(_) => {
                    self.fault::<()>(name, FaultKind::NoSuchAnswer, code);
                }
            }
        }
        if !ticked.is_empty() {
            Said::Is(ticked)
        } else if typed.contains(&NOT_SURE) {
            Said::NotSure
        } else if typed == ["none"] {
            Said::Is(ticked)
        } else {
            Said::Blank
        }
    }

    fn number(&mut self, name: &'static str, typed: &str) -> Option<f64> {
        let number = readings::number(typed);
        if number.is_none() {
            self.fault::<()>(name, FaultKind::NotANumber, typed);
        }
        number
    }

    /// A number from 0 to `highest`; `None` and a fault otherwise.
    fn number_to(&mut self, name: &'static str, typed: &str, highest: f64) -> Option<f64> {
        let number = self.number(name, typed)?;
        if (0.0..=highest).contains(&number) {
            return Some(number);
        }
        self.fault::<()>(name, FaultKind::OutOfRange, typed);
        None
    }

    fn whole(&mut self, name: &'static str, highest: u8) -> Said<u8> {
        match self.single(name) {
            None => Said::Blank,
            Some(NOT_SURE) => Said::NotSure,
            Some(typed) => match self.number_to(name, typed, f64::from(highest)) {
                // Half a point rounds up, to the graver side.
                Some(number) => Said::Is(number.round() as u8),
                None => Said::Blank,
            },
        }
    }

    fn temperature(&mut self) -> Said<Temperature> {
        if self.all("temp") == ["none"] {
            return Said::Is(Temperature::NoThermometer);
        }
        match self.taken("temp", "temp_unit", Again::First) {
            Said::Blank => Said::Blank,
            Said::NotSure => Said::NotSure,
            Said::Is(taken) => Said::Is(Temperature::Taken(taken)),
        }
    }

    fn taken(&mut self, name: &'static str, unit_name: &'static str, again: Again) -> Said<TakenTemperature> {
        let unit: Said<TempUnit> = self.one(unit_name);
        let typed = match self.single(name) {
            None => return Said::Blank,
            Some(NOT_SURE) => return Said::NotSure,
            Some(typed) => typed,
        };
        let Some(number) = self.number(name, typed) else { return Said::Blank };
        let Some(taken) = readings::temperature(typed, number) else {
            return self.fault(name, FaultKind::OutOfRange, typed);
        };
        // The two scales do not overlap in people, so the number itself says which one it is on.
        if unit.known().is_some_and(|unit| *unit != taken.unit) {
            self.fault::<()>(unit_name, FaultKind::WhichUnit, typed);
        }
        if again == Again::First && taken_again(taken.tenths_c) {
            self.fault::<()>(name, FaultKind::TakeAgain, typed);
        }
        Said::Is(taken)
    }

    /// By picture or by ruler; of both, the wider.
    fn edge(&mut self) -> Said<Edge> {
        let ruler = self.single("edge_mm");
        let ruler = ruler.and_then(|typed| self.number_to("edge_mm", typed, 300.0));
        let ruler = ruler.map(|mm| Edge::RulerMm(mm.ceil() as u16));
        match (self.one::<EdgeBand>("edge"), ruler) {
            (Said::Is(band), Some(ruler)) if ruler.reach_mm() < band.top_mm() => Said::Is(Edge::Band(band)),
            (_, Some(ruler)) => Said::Is(ruler),
            (Said::Is(band), None) => Said::Is(Edge::Band(band)),
            (Said::NotSure, None) => Said::NotSure,
            (Said::Blank, None) => Said::Blank,
        }
    }

    fn pace(&mut self) -> Said<EdgePace> {
        let (hours, moved) = (self.single("edge_hours"), self.single("edge_cm"));
        if hours == Some(NOT_SURE) || moved == Some(NOT_SURE) {
            return Said::NotSure;
        }
        match (hours, moved) {
            (None, None) => Said::Blank,
            (Some(typed), None) => self.fault("edge_cm", FaultKind::OtherHalf, typed),
            (None, Some(typed)) => self.fault("edge_hours", FaultKind::OtherHalf, typed),
            (Some(hours), Some(moved)) => {
                let hours = self.number_to("edge_hours", hours, 72.0);
                let moved_cm = self.number_to("edge_cm", moved, 30.0);
                match (hours, moved_cm) {
                    (Some(hours), Some(cm)) => Said::Is(EdgePace {
                        moved_mm: (cm * 10.0).round() as u16,
                        over_minutes: (hours * 60.0).round() as u16,
                    }),
                    _ => Said::Blank,
                }
            }
        }
    }

    fn sugar(&mut self) -> Said<Sugar> {
        let unit = self.one::<SugarUnit>("sugar_unit").known().copied();
        let checked = self.one::<SugarUnit>("sugar_unit_checked").known().copied();
        let hours = self.single("sugar_hours");
        let hours_ago = hours
            .and_then(|typed| self.number_to("sugar_hours", typed, 720.0))
            .map(|hours| hours.ceil() as u16);
        let typed = match self.single("sugar") {
            None => return Said::Blank,
            Some(NOT_SURE) => return Said::NotSure,
            Some(typed) => typed,
        };
        let reading = match readings::meter(typed, unit, checked) {
            Ok(reading) => reading,
            Err(kind) => {
                let field = if kind == FaultKind::WhichUnit { "sugar_unit" } else { "sugar" };
                self.fault::<()>(field, kind, typed);
                MeterReading::Unclear { entered: typed.to_owned(), unit: checked.or(unit) }
            }
        };
        Said::Is(Sugar { reading, hours_ago })
    }

    /// Of a blood and a urine test, blood.
    fn ketones(&mut self) -> Said<Ketones> {
        let urine = self.one::<UrineKetones>("ketones_urine");
        let urine = match urine {
            Said::Is(strip) => Said::Is(Ketones::Urine(strip)),
            Said::NotSure => Said::NotSure,
            Said::Blank => Said::Blank,
        };
        match self.single("ketones") {
            None => urine,
            Some(NOT_SURE) if urine.is_blank() => Said::NotSure,
            Some(NOT_SURE) => urine,
            Some(typed) => match self.number_to("ketones", typed, 8.0) {
                Some(mmol_l) => Said::Is(Ketones::BloodTenthsMmolL((mmol_l * 10.0).round() as u16)),
                None => urine,
            },
        }
    }

    fn words(&mut self) -> String {
        let words = self.all("words").join("\n");
        if words.chars().count() > WORDS_CHARS {
            self.fault::<()>("words", FaultKind::TooLong, "");
        }
        words
    }
}
