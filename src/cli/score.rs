//! `closewatch score`: facts as JSON in, class and reasons as JSON out, in the same order.

use std::io::Read;

use serde::Serialize;
use serde_json::Value;

use crate::cli::BadInput;
use crate::cli::Failure;
use crate::cli::protocol;
use crate::triage::Facts;
use crate::triage::Protocol;
use crate::triage::Urgency;
use crate::triage::assess;

#[derive(Debug, clap::Args)]
pub struct Score {
    /// A file with one object of facts or an array of them; `-` reads standard input. Names, units and ranges are those
    /// of the fact dictionary; null or absent is unknown.
    #[arg(long, value_name = "FILE")]
    json: String,
    /// A protocol's file; without it, the protocol the program comes with.
    #[arg(long, value_name = "FILE")]
    protocol: Option<String>,
}

/// What one object of facts comes to. Rules, raises and gates by id, in the protocol's order.
#[derive(Debug, Serialize)]
struct Scored {
    urgency: Urgency,
    score: u8,
    rules: Vec<String>,
    raises: Vec<String>,
    /// Why it could not be on track although no rule fired: `cannot-reassure:` and the gate.
    gates: Vec<String>,
    /// Facts that nobody knows and that leave a rule open, the gravest first.
    unknown: Vec<String>,
    /// Minutes from receipt to the answer on an ordinary weekday.
    due_minutes: u32,
}

pub fn run(score: &Score) -> Result<(), Failure> {
    let text = read(&score.json)?;
    let protocol = match &score.protocol {
        Some(file) => protocol::from_file(file)?,
        None => Protocol::built_in().clone(),
    };
    println!("{}", scored(&protocol, &text)?);
    Ok(())
}

fn read(file: &str) -> Result<String, Failure> {
    let cannot = |fault: std::io::Error| BadInput(format!("{file}: cannot be read: {fault}"));
    let mut text = String::new();
    match file {
        "-" => std::io::stdin().read_to_string(&mut text).map_err(cannot)?,
        _ => std::fs::File::open(file).and_then(|mut file| file.read_to_string(&mut text)).map_err(cannot)?,
    };
    Ok(text)
}

/// Scores one object, or each of an array, and gives back the same shape.
fn scored(protocol: &Protocol, text: &str) -> Result<String, Failure> {
    let given: Value = serde_json::from_str(text).map_err(|fault| BadInput(format!("no JSON: {fault}")))?;
    let out = match &given {
        Value::Array(all) => {
            let mut out = Vec::new();
            for (place, one) in all.iter().enumerate() {
                let named = |fault: BadInput| BadInput(format!("object {}: {}", place + 1, fault.0));
                out.push(serde_json::to_value(score_one(protocol, one).map_err(named)?)?);
            }
            Value::Array(out)
        }
        one => serde_json::to_value(score_one(protocol, one)?)?,
    };
    Ok(serde_json::to_string_pretty(&out)?)
}

fn score_one(protocol: &Protocol, given: &Value) -> Result<Scored, BadInput> {
    let Value::Object(given) = given else {
        return Err(BadInput("must be an object of facts, or an array of such objects".to_owned()));
    };
    let facts = Facts::from_json(given).map_err(|fault| BadInput(fault.to_string()))?;
    let assessment = assess(protocol, &facts);
    let fired = |id: &&str| assessment.reasons.iter().any(|reason| reason.rule_id == **id);
    Ok(Scored {
        urgency: assessment.urgency,
        score: assessment.score,
        rules: protocol
            .rules()
            .iter()
            .map(|rule| rule.id.as_str())
            .filter(fired)
            .map(str::to_owned)
            .collect(),
        raises: assessment.raises.iter().map(|raise| raise.id.clone()).collect(),
        gates: assessment.gates.iter().map(|gate| format!("cannot-reassure:{}", gate.id)).collect(),
        unknown: assessment.unknowns.iter().map(|unknown| unknown.fact.clone()).collect(),
        due_minutes: protocol.targets().due_minutes(assessment.urgency),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const CASES: &str = include_str!("../../tests/truth/triage-cases.json");

    fn refused(text: &str) -> String {
        scored(Protocol::built_in(), text).unwrap_err().to_string()
    }

    /// `tests/truth/triage-cases.json`: 86 cases worked by hand, independent of this program.
    #[test]
    fn the_check_cases_come_out_in_order_with_class_rules_and_raises() {
        let cases: Vec<Value> = serde_json::from_str(CASES).unwrap();
        let inputs: Vec<&Value> = cases.iter().map(|case| &case["input"]).collect();
        let out = scored(Protocol::built_in(), &serde_json::to_string(&inputs).unwrap()).unwrap();
        let out: Vec<Value> = serde_json::from_str(&out).unwrap();
        assert_eq!((out.len(), cases.len()), (86, 86));
        for (case, scored) in cases.iter().zip(&out) {
            assert_eq!(scored["urgency"], case["expect"], "{}", case["name"]);
            assert_eq!(scored["rules"], case["rules"], "{}", case["name"]);
            let joined =
                [&scored["raises"], &scored["gates"]].map(|ids| ids.as_array().unwrap().clone()).concat();
            assert_eq!(&joined, case["raises"].as_array().unwrap(), "{}", case["name"]);
        }
    }

    #[test]
    fn one_object_gives_one_object_with_every_key() {
        let out =
            scored(Protocol::built_in(), r#"{"temp_c": 38.6, "red_trend": "unknown", "hr": null}"#).unwrap();
        let out: Value = serde_json::from_str(&out).unwrap();
        let keys: Vec<&String> = out.as_object().unwrap().keys().collect();
        assert_eq!(keys, ["due_minutes", "gates", "raises", "rules", "score", "unknown", "urgency"]);
        assert_eq!(out["urgency"], "ring_now");
        assert_eq!(out["due_minutes"], 60);
        assert!(out["unknown"].as_array().unwrap().contains(&Value::from("hr")));
        assert_eq!(scored(Protocol::built_in(), "[]").unwrap(), "[]");
    }

    #[test]
    fn bad_input_is_told_by_key_and_reason() {
        assert_eq!(refused(r#"{"temp_c": 60}"#), "temp_c: must be a number of °C from 25 to 45");
        assert_eq!(refused(r#"[{}, {"tempc": 38}]"#), "object 2: tempc: no such fact");
        assert_eq!(refused(r#"{"pus": "green"}"#), "pus: must be one of: none, thin, thick");
        assert_eq!(
            refused(r#"{"local_signs": 2}"#),
            "local_signs: is worked out from other facts and cannot be given"
        );
        assert_eq!(refused("[3]"), "object 1: must be an object of facts, or an array of such objects");
        assert!(refused("{").starts_with("no JSON: "));
    }
}
