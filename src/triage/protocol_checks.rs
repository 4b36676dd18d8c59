//! The built-in protocol against its check cases.
//!
//! `tests/truth/triage-cases.json`: 86 cases worked by hand from the reviewed table, independent of this program.

use std::collections::BTreeSet;
use std::sync::LazyLock;

use serde_json::Map;
use serde_json::Value as Json;

use crate::triage::Assessment;
use crate::triage::Facts;
use crate::triage::Protocol;
use crate::triage::Urgency;
use crate::triage::assess;

const CASES: &str = include_str!("../../tests/truth/triage-cases.json");

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Case {
    name: String,
    expect: Urgency,
    rules: BTreeSet<String>,
    raises: BTreeSet<String>,
    input: Map<String, Json>,
}

fn cases() -> Vec<Case> {
    serde_json::from_str(CASES).unwrap()
}

static QUIET: LazyLock<Map<String, Json>> = LazyLock::new(|| cases().remove(0).input);

/// The first case: a quiet day-5 wound with a narrow rim, with some answers changed.
pub(super) fn quiet_but(changes: &str) -> Facts {
    let mut input = QUIET.clone();
    let changes: Map<String, Json> = serde_json::from_str(changes).unwrap();
    input.extend(changes);
    Facts::from_json(&input).unwrap()
}

pub(super) fn assessed(changes: &str) -> Assessment {
    assess(Protocol::built_in(), &quiet_but(changes))
}

pub(super) fn fires(changes: &str, rule: &str) -> bool {
    assessed(changes).reasons.iter().any(|reason| reason.rule_id == rule)
}

#[test]
fn every_check_case_comes_out_as_worked_by_hand() {
    let cases = cases();
    assert_eq!(cases.len(), 86);
    for case in cases {
        let assessment = assess(Protocol::built_in(), &Facts::from_json(&case.input).unwrap());
        let rules: BTreeSet<String> =
            assessment.reasons.iter().map(|reason| reason.rule_id.clone()).collect();
        let raises: BTreeSet<String> = assessment
            .raises
            .iter()
            .map(|raise| raise.id.clone())
            .chain(assessment.gates.iter().map(|gate| format!("cannot-reassure:{}", gate.id)))
            .collect();
        assert_eq!(assessment.urgency, case.expect, "{}", case.name);
        assert_eq!(rules, case.rules, "{}", case.name);
        assert_eq!(raises, case.raises, "{}", case.name);
    }
}
