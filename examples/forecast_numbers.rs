//! What the forecast's formulas say, for the checks by other programs: a list of questions as JSON on standard input,
//! their answers on standard output.
//!
//!     echo '{"waits": [{"per_hour": [0.2, 0.6, 1.2, 2.0, 0.0], "minutes": 10, "reviewers": 1}]}' | forecast_numbers

use std::io::Read;

use serde_json::Value;
use serde_json::json;

use closewatch::triage::Urgency;
use closewatch::triage::forecast::ByClass;
use closewatch::triage::forecast::formula_waits;
use closewatch::triage::forecast::t_95;
use closewatch::triage::forecast::waiting_share;

fn main() {
    let mut asked = String::new();
    std::io::stdin().read_to_string(&mut asked).expect("questions on standard input");
    let asked: Value = serde_json::from_str(&asked).expect("questions as JSON");
    let each = |list: &str, answer: fn(&Value) -> Value| -> Vec<Value> {
        asked[list].as_array().into_iter().flatten().map(answer).collect()
    };
    let answers = json!({
        "erlang_c": each("erlang_c", |one| json!(waiting_share(number(&one["offered"]), reviewers(one)))),
        "waits": each("waits", waits),
        "t_975": each("t_975", |runs| json!(t_95(runs.as_u64().unwrap_or(0) as usize))),
    });
    println!("{answers}");
}

fn waits(one: &Value) -> Value {
    let per_hour = ByClass::of_each(|urgency| number(&one["per_hour"][usize::from(urgency.rank())]));
    let Some(waits) = formula_waits(&per_hour, number(&one["minutes"]), reviewers(one)) else {
        return Value::Null;
    };
    let of = |urgency: &Urgency| *waits.by_class_minutes.of(*urgency);
    json!({
        "by_class": Urgency::ALL.iter().rev().map(of).collect::<Vec<f64>>(),
        "first_come": waits.first_come_minutes,
        "weighted_mean": waits.weighted_mean_minutes,
    })
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or(f64::NAN)
}

fn reviewers(one: &Value) -> u32 {
    one["reviewers"].as_u64().and_then(|count| u32::try_from(count).ok()).unwrap_or(0)
}
