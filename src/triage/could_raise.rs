//! What nobody knows and could make a check more urgent: the smallest sets of unknown facts, by trying.

use crate::triage::assess::Verdict;
use crate::triage::assess::verdict;
use crate::triage::dictionary::FactId;
use crate::triage::dictionary::Origin;
use crate::triage::facts::Facts;
use crate::triage::facts::Value;
use crate::triage::protocol::Protocol;
use crate::triage::telling::telling_values;
use crate::triage::urgency::Urgency;

/// Unknown facts that together could raise a check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CouldRaise {
    /// By name, in the dictionary's order.
    pub facts: Vec<&'static str>,
    /// The most urgent class they could lead to.
    pub to: Urgency,
}

/// Larger sets than this are not looked for.
pub const MOST_FACTS_TOGETHER: usize = 2;

/// The smallest sets of unknown facts that could raise a check above `stands`, most urgent first. Every set has the
/// same size: where one fact alone could raise it, pairs are not listed. Empty: nothing of up to
/// [`MOST_FACTS_TOGETHER`] facts could. Found by trying every value that can make a difference.
pub fn could_raise(protocol: &Protocol, facts: &Facts, stands: Urgency) -> Vec<CouldRaise> {
    if stands == Urgency::GoNow {
        return Vec::new();
    }
    let unknown: Vec<(FactId, Vec<Value>)> = FactId::all()
        .filter(|id| id.fact().from != Origin::Derived && facts.value(id.name()).is_none())
        .map(|id| (id, telling_values(protocol, id)))
        .collect();
    let mut sets = alone(protocol, facts, &unknown, stands);
    if sets.is_empty() {
        sets = in_pairs(protocol, facts, &unknown, stands);
    }
    sets.sort_by_key(|set| set.to.rank());
    sets
}

fn alone(
    protocol: &Protocol,
    facts: &Facts,
    unknown: &[(FactId, Vec<Value>)],
    stands: Urgency,
) -> Vec<CouldRaise> {
    let mut tried = facts.clone();
    let mut sets = Vec::new();
    for (id, values) in unknown {
        let to = gravest(protocol, &mut tried, *id, values);
        tried.forget(id.name());
        if to > stands {
            sets.push(CouldRaise { facts: vec![id.name()], to });
        }
    }
    sets
}

fn in_pairs(
    protocol: &Protocol,
    facts: &Facts,
    unknown: &[(FactId, Vec<Value>)],
    stands: Urgency,
) -> Vec<CouldRaise> {
    let mut tried = facts.clone();
    let mut sets = Vec::new();
    for (place, (one, values)) in unknown.iter().enumerate() {
        for (other, other_values) in unknown.iter().skip(place + 1) {
            let mut to = Urgency::OnTrack;
            for value in values {
                tried.put_at(*one, *value);
                to = to.max(gravest(protocol, &mut tried, *other, other_values));
            }
            tried.forget(one.name());
            tried.forget(other.name());
            if to > stands {
                sets.push(CouldRaise { facts: vec![one.name(), other.name()], to });
            }
        }
    }
    sets
}

/// The gravest class any of these values leads to. Leaves one of them set.
fn gravest(protocol: &Protocol, tried: &mut Facts, id: FactId, values: &[Value]) -> Urgency {
    let mut gravest = Urgency::OnTrack;
    for value in values {
        tried.put_at(id, *value);
        let Verdict { urgency, .. } = verdict(protocol, tried);
        gravest = gravest.max(urgency);
    }
    gravest
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::protocol_checks::quiet_but;

    fn sets(changes: &str) -> Vec<CouldRaise> {
        let facts = quiet_but(changes);
        let stands = verdict(Protocol::built_in(), &facts).urgency;
        could_raise(Protocol::built_in(), &facts, stands)
    }

    fn alone_to(changes: &str, fact: &str) -> Option<Urgency> {
        sets(changes).into_iter().find(|set| set.facts == [fact]).map(|set| set.to)
    }

    #[test]
    fn each_unknown_fact_that_alone_could_raise_is_found_with_the_class_it_reaches() {
        assert_eq!(alone_to("{}", "chest_pain"), Some(Urgency::GoNow));
        assert_eq!(alone_to("{}", "hr"), Some(Urgency::GoNow));
        assert_eq!(alone_to("{}", "abx_missed"), None);
        assert_eq!(alone_to(r#"{"abx":true}"#, "abx_missed"), Some(Urgency::Tomorrow));
        // Known facts are never listed.
        assert_eq!(alone_to("{}", "temp_c"), None);
        // With fever, growing redness makes it an hour's call; breathing makes it an emergency.
        let fever = r#"{"temp_c":38.2,"red_cm":3.0,"red_trend":null}"#;
        assert_eq!(alone_to(fever, "red_trend"), Some(Urgency::RingNow));
        assert_eq!(alone_to(fever, "rr"), Some(Urgency::GoNow));
        // Above the class it has, nothing milder is listed.
        assert!(sets(fever).iter().all(|set| set.to > Urgency::Today));
    }

    #[test]
    fn nothing_is_above_go_now() {
        assert_eq!(sets(r#"{"dead_skin":true}"#), Vec::new());
    }

    #[test]
    fn pairs_are_looked_for_only_when_no_fact_alone_could_raise() {
        use crate::triage::DICTIONARY;
        let protocol = Protocol::built_in();
        let mut facts = quiet_but("{}");
        // Everything known and calm but two facts that only count together.
        for fact in DICTIONARY.iter().filter(|fact| fact.from != Origin::Derived) {
            if facts.value(fact.name).is_none() && !["abx", "vomit_abx"].contains(&fact.name) {
                let calm =
                    telling_values(protocol, FactId::named(fact.name).unwrap()).into_iter().find(|value| {
                        let mut tried = facts.clone();
                        tried.set(fact.name, *value).is_ok()
                            && verdict(protocol, &tried).urgency == Urgency::OnTrack
                    });
                facts.set(fact.name, calm.unwrap()).unwrap();
            }
        }
        let found = could_raise(protocol, &facts, Urgency::OnTrack);
        assert_eq!(found, vec![CouldRaise { facts: vec!["abx", "vomit_abx"], to: Urgency::Today }]);
    }
}
