//! The built-in limits against the numbers their sources print.
//!
//! `tests/truth/published-limits.json`: each published number with its citation and how it was read. Where the protocol
//! departs from one, the file says which way.

use crate::triage::Protocol;

const PUBLISHED: &str = include_str!("../../tests/truth/published-limits.json");

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Published {
    limit: String,
    published: String,
    /// In the limit's unit.
    value: f64,
    source: String,
    read: Read,
    /// "lower: …" or "higher: …", with the reason.
    departs: Option<String>,
}

#[derive(serde::Deserialize)]
enum Read {
    #[serde(rename = "seen")]
    Seen,
    #[serde(rename = "quoted second-hand")]
    SecondHand,
    #[serde(rename = "from memory")]
    FromMemory,
}

fn published() -> Vec<Published> {
    serde_json::from_str(PUBLISHED).unwrap()
}

#[test]
fn each_limit_is_what_its_source_prints_or_departs_as_said() {
    for one in published() {
        let limit = Protocol::built_in().limits().named(&one.limit).unwrap();
        let what = format!("{} ({})", one.published, one.source);
        match one.departs.as_deref().map(|departs| departs.split_once(": ").unwrap().0) {
            None => assert_eq!(limit.value, one.value, "{}: {what}", one.limit),
            Some("lower") => assert!(limit.value < one.value, "{}: {what}", one.limit),
            Some(other) => panic!("{other}: {what}"),
        }
    }
}

#[test]
fn what_was_not_read_itself_is_said_in_the_protocol_too() {
    for one in published() {
        let limit = Protocol::built_in().limits().named(&one.limit).unwrap();
        match one.read {
            Read::Seen => {}
            Read::FromMemory => assert!(limit.source.contains("from memory"), "{}", one.limit),
            Read::SecondHand => {
                assert!(limit.source.contains("second-hand"), "{}", one.limit);
            }
        }
    }
}
