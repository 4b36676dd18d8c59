//! The rules in force: a versioned table, checked whole before any of it is used.
//!
//! The built-in table is proposed for review by the responsible surgeon; it defers to local codes and licensed
//! practice. No limit in it has been validated for this use.
//!
//! Why do some conditions say `!sure(...)`? Leaving a question out must never look calmer than answering it
//! calmly. A rule for the milder of two cases therefore holds until the graver one is known, and the graver rule is
//! listed among what could still matter. `face-eye` and `throat` ask for no site: the danger screen asks about them
//! only at the head and neck, and a tick there is an emergency wherever the wound is.

use std::collections::BTreeSet;
use std::sync::LazyLock;

use serde::Deserialize;

use crate::triage::assess::Confidence;
use crate::triage::assess::Group;
use crate::triage::condition::Condition;
use crate::triage::due::ResponseTargets;
use crate::triage::urgency::Urgency;

/// A checked protocol.
#[derive(Clone, Debug, PartialEq)]
pub struct Protocol {
    version: String,
    targets: ResponseTargets,
    rules: Vec<Rule>,
    raises: Vec<Raise>,
    gates: Vec<Gate>,
    patterns: Vec<Pattern>,
}

/// One rule.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    pub id: String,
    pub group: Group,
    pub when: Condition,
    pub urgency: Urgency,
    /// What it means, for the surgeon.
    pub sentence: String,
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
    pub sentence: String,
    pub source: String,
}

/// The rules a raise acts on, once they have fired.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
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
    pub sentence: String,
}

/// A usual, harmless picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    pub id: String,
    pub when: Condition,
    pub sentence: String,
    pub source: String,
}

