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
    /// Everything together; what was measured stands in for what was answered.
    pub fn together(&self) -> Facts {
        let mut together = self.answered.clone();
        for (id, value) in self.measured.placed() {
            together.put_at(id, value);
        }
        together
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
