//! Facts as they are kept beside a check, so that another protocol can be tried on them later.
//!
//! One JSON object by fact name. A number between bounds is `[lowest, highest]`. What a later program no longer knows
//! is passed over when read; what is not there is unknown.

use std::fmt;

use serde::de::DeserializeSeed;
use serde::de::Deserializer;
use serde::de::IgnoredAny;
use serde::de::MapAccess;
use serde::de::SeqAccess;
use serde::de::Visitor;
use serde::ser::SerializeMap;
use serde::ser::Serializer;

use crate::triage::dictionary::FactId;
use crate::triage::dictionary::Kind;
use crate::triage::dictionary::Worse;
use crate::triage::facts::Facts;
use crate::triage::facts::Value;

/// What one check was assessed by: what was answered and known, and what was seen in the photo.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct CheckFacts {
    pub answered: Facts,
    /// Can raise and never lower, so it is kept apart.
    #[serde(default, skip_serializing_if = "Facts::is_empty")]
    pub measured: Facts,
}

impl CheckFacts {
    /// Everything together: of what was answered and what was measured the worse counts, fact by fact; where neither is
    /// worse, what was measured.
    pub fn together(&self) -> Facts {
        let mut together = self.answered.clone();
        for (id, measured) in self.measured.placed() {
            match self.answered.value_at(id) {
                Some(answered) => {
                    let worse = worse_of(id.fact().worse, answered, measured);
                    if worse != answered {
                        together.put_measured(id, worse);
                    }
                }
                None => together.put_measured(id, measured),
            }
        }
        together
    }
}

/// The worse of two values of one fact; of numbers between bounds, bound by bound.
fn worse_of(worse: Worse, answered: Value, measured: Value) -> Value {
    let either = |worse_when: bool| if answered == Value::Flag(worse_when) { answered } else { measured };
    let bounds = |pick: fn(f64, f64) -> f64| match (answered, measured) {
        (Value::Number { low: a, high: b }, Value::Number { low: c, high: d }) => {
            Value::Number { low: pick(a, c), high: pick(b, d) }
        }
        (Value::Flag(_) | Value::Number { .. } | Value::Word(_), _) => measured,
    };
    match worse {
        Worse::WhenTrue => either(true),
        Worse::WhenFalse => either(false),
        Worse::Higher => bounds(f64::max),
        Worse::Lower => bounds(f64::min),
        Worse::Along(words) => {
            let place = |value| words.iter().position(|word| value == Value::Word(word));
            if place(answered) > place(measured) { answered } else { measured }
        }
        Worse::Outside { .. } | Worse::Neither { .. } => measured,
    }
}

impl serde::Serialize for Facts {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        for (id, value) in self.placed() {
            match value {
                Value::Flag(flag) => map.serialize_entry(id.name(), &flag)?,
                Value::Word(word) => map.serialize_entry(id.name(), word)?,
                Value::Number { low, high } if low == high => map.serialize_entry(id.name(), &low)?,
                Value::Number { low, high } => map.serialize_entry(id.name(), &[low, high])?,
            }
        }
        map.end()
    }
}

impl<'de> serde::Deserialize<'de> for Facts {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Facts, D::Error> {
        deserializer.deserialize_map(KeptFacts)
    }
}

struct KeptFacts;

impl<'de> Visitor<'de> for KeptFacts {
    type Value = Facts;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("facts by name")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Facts, A::Error> {
        let mut facts = Facts::default();
        while let Some(id) = map.next_key_seed(FactName)? {
            match id {
                None => {
                    map.next_value::<IgnoredAny>()?;
                }
                Some(id) => {
                    if let Some(value) = map.next_value_seed(KeptValue(id))? {
                        facts.put_at(id, value);
                    }
                }
            }
        }
        Ok(facts)
    }
}

/// A key; `None` for a name this program does not know.
struct FactName;

impl<'de> DeserializeSeed<'de> for FactName {
    type Value = Option<FactId>;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Option<FactId>, D::Error> {
        deserializer.deserialize_str(self)
    }
}

impl Visitor<'_> for FactName {
    type Value = Option<FactId>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a fact's name")
    }

    fn visit_str<E>(self, name: &str) -> Result<Option<FactId>, E> {
        Ok(FactId::named(name))
    }
}

