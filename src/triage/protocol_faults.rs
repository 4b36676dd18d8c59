//! Every kind of fault a protocol's file can have, and what is said about it.

use crate::triage::Edits;
use crate::triage::Protocol;
use crate::triage::Urgency;

const BUILT_IN_TEXT: &str = include_str!("protocol.json");

/// A fault put into the built-in file: what is replaced, by what, and the first thing said.
const FAULTS: &[(&str, &str, &str)] = &[
    // The file.
    (r#""version": "2""#, r#""version": "2"#, "cannot be read: "),
    (r#""version": "2""#, r#""version": " ""#, "the version is blank"),
    (r#""group": "bleeding""#, r#""group": "blood""#, "cannot be read: unknown variant `blood`"),
    (r#""confidence": "high""#, r#""confidence": "sure""#, "cannot be read: unknown variant `sure`"),
    (r#""urgency": "go_now""#, r#""urgency": "go""#, "cannot be read: unknown variant `go`"),
    (r#""unit": "celsius""#, r#""unit": "kelvin""#, "cannot be read: unknown variant `kelvin`"),
    (r#""es": "Fiebre: "#, r#""fr": "Fièvre: "#, "cannot be read: unknown field `fr`"),
    // Ids and words.
    ("bleed-spurting", "bleed-wont-stop", "`bleed-wont-stop` stands twice"),
    (r#""id": "streaks""#, r#""id": "Streaks!""#, "`Streaks!`: an id is lower-case letters"),
    (r#""es": "Fiebre: {fever_c} o más.""#, r#""es": " ""#, "fever-38: the sentence is missing in `es`"),
    (
        "Fever: {fever_c} or more.",
        "Fever: {fever_k} or more.",
        "fever-38: the sentence names `fever_k`, which is no limit",
    ),
    (r#""source": "SIRS >90"#, r#""source": " ", "x": "SIRS >90"#, "cannot be read: unknown field `x`"),
    // Conditions.
    (
        r#""mind_changed || fainted""#,
        r#""mind_changed || faint""#,
        "mind-changed: column 17: `faint` is no fact",
    ),
    (
        r#""bleeding == 'wont_stop_10min'""#,
        r#""bleeding == 'gushing'""#,
        "bleed-wont-stop: column 13: `bleeding` is one of: none",
    ),
    (
        r#""temp_c >= limit.fever_very_high_c""#,
        r#""temp_c >= 'hot'""#,
        "fever-39: column 11: is not a number, a fact or a limit",
    ),
    (
        r#""temp_c >= limit.fever_very_high_c""#,
        r#""temp_c >= limit.rim_cm""#,
        "fever-39: column 11: is in cm, compared with something in celsius",
    ),
    (
        r#""temp_c >= limit.fever_very_high_c""#,
        r#""temp_c >= limit.heat""#,
        "fever-39: column 11: `limit.heat` is no limit of this protocol",
    ),
    (
        r#""temp_c >= limit.fever_very_high_c""#,
        r#""temp_c""#,
        "fever-39: column 1: `temp_c` is a number: compare it",
    ),
    (r#""temp_c >= limit.fever_very_high_c""#, r#""temp_c >= ""#, "fever-39: column 11: cannot be read"),
    (
        r#""temp_c >= limit.fever_very_high_c""#,
        r#""temp_c > 39.0 && temp_c < 38.0""#,
        "fever-39: can never fire: ",
    ),
    // Limits.
    (
        r#""value": 38.0,"#,
        r#""value": 39.9,"#,
        "limit `fever_c`: 39.9 is outside its safe range of 37.2 to 38.3 °C",
    ),
    (r#""lowest": 37.2"#, r#""lowest": 39.2"#, "limit `fever_c`: its safe range is empty"),
    (
        r#""id": "sick_hot_c""#,
        r#""id": "sick_warm_c""#,
        "limit `sick_hot_c` is missing: `sick_count` is worked out with it",
    ),
    // Classes, raises, gates, targets.
    (
        r#""urgency": "go_now""#,
        r#""urgency": "today""#,
        "bleed-spurting: `today` is calmer than its safe range, which begins at `go_now`",
    ),
    (
        r#""at_least": "go_now""#,
        r#""at_least": "on_track""#,
        "bleed-spurting: a rule cannot make a check on track",
    ),
    ("\"lump-back\"\n        ]", "\"lump-bag\"\n        ]", "raise-weak-immune: `lump-bag` is no rule"),
    (r#""to": "ring_now""#, r#""to": "today""#, "raise-weak-immune: raises nothing"),
    (r#""to": "today""#, r#""to": "tomorrow""#, "raise-host: does not raise `tomorrow`"),
    (
        r#""ring_now_minutes": 60"#,
        r#""ring_now_minutes": 5"#,
        "targets: a more urgent class must be answered sooner",
    ),
];

fn faults_of(text: &str) -> Vec<String> {
    Protocol::parse(text).unwrap_err().faults
}

#[test]
fn every_kind_of_fault_is_named_with_its_rule_and_column() {
    assert!(FAULTS.len() > 20);
    for (from, to, said) in FAULTS {
        assert!(BUILT_IN_TEXT.contains(from), "{from}");
        let faults = faults_of(&BUILT_IN_TEXT.replacen(from, to, 1));
        assert!(faults.iter().any(|fault| fault.starts_with(said)), "{to}: {faults:#?}");
    }
}

#[test]
fn a_class_that_no_rule_can_reach_is_a_fault() {
    let text = BUILT_IN_TEXT.replace(r#""urgency": "tomorrow""#, r#""urgency": "today""#);
    let faults = faults_of(&text);
    assert!(faults.contains(&"class `tomorrow`: no rule can reach it".to_owned()), "{faults:#?}");
}

#[test]
fn every_mistake_is_named_at_once() {
    assert!(faults_of(&BUILT_IN_TEXT.replace("temp_c", "temp_k")).len() > 20);
    assert!(faults_of("{}")[0].starts_with("cannot be read: missing field"));
}

#[test]
fn the_built_in_protocol_stands_and_reads_back_from_its_own_file() {
    let protocol = Protocol::parse(BUILT_IN_TEXT).unwrap();
    assert_eq!((protocol.version(), protocol.rules().len()), ("2", 110));
    assert_eq!((protocol.patterns().len(), protocol.gates().len()), (5, 7));
    assert_eq!(Protocol::parse(&protocol.to_json()).unwrap(), protocol);
}

/// Every number the built-in rules compare with can be moved by the practice, except "any at all" and "none".
#[test]
fn the_built_in_rules_compare_with_named_limits_only() {
    for rule in Protocol::built_in().rules() {
        let digits = rule.when.text().split(|c: char| !(c.is_alphanumeric() || "_.'".contains(c)));
        for number in digits.filter(|word| word.starts_with(|c: char| c.is_ascii_digit())) {
            let counted = ["local_signs >= 1", "local_signs == 0"];
            assert!(counted.iter().any(|text| rule.when.text().contains(text)), "{}: {number}", rule.id);
        }
    }
}

#[test]
fn an_edit_moves_the_limit_its_sentence_and_its_class_and_is_checked_as_a_whole() {
    let built_in = Protocol::built_in();
    let edits = Edits {
        limits: vec![("fever_c".to_owned(), 37.5)],
        classes: vec![("streaks".to_owned(), Urgency::GoNow)],
    };
    let edited = built_in.edited(&edits, "2.1").unwrap();
    assert_eq!(edited.version(), "2.1");
    assert_eq!(edited.rule("fever-38").unwrap().sentence.en, "Fever: 37.5 °C (99.5 °F) or more.");
    assert_eq!(edited.rule("fever-38").unwrap().sentence.es, "Fiebre: 37.5 °C (99.5 °F) o más.");
    assert_eq!(edited.rule("streaks").unwrap().urgency, Urgency::GoNow);
    let too_high = Edits { limits: vec![("fever_c".to_owned(), 38.4)], classes: Vec::new() };
    let fault = built_in.edited(&too_high, "2.1").unwrap_err();
    assert_eq!(fault.to_string(), "limit `fever_c`: 38.4 is outside its safe range of 37.2 to 38.3 °C");
    // Each in its range, and together silencing a rule.
    let crossed = Edits {
        limits: vec![("strip_late_h".to_owned(), 70.0), ("strip_overdue_h".to_owned(), 60.0)],
        classes: Vec::new(),
    };
    assert!(
        built_in
            .edited(&crossed, "2.1")
            .unwrap_err()
            .to_string()
            .starts_with("strip-late-48: can never fire")
    );
    // Whoever moved them is told what to move back.
    let said = built_in.edited(&crossed, "2.1").unwrap_err().to_string();
    assert!(said.ends_with("Move one of: strip_late_h 70 h, strip_overdue_h 60 h"), "{said}");
}
