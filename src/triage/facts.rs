//! What is known about one wound check, by name; what is absent is unknown.

use std::collections::BTreeMap;

use crate::triage::derived;
use crate::triage::dictionary::FACTS;
use crate::triage::dictionary::FactId;
use crate::triage::dictionary::Kind;
use crate::triage::dictionary::Origin;
use crate::triage::dictionary::Unit;
use crate::triage::limits::Limits;

/// A known value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    Flag(bool),
    /// In the fact's unit. `low` is below `high` where only bounds are known.
    Number {
        low: f64,
        high: f64,
    },
    Word(&'static str),
}

/// Why a fact cannot be taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{fact}: {why}")]
pub struct FactFault {
    pub fact: String,
    pub why: String,
}

/// One value, or none, for each fact of the dictionary.
pub(super) type Values = [Option<Value>; FACTS];

/// The known facts of one wound check.
#[derive(Clone, PartialEq)]
pub struct Facts {
    known: Box<Values>,
    /// What the patient did or wrote to set a fact, where the fact's name alone would claim too much.
    told_by: BTreeMap<FactId, String>,
}

impl Default for Facts {
    /// Nothing is known.
    fn default() -> Facts {
        Facts { known: Box::new([None; FACTS]), told_by: BTreeMap::new() }
    }
}

impl std::fmt::Debug for Facts {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_map().entries(self.given()).finish()
    }
}

impl Facts {
    /// Facts by name, as in the check cases. Null is unknown; so is the word `unknown`.
    pub fn from_json(given: &serde_json::Map<String, serde_json::Value>) -> Result<Facts, FactFault> {
        let mut facts = Facts::default();
        for (name, value) in given {
            if let Some(value) = read(name, value)? {
                facts.set(name, value)?;
            }
        }
        Ok(facts)
    }

    /// Makes `name` known. Temperature is rounded to 0.1 °C and sugar to whole mg/dL before anything is compared.
    pub fn set(&mut self, name: &str, value: Value) -> Result<(), FactFault> {
        let fault = |why: String| Err(FactFault { fact: name.to_owned(), why });
        let Some(id) = FactId::named(name) else { return fault("no such fact".to_owned()) };
        if id.fact().from == Origin::Derived {
            return fault("is worked out from other facts and cannot be given".to_owned());
        }
        match taken(id, value) {
            Some(value) => {
                self.known[id.place()] = Some(value);
                Ok(())
            }
            None => fault(expected(id.fact().kind)),
        }
    }

    /// Makes `name` known, or leaves it unknown when the value cannot be one. For names written in this room.
    pub(super) fn put(&mut self, name: &'static str, value: Value) {
        debug_assert!(FactId::named(name).is_some(), "{name}");
        self.set(name, value).unwrap_or(());
    }

    /// As [`Facts::put`], for a fact whose place is known.
    pub(super) fn put_at(&mut self, id: FactId, value: Value) {
        if id.fact().from != Origin::Derived
            && let Some(value) = taken(id, value)
        {
            self.known[id.place()] = Some(value);
        }
    }

    /// As [`Facts::put_at`], for what a photo says. A fact that patients answer says so beside its value.
    pub(super) fn put_measured(&mut self, id: FactId, value: Value) {
        self.put_at(id, value);
        if id.fact().from != Origin::Measurement && self.value_at(id) == Some(value) {
            self.told_by.insert(id, "measured in the photo".to_owned());
        }
    }

    pub(super) fn value_at(&self, id: FactId) -> Option<Value> {
        self.known[id.place()]
    }

    pub(super) fn put_told_by(&mut self, name: &'static str, value: Value, told_by: &str) {
        self.put(name, value);
        if let Some(id) = FactId::named(name) {
            self.told_by.insert(id, told_by.to_owned());
        }
    }

    /// The value of a given fact; `None` when it is unknown or worked out.
    pub fn value(&self, name: &str) -> Option<Value> {
        self.known[FactId::named(name)?.place()]
    }

