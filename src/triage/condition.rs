//! When a rule fires: a condition in CEL syntax, checked once against the dictionary, then asked of the facts.
//!
//! Only the syntax is the open standard's; meaning is ours and smaller: facts, numbers, words, `&&`, `||`, `!`,
//! comparisons, `in [...]`, and two functions. `known(x)`: x is known. `sure(c)`: c is known to be true, so that
//! `!sure(c)` also holds while c is unknown.

use std::collections::BTreeSet;

use crate::triage::derived;
use crate::triage::facts::Known;
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
    Flag(&'static str),
    Compare { left: Term, is: Is, right: Term },
    WordIn { fact: &'static str, words: Vec<&'static str> },
    Known(&'static str),
    Sure(Box<Node>),
}

/// One side of a comparison of numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Term {
    Fact(&'static str),
    Literal(f64),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Is {
    Above,
    AtLeast,
    Equal,
}

impl Condition {
    /// Reads and checks a condition.
    pub fn parse(text: &str) -> Result<Condition, ConditionFault> {
        let node = crate::triage::condition_text::parse(text)?;
        Ok(Condition { text: text.to_owned(), node })
    }

    /// As written.
    pub fn text(&self) -> &str {
        &self.text
    }

    pub(super) fn holds(&self, known: &Known) -> Truth {
        self.node.holds(known)
    }

    /// The known facts that settle the condition, derived ones with the parts they were worked out from.
    pub(super) fn evidence(&self, known: &Known) -> BTreeSet<&'static str> {
        let mut facts = BTreeSet::new();
        self.node.collect_evidence(known, &mut facts);
        facts
    }

    /// The facts that are not known and leave the condition open.
    pub(super) fn missing(&self, known: &Known) -> BTreeSet<&'static str> {
        let mut facts = BTreeSet::new();
        self.node.collect_missing(known, &mut facts);
        facts
    }

    /// Every number a fact is compared with.
    #[cfg(test)]
    pub(super) fn limits(&self) -> Vec<(&'static str, f64)> {
        let mut open = vec![&self.node];
        let mut limits = Vec::new();
        while let Some(node) = open.pop() {
            open.extend(node.children());
            if let Node::Compare { left: Term::Fact(fact), right: Term::Literal(limit), .. }
            | Node::Compare { left: Term::Literal(limit), right: Term::Fact(fact), .. } = node
            {
                limits.push((*fact, *limit));
            }
        }
        limits
    }

    /// Every fact spoken of.
    pub fn facts(&self) -> BTreeSet<&'static str> {
        let mut facts = BTreeSet::new();
        self.node.collect_facts(&mut facts);
        facts
    }
}

impl Node {
    fn holds(&self, known: &Known) -> Truth {
        match self {
            Node::All(parts) => parts.iter().fold(Truth::True, |so_far, part| so_far.and(part.holds(known))),
            Node::Any(parts) => parts.iter().fold(Truth::False, |so_far, part| so_far.or(part.holds(known))),
            Node::Not(part) => part.holds(known).negated(),
            Node::Flag(fact) => Truth::of(known.flag(fact)),
            Node::Compare { left, is, right } => compare(known, *left, *is, *right),
            Node::WordIn { fact, words } => Truth::of(known.word(fact).map(|word| words.contains(&word))),
            Node::Known(fact) => Truth::of(Some(known.has(fact))),
            Node::Sure(part) => Truth::of(Some(part.holds(known) == Truth::True)),
        }
    }

    /// The facts this node names itself.
    fn own_facts(&self) -> Vec<&'static str> {
        match self {
            Node::All(_) | Node::Any(_) | Node::Not(_) | Node::Sure(_) => Vec::new(),
            Node::Flag(fact) | Node::WordIn { fact, .. } | Node::Known(fact) => vec![fact],
            Node::Compare { left, right, .. } => [left, right]
                .into_iter()
                .filter_map(|term| match term {
                    Term::Fact(fact) => Some(*fact),
                    Term::Literal(_) => None,
                })
                .collect(),
        }
    }

    fn children(&self) -> &[Node] {
        match self {
            Node::All(parts) | Node::Any(parts) => parts,
            Node::Not(part) | Node::Sure(part) => std::slice::from_ref(part),
            Node::Flag(_) | Node::Compare { .. } | Node::WordIn { .. } | Node::Known(_) => &[],
        }
    }

    fn collect_facts(&self, facts: &mut BTreeSet<&'static str>) {
        facts.extend(self.own_facts());
        for child in self.children() {
            child.collect_facts(facts);
        }
    }

    fn collect_evidence(&self, known: &Known, facts: &mut BTreeSet<&'static str>) {
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
            Node::Flag(_) | Node::Compare { .. } | Node::WordIn { .. } | Node::Known(_) => {
                for fact in self.own_facts() {
                    let parts = derived::parts(fact).iter().copied();
                    facts.extend(parts.chain([fact]).filter(|fact| known.values.contains_key(fact)));
                }
            }
        }
    }

    fn collect_missing(&self, known: &Known, facts: &mut BTreeSet<&'static str>) {
        if self.holds(known) != Truth::Unknown {
            return;
        }
        for child in self.children() {
            child.collect_missing(known, facts);
        }
        for fact in self.own_facts() {
            let parts = derived::parts(fact);
            let open = |fact: &&'static str| !known.has(fact);
            if parts.is_empty() {
                facts.extend([fact].iter().filter(|fact| open(fact)));
            } else {
                facts.extend(parts.iter().filter(|fact| open(fact)));
            }
        }
    }
}

fn compare(known: &Known, left: Term, is: Is, right: Term) -> Truth {
    let bounds = |term: Term| match term {
        Term::Fact(fact) => known.number(fact),
        Term::Literal(number) => Some((number, number)),
    };
    let (Some((left_low, left_high)), Some((right_low, right_high))) = (bounds(left), bounds(right)) else {
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
