//! What was said to one question: nothing, "not sure", or an answer. Only the last is knowledge.

use serde::Deserialize;
use serde::Deserializer;
use serde::Serialize;
use serde::Serializer;

/// What was said to one question. `Blank` and `NotSure` are both unknown, never "no".
///
/// In JSON: an absent field or null, `"not_sure"`, or the answer itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Said<T> {
    #[default]
    Blank,
    NotSure,
    Is(T),
}

/// The code of "not sure", in forms and in JSON. No answer may have it as its own code.
pub const NOT_SURE: &str = "not_sure";

impl<T> Said<T> {
    pub fn is_blank(&self) -> bool {
        match self {
            Said::Blank => true,
            Said::NotSure | Said::Is(_) => false,
        }
    }

    /// The answer; `None` when it is unknown.
    pub fn known(&self) -> Option<&T> {
        match self {
            Said::Is(answer) => Some(answer),
            Said::Blank | Said::NotSure => None,
        }
    }
}

impl<T: PartialEq> Said<T> {
    /// Known to be `answer`.
    pub fn is(&self, answer: T) -> bool {
        self.known() == Some(&answer)
    }
}

impl<T: Serialize> Serialize for Said<T> {
    fn serialize<S: Serializer>(&self, out: S) -> Result<S::Ok, S::Error> {
        match self {
            Said::Blank => out.serialize_none(),
            Said::NotSure => out.serialize_str(NOT_SURE),
            Said::Is(answer) => answer.serialize(out),
        }
    }
}

#[derive(Deserialize)]
enum NotSureWord {
    #[serde(rename = "not_sure")]
    NotSure,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Written<T> {
    NotSure(NotSureWord),
    Is(T),
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Said<T> {
    fn deserialize<D: Deserializer<'de>>(input: D) -> Result<Said<T>, D::Error> {
        Ok(match Option::<Written<T>>::deserialize(input)? {
            None => Said::Blank,
            Some(Written::NotSure(NotSureWord::NotSure)) => Said::NotSure,
            Some(Written::Is(answer)) => Said::Is(answer),
        })
    }
}
