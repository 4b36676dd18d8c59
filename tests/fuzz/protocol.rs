//! Protocol files: what is accepted says the same when written out and read again, and decides; what is not names its fault.

use std::time::Duration;

use closewatch::triage::Facts;
use closewatch::triage::Protocol;
use closewatch::triage::assess;
use serde_json::json;

use crate::Came;
use crate::Target;

/// Pieces of the file's own language and of the conditions in it.
const PIECES: &[&[u8]] = &[
    b"null",
    b"{}",
    b"[]",
    b"1e999",
    b"-1",
    b"\"\"",
    b"\\u0000",
    b"((((((((((((((((((((((((((((((((",
    b"[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[",
    b" && ",
    b" || !",
    b" == ",
    b"{fever_c}",
    b"limit.fever_c",
    b"go_now",
    b"on_track",
    b"\"version\":\"x\",",
];

fn some_facts() -> [Facts; 3] {
    let [ill, well] = [json!({ "temp_c": 39.4, "pain": 9 }), json!({ "temp_c": 36.6, "pain": 1 })]
        .map(|given| Facts::from_json(given.as_object().unwrap()).unwrap());
    [Facts::default(), ill, well]
}

#[test]
fn protocols() {
    let facts = some_facts();
    let target = Target {
        name: "protocol",
        samples: vec![Protocol::built_in().to_json().into_bytes()],
        pieces: PIECES,
        within: Duration::from_secs(10),
        most_kib: 128 * 1024,
    };
    target.run(|bytes| {
        let text = String::from_utf8_lossy(bytes);
        match Protocol::parse(&text) {
            Err(fault) => {
                assert!(!fault.to_string().trim().is_empty(), "a fault without words");
                Came::Refused
            }
            Ok(protocol) => {
                let again = Protocol::parse(&protocol.to_json()).expect("what it writes, it reads");
                assert_eq!(again.as_text(), protocol.as_text());
                for facts in &facts {
                    let (one, other) = (assess(&protocol, facts), assess(&again, facts));
                    assert_eq!((one.urgency, one.score), (other.urgency, other.score));
                    assert!(one.score <= 100);
                }
                Came::Taken
            }
        }
    });
}
