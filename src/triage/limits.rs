//! The protocol's named limits: every number a rule compares with, its unit, its safe range and where it comes from.

use serde::Deserialize;
use serde::Serialize;

use crate::triage::dictionary::Unit;
use crate::triage::wording::Wording;

/// One named limit. `value`, `lowest` and `highest` are in `unit`; both ends of the safe range are allowed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    pub id: String,
    pub unit: Unit,
    pub value: f64,
    /// A practice cannot go below this without changing the program.
    pub lowest: f64,
    pub highest: f64,
    /// What the number stands for.
    pub meaning: Wording,
    pub source: String,
}

impl Limit {
    /// The value as a surgeon reads it inside a sentence: `38.0 °C (100.4 °F)`, `48 h`. Days, years, counts and
    /// rates stand bare, because the sentence says what they count in its own language.
    pub fn text(&self) -> String {
        number_with_unit(self.value, self.unit)
    }

    /// The safe range: `37.2 to 38.3 °C`.
    pub fn range_text(&self) -> String {
        let decimals = self.unit.decimals();
        let sign = self.unit.sign();
        format!("{:.decimals$} to {:.decimals$} {sign}", self.lowest, self.highest).trim_end().to_owned()
    }

    /// What is wrong with the limit itself.
    pub(super) fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        if !(self.lowest <= self.highest && self.lowest.is_finite() && self.highest.is_finite()) {
            faults.push(format!("limit `{}`: its safe range is empty", self.id));
        } else if !(self.lowest <= self.value && self.value <= self.highest) {
            let (value, range) = (self.value, self.range_text());
            faults.push(format!("limit `{}`: {value} is outside its safe range of {range}", self.id));
        }
        faults
    }
}

/// A number with its unit, as written inside a sentence.
pub(super) fn number_with_unit(number: f64, unit: Unit) -> String {
    let decimals = unit.decimals();
    match unit {
        // Both scales, since thermometers differ: F = C · 9/5 + 32, by definition.
        Unit::Celsius => format!("{number:.1} °C ({:.1} °F)", number * 9.0 / 5.0 + 32.0),
        Unit::PerMinute | Unit::Days | Unit::Years | Unit::Count => format!("{number:.0}"),
        Unit::Cm | Unit::MmHg | Unit::MgPerDl | Unit::MmolPerL | Unit::Hours | Unit::Percent => {
            format!("{number:.decimals$} {}", unit.sign())
        }
    }
}

/// All limits of a protocol.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limits {
    all: Vec<Limit>,
    /// Those that facts are worked out with.
    pub(super) derived: DerivedLimits,
}

macro_rules! derived_limits {
    ($($name:ident: $unit:ident, for $fact:literal;)*) => {
        /// The limits that derived facts are worked out with, each in the unit its name ends in, or a count.
        #[derive(Clone, Copy, Debug, Default, PartialEq)]
        pub(super) struct DerivedLimits { $(pub(super) $name: f64),* }

        impl DerivedLimits {
            fn read(all: &[Limit], faults: &mut Vec<String>) -> DerivedLimits {
                DerivedLimits { $($name: needed(all, stringify!($name), Unit::$unit, $fact, faults)),* }
            }
        }
    };
}

derived_limits! {
    rim_cm: Cm, for "local_signs";
    red_inch_cm: Cm, for "red_limit";
    red_inch_weak_cm: Cm, for "red_limit";
    sick_hot_c: Celsius, for "sick_count";
    cold_c: Celsius, for "sick_count";
    pulse_raised: PerMinute, for "sick_count";
    breaths_fast: PerMinute, for "sick_count";
    breaths_sepsis: PerMinute, for "qsofa";
    pressure_sepsis: MmHg, for "qsofa";
    first_days: Days, for "silent_limit";
    silent_first_h: Hours, for "silent_limit";
    silent_later_h: Hours, for "silent_limit";
    strip_due_h: Hours, for "silent_limit";
}

fn needed(all: &[Limit], id: &str, unit: Unit, fact: &str, faults: &mut Vec<String>) -> f64 {
    match all.iter().find(|limit| limit.id == id) {
        Some(limit) if limit.unit == unit => limit.value,
        Some(limit) => {
            let (is, must) = (limit.unit.code(), unit.code());
            faults.push(format!("limit `{id}`: is in {is} and must be in {must}, for `{fact}`"));
            limit.value
        }
        None => {
            faults.push(format!("limit `{id}` is missing: `{fact}` is worked out with it"));
            0.0
        }
    }
}

impl Limits {
    /// Takes the limits as written; what is wrong with them is added to `faults`.
    pub(super) fn read(all: Vec<Limit>, faults: &mut Vec<String>) -> Limits {
        for (place, limit) in all.iter().enumerate() {
            faults.extend(limit.faults());
            if all.iter().take(place).any(|earlier| earlier.id == limit.id) {
                faults.push(format!("limit `{}` stands twice", limit.id));
            }
            let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
            if !limit.id.starts_with(|c: char| c.is_ascii_lowercase()) || !limit.id.chars().all(plain) {
                faults.push(format!(
                    "limit `{}`: a limit's id is lower-case letters, digits and `_`",
                    limit.id
                ));
            }
            for language in limit.meaning.missing() {
                faults.push(format!("limit `{}`: its meaning is missing in `{language}`", limit.id));
            }
            if limit.source.trim().is_empty() {
                faults.push(format!("limit `{}`: the source is blank", limit.id));
            }
        }
        let derived = DerivedLimits::read(&all, faults);
        Limits { all, derived }
    }

    pub fn all(&self) -> &[Limit] {
        &self.all
    }

    /// The limit called `id`.
    pub fn named(&self, id: &str) -> Option<&Limit> {
        self.all.iter().find(|limit| limit.id == id)
    }

    /// A sentence with its limits filled in. An unknown name stays as written: the check has refused it.
    pub(super) fn fill(&self, sentence: &Wording) -> Wording {
        sentence.filled(|name| self.named(name).map_or_else(|| format!("{{{name}}}"), Limit::text))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_temperature_is_written_on_both_scales() {
        // Published pairs: 38.0 °C is 100.4 °F, 38.5 is 101.3, 35.0 is 95.0.
        assert_eq!(number_with_unit(38.0, Unit::Celsius), "38.0 °C (100.4 °F)");
        assert_eq!(number_with_unit(38.5, Unit::Celsius), "38.5 °C (101.3 °F)");
        assert_eq!(number_with_unit(35.0, Unit::Celsius), "35.0 °C (95.0 °F)");
        assert_eq!(number_with_unit(48.0, Unit::Hours), "48 h");
        assert_eq!(number_with_unit(3.0, Unit::Days), "3");
    }
}
