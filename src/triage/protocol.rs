//! The rules in force: a versioned table with named limits, checked whole before any of it is used.
//!
//! The built-in table is proposed for review by the responsible surgeon; it defers to local codes and licensed
//! practice. No limit in it has been validated for this use.
//!
//! Why do some conditions say `!sure(...)`? Leaving a question out must never look calmer than answering it
//! calmly. A rule for the milder of two cases therefore holds until the graver one is known, and the graver rule is
//! listed among what could still matter. `face-eye` and `throat` ask for no site: the danger screen asks about them
//! only at the head and neck, and a tick there is an emergency wherever the wound is.
//!
//! Why does `raise-host` not ask for "infection-prone"? Enrolment has no such mark yet; a fact nobody can enter would
//! stand among the unknowns for ever.

use std::sync::LazyLock;

use serde::Deserialize;
use serde::Serialize;

use crate::triage::assess::Confidence;
use crate::triage::assess::Group;
use crate::triage::condition::Condition;
use crate::triage::due::ResponseTargets;
use crate::triage::limits::Limit;
use crate::triage::limits::Limits;
use crate::triage::protocol_file;
use crate::triage::protocol_file::ProtocolFault;
use crate::triage::protocol_file::Written;
use crate::triage::urgency::Urgency;
use crate::triage::wording::Wording;

/// A checked protocol.
#[derive(Clone, Debug, PartialEq)]
pub struct Protocol {
    pub(super) written: Written,
    pub(super) limits: Limits,
    pub(super) rules: Vec<Rule>,
    pub(super) raises: Vec<Raise>,
    pub(super) gates: Vec<Gate>,
    pub(super) patterns: Vec<Pattern>,
}

/// One rule.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    pub id: String,
    pub group: Group,
    pub when: Condition,
    pub urgency: Urgency,
    /// The calmest class a practice may give it.
    pub at_least: Urgency,
    /// What it means, for the surgeon, with the limits filled in.
    pub sentence: Wording,
    pub source: String,
    pub confidence: Confidence,
}

/// A lift for who the patient is, after the rules.
#[derive(Clone, Debug, PartialEq)]
pub struct Raise {
    pub id: String,
    pub when: Condition,
    pub on: RaisesOn,
    /// `None`: the class stays; the check is read first within it.
    pub to: Option<Urgency>,
    pub sentence: Wording,
    pub source: String,
}

/// The rules a raise acts on, once they have fired.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged, deny_unknown_fields)]
pub enum RaisesOn {
    Rules { rules: Vec<String> },
    GroupAt { group: Group, at: Urgency },
}

/// Something that must be known to hold before a check may be on track.
#[derive(Clone, Debug, PartialEq)]
pub struct Gate {
    pub id: String,
    pub when: Condition,
    /// What is said when it does not hold.
    pub sentence: Wording,
}

/// A usual, harmless picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    pub id: String,
    pub when: Condition,
    pub sentence: Wording,
    pub source: String,
}

/// What a practice changes in a protocol: values of limits, in each limit's unit, and classes of rules.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Edits {
    pub limits: Vec<(String, f64)>,
    pub classes: Vec<(String, Urgency)>,
}

static BUILT_IN: LazyLock<Protocol> = LazyLock::new(|| {
    Protocol::parse(include_str!("protocol.json")).expect("a test reads the built-in protocol")
});

impl Protocol {
    /// The protocol the program comes with.
    pub fn built_in() -> &'static Protocol {
        &BUILT_IN
    }

    /// Reads and checks a whole protocol; names everything that is wrong with it.
    pub fn parse(text: &str) -> Result<Protocol, ProtocolFault> {
        protocol_file::read(text)
    }

    /// The protocol as its file, which reads back as the same protocol.
    pub fn to_json(&self) -> String {
        serde_json::to_string_pretty(&self.written).unwrap_or_default()
    }

    /// This protocol with some limits and classes changed, under another version. It is checked as a whole again.
    pub fn edited(&self, edits: &Edits, version: &str) -> Result<Protocol, ProtocolFault> {
        let mut written = self.written.clone();
        version.clone_into(&mut written.version);
        for (id, value) in &edits.limits {
            if let Some(limit) = written.limits.iter_mut().find(|limit| limit.id == *id) {
                limit.value = *value;
            }
        }
        for (id, urgency) in &edits.classes {
            if let Some(rule) = written.rules.iter_mut().find(|rule| rule.id == *id) {
                rule.urgency = *urgency;
            }
        }
        protocol_file::check(written)
    }

    /// Carried by every assessment made with it.
    pub fn version(&self) -> &str {
        &self.written.version
    }

    pub fn targets(&self) -> &ResponseTargets {
        &self.written.targets
    }

    pub fn limits(&self) -> &Limits {
        &self.limits
    }

    pub fn rules(&self) -> &[Rule] {
        &self.rules
    }

    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rules.iter().find(|rule| rule.id == id)
    }

    pub fn raises(&self) -> &[Raise] {
        &self.raises
    }

    pub fn gates(&self) -> &[Gate] {
        &self.gates
    }

    pub fn patterns(&self) -> &[Pattern] {
        &self.patterns
    }

    /// The limits a condition of this protocol speaks of, in the protocol's order.
    pub fn limits_of(&self, when: &Condition) -> Vec<&Limit> {
        when.limit_places().into_iter().filter_map(|place| self.limits.all().get(place)).collect()
    }

    /// The same protocol without one rule: what a rule adds can be seen by leaving it out.
    #[cfg(test)]
    pub(super) fn without_rule(&self, place: usize) -> Protocol {
        let mut without = self.clone();
        without.rules.remove(place);
        without
    }
}

impl RaisesOn {
    /// Acts on this rule.
    pub fn hits(&self, rule: &Rule) -> bool {
        match self {
            RaisesOn::Rules { rules } => rules.contains(&rule.id),
            RaisesOn::GroupAt { group, at } => rule.group == *group && rule.urgency == *at,
        }
    }
}
