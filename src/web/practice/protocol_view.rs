//! A protocol laid out for reading: groups, rules, sentences, limits, classes, sources, and how each rule did.

use std::collections::HashMap;

use crate::care::rule_counts::RuleCount;
use crate::triage::Group;
use crate::triage::Limit;
use crate::triage::Protocol;
use crate::triage::RaisesOn;
use crate::triage::Rule;
use crate::triage::Urgency;
use crate::triage::Wording;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;

pub struct GroupView {
    /// Where the page's list of groups leads to.
    pub id: &'static str,
    pub title: &'static str,
    pub rules: Vec<RuleView>,
}

pub struct RuleView {
    pub id: String,
    pub class: Class,
    pub sentence: Wording,
    pub limits: Vec<LimitView>,
    pub condition: String,
    pub source: String,
    pub confidence: &'static str,
    /// "fired 12 times"; "not fired".
    pub fired: String,
    /// "surgeon agreed 9 of 10"; empty while nothing was judged.
    pub agreed: String,
}

pub struct LimitView {
    pub id: String,
    pub value: String,
    pub range: String,
    pub meaning: Wording,
    pub source: String,
}

/// A raise, a gate or a pattern.
pub struct LineView {
    pub id: String,
    /// What it leads to; empty for gates and patterns.
    pub effect: String,
    pub sentence: Wording,
    pub condition: String,
    /// Empty for gates.
    pub source: String,
}

/// A whole protocol.
pub struct ProtocolView {
    pub version: String,
    pub groups: Vec<GroupView>,
    pub limits: Vec<LimitView>,
    pub raises: Vec<LineView>,
    pub gates: Vec<LineView>,
    pub patterns: Vec<LineView>,
}

impl ProtocolView {
    pub fn of(protocol: &Protocol, counts: &HashMap<String, RuleCount>) -> ProtocolView {
        let group = |group: &Group| GroupView {
            id: group.code(),
            title: group_words(*group),
            rules: protocol
                .rules()
                .iter()
                .filter(|rule| rule.group == *group)
                .map(|rule| rule_view(protocol, rule, counts.get(&rule.id).copied().unwrap_or_default()))
                .collect(),
        };
        ProtocolView {
            version: protocol.version().to_owned(),
            groups: Group::ALL.iter().map(group).filter(|group| !group.rules.is_empty()).collect(),
            limits: protocol.limits().all().iter().map(limit_view).collect(),
            raises: raises(protocol),
            gates: gates(protocol),
            patterns: patterns(protocol),
        }
    }
}

fn rule_view(protocol: &Protocol, rule: &Rule, count: RuleCount) -> RuleView {
    RuleView {
        id: rule.id.clone(),
        class: class(rule.urgency),
        sentence: rule.sentence.clone(),
        limits: protocol.limits_of(&rule.when).into_iter().map(limit_view).collect(),
        condition: rule.when.text().to_owned(),
        source: rule.source.clone(),
        confidence: rule.confidence.code(),
        fired: match count.fired {
            0 => "not fired".to_owned(),
            1 => "fired once".to_owned(),
            times => format!("fired {times} times"),
        },
        agreed: match count.judged {
            0 => String::new(),
            judged => format!("surgeon agreed {} of {judged}", count.agreed),
        },
    }
}

fn limit_view(limit: &Limit) -> LimitView {
    LimitView {
        id: limit.id.clone(),
        value: limit.text(),
        range: limit.range_text(),
        meaning: limit.meaning.clone(),
        source: limit.source.clone(),
    }
}

fn raises(protocol: &Protocol) -> Vec<LineView> {
    let line = |raise: &crate::triage::Raise| {
        let on = match &raise.on {
            RaisesOn::Rules { rules } => rules.join(", "),
            RaisesOn::GroupAt { group, at } => {
                format!("any rule of “{}” at {}", group_words(*group), at.staff_words())
            }
        };
        let to = raise.to.map_or("read first within its class", Urgency::staff_words);
        LineView {
            id: raise.id.clone(),
            effect: format!("{to}, where it fired: {on}"),
            sentence: raise.sentence.clone(),
            condition: raise.when.text().to_owned(),
            source: raise.source.clone(),
        }
    };
    protocol.raises().iter().map(line).collect()
}

fn gates(protocol: &Protocol) -> Vec<LineView> {
    let line = |gate: &crate::triage::Gate| LineView {
        id: gate.id.clone(),
        effect: String::new(),
        sentence: gate.sentence.clone(),
        condition: gate.when.text().to_owned(),
        source: String::new(),
    };
    protocol.gates().iter().map(line).collect()
}

fn patterns(protocol: &Protocol) -> Vec<LineView> {
    let line = |pattern: &crate::triage::Pattern| LineView {
        id: pattern.id.clone(),
        effect: String::new(),
        sentence: pattern.sentence.clone(),
        condition: pattern.when.text().to_owned(),
        source: pattern.source.clone(),
    };
    protocol.patterns().iter().map(line).collect()
}

/// What a group of rules is about.
pub fn group_words(group: Group) -> &'static str {
    match group {
        Group::Bleeding => "Bleeding",
        Group::Body => "The whole body",
        Group::Note => "Notes beside a class",
        Group::Interaction => "Signs together",
        Group::Deep => "Deep infection",
        Group::Local => "The wound and its rim",
        Group::Place => "Where the wound is",
        Group::Sugar => "Blood sugar",
        Group::Host => "Who the patient is",
        Group::Drug => "Drugs",
        Group::Strip => "The strip",
        Group::Course => "Healing, silence, photo",
    }
}
