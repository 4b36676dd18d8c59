//! What is different between two protocols, line by line, as a lead reads it.

use crate::triage::protocol::Protocol;
use crate::triage::protocol::RaisesOn;
use crate::triage::urgency::Urgency;
use crate::triage::wording::Wording;

/// One difference.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// What differs: `limit fever_c`, `rule streaks, class`.
    pub what: String,
    /// Empty: it was not there.
    pub was: String,
    /// Empty: it is gone.
    pub is: String,
}

impl Protocol {
    /// Everything in `later` that is not as in this protocol, in the order of the file. The version itself is no
    /// difference.
    pub fn differences(&self, later: &Protocol) -> Vec<Difference> {
        let mut found = targets(self, later);
        entries(&mut found, "limit", &limits(self), &limits(later));
        entries(&mut found, "rule", &rules(self), &rules(later));
        entries(&mut found, "raise", &raises(self), &raises(later));
        entries(&mut found, "gate", &gates(self), &gates(later));
        entries(&mut found, "pattern", &patterns(self), &patterns(later));
        found
    }
}

/// One entry of a protocol: its id, and its parts by name. The first part stands for the whole entry.
struct Entry {
    id: String,
    parts: Vec<(&'static str, String)>,
}

fn entries(found: &mut Vec<Difference>, kind: &str, was: &[Entry], is: &[Entry]) {
    for entry in was {
        let what = format!("{kind} {}", entry.id);
        let Some(later) = is.iter().find(|later| later.id == entry.id) else {
            let gone = entry.parts.first().map(|(_, text)| text.clone()).unwrap_or_default();
            found.push(Difference { what, was: gone, is: String::new() });
            continue;
        };
        for ((part, was), (_, is)) in entry.parts.iter().zip(&later.parts) {
            if was != is {
                found.push(Difference { what: format!("{what}, {part}"), was: was.clone(), is: is.clone() });
            }
        }
    }
    for entry in is.iter().filter(|entry| was.iter().all(|earlier| earlier.id != entry.id)) {
        let added = entry.parts.first().map(|(_, text)| text.clone()).unwrap_or_default();
        found.push(Difference { what: format!("{kind} {}", entry.id), was: String::new(), is: added });
    }
}

fn targets(was: &Protocol, is: &Protocol) -> Vec<Difference> {
    let line = |urgency: &Urgency| {
        let (before, after) = (was.targets().due_minutes(*urgency), is.targets().due_minutes(*urgency));
        let what = format!("target {}", urgency.code());
        (before != after).then(|| Difference {
            what,
            was: format!("{before} min"),
            is: format!("{after} min"),
        })
    };
    let mut found: Vec<Difference> = Urgency::ALL.iter().filter_map(line).collect();
    if found.is_empty() && was.targets() != is.targets() {
        found.push(Difference {
            what: "targets by the clock".to_owned(),
            was: format!("{:?}", was.targets()),
            is: format!("{:?}", is.targets()),
        });
    }
    found
}

fn limits(protocol: &Protocol) -> Vec<Entry> {
    let entry = |limit: &crate::triage::Limit| Entry {
        id: limit.id.clone(),
        parts: vec![
            ("value", limit.text()),
            ("unit", limit.unit.code().to_owned()),
            ("safe range", limit.range_text()),
            ("meaning", both(&limit.meaning)),
            ("source", limit.source.clone()),
        ],
    };
    protocol.limits().all().iter().map(entry).collect()
}

fn rules(protocol: &Protocol) -> Vec<Entry> {
    let entry = |rule: &crate::triage::Rule| Entry {
        id: rule.id.clone(),
        parts: vec![
            ("class", rule.urgency.code().to_owned()),
            ("calmest class", rule.at_least.code().to_owned()),
            ("condition", rule.when.text().to_owned()),
            ("sentence", both(&rule.sentence)),
            ("source", rule.source.clone()),
            ("confidence", rule.confidence.code().to_owned()),
            ("group", rule.group.code().to_owned()),
        ],
    };
    protocol.rules().iter().map(entry).collect()
}

fn raises(protocol: &Protocol) -> Vec<Entry> {
    let on = |on: &RaisesOn| match on {
        RaisesOn::Rules { rules } => rules.join(", "),
        RaisesOn::GroupAt { group, at } => format!("any {} rule at {}", group.code(), at.code()),
    };
    let entry = |raise: &crate::triage::Raise| Entry {
        id: raise.id.clone(),
        parts: vec![
            ("to", raise.to.map_or("read first", Urgency::code).to_owned()),
            ("on", on(&raise.on)),
            ("condition", raise.when.text().to_owned()),
            ("sentence", both(&raise.sentence)),
            ("source", raise.source.clone()),
        ],
    };
    protocol.raises().iter().map(entry).collect()
}

fn gates(protocol: &Protocol) -> Vec<Entry> {
    let entry = |gate: &crate::triage::Gate| Entry {
        id: gate.id.clone(),
        parts: vec![("condition", gate.when.text().to_owned()), ("sentence", both(&gate.sentence))],
    };
    protocol.gates().iter().map(entry).collect()
}

fn patterns(protocol: &Protocol) -> Vec<Entry> {
    let entry = |pattern: &crate::triage::Pattern| Entry {
        id: pattern.id.clone(),
        parts: vec![
            ("condition", pattern.when.text().to_owned()),
            ("sentence", both(&pattern.sentence)),
            ("source", pattern.source.clone()),
        ],
    };
    protocol.patterns().iter().map(entry).collect()
}

fn both(wording: &Wording) -> String {
    format!("{} / {}", wording.en, wording.es)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::Edits;

    #[test]
    fn a_moved_limit_shows_itself_and_every_sentence_it_stands_in() {
        let built_in = Protocol::built_in();
        assert_eq!(built_in.differences(built_in), Vec::new());
        let edits = Edits {
            limits: vec![("sugar_higher".to_owned(), 280.0)],
            classes: vec![("streaks".to_owned(), Urgency::GoNow)],
        };
        let later = built_in.edited(&edits, "2.1").unwrap();
        let found = built_in.differences(&later);
        let lines: Vec<(&str, &str, &str)> =
            found.iter().map(|one| (one.what.as_str(), one.was.as_str(), one.is.as_str())).collect();
        assert_eq!(
            lines,
            vec![
                ("limit sugar_higher, value", "300 mg/dL", "280 mg/dL"),
                ("rule streaks, class", "ring_now", "go_now"),
                (
                    "rule sugar-300, sentence",
                    "Sugar over 300 mg/dL. / Azúcar de más de 300 mg/dL.",
                    "Sugar over 280 mg/dL. / Azúcar de más de 280 mg/dL."
                ),
            ]
        );
    }

    #[test]
    fn a_rule_that_came_or_went_is_named() {
        let built_in = Protocol::built_in();
        let without = built_in.without_rule(0);
        let gone = &built_in.differences(&without)[0];
        assert_eq!(
            (gone.what.as_str(), gone.was.as_str(), gone.is.as_str()),
            ("rule bleed-spurting", "go_now", "")
        );
        let came = &without.differences(built_in)[0];
        assert_eq!((came.was.as_str(), came.is.as_str()), ("", "go_now"));
    }
}
