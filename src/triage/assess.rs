//! What one wound check comes to: how urgent, why, and what is not known.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde::Serialize;

use crate::plan::coded;
use crate::triage::condition::Condition;
use crate::triage::dictionary::FactId;
use crate::triage::facts::Facts;
use crate::triage::facts::Known;
use crate::triage::facts_kept::CheckFacts;
use crate::triage::protocol::Gate;
use crate::triage::protocol::Pattern;
use crate::triage::protocol::Protocol;
use crate::triage::protocol::Raise;
use crate::triage::protocol::Rule;
use crate::triage::truth::Truth;
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

/// One fact a reason rests on, with its value and unit as text, and what it was held against: `temp_c`, `38.6 °C`,
/// `> 38.5 °C`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tripped {
    pub fact: String,
    pub value: String,
    /// `None` where nothing is compared: a yes, or a word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limit: Option<String>,
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

/// The class and score alone, without the words: what a trial over the stored past needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Verdict {
    pub urgency: Urgency,
    pub score: u8,
}

/// What the facts set off in a protocol, before any words are made of it.
struct Weighed<'p> {
    fired: Vec<&'p Rule>,
    raises: Vec<&'p Raise>,
    /// Gates that do not hold, where no rule set a class.
    gates: Vec<&'p Gate>,
    verdict: Verdict,
}

fn weigh<'p>(protocol: &'p Protocol, known: &Known<'_>) -> Weighed<'p> {
    let is_true = |when: &Condition| when.holds(known) == Truth::True;
    let fired: Vec<&Rule> = protocol.rules().iter().filter(|rule| is_true(&rule.when)).collect();
    let hits = |raise: &&Raise| fired.iter().any(|rule| raise.on.hits(rule)) && is_true(&raise.when);
    let raises: Vec<&Raise> = protocol.raises().iter().filter(hits).collect();
    let by_rules = fired.iter().filter(|rule| rule.group != Group::Note).map(|rule| rule.urgency);
    let by_raises = raises.iter().filter_map(|raise| raise.to);
    let worst = by_rules.chain(by_raises).max().unwrap_or(Urgency::OnTrack);
    let gates: Vec<&Gate> = match worst {
        Urgency::OnTrack => protocol.gates().iter().filter(|gate| !is_true(&gate.when)).collect(),
        Urgency::Tomorrow | Urgency::Today | Urgency::RingNow | Urgency::GoNow => Vec::new(),
    };
    let urgency = if gates.is_empty() { worst } else { Urgency::Tomorrow };
    let verdict = Verdict { urgency, score: score(urgency, &fired, &raises) };
    Weighed { fired, raises, gates, verdict }
}

/// What the facts come to under a protocol. The highest class wins and every reason is kept; notes add a reason but
/// no class; what nobody knows fires nothing, blocks `OnTrack`, and is listed.
pub fn assess(protocol: &Protocol, facts: &Facts) -> Assessment {
    let known = facts.completed(protocol.limits());
    let weighed = weigh(protocol, &known);
    let gate = |gate: &&Gate| MissingGate { id: gate.id.clone(), sentence: gate.sentence.en.clone() };
    let recognised = |pattern: &&Pattern| pattern.when.holds(&known) == Truth::True;
    Assessment {
        urgency: weighed.verdict.urgency,
        score: weighed.verdict.score,
        reasons: reasons(&weighed.fired, &known),
        unknowns: unknowns(protocol, &weighed.fired, &known),
        raises: weighed.raises.iter().map(|raise| raised(raise, &weighed.fired, &known)).collect(),
        gates: weighed.gates.iter().map(gate).collect(),
        patterns: protocol
            .patterns()
            .iter()
            .filter(recognised)
            .map(|pattern| Recognised {
                id: pattern.id.clone(),
                sentence: pattern.sentence.en.clone(),
                source: pattern.source.clone(),
            })
            .collect(),
        protocol_version: protocol.version().to_owned(),
    }
}

/// As [`assess`], the class and the score only.
pub fn verdict(protocol: &Protocol, facts: &Facts) -> Verdict {
    weigh(protocol, &facts.completed(protocol.limits())).verdict
}

/// As [`assess_check`], the class and the score only.
pub fn verdict_of_check(protocol: &Protocol, facts: &CheckFacts) -> Verdict {
    let alone = verdict(protocol, &facts.answered);
    if facts.measured.is_empty() { alone } else { alone.max(verdict(protocol, &facts.together())) }
}

/// The answers assessed by themselves, then with what was measured in the photo; the graver of the two stands, with
/// the reasons of both. A measurement can raise, and can never lower or reassure.
pub fn assess_check(protocol: &Protocol, facts: &CheckFacts) -> Assessment {
    let alone = assess(protocol, &facts.answered);
    if facts.measured.is_empty() {
        return alone;
    }
    let seen = assess(protocol, &facts.together());
    let seen_is_graver = (seen.urgency, seen.score) > (alone.urgency, alone.score);
    let (mut stands, other) = if seen_is_graver { (seen, alone) } else { (alone, seen) };
    for reason in other.reasons {
        if stands.reasons.iter().all(|kept| kept.rule_id != reason.rule_id) {
            stands.reasons.push(reason);
        }
    }
    stands.reasons.sort_by_key(weight_order);
    stands
}