/// Everything wrong with a protocol.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}", .faults.join("\n"))]
pub struct ProtocolFault {
    /// One line each, naming the rule and, for a condition, the column.
    pub faults: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    version: String,
    targets: ResponseTargets,
    rules: Vec<WrittenRule>,
    raises: Vec<WrittenRaise>,
    gates: Vec<WrittenGate>,
    patterns: Vec<WrittenPattern>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenRule {
    id: String,
    group: Group,
    when: String,
    urgency: Urgency,
    sentence: String,
    source: String,
    confidence: Confidence,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenRaise {
    id: String,
    when: String,
    on: RaisesOn,
    to: Option<Urgency>,
    sentence: String,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenGate {
    id: String,
    when: String,
    sentence: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenPattern {
    id: String,
    when: String,
    sentence: String,
    source: String,
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
        let written: Written = serde_json::from_str(text)
            .map_err(|error| ProtocolFault { faults: vec![format!("cannot be read: {error}")] })?;
        let mut check = Check::default();
        if written.version.trim().is_empty() {
            check.faults.push("the version is blank".to_owned());
        }
        check.faults.extend(written.targets.faults());
        let protocol = check.protocol(written);
        if check.faults.is_empty() { Ok(protocol) } else { Err(ProtocolFault { faults: check.faults }) }
    }

    /// Carried by every assessment made with it.
    pub fn version(&self) -> &str {
        &self.version
    }

    pub fn targets(&self) -> &ResponseTargets {
        &self.targets
    }

    pub fn rules(&self) -> &[Rule] {
        &self.rules
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

    /// The same protocol without one rule: what a rule adds can be seen by leaving it out.
    #[cfg(test)]
    pub(super) fn without_rule(&self, place: usize) -> Protocol {
        let mut without = self.clone();
        without.rules.remove(place);
        without
    }
}

/// What the checking of one protocol has found so far.
#[derive(Default)]
struct Check {
    ids: BTreeSet<String>,
    faults: Vec<String>,
}

impl Check {
    fn protocol(&mut self, written: Written) -> Protocol {
        let rules: Vec<Rule> = written.rules.into_iter().filter_map(|rule| self.rule(rule)).collect();
        if rules.is_empty() {
            self.faults.push("there are no rules".to_owned());
        }
        if written.gates.is_empty() {
            self.faults.push("there are no gates: nothing may be on track unasked".to_owned());
        }
        let raises =
            written.raises.into_iter().filter_map(|raise| self.raise(raise, &rules)).collect::<Vec<_>>();
        let gates = written.gates.into_iter().filter_map(|gate| self.gate(gate)).collect();
        let patterns = written.patterns.into_iter().filter_map(|pattern| self.pattern(pattern)).collect();
        Protocol { version: written.version, targets: written.targets, rules, raises, gates, patterns }
    }

    fn rule(&mut self, rule: WrittenRule) -> Option<Rule> {
        self.id(&rule.id);
        self.said(&rule.id, "sentence", &rule.sentence);
        self.said(&rule.id, "source", &rule.source);
        if rule.urgency == Urgency::OnTrack {
            self.faults.push(format!("{}: a rule cannot make a check on track", rule.id));
        }
        let when = self.condition(&rule.id, &rule.when)?;
        Some(Rule {
            id: rule.id,
            group: rule.group,
            when,
            urgency: rule.urgency,
            sentence: rule.sentence,
            source: rule.source,
            confidence: rule.confidence,
        })
    }

    fn raise(&mut self, raise: WrittenRaise, rules: &[Rule]) -> Option<Raise> {
        self.id(&raise.id);
        self.said(&raise.id, "sentence", &raise.sentence);
        self.said(&raise.id, "source", &raise.source);
        let acts_on: Vec<&Rule> = rules.iter().filter(|rule| raise.on.hits(rule)).collect();
        if let RaisesOn::Rules { rules: named } = &raise.on {
            for unknown in named.iter().filter(|id| rules.iter().all(|rule| rule.id != **id)) {
                self.faults.push(format!("{}: `{unknown}` is no rule", raise.id));
            }
        }
        if acts_on.is_empty() {
            self.faults.push(format!("{}: acts on no rule", raise.id));
        }
        for rule in acts_on.iter().filter(|rule| raise.to.is_some_and(|to| to <= rule.urgency)) {
            self.faults.push(format!("{}: does not raise `{}`", raise.id, rule.id));
        }
        let when = self.condition(&raise.id, &raise.when)?;
        Some(Raise {
            id: raise.id,
            when,
            on: raise.on,
            to: raise.to,
            sentence: raise.sentence,
            source: raise.source,
        })
    }

    fn gate(&mut self, gate: WrittenGate) -> Option<Gate> {
        self.id(&gate.id);
        self.said(&gate.id, "sentence", &gate.sentence);
        let when = self.condition(&gate.id, &gate.when)?;
        Some(Gate { id: gate.id, when, sentence: gate.sentence })
    }

    fn pattern(&mut self, pattern: WrittenPattern) -> Option<Pattern> {
        self.id(&pattern.id);
        self.said(&pattern.id, "sentence", &pattern.sentence);
        self.said(&pattern.id, "source", &pattern.source);
        let when = self.condition(&pattern.id, &pattern.when)?;
        Some(Pattern { id: pattern.id, when, sentence: pattern.sentence, source: pattern.source })
    }

    fn id(&mut self, id: &str) {
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '.';
        if id.is_empty() || !id.chars().all(plain) {
            self.faults.push(format!("`{id}`: an id is lower-case letters, digits, `-` and `.`"));
        }
        if !self.ids.insert(id.to_owned()) {
            self.faults.push(format!("`{id}` stands twice"));
        }
    }

    fn said(&mut self, id: &str, what: &str, text: &str) {
        if text.trim().is_empty() {
            self.faults.push(format!("{id}: the {what} is blank"));
        }
    }

    fn condition(&mut self, id: &str, text: &str) -> Option<Condition> {
        match Condition::parse(text) {
            Ok(condition) => Some(condition),
            Err(fault) => {
                self.faults.push(format!("{id}: {fault}"));
                None
            }
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    const BUILT_IN_TEXT: &str = include_str!("protocol.json");

    fn faults(from: &str, to: &str) -> Vec<String> {
        assert!(BUILT_IN_TEXT.contains(from), "{from}");
        Protocol::parse(&BUILT_IN_TEXT.replacen(from, to, 1)).unwrap_err().faults
    }

    #[test]
    fn the_built_in_protocol_stands() {
        let protocol = Protocol::parse(BUILT_IN_TEXT).unwrap();
        assert_eq!(protocol.version(), "1");
        assert_eq!(protocol.rules().len(), 110);
    }

    #[test]
    fn a_mistake_in_a_protocol_names_the_rule_and_the_column() {
        assert_eq!(
            faults(r#""mind_changed || fainted""#, r#""mind_changed || faint""#),
            vec!["mind-changed: column 17: `faint` is no fact"]
        );
        assert_eq!(faults("bleed-spurting", "bleed-wont-stop"), vec!["`bleed-wont-stop` stands twice"]);
        assert_eq!(faults(r#""version": "1""#, r#""version": " ""#), vec!["the version is blank"]);
        assert_eq!(
            faults(r#""rim-growing", "red-inch""#, r#""rim-grown", "red-inch""#),
            vec!["raise-weak-immune: `rim-grown` is no rule"]
        );
        assert_eq!(
            faults(r#""to": "ring_now""#, r#""to": "today""#).first().unwrap(),
            "raise-weak-immune: does not raise `rim-growing`"
        );
        assert_eq!(
            faults(r#""urgency": "go_now""#, r#""urgency": "on_track""#),
            vec!["bleed-spurting: a rule cannot make a check on track"]
        );
        assert!(faults(r#""group": "bleeding""#, r#""group": "blood""#)[0].starts_with("cannot be read"));
        assert_eq!(
            faults(r#""ring_now_minutes": 60"#, r#""ring_now_minutes": 5"#),
            vec!["targets: a more urgent class must be answered sooner"]
        );
    }

    #[test]
    fn every_mistake_is_named_at_once() {
        let text = BUILT_IN_TEXT.replace("temp_c", "temp_k");
        assert!(Protocol::parse(&text).unwrap_err().faults.len() > 20);
    }
}
