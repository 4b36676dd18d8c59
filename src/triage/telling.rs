//! The values of a fact that can make a difference under a protocol: on and beside every limit it is held against.

use crate::triage::derived;
use crate::triage::dictionary::FactId;
use crate::triage::dictionary::Kind;
use crate::triage::facts::Value;
use crate::triage::protocol::Protocol;

/// Every value worth trying for a fact: both flags, every word, and each number on, just below and just above every
/// limit, with the ends of its range.
pub(super) fn telling_values(protocol: &Protocol, id: FactId) -> Vec<Value> {
    match id.fact().kind {
        Kind::Flag => vec![Value::Flag(false), Value::Flag(true)],
        Kind::Word(words) => words.iter().map(|word| Value::Word(word)).collect(),
        Kind::Number { unit, lowest, highest } => {
            let step = 0.1_f64.powi(i32::try_from(unit.decimals()).unwrap_or(0));
            let mut numbers: Vec<f64> = held_against(protocol, id)
                .into_iter()
                .flat_map(|limit| [limit - step, limit, limit + step])
                .map(|number| number.clamp(lowest, highest))
                .chain([lowest, highest])
                .collect();
            numbers.sort_by(f64::total_cmp);
            numbers.dedup_by(|one, other| (*one - *other).abs() < step / 10.0);
            numbers.into_iter().map(|number| Value::Number { low: number, high: number }).collect()
        }
    }
}

/// Every number a fact is compared with, in a condition or where another fact is worked out from it.
fn held_against(protocol: &Protocol, id: FactId) -> Vec<f64> {
    let rules = protocol.rules().iter().map(|rule| &rule.when);
    let gates = protocol.gates().iter().map(|gate| &gate.when);
    let raises = protocol.raises().iter().map(|raise| &raise.when);
    let in_conditions = rules.chain(gates).chain(raises).flat_map(|when| when.compared());
    let in_conditions = in_conditions.filter(|(fact, _)| *fact == id).map(|(_, limit)| limit);
    in_conditions.chain(derived::held_against(id, &protocol.limits().derived)).collect()
}