/// The value of one fact; `None` where it is none of that fact's values any more.
struct KeptValue(FactId);

impl<'de> DeserializeSeed<'de> for KeptValue {
    type Value = Option<Value>;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Option<Value>, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for KeptValue {
    type Value = Option<Value>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a flag, a number, its bounds, or a word")
    }

    fn visit_bool<E>(self, flag: bool) -> Result<Option<Value>, E> {
        Ok(Some(Value::Flag(flag)))
    }

    fn visit_f64<E>(self, number: f64) -> Result<Option<Value>, E> {
        Ok(Some(Value::Number { low: number, high: number }))
    }

    fn visit_u64<E>(self, number: u64) -> Result<Option<Value>, E> {
        Ok(Some(Value::Number { low: number as f64, high: number as f64 }))
    }

    fn visit_i64<E>(self, number: i64) -> Result<Option<Value>, E> {
        Ok(Some(Value::Number { low: number as f64, high: number as f64 }))
    }

    fn visit_str<E>(self, word: &str) -> Result<Option<Value>, E> {
        let Kind::Word(words) = self.0.fact().kind else { return Ok(None) };
        Ok(words.iter().find(|known| **known == word).map(|word| Value::Word(word)))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut bounds: A) -> Result<Option<Value>, A::Error> {
        let (low, high) = (bounds.next_element()?, bounds.next_element()?);
        while bounds.next_element::<IgnoredAny>()?.is_some() {}
        Ok(low.zip(high).map(|(low, high)| Value::Number { low, high }))
    }

    fn visit_unit<E>(self) -> Result<Option<Value>, E> {
        Ok(None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_an_answer_and_a_measurement_the_worse_counts_fact_by_fact() {
        let number = |low, high| Value::Number { low, high };
        let together = |name: &'static str, answered, measured| {
            let (mut said, mut seen) = (Facts::default(), Facts::default());
            said.put(name, answered);
            seen.put(name, measured);
            CheckFacts { answered: said, measured: seen }.together().value(name).unwrap()
        };
        assert_eq!(together("red_cm", number(3.0, 3.0), number(1.0, 1.0)), number(3.0, 3.0));
        assert_eq!(together("red_cm", number(1.0, 1.0), number(3.0, 3.0)), number(3.0, 3.0));
        assert_eq!(together("red_grew_cm_6h", number(1.0, 3.0), number(0.5, 4.0)), number(1.0, 4.0));
        assert_eq!(together("par_28", number(30.0, 30.0), number(50.0, 50.0)), number(30.0, 30.0));
        for (answered, measured) in [("bigger", "same"), ("same", "bigger")] {
            let worse = together("red_trend", Value::Word(answered), Value::Word(measured));
            assert_eq!(worse, Value::Word("bigger"));
        }
        for (answered, measured) in [(true, false), (false, true)] {
            let hidden = together("red_hard_to_see", Value::Flag(answered), Value::Flag(measured));
            assert_eq!(hidden, Value::Flag(true));
            assert_eq!(
                together("photo_ok", Value::Flag(answered), Value::Flag(measured)),
                Value::Flag(false)
            );
        }
    }

    #[test]
    fn what_is_kept_reads_back_and_what_is_not_known_any_more_is_passed_over() {
        let mut facts = Facts::default();
        facts.put("temp_c", Value::Number { low: 38.6, high: 38.6 });
        facts.put("red_grew_cm_6h", Value::Number { low: 1.0, high: 3.0 });
        facts.put("chills", Value::Flag(true));
        facts.put("pus", Value::Word("thick"));
        let kept = CheckFacts { answered: facts.clone(), measured: Facts::default() };
        let json = serde_json::to_string(&kept).unwrap();
        assert_eq!(
            json,
            r#"{"answered":{"temp_c":38.6,"chills":true,"red_grew_cm_6h":[1.0,3.0],"pus":"thick"}}"#
        );
        assert_eq!(serde_json::from_str::<CheckFacts>(&json).unwrap(), kept);
        let old = r#"{"temp_c":38.6,"gone":[1,{"a":2}],"chills":true,"pus":"blue","pain":99,"red_grew_cm_6h":[1,3],"odor":null}"#;
        facts.forget("pus");
        assert_eq!(serde_json::from_str::<Facts>(old).unwrap(), facts);
    }
}
