//! What one wound check comes to: how urgent, why, and what is not known.

use serde::Deserialize;
use serde::Serialize;

use crate::plan::coded;
use crate::triage::urgency::Urgency;

coded! {
    /// What a rule is about.
    pub enum Group {
        Bleeding = "bleeding", Body = "body",
        /// Adds a reason, never a class of its own.
        Note = "note",
        Interaction = "interaction", Deep = "deep", Local = "local", Place = "place", Sugar = "sugar",
        Host = "host", Drug = "drug", Strip = "strip", Course = "course",
    }
}

coded! {
    /// How far a rule's source carries.
    pub enum Confidence { High = "high", Medium = "medium", Low = "low" }
}

/// One fact a reason rests on, with its value and unit as text: `temp_c`, `38.6 °C`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tripped {
    pub fact: String,
    pub value: String,
}

/// One rule that fired.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reason {
    pub rule_id: String,
    pub group: Group,
    pub urgency: Urgency,
    pub sentence: String,
    pub tripped: Vec<Tripped>,
    pub source: String,
    pub confidence: Confidence,
}

/// A class lifted, or a tag set, because of who the patient is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Raised {
    pub id: String,
    /// `None`: the class stays, the check is read first within it.
    pub to: Option<Urgency>,
    /// The rules it acted on.
    pub because_of: Vec<String>,
    pub sentence: String,
    pub tripped: Vec<Tripped>,
    pub source: String,
}

/// Something that must be known and quiet before a check may be on track, and was not.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MissingGate {
    pub id: String,
    pub sentence: String,
}

/// A fact nobody knows that could still matter.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CouldMatter {
    pub fact: String,
    /// The most urgent rule that hangs on it.
    pub could_reach: Urgency,
    /// Every rule that hangs on it.
    pub rules: Vec<String>,
}

/// A usual, harmless picture that was recognised. It never lowers anything.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Recognised {
    pub id: String,
    pub sentence: String,
    pub source: String,
}

/// What one wound check comes to: an aid for sorting, never a diagnosis.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Assessment {
    pub urgency: Urgency,
    /// 0–100; a more urgent class always has the higher score.
    pub score: u8,
    /// Every rule that fired, weightiest first.
    pub reasons: Vec<Reason>,
    pub raises: Vec<Raised>,
    /// Why the check could not be on track although no rule fired.
    pub gates: Vec<MissingGate>,
    /// Most urgent first.
    pub unknowns: Vec<CouldMatter>,
    pub patterns: Vec<Recognised>,
    pub protocol_version: String,
}
