//! When a rule fires: a condition in CEL syntax, checked once against the dictionary, then asked of the facts.
//!
//! Only the syntax is the open standard's; meaning is ours and smaller: facts, numbers, words, named limits
//! (`limit.fever_c`), `&&`, `||`, `!`, comparisons, `in [...]`, and two functions. `known(x)`: x is known. `sure(c)`: c is known to be true, so that
//! `!sure(c)` also holds while c is unknown.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::triage::derived;
use crate::triage::dictionary::FactId;
use crate::triage::dictionary::Kind;
use crate::triage::dictionary::Origin;
use crate::triage::facts::Known;
use crate::triage::facts::number_text;
use crate::triage::limits::Limits;
use crate::triage::truth::Truth;

/// A checked condition.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    text: String,
    node: Node,
}

/// What is wrong with a condition as written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("column {column}: {why}")]
pub struct ConditionFault {
    /// Counted in characters from 1.
    pub column: usize,
    pub why: String,
}

#[derive(Clone, Debug, PartialEq)]
pub(super) enum Node {
    All(Vec<Node>),
    Any(Vec<Node>),
    Not(Box<Node>),
    Flag(FactId),
    Compare { left: Term, is: Is, right: Term },
    WordIn { fact: FactId, words: Vec<&'static str> },
    Known(FactId),
    Sure(Box<Node>),
}

/// One side of a comparison of numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Term {
    Fact(FactId),
    Number(f64),
    /// A named limit: its place among the protocol's limits, and its value.
    Limit {
        place: usize,
        value: f64,
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Is {
    Above,
    AtLeast,
    Equal,
}

/// The facts that settle a condition, each with the limits it was held against, as text: `> 38.5 °C`.
pub(super) type Evidence = BTreeMap<FactId, Vec<String>>;

impl Condition {
    /// Reads and checks a condition; the limits are those it may name.
    pub fn parse(text: &str, limits: &Limits) -> Result<Condition, ConditionFault> {
        let node = crate::triage::condition_text::parse(text, limits)?;
        Ok(Condition { text: text.to_owned(), node })
    }

    /// As written.
    pub fn text(&self) -> &str {
        &self.text
    }

    pub(super) fn node(&self) -> &Node {
        &self.node
    }

    pub(super) fn holds(&self, known: &Known<'_>) -> Truth {
        self.node.holds(known)
    }

    /// The known facts that settle the condition, derived ones with the parts they were worked out from.
    pub(super) fn evidence(&self, known: &Known<'_>) -> Evidence {
        let mut facts = Evidence::new();
        self.node.collect_evidence(known, &mut facts);
        facts
    }

    /// The facts that are not known and leave the condition open.
    pub(super) fn missing(&self, known: &Known<'_>) -> BTreeSet<FactId> {
        let mut facts = BTreeSet::new();
        self.node.collect_missing(known, &mut facts);
        facts
    }

    /// Every number a fact is compared with, a limit's value included.
    pub(super) fn compared(&self) -> Vec<(FactId, f64)> {
        let mut compared = Vec::new();
        self.node.each(&mut |node| {
            if let Node::Compare { left, right, .. } = node {
                match (left.fact(), right.number(), right.fact(), left.number()) {
                    (Some(fact), Some(number), _, _) | (_, _, Some(fact), Some(number)) => {
                        compared.push((fact, number));
                    }
                    _ => {}
                }
            }
        });
        compared
    }

    /// The places of the named limits it speaks of, in the protocol's list.
    pub(super) fn limit_places(&self) -> BTreeSet<usize> {
        let mut places = BTreeSet::new();
        self.node.each(&mut |node| {
            if let Node::Compare { left, right, .. } = node {
                places.extend([left, right].into_iter().filter_map(|term| match term {
                    Term::Limit { place, .. } => Some(*place),
                    Term::Fact(_) | Term::Number(_) => None,
                }));
            }
        });
        places
    }

    /// Every fact spoken of.
    pub fn facts(&self) -> BTreeSet<FactId> {
        let mut facts = BTreeSet::new();
        self.node.each(&mut |node| facts.extend(node.own_facts()));
        facts
    }
}

impl Term {
    fn fact(self) -> Option<FactId> {
        match self {
            Term::Fact(fact) => Some(fact),
            Term::Number(_) | Term::Limit { .. } => None,
        }
    }

    /// What is compared with, where it does not hang on the patient.
    pub(super) fn number(self) -> Option<f64> {
        match self {
            Term::Fact(_) => None,
            Term::Number(number) | Term::Limit { value: number, .. } => Some(number),
        }
    }

    /// Lowest and highest it can be.
    fn bounds(self, known: &Known<'_>) -> Option<(f64, f64)> {
        match self {
            Term::Fact(fact) => known.number(fact),
            Term::Number(number) | Term::Limit { value: number, .. } => Some((number, number)),
        }
    }
}

impl Node {
    fn holds(&self, known: &Known<'_>) -> Truth {
        match self {
            Node::All(parts) => {
                let mut so_far = Truth::True;
                for part in parts {
                    so_far = so_far.and(part.holds(known));
                    if so_far == Truth::False {
                        break;
                    }
                }
                so_far
            }
            Node::Any(parts) => {
                let mut so_far = Truth::False;
                for part in parts {
                    so_far = so_far.or(part.holds(known));
                    if so_far == Truth::True {
                        break;
                    }
                }
                so_far
            }
            Node::Not(part) => part.holds(known).negated(),
            Node::Flag(fact) => Truth::of(known.flag(*fact)),
            Node::Compare { left, is, right } => compare(known, *left, *is, *right),
            Node::WordIn { fact, words } => Truth::of(known.word(*fact).map(|word| words.contains(&word))),
            Node::Known(fact) => Truth::of(Some(known.has(*fact))),
            Node::Sure(part) => Truth::of(Some(part.holds(known) == Truth::True)),
        }
    }

    /// The facts this node names itself.
    fn own_facts(&self) -> impl Iterator<Item = FactId> {
        let (one, other) = match self {
            Node::All(_) | Node::Any(_) | Node::Not(_) | Node::Sure(_) => (None, None),
            Node::Flag(fact) | Node::WordIn { fact, .. } | Node::Known(fact) => (Some(*fact), None),
            Node::Compare { left, right, .. } => (left.fact(), right.fact()),
        };
        one.into_iter().chain(other)
    }

    pub(super) fn children(&self) -> &[Node] {
        match self {
            Node::All(parts) | Node::Any(parts) => parts,
            Node::Not(part) | Node::Sure(part) => std::slice::from_ref(part),
            Node::Flag(_) | Node::Compare { .. } | Node::WordIn { .. } | Node::Known(_) => &[],
        }
    }

    /// Every node below and this one.
    fn each(&self, see: &mut impl FnMut(&Node)) {
        see(self);
        for child in self.children() {
            child.each(see);
        }
    }

    fn collect_evidence(&self, known: &Known<'_>, facts: &mut Evidence) {
        let settled = self.holds(known);
        if settled == Truth::Unknown {
            return;
        }
        match self {
            // What settles a conjunction that failed is whatever failed; of one that holds, every part.
            Node::All(parts) | Node::Any(parts) => {
                for part in parts.iter().filter(|part| part.holds(known) == settled) {
                    part.collect_evidence(known, facts);
                }
            }
            Node::Not(part) | Node::Sure(part) => part.collect_evidence(known, facts),
            Node::Compare { left, is, right } => {
                self.collect_own(known, facts);
                for (fact, limit) in held_against(known, *left, *is, *right, settled) {
                    let limits = facts.entry(fact).or_default();
                    if !limits.contains(&limit) {
                        limits.push(limit);
                    }
                }
            }
            Node::Flag(_) | Node::WordIn { .. } | Node::Known(_) => self.collect_own(known, facts),
        }
    }

    fn collect_own(&self, known: &Known<'_>, facts: &mut Evidence) {
        for fact in self.own_facts() {
            for fact in derived::parts(fact).iter().copied().chain([fact]) {
                if known.values[fact.place()].is_some() {
                    facts.entry(fact).or_default();
                }
            }
        }
    }

    fn collect_missing(&self, known: &Known<'_>, facts: &mut BTreeSet<FactId>) {
        if self.holds(known) != Truth::Unknown {
            return;
        }
        for child in self.children() {
            child.collect_missing(known, facts);
        }
        for fact in self.own_facts() {
            match derived::parts(fact) {
                [] => facts.extend((!known.has(fact)).then_some(fact)),
                parts => facts.extend(parts.iter().filter(|part| !known.has(**part))),
            }
        }
    }
}

/// Each fact of a settled comparison with what it was held against: `> 38.5 °C`, or `≤ 38.5 °C` where the comparison
/// failed.
fn held_against(known: &Known<'_>, left: Term, is: Is, right: Term, settled: Truth) -> Vec<(FactId, String)> {
    let held = settled == Truth::True;
    let (forward, backward) = match (is, held) {
        (Is::Above, true) => (">", "<"),
        (Is::Above, false) => ("≤", "≥"),
        (Is::AtLeast, true) => ("≥", "≤"),
        (Is::AtLeast, false) => ("<", ">"),
        (Is::Equal, true) => ("=", "="),
        (Is::Equal, false) => ("≠", "≠"),
    };
    let against = |fact: Term, sign: &str, other: Term| {
        let fact = fact.fact()?;
        // Of two facts, the one that was worked out is the limit of the other.
        if other.fact().is_some() && fact.fact().from == Origin::Derived {
            return None;
        }
        let Kind::Number { unit, .. } = fact.fact().kind else { return None };
        let (low, high) = other.bounds(known)?;
        Some((fact, format!("{sign} {}", number_text(low, high, unit))))
    };
    [against(left, forward, right), against(right, backward, left)].into_iter().flatten().collect()
}

fn compare(known: &Known<'_>, left: Term, is: Is, right: Term) -> Truth {
    let (Some((left_low, left_high)), Some((right_low, right_high))) =
        (left.bounds(known), right.bounds(known))
    else {
        return Truth::Unknown;
    };
    let (always, never) = match is {
        Is::Above => (left_low > right_high, left_high <= right_low),
        Is::AtLeast => (left_low >= right_high, left_high < right_low),
        Is::Equal => {
            (left_low == right_high && left_high == right_low, left_high < right_low || left_low > right_high)
        }
    };
    if always {
        Truth::True
    } else if never {
        Truth::False
    } else {
        Truth::Unknown
    }
}
