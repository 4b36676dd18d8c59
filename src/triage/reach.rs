//! Whether a rule can fire at all, and whether every class can be reached: a limit moved past another must not
//! silence a rule unseen.

use std::collections::BTreeMap;

use crate::triage::assess::Group;
use crate::triage::condition::Is;
use crate::triage::condition::Node;
use crate::triage::condition::Term;
use crate::triage::dictionary::FactId;
use crate::triage::dictionary::Kind;
use crate::triage::protocol::Protocol;
use crate::triage::protocol::Rule;
use crate::triage::urgency::Urgency;

/// More ways than this are not followed: the rule then counts as one that can fire.
const MOST_WAYS: usize = 2_000;

/// What a fact must be for one way a condition can hold.
#[derive(Clone, Debug, PartialEq)]
enum Must {
    BeUnknown,
    /// In the fact's unit; an open end is not included.
    Lie {
        low: f64,
        low_open: bool,
        high: f64,
        high_open: bool,
    },
    BeOneOf(Vec<&'static str>),
    Be(bool),
}

/// One way a condition can hold.
type Way = BTreeMap<FactId, Must>;

/// Rules that can never fire, and classes no rule can reach.
pub(super) fn faults(protocol: &Protocol) -> Vec<String> {
    let mut faults = Vec::new();
    let mut reached = Vec::new();
    for rule in protocol.rules() {
        if can_hold(rule.when.node()) {
            if rule.group != Group::Note {
                reached.push(rule.urgency);
            }
        } else {
            faults.push(never_fires(protocol, rule));
        }
    }
    for class in [Urgency::Tomorrow, Urgency::Today, Urgency::RingNow, Urgency::GoNow] {
        if !reached.contains(&class) {
            faults.push(format!("class `{}`: no rule can reach it", class.code()));
        }
    }
    faults
}

/// Names the limits too: most often one of them was moved past another.
fn never_fires(protocol: &Protocol, rule: &Rule) -> String {
    let limits = protocol.limits_of(&rule.when).into_iter();
    let limits: Vec<String> = limits.map(|limit| format!("{} {}", limit.id, limit.text())).collect();
    let fault = format!("{}: can never fire: `{}` contradicts itself", rule.id, rule.when.text());
    if limits.is_empty() { fault } else { format!("{fault}. Move one of: {}", limits.join(", ")) }
}

fn can_hold(node: &Node) -> bool {
    // `None`: too many ways to follow.
    ways(node, Wanted::Holds).is_none_or(|ways| !ways.is_empty())
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Wanted {
    Holds,
    Fails,
}

impl Wanted {
    fn turned(self) -> Wanted {
        match self {
            Wanted::Holds => Wanted::Fails,
            Wanted::Fails => Wanted::Holds,
        }
    }
}

/// The ways a node can come out as wanted. Comparisons of two facts, and what is only not sure, ask for nothing.
fn ways(node: &Node, wanted: Wanted) -> Option<Vec<Way>> {
    match (node, wanted) {
        (Node::All(parts), Wanted::Holds) | (Node::Any(parts), Wanted::Fails) => together(parts, wanted),
        (Node::Any(parts), Wanted::Holds) | (Node::All(parts), Wanted::Fails) => {
            let mut all = Vec::new();
            for part in parts {
                all.extend(ways(part, wanted)?);
            }
            (all.len() <= MOST_WAYS).then_some(all)
        }
        (Node::Not(part), _) => ways(part, wanted.turned()),
        (Node::Sure(part), Wanted::Holds) => ways(part, Wanted::Holds),
        (Node::Sure(_), Wanted::Fails) | (Node::Known(_), Wanted::Holds) => Some(vec![Way::new()]),
        (Node::Known(fact), Wanted::Fails) => Some(vec![Way::from([(*fact, Must::BeUnknown)])]),
        (Node::Flag(fact), _) => Some(vec![Way::from([(*fact, Must::Be(wanted == Wanted::Holds))])]),
        (Node::WordIn { fact, words }, _) => {
            let Kind::Word(all) = fact.fact().kind else { return Some(Vec::new()) };
            let chosen = all.iter().filter(|word| words.contains(word) == (wanted == Wanted::Holds));
            let chosen: Vec<&'static str> = chosen.copied().collect();
            Some(if chosen.is_empty() { vec![] } else { vec![Way::from([(*fact, Must::BeOneOf(chosen))])] })
        }
        (Node::Compare { left, is, right }, _) => Some(compared(*left, *is, *right, wanted)),
    }
}

/// Every way in which all parts come out as wanted at once.
fn together(parts: &[Node], wanted: Wanted) -> Option<Vec<Way>> {
    let mut so_far = vec![Way::new()];
    for part in parts {
        let of_part = ways(part, wanted)?;
        if so_far.len().saturating_mul(of_part.len()) > MOST_WAYS {
            return None;
        }
        so_far = so_far.iter().flat_map(|one| of_part.iter().filter_map(|other| both(one, other))).collect();
    }
    Some(so_far)
}

fn both(one: &Way, other: &Way) -> Option<Way> {
    let mut both = one.clone();
    for (fact, must) in other {
        let met = match both.get(fact) {
            Some(already) => meet(already, must)?,
            None => must.clone(),
        };
        both.insert(*fact, met);
    }
    Some(both)
}

/// What satisfies both; `None` when nothing does.
fn meet(one: &Must, other: &Must) -> Option<Must> {
    match (one, other) {
        (Must::BeUnknown, Must::BeUnknown) => Some(Must::BeUnknown),
        (Must::Be(one), Must::Be(other)) => (one == other).then_some(Must::Be(*one)),
        (Must::BeOneOf(one), Must::BeOneOf(other)) => {
            let shared: Vec<&'static str> = one.iter().copied().filter(|word| other.contains(word)).collect();
            (!shared.is_empty()).then_some(Must::BeOneOf(shared))
        }
        (
            Must::Lie { low: a, low_open: a_open, high: b, high_open: b_open },
            Must::Lie { low: c, low_open: c_open, high: d, high_open: d_open },
        ) => {
            let (low, low_open) = if a > c || (a == c && *a_open) { (*a, *a_open) } else { (*c, *c_open) };
            let (high, high_open) = if b < d || (b == d && *b_open) { (*b, *b_open) } else { (*d, *d_open) };
            let some = low < high || (low == high && !low_open && !high_open);
            some.then_some(Must::Lie { low, low_open, high, high_open })
        }
        (Must::BeUnknown | Must::Be(_) | Must::BeOneOf(_) | Must::Lie { .. }, _) => None,
    }
}

fn compared(left: Term, is: Is, right: Term, wanted: Wanted) -> Vec<Way> {
    let (fact, number, fact_is_left) = match (left, right.number(), right, left.number()) {
        (Term::Fact(fact), Some(number), _, _) => (fact, number, true),
        (_, _, Term::Fact(fact), Some(number)) => (fact, number, false),
        // Two facts, or two numbers.
        _ => return vec![Way::new()],
    };
    let Kind::Number { lowest, highest, .. } = fact.fact().kind else { return Vec::new() };
    let range = Must::Lie { low: lowest, low_open: false, high: highest, high_open: false };
    let above = |open: bool| Must::Lie { low: number, low_open: open, high: highest, high_open: false };
    let below = |open: bool| Must::Lie { low: lowest, low_open: false, high: number, high_open: open };
    let asked = match (is, fact_is_left, wanted) {
        (Is::Above, true, Wanted::Holds) => vec![above(true)],
        (Is::Above, true, Wanted::Fails) => vec![below(false)],
        (Is::Above, false, Wanted::Holds) => vec![below(true)],
        (Is::Above, false, Wanted::Fails) => vec![above(false)],
        (Is::AtLeast, true, Wanted::Holds) => vec![above(false)],
        (Is::AtLeast, true, Wanted::Fails) => vec![below(true)],
        (Is::AtLeast, false, Wanted::Holds) => vec![below(false)],
        (Is::AtLeast, false, Wanted::Fails) => vec![above(true)],
        (Is::Equal, _, Wanted::Holds) => {
            vec![Must::Lie { low: number, low_open: false, high: number, high_open: false }]
        }
        (Is::Equal, _, Wanted::Fails) => vec![above(true), below(true)],
    };
    asked.iter().filter_map(|must| Some(Way::from([(fact, meet(&range, must)?)]))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::condition::Condition;

    fn can(text: &str) -> bool {
        can_hold(Condition::parse(text, Protocol::built_in().limits()).unwrap().node())
    }

    #[test]
    fn what_contradicts_itself_can_never_hold() {
        assert!(can("glucose < 70 && glucose >= 54"));
        assert!(!can("glucose < 54 && glucose >= 54"));
        assert!(can("glucose <= 54 && glucose >= 54"));
        assert!(!can("hours_since_pack > 72 && hours_since_pack <= 72"));
        assert!(!can("chills && !chills"));
        assert!(!can("pus == 'thick' && pus in ['none', 'thin']"));
        assert!(!can("!known(temp_c) && temp_c > 38"));
        assert!(!can("pain > 10") && can("pain >= 10"));
        assert!(can("chills && !sure(chills == true && warm)"));
        assert!(can("(pain > 5 || chills) && pain < 3"));
        assert!(!can("(pain > 5 || chills) && pain < 3 && !chills"));
        assert!(!can("pain != 4 && !(pain < 4 || pain > 4)"));
    }
}
