//! One field of the form after the other: codes, numbers, and answers made of several fields.

use std::collections::BTreeSet;
use std::str::FromStr;

use crate::triage::answers::Edge;
use crate::triage::answers::EdgeBand;
use crate::triage::answers::EdgePace;
use crate::triage::answers::TakenTemperature;
use crate::triage::answers::TempUnit;
use crate::triage::answers::Temperature;
use crate::triage::form::Fault;
use crate::triage::form::FaultKind;
use crate::triage::questions::AnswerKind;
use crate::triage::questions::QUESTIONS;
use crate::triage::questions::taken_again;
use crate::triage::readings;
use crate::triage::said::NOT_SURE;
use crate::triage::said::Said;
use crate::triage::special_answers::BestPhone;
use crate::triage::special_answers::Ketones;
use crate::triage::special_answers::MeterReading;
use crate::triage::special_answers::NoneBeside;
use crate::triage::special_answers::Sugar;
use crate::triage::special_answers::SugarUnit;
use crate::triage::special_answers::UrineKetones;

/// Longest free words asked for, in characters.
const WORDS_CHARS: usize = 1000;
/// As much of a telephone number as is kept, in characters. The page's field takes 40; whoever typed more elsewhere loses nothing.
const PHONE_CHARS: usize = 1_000;

#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Again {
    First,
    Second,
}

pub(super) struct Form<'a> {
    pub(super) fields: &'a [(String, String)],
    pub(super) faults: Vec<Fault>,
    pub(super) none_beside: BTreeSet<NoneBeside>,
}

/// The codes a field takes, from calm to grave; empty for a field that takes none.
fn calm_to_grave(field: &str) -> Vec<&'static str> {
    let asking = QUESTIONS.iter().find(|question| question.fields.contains(&field));
    let mut codes = match asking.map(|question| question.kind) {
        Some(AnswerKind::One(codes) | AnswerKind::BandOrRuler(codes) | AnswerKind::Ketones(codes)) => {
            codes.to_vec()
        }
        Some(
            AnswerKind::Many(_)
            | AnswerKind::Whole { .. }
            | AnswerKind::Temperature
            | AnswerKind::Pace
            | AnswerKind::Sugar
            | AnswerKind::Phone
            | AnswerKind::Words,
        )
        | None => Vec::new(),
    };
    // "Yes" is the grave answer, but to what explains a pain away or what should have been done.
    if codes == ["yes", "no"] && !matches!(field, "pain_just_packed" | "gauze_changed") {
        codes.reverse();
    }
    // Not knowing is worse than the calmest answer, and better than any other.
    if !codes.is_empty() {
        codes.insert(1, NOT_SURE);
    }
    codes
}