    /// Makes `name` unknown.
    pub fn forget(&mut self, name: &str) {
        if let Some(id) = FactId::named(name) {
            self.known[id.place()] = None;
            self.told_by.remove(&id);
        }
    }

    /// Every given fact, by name.
    pub fn given(&self) -> impl Iterator<Item = (&'static str, Value)> {
        FactId::all().filter_map(|id| Some((id.name(), self.known[id.place()]?)))
    }

    /// Every given fact, by its place.
    pub(super) fn placed(&self) -> impl Iterator<Item = (FactId, Value)> {
        FactId::all().filter_map(|id| Some((id, self.known[id.place()]?)))
    }

    /// Whether nothing is known.
    pub fn is_empty(&self) -> bool {
        self.known.iter().all(Option::is_none)
    }

    /// These facts with everything worked out that can be, under a protocol's limits.
    pub(super) fn completed(&self, limits: &Limits) -> Known<'_> {
        let mut known = Known { values: (*self.known), told_by: &self.told_by };
        derived::work_out(&mut known, &limits.derived);
        known
    }
}

/// A value as this fact takes it; `None` when it cannot be one.
fn taken(id: FactId, value: Value) -> Option<Value> {
    match (id.fact().kind, value) {
        (Kind::Flag, Value::Flag(_)) => Some(value),
        (Kind::Word(words), Value::Word(word)) => words.contains(&word).then_some(value),
        (Kind::Number { unit, lowest, highest }, Value::Number { low, high }) => {
            let (low, high) = (rounded(unit, low), rounded(unit, high));
            // Written so that a number that is none is refused too.
            (lowest <= low && low <= high && high <= highest).then_some(Value::Number { low, high })
        }
        (Kind::Flag | Kind::Word(_) | Kind::Number { .. }, _) => None,
    }
}

/// Facts with the derived ones worked out: what conditions look at.
#[derive(Clone)]
pub(super) struct Known<'a> {
    pub(super) values: Values,
    told_by: &'a BTreeMap<FactId, String>,
}

impl Known<'_> {
    /// Known, and not only between bounds.
    pub(super) fn has(&self, id: FactId) -> bool {
        match self.values[id.place()] {
            None => false,
            Some(Value::Number { low, high }) => low == high,
            Some(Value::Flag(_) | Value::Word(_)) => true,
        }
    }

    pub(super) fn flag(&self, id: FactId) -> Option<bool> {
        match self.values[id.place()]? {
            Value::Flag(flag) => Some(flag),
            Value::Number { .. } | Value::Word(_) => None,
        }
    }

    /// Lowest and highest it can be.
    pub(super) fn number(&self, id: FactId) -> Option<(f64, f64)> {
        match self.values[id.place()]? {
            Value::Number { low, high } => Some((low, high)),
            Value::Flag(_) | Value::Word(_) => None,
        }
    }

    pub(super) fn word(&self, id: FactId) -> Option<&'static str> {
        match self.values[id.place()]? {
            Value::Word(word) => Some(word),
            Value::Flag(_) | Value::Number { .. } => None,
        }
    }

    /// The value as a surgeon reads it, with its unit; `None` when unknown.
    pub(super) fn text(&self, id: FactId) -> Option<String> {
        let text = match (self.values[id.place()]?, id.fact().kind) {
            (Value::Flag(true), _) => "yes".to_owned(),
            (Value::Flag(false), _) => "no".to_owned(),
            (Value::Word(word), _) => word.to_owned(),
            (Value::Number { low, high }, Kind::Number { unit, .. }) => number_text(low, high, unit),
            (Value::Number { .. }, Kind::Flag | Kind::Word(_)) => return None,
        };
        Some(match self.told_by.get(&id) {
            Some(told_by) => format!("{text} ({told_by})"),
            None => text,
        })
    }
}

