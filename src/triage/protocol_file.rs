//! A protocol's file: what stands in it, and everything that can be wrong with it, named by rule and column.

use std::collections::BTreeSet;

use serde::Deserialize;
use serde::Serialize;

use crate::triage::assess::Confidence;
use crate::triage::assess::Group;
use crate::triage::condition::Condition;
use crate::triage::due::ResponseTargets;
use crate::triage::limits::Limit;
use crate::triage::limits::Limits;
use crate::triage::protocol::Gate;
use crate::triage::protocol::Pattern;
use crate::triage::protocol::Protocol;
use crate::triage::protocol::Raise;
use crate::triage::protocol::RaisesOn;
use crate::triage::protocol::Rule;
use crate::triage::reach;
use crate::triage::urgency::Urgency;
use crate::triage::wording::Wording;

/// Everything wrong with a protocol.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}", .faults.join("\n"))]
pub struct ProtocolFault {
    /// One line each, naming the rule and, for a condition, the column.
    pub faults: Vec<String>,
}

/// A protocol as it stands in its file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Written {
    pub(super) version: String,
    pub(super) targets: ResponseTargets,
    pub(super) limits: Vec<Limit>,
    pub(super) rules: Vec<WrittenRule>,
    raises: Vec<WrittenRaise>,
    gates: Vec<WrittenGate>,
    patterns: Vec<WrittenPattern>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenRule {
    pub(super) id: String,
    group: Group,
    when: String,
    pub(super) urgency: Urgency,
    at_least: Urgency,
    sentence: Wording,
    source: String,
    confidence: Confidence,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenRaise {
    id: String,
    when: String,
    on: RaisesOn,
    to: Option<Urgency>,
    sentence: Wording,
    source: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenGate {
    id: String,
    when: String,
    sentence: Wording,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenPattern {
    id: String,
    when: String,
    sentence: Wording,
    source: String,
}

/// Reads and checks a protocol's file.
pub(super) fn read(text: &str) -> Result<Protocol, ProtocolFault> {
    let written: Written = serde_json::from_str(text)
        .map_err(|error| ProtocolFault { faults: vec![format!("cannot be read: {error}")] })?;
    check(written)
}

/// Checks a protocol whole.
pub(super) fn check(written: Written) -> Result<Protocol, ProtocolFault> {
    let mut check = Check::default();
    if written.version.trim().is_empty() {
        check.faults.push("the version is blank".to_owned());
    }
    check.faults.extend(written.targets.faults());
    check.limits = Limits::read(written.limits.clone(), &mut check.faults);
    let protocol = check.protocol(written);
    if check.faults.is_empty() {
        check.faults.extend(reach::faults(&protocol));
    }
    if check.faults.is_empty() { Ok(protocol) } else { Err(ProtocolFault { faults: check.faults }) }
}

/// What the checking of one protocol has found so far.
#[derive(Default)]
struct Check {
    ids: BTreeSet<String>,
    limits: Limits,
    faults: Vec<String>,
}

impl Check {
    fn protocol(&mut self, written: Written) -> Protocol {
        let rules: Vec<Rule> = written.rules.iter().filter_map(|rule| self.rule(rule)).collect();
        if rules.is_empty() {
            self.faults.push("there are no rules".to_owned());
        }
        if written.gates.is_empty() {
            self.faults.push("there are no gates: nothing may be on track unasked".to_owned());
        }
        let raises =
            written.raises.iter().filter_map(|raise| self.raise(raise, &written.rules, &rules)).collect();
        let gates = written.gates.iter().filter_map(|gate| self.gate(gate)).collect();
        let patterns = written.patterns.iter().filter_map(|pattern| self.pattern(pattern)).collect();
        Protocol { written, limits: self.limits.clone(), rules, raises, gates, patterns }
    }

    fn rule(&mut self, rule: &WrittenRule) -> Option<Rule> {
        let id = &rule.id;
        self.id(id);
        let sentence = self.sentence(id, &rule.sentence);
        self.source(id, &rule.source);
        if rule.at_least == Urgency::OnTrack {
            self.faults.push(format!("{id}: a rule cannot make a check on track"));
        }
        if rule.urgency < rule.at_least {
            let (is, least) = (rule.urgency.code(), rule.at_least.code());
            self.faults
                .push(format!("{id}: `{is}` is calmer than its safe range, which begins at `{least}`"));
        }
        let when = self.condition(id, &rule.when)?;
        Some(Rule {
            id: id.clone(),
            group: rule.group,
            when,
            urgency: rule.urgency,
            at_least: rule.at_least,
            sentence,
            source: rule.source.clone(),
            confidence: rule.confidence,
        })
    }

    fn raise(&mut self, raise: &WrittenRaise, written: &[WrittenRule], rules: &[Rule]) -> Option<Raise> {
        let id = &raise.id;
        self.id(id);
        let sentence = self.sentence(id, &raise.sentence);
        self.source(id, &raise.source);
        let acts_on: Vec<&Rule> = rules.iter().filter(|rule| raise.on.hits(rule)).collect();
        match &raise.on {
            RaisesOn::Rules { rules: named } => {
                for unknown in named.iter().filter(|id| written.iter().all(|rule| rule.id != **id)) {
                    self.faults.push(format!("{id}: `{unknown}` is no rule"));
                }
                if named.is_empty() {
                    self.faults.push(format!("{id}: acts on no rule"));
                }
            }
            RaisesOn::GroupAt { at, .. } => {
                if raise.to.is_some_and(|to| to <= *at) {
                    self.faults.push(format!("{id}: does not raise `{}`", at.code()));
                }
            }
        }
        // One rule that a practice has made as grave as the raise harms nothing; all of them leave it without sense.
        if let Some(to) = raise.to
            && !acts_on.is_empty()
            && acts_on.iter().all(|rule| to <= rule.urgency)
        {
            self.faults.push(format!("{id}: raises nothing: its rules are all at `{}` or graver", to.code()));
        }
        let when = self.condition(id, &raise.when)?;
        Some(Raise {
            id: id.clone(),
            when,
            on: raise.on.clone(),
            to: raise.to,
            sentence,
            source: raise.source.clone(),
        })
    }

    fn gate(&mut self, gate: &WrittenGate) -> Option<Gate> {
        self.id(&gate.id);
        let sentence = self.sentence(&gate.id, &gate.sentence);
        let when = self.condition(&gate.id, &gate.when)?;
        Some(Gate { id: gate.id.clone(), when, sentence })
    }

    fn pattern(&mut self, pattern: &WrittenPattern) -> Option<Pattern> {
        self.id(&pattern.id);
        let sentence = self.sentence(&pattern.id, &pattern.sentence);
        self.source(&pattern.id, &pattern.source);
        let when = self.condition(&pattern.id, &pattern.when)?;
        Some(Pattern { id: pattern.id.clone(), when, sentence, source: pattern.source.clone() })
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

    fn source(&mut self, id: &str, source: &str) {
        if source.trim().is_empty() {
            self.faults.push(format!("{id}: the source is blank"));
        }
    }

    /// The sentence with its limits filled in.
    fn sentence(&mut self, id: &str, sentence: &Wording) -> Wording {
        for language in sentence.missing() {
            self.faults.push(format!("{id}: the sentence is missing in `{language}`"));
        }
        for named in sentence.limits_named() {
            if self.limits.named(named).is_none() {
                self.faults.push(format!("{id}: the sentence names `{named}`, which is no limit"));
            }
        }
        self.limits.fill(sentence)
    }

    fn condition(&mut self, id: &str, text: &str) -> Option<Condition> {
        match Condition::parse(text, &self.limits) {
            Ok(condition) => Some(condition),
            Err(fault) => {
                self.faults.push(format!("{id}: {fault}"));
                None
            }
        }
    }
}