fn raised(raise: &Raise, fired: &[&Rule], known: &Known<'_>) -> Raised {
    Raised {
        id: raise.id.clone(),
        to: raise.to,
        because_of: fired.iter().filter(|rule| raise.on.hits(rule)).map(|rule| rule.id.clone()).collect(),
        sentence: raise.sentence.en.clone(),
        tripped: tripped(&raise.when, known),
        source: raise.source.clone(),
    }
}

/// Each class has a band of the score: 0–19 on track, 20–39, 40–59, 60–79, and 80–100 go now.
const BAND: u16 = 20;
/// What a raise that only moves a check forward within its class is worth.
const READ_FIRST: u16 = 2;

/// The class's band, and within it the points of the worst rule of each group. Only the worst of a group counts, so
/// that a rule which gives way to a graver one of its group never takes points with it: a worse answer cannot lower
/// the score.
fn score(urgency: Urgency, fired: &[&Rule], raises: &[&Raise]) -> u8 {
    let worst_in = |group: &Group| {
        let in_group = fired.iter().filter(|rule| rule.group == *group);
        in_group.map(|rule| points(rule.urgency)).max().unwrap_or(0)
    };
    let counted = Group::ALL.iter().filter(|group| **group != Group::Note);
    let first: u16 = raises.iter().filter(|raise| raise.to.is_none()).map(|_| READ_FIRST).sum();
    let within = counted.map(worst_in).sum::<u16>() + first;
    let widest = match urgency {
        Urgency::GoNow => BAND,
        Urgency::RingNow | Urgency::Today | Urgency::Tomorrow | Urgency::OnTrack => BAND - 1,
    };
    u8::try_from(u16::from(least_score(urgency)) + within.min(widest)).unwrap_or(100)
}

/// Where a class's band begins.
pub(super) fn least_score(urgency: Urgency) -> u8 {
    (Urgency::OnTrack.rank() - urgency.rank()) * BAND as u8
}

/// Own weights, no source.
fn points(urgency: Urgency) -> u16 {
    match urgency {
        Urgency::GoNow => 7,
        Urgency::RingNow => 5,
        Urgency::Today => 3,
        Urgency::Tomorrow => 1,
        Urgency::OnTrack => 0,
    }
}

fn reasons(fired: &[&Rule], known: &Known<'_>) -> Vec<Reason> {
    let reason = |rule: &&Rule| Reason {
        rule_id: rule.id.clone(),
        group: rule.group,
        urgency: rule.urgency,
        sentence: rule.sentence.en.clone(),
        tripped: tripped(&rule.when, known),
        source: rule.source.clone(),
        confidence: rule.confidence,
    };
    let mut reasons: Vec<Reason> = fired.iter().map(reason).collect();
    reasons.sort_by_key(weight_order);
    reasons
}

/// Most urgent first, notes after rules, surest source first; equals stay in the protocol's order.
fn weight_order(reason: &Reason) -> (u8, bool, Confidence) {
    (reason.urgency.rank(), reason.group == Group::Note, reason.confidence)
}

fn tripped(when: &Condition, known: &Known<'_>) -> Vec<Tripped> {
    let evidence = when.evidence(known).into_iter();
    let one = |(fact, limits): (FactId, Vec<String>)| {
        Some(Tripped {
            fact: fact.name().to_owned(),
            value: known.text(fact)?,
            limit: (!limits.is_empty()).then(|| limits.join(", ")),
        })
    };
    evidence.filter_map(one).collect()
}

/// What is unknown and would matter: the facts that leave a rule open, or a raise of a rule that fired.
fn unknowns(protocol: &Protocol, fired: &[&Rule], known: &Known<'_>) -> Vec<CouldMatter> {
    let open_rules = protocol.rules().iter().map(|rule| (&rule.id, &rule.when, rule.urgency));
    let biting = |raise: &&Raise| fired.iter().any(|rule| raise.on.hits(rule));
    let open_raises = protocol.raises().iter().filter(biting).filter_map(|raise| {
        let to = raise.to?;
        Some((&raise.id, &raise.when, to))
    });
    let mut by_fact: BTreeMap<FactId, (Urgency, Vec<String>)> = BTreeMap::new();
    for (id, when, urgency) in open_rules.chain(open_raises) {
        for fact in when.missing(known) {
            let (could_reach, rules) = by_fact.entry(fact).or_insert((urgency, Vec::new()));
            *could_reach = urgency.max(*could_reach);
            rules.push(id.clone());
        }
    }
    let mut unknowns: Vec<CouldMatter> = by_fact
        .into_iter()
        .map(|(fact, (could_reach, rules))| CouldMatter { fact: fact.name().to_owned(), could_reach, rules })
        .collect();
    unknowns.sort_by_key(|unknown| unknown.could_reach.rank());
    unknowns
}