/// Lowest and highest of a whole-number question.
fn bounds(id: &str) -> (f64, f64) {
    match QUESTIONS.iter().find(|question| question.id == id).map(|question| question.kind) {
        Some(AnswerKind::Whole { lowest, highest }) => (f64::from(lowest), f64::from(highest)),
        Some(_) | None => (0.0, 0.0),
    }
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

    /// The one value typed under this name. A value stands above a "not sure" box beside it.
    fn entry(&mut self, name: &'static str) -> Option<&'a str> {
        let typed = self.all(name);
        match typed.iter().filter(|value| **value != NOT_SURE).collect::<Vec<_>>().as_slice() {
            [] => typed.first().copied(),
            [value] => Some(value),
            _ => self.single(name),
        }
    }

    /// One code. Of several, the gravest: an answer that contradicts another must not hide it.
    pub(super) fn one<T: FromStr>(&mut self, name: &'static str) -> Said<T> {
        let typed = self.all(name);
        let code = match typed.as_slice() {
            [] => return Said::Blank,
            [code] => *code,
            several => {
                self.fault::<()>(name, FaultKind::TwoAnswers, &several.join(", "));
                let order = calm_to_grave(name);
                let place = |code: &&&str| order.iter().position(|known| known == *code);
                let gravest = several.iter().filter(|code| place(code).is_some()).max_by_key(place);
                match gravest {
                    Some(code) => *code,
                    None => return Said::Blank,
                }
            }
        };
        if code == NOT_SURE {
            return Said::NotSure;
        }
        match code.parse() {
            Ok(answer) => Said::Is(answer),
            Err(_) => self.fault(name, FaultKind::NoSuchAnswer, code),
        }
    }

    /// Anything ticked stands above `none` and above `not_sure`: a contradiction must not hide a sign.
    pub(super) fn many<T: FromStr + Ord>(&mut self, name: &'static str) -> Said<BTreeSet<T>> {
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
            if typed.contains(&"none") {
                self.none_beside.extend(name.parse::<NoneBeside>());
            }
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

    /// A whole number within its question's bounds.
    pub(super) fn whole(&mut self, name: &'static str) -> Said<u16> {
        // Of a pressure the top number counts, however the rest was typed.
        let top = |typed: &'a str| match typed.split_once('/') {
            Some((top, _)) if name == "pressure" => top.trim(),
            Some(_) | None => typed,
        };
        let typed = match self.entry(name) {
            None => return Said::Blank,
            Some(NOT_SURE) => return Said::NotSure,
            Some(typed) => typed,
        };
        let (lowest, highest) = bounds(name);
        let Some(number) = self.number(name, top(typed)) else { return Said::Blank };
        if !(lowest..=highest).contains(&number) {
            return self.fault(name, FaultKind::OutOfRange, typed);
        }
        // Half a point goes to the graver side.
        Said::Is(if name == "pressure" { number.floor() } else { number.round() } as u16)
    }

    /// A whole number that fits in a byte: every question's bounds but those of pulse and pressure do.
    pub(super) fn small(&mut self, name: &'static str) -> Said<u8> {
        match self.whole(name) {
            Said::Is(number) => u8::try_from(number).map_or(Said::Blank, Said::Is),
            Said::NotSure => Said::NotSure,
            Said::Blank => Said::Blank,
        }
    }

    /// A reading stands above "no thermometer" and "not sure" beside it; whether it may reassure is for the facts.
    pub(super) fn temperature(&mut self) -> Said<Temperature> {
        let typed = self.all("temp");
        let has_none = typed.contains(&"none");
        let readings: Vec<&str> =
            typed.iter().copied().filter(|value| !matches!(*value, "none" | NOT_SURE)).collect();
        if readings.is_empty() {
            return match typed.as_slice() {
                [] => Said::Blank,
                _ if has_none => Said::Is(Temperature::NoThermometer),
                _ => Said::NotSure,
            };
        }
        match self.taken("temp", "temp_unit", Again::First) {
            Said::Is(taken) => {
                if typed.len() > readings.len() {
                    self.fault::<()>("temp", FaultKind::TwoAnswers, &typed.join(", "));
                    self.none_beside.insert(NoneBeside::Temp);
                }
                Said::Is(Temperature::Taken(taken))
            }
            Said::Blank | Said::NotSure if has_none => Said::Is(Temperature::NoThermometer),
            Said::Blank => Said::Blank,
            Said::NotSure => Said::NotSure,
        }
    }

    pub(super) fn taken(
        &mut self,
        name: &'static str,
        unit_name: &'static str,
        again: Again,
    ) -> Said<TakenTemperature> {
        let unit: Said<TempUnit> = self.one(unit_name);
        // Only the first reading has a box for "no thermometer" beside it.
        let is_box = |value: &str| value == NOT_SURE || value == "none" && again == Again::First;
        let readings: Vec<&'a str> = self.all(name).into_iter().filter(|value| !is_box(value)).collect();
        let typed = match readings.as_slice() {
            [] if self.all(name).contains(&NOT_SURE) => return Said::NotSure,
            [] => return Said::Blank,
            [typed] => *typed,
            several => return self.fault(name, FaultKind::TwoAnswers, &several.join(", ")),
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

    /// By picture or by ruler; of both, the wider. Where they do not fit together both are kept.
    pub(super) fn edge(&mut self) -> Said<Edge> {
        let ruler = self.single("edge_mm");
        let ruler = ruler.and_then(|typed| self.number_to("edge_mm", typed, 300.0));
        let ruler_mm = ruler.map(|mm| mm.ceil() as u16);
        match (self.one::<EdgeBand>("edge"), ruler_mm) {
            (Said::Is(band), Some(ruler_mm)) if !band.fits(ruler_mm) => {
                Said::Is(Edge::Both { band, ruler_mm })
            }
            (Said::Is(band), Some(ruler_mm)) if ruler_mm < band.top_mm() => Said::Is(Edge::Band(band)),
            (_, Some(ruler_mm)) => Said::Is(Edge::RulerMm(ruler_mm)),
            (Said::Is(band), None) => Said::Is(Edge::Band(band)),
            (Said::NotSure, None) => Said::NotSure,
            (Said::Blank, None) => Said::Blank,
        }
    }

    pub(super) fn pace(&mut self) -> Said<EdgePace> {
        let (hours, moved) = (self.entry("edge_hours"), self.entry("edge_cm"));
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

    pub(super) fn sugar(&mut self) -> Said<Sugar> {
        let unit = self.one::<SugarUnit>("sugar_unit").known().copied();
        let checked = self.one::<SugarUnit>("sugar_unit_checked").known().copied();
        let hours = self.single("sugar_hours");
        let hours_ago = hours
            .and_then(|typed| self.number_to("sugar_hours", typed, 720.0))
            .map(|hours| hours.ceil() as u16);
        let typed = match self.meter_typed() {
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

    /// What the meter showed. A box beside a number counts as what it says, but for LO beside a sugar of 400 mg/dL and
    /// more, which is as urgent (ADA page: under 54; ACP page: 400 and over).
    fn meter_typed(&mut self) -> Option<&'a str> {
        let typed: Vec<&'a str> = self.all("sugar").into_iter().filter(|value| *value != NOT_SURE).collect();
        let is = |value: &str, names: &[&str]| names.iter().any(|name| value.eq_ignore_ascii_case(name));
        match typed.as_slice() {
            [] => self.all("sugar").first().copied(),
            [value] => Some(value),
            several => {
                self.fault::<()>("sugar", FaultKind::TwoAnswers, &several.join(", "));
                let lo = several.iter().find(|value| is(value, &["lo", "low"]));
                let hi = several.iter().find(|value| is(value, &["hi", "high"]));
                let very_high =
                    several.iter().find(|value| readings::number(value).is_some_and(|it| it >= 400.0));
                very_high.filter(|_| lo.is_some()).or(lo).or(hi).copied()
            }
        }
    }

    /// Kept as typed even where it is no whole number: whoever rings can make something of it.
    pub(super) fn phone(&mut self) -> Said<BestPhone> {
        let Some(typed) = self.single("phone") else { return Said::Blank };
        let number = readings::phone(typed);
        if number.is_none() {
            self.fault::<()>("phone", FaultKind::NotAPhone, typed);
        }
        Said::Is(BestPhone { entered: typed.chars().take(PHONE_CHARS).collect(), number })
    }

    /// Of a blood and a urine test, blood.
    pub(super) fn ketones(&mut self) -> Said<Ketones> {
        let urine = self.one::<UrineKetones>("ketones_urine");
        let urine = match urine {
            Said::Is(strip) => Said::Is(Ketones::Urine(strip)),
            Said::NotSure => Said::NotSure,
            Said::Blank => Said::Blank,
        };
        match self.entry("ketones") {
            None => urine,
            Some(NOT_SURE) if urine.is_blank() => Said::NotSure,
            Some(NOT_SURE) => urine,
            Some(typed) => match self.number_to("ketones", typed, 8.0) {
                Some(mmol_l) => Said::Is(Ketones::BloodTenthsMmolL((mmol_l * 10.0).round() as u16)),
                None => urine,
            },
        }
    }

    pub(super) fn words(&mut self) -> String {
        let words = self.all("words").join("\n");
        if words.chars().count() > WORDS_CHARS {
            self.fault::<()>("words", FaultKind::TooLong, "");
        }
        words
    }
}
