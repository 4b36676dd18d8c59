//! Answers to questions that were not asked: kept, shown as such, and able to raise a check but never to calm it.

use crate::triage::answers::Answers;
use crate::triage::dictionary::Worse;
use crate::triage::dictionary::fact;
use crate::triage::facts::Facts;
use crate::triage::facts::Value;
use crate::triage::questions::Context;
use crate::triage::questions::QUESTIONS;

/// How a fact that rests on such an answer says so.
const TOLD_BY: &str = "not asked";

/// The questions that were answered although this patient does not meet them: another patient's question, or a branch
/// that was opened and closed again. In the order of the questions.
pub fn not_asked(answers: &Answers, context: &Context) -> Vec<&'static str> {
    let written = serde_json::to_value(answers).unwrap_or_default();
    let unasked = QUESTIONS.iter().filter(|question| !question.asked(answers, context));
    unasked.map(|question| question.id).filter(|id| written.get(id).is_some()).collect()
}

/// The answers with these questions left blank.
pub(super) fn without(answers: &Answers, ids: &[&str]) -> Answers {
    let mut written = serde_json::to_value(answers).unwrap_or_default();
    if let Some(fields) = written.as_object_mut() {
        fields.retain(|name, _| !ids.contains(&name.as_str()));
    }
    serde_json::from_value(written).unwrap_or_else(|_| answers.clone())
}

impl Facts {
    /// Takes over from `all` what is graver than what is known here.
    pub(super) fn raise_to(&mut self, all: &Facts) {
        for (name, value) in all.given() {
            let known = self.value(name);
            if known != Some(value) && is_graver(name, known, value) {
                self.put_told_by(name, value, TOLD_BY);
            }
        }
    }
}

/// Whether `found` is graver than what is known. Beside nothing known it must be more than the calmest it can be.
fn is_graver(name: &str, known: Option<Value>, found: Value) -> bool {
    let Some(fact) = fact(name) else { return false };
    match fact.worse {
        Worse::WhenTrue => found == Value::Flag(true),
        Worse::WhenFalse => found == Value::Flag(false),
        Worse::Higher => above(found) > known.map_or(0.0, above),
        Worse::Lower => known.is_none_or(|known| below(found) < below(known)),
        Worse::Outside { low, high } => {
            let off = |value: Value| (low - below(value)).max(above(value) - high).max(0.0);
            off(found) > known.map_or(0.0, off)
        }
        Worse::Along(words) => match (known.map(|known| along(words, known)), along(words, found)) {
            (None, place) => place != Some(0),
            (Some(Some(known)), Some(place)) => place > known,
            // A word without a fixed place, as a strip still in, is graver than the calmest two: none and out.
            (Some(Some(known)), None) => known <= 1,
            (Some(None), _) => false,
        },
        // What no answer says whichever way is worse: an unasked answer changes nothing of it.
        Worse::Neither { .. } => false,
    }
}

fn above(value: Value) -> f64 {
    match value {
        Value::Number { high, .. } => high,
        Value::Flag(_) | Value::Word(_) => 0.0,
    }
}

fn below(value: Value) -> f64 {
    match value {
        Value::Number { low, .. } => low,
        Value::Flag(_) | Value::Word(_) => 0.0,
    }
}

/// A word without a place is taken as the gravest.
/// The word's place from calm to grave; `None`: it has none.
fn along(words: &[&str], value: Value) -> Option<usize> {
    match value {
        Value::Word(word) => words.iter().position(|known| *known == word),
        Value::Flag(_) | Value::Number { .. } => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(number: f64) -> Value {
        Value::Number { low: number, high: number }
    }

    #[test]
    fn only_what_is_graver_is_taken_over() {
        assert!(is_graver("stool_blood", None, Value::Flag(true)));
        assert!(!is_graver("stool_blood", None, Value::Flag(false)));
        assert!(is_graver("glucose", None, number(69.0)) && is_graver("glucose", None, number(151.0)));
        assert!(!is_graver("glucose", None, number(70.0)) && !is_graver("glucose", None, number(150.0)));
        assert!(is_graver("temp_c", Some(number(37.5)), number(38.0)));
        assert!(!is_graver("temp_c", Some(number(38.0)), number(37.5)));
        assert!(
            is_graver("rash", None, Value::Word("mild")) && !is_graver("rash", None, Value::Word("none"))
        );
        assert!(!is_graver("rash", Some(Value::Word("hives")), Value::Word("mild")));
        assert!(is_graver("packing", Some(Value::Word("out")), Value::Word("in")));
        assert!(!is_graver("packing", Some(Value::Word("in")), Value::Word("out")));
        assert!(is_graver("loose_stools_24h", None, number(1.0)));
        assert!(!is_graver("loose_stools_24h", None, number(0.0)));
    }
}