/// A number, or both its bounds, with the unit behind.
pub(super) fn number_text(low: f64, high: f64, unit: Unit) -> String {
    let figure = |number: f64| format!("{number:.*}", unit.decimals());
    let figures = if low < high { format!("{} to {}", figure(low), figure(high)) } else { figure(low) };
    match unit.sign() {
        "" => figures,
        sign => format!("{figures} {sign}"),
    }
}

fn rounded(unit: Unit, number: f64) -> f64 {
    match unit {
        Unit::Celsius => (number * 10.0).round() / 10.0,
        Unit::MgPerDl => number.round(),
        Unit::Cm
        | Unit::PerMinute
        | Unit::MmHg
        | Unit::MmolPerL
        | Unit::Hours
        | Unit::Days
        | Unit::Years
        | Unit::Percent
        | Unit::Count => number,
    }
}

fn expected(kind: Kind) -> String {
    match kind {
        Kind::Flag => "must be true or false".to_owned(),
        Kind::Word(words) => format!("must be one of: {}", words.join(", ")),
        Kind::Number { unit, lowest, highest } => {
            let sign = unit.sign();
            let of = if sign.is_empty() { String::new() } else { format!(" of {sign}") };
            format!("must be a number{of} from {lowest} to {highest}")
        }
    }
}

fn read(name: &str, given: &serde_json::Value) -> Result<Option<Value>, FactFault> {
    let Some(fact) = FactId::named(name).map(FactId::fact) else {
        return Err(FactFault { fact: name.to_owned(), why: "no such fact".to_owned() });
    };
    if given.is_null() {
        return Ok(None);
    }
    let value = match fact.kind {
        Kind::Flag => given.as_bool().map(Value::Flag),
        Kind::Number { .. } => given.as_f64().map(|number| Value::Number { low: number, high: number }),
        Kind::Word(_) if given == "unknown" => return Ok(None),
        Kind::Word(words) => {
            let given = given.as_str().unwrap_or_default();
            words.iter().find(|word| **word == given).map(|word| Value::Word(word))
        }
    };
    match value {
        Some(value) => Ok(Some(value)),
        None => Err(FactFault { fact: name.to_owned(), why: expected(fact.kind) }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::Protocol;

    fn refused(text: &str) -> String {
        Facts::from_json(&serde_json::from_str(text).unwrap()).unwrap_err().to_string()
    }

    #[test]
    fn a_fact_that_cannot_be_taken_is_named_with_the_reason() {
        assert_eq!(refused(r#"{"tempc": 38}"#), "tempc: no such fact");
        assert_eq!(
            refused(r#"{"local_signs": 2}"#),
            "local_signs: is worked out from other facts and cannot be given"
        );
        assert_eq!(refused(r#"{"temp_c": "38"}"#), "temp_c: must be a number of °C from 25 to 45");
        assert_eq!(refused(r#"{"temp_c": 46}"#), "temp_c: must be a number of °C from 25 to 45");
        assert_eq!(refused(r#"{"pus": "green"}"#), "pus: must be one of: none, thin, thick");
        assert_eq!(refused(r#"{"chills": 1}"#), "chills: must be true or false");
    }

    #[test]
    fn null_and_the_word_unknown_are_unknown() {
        let given = serde_json::from_str(r#"{"temp_c": null, "red_trend": "unknown"}"#).unwrap();
        assert_eq!(Facts::from_json(&given).unwrap(), Facts::default());
    }

    #[test]
    fn a_temperature_is_rounded_before_it_is_compared() {
        let mut facts = Facts::default();
        facts.set("temp_c", Value::Number { low: 37.96, high: 37.96 }).unwrap();
        assert_eq!(facts.value("temp_c"), Some(Value::Number { low: 38.0, high: 38.0 }));
        let known = facts.completed(Protocol::built_in().limits());
        assert_eq!(known.text(FactId::named("temp_c").unwrap()).unwrap(), "38.0 °C");
    }
}
