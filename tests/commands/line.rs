//! The commands that need no server, run as a person at a terminal runs them: what they print, and how they end.

use std::io::Write;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;

use serde_json::Value;

fn closewatch(arguments: &[&str], typed: &str) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_closewatch"))
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(typed.as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

fn said(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// `tests/truth/triage-cases.json`: 86 cases worked by hand, independent of this program.
#[test]
fn score_gives_the_check_cases_back_in_order_from_a_file_and_from_standard_input() {
    let cases: Vec<Value> = serde_json::from_str(include_str!("../truth/triage-cases.json")).unwrap();
    let inputs = serde_json::to_string(&cases.iter().map(|case| &case["input"]).collect::<Vec<_>>()).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("facts.json");
    std::fs::write(&file, &inputs).unwrap();
    let from_file = closewatch(&["score", "--json", file.to_str().unwrap()], "");
    let from_input = closewatch(&["score", "--json", "-"], &inputs);
    assert_eq!(from_file.status.code(), Some(0));
    assert_eq!(from_file.stdout, from_input.stdout);
    let scored: Vec<Value> = serde_json::from_slice(&from_file.stdout).unwrap();
    let classes = |list: &[Value], key: &str| list.iter().map(|one| one[key].clone()).collect::<Vec<_>>();
    assert_eq!(classes(&scored, "urgency"), classes(&cases, "expect"));
    assert_eq!(classes(&scored, "rules"), classes(&cases, "rules"));
}

#[test]
fn bad_input_ends_with_status_2_and_the_key_and_the_reason() {
    for (arguments, typed, words) in [
        (vec!["score", "--json", "-"], r#"{"temp_c": 60}"#, "temp_c: must be a number of °C from 25 to 45"),
        (vec!["score", "--json", "-"], "[{}, {\"x\": 1}]", "object 2: x: no such fact"),
        (vec!["score", "--json", "/no/such/file"], "", "/no/such/file: cannot be read"),
        (vec!["protocol", "check", "/no/such/file"], "", "/no/such/file: cannot be read"),
    ] {
        let ended = closewatch(&arguments, typed);
        assert_eq!(ended.status.code(), Some(2), "{arguments:?}");
        assert!(said(&ended.stderr).contains(words), "{}", said(&ended.stderr));
        assert!(ended.stdout.is_empty(), "{arguments:?}");
    }
}

#[test]
fn a_protocol_is_shown_changed_checked_and_compared_by_its_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let shown = said(&closewatch(&["protocol", "show", "--json"], "").stdout);
    let (mine, spoilt) = (path("mine.json"), path("spoilt.json"));
    std::fs::write(&mine, shown.replacen("\"value\": 38.0", "\"value\": 37.5", 1)).unwrap();
    std::fs::write(&spoilt, shown.replace("temp_c >= limit.fever_c", "temp_k >= limit.fever_c")).unwrap();

    let checked = closewatch(&["protocol", "check", &mine], "");
    assert_eq!(checked.status.code(), Some(0));
    assert!(said(&checked.stdout).contains("stands: 110 rules"), "{}", said(&checked.stdout));
    let refused = closewatch(&["protocol", "check", &spoilt], "");
    assert_eq!(refused.status.code(), Some(2));
    assert!(said(&refused.stderr).contains("fever-38: column 1: `temp_k` is no fact"));

    let compared = said(&closewatch(&["protocol", "diff", "built-in", &mine], "").stdout);
    assert!(
        compared.contains("limit fever_c, value\n  - 38.0 °C (100.4 °F)\n  + 37.5 °C (99.5 °F)"),
        "{compared}"
    );
    let readable = said(&closewatch(&["protocol", "show", &mine], "").stdout);
    assert!(readable.contains("because Fever: 37.5 °C (99.5 °F) or more."));
    // The changed file scores at once.
    let scored = closewatch(&["score", "--json", "-", "--protocol", &mine], r#"{"temp_c": 37.6}"#);
    let scored: Value = serde_json::from_slice(&scored.stdout).unwrap();
    assert_eq!(scored["rules"], serde_json::json!(["fever-38"]));
}
