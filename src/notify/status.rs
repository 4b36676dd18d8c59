//! What a provider tells us afterwards: delivered, failed, or that a person wants no more texts.

use jiff::Timestamp;
use serde::Deserialize;

use crate::notify::letter::dialled;
use crate::notify::secret;
use crate::notify::secret::Secret;
use crate::plan::coded;

/// The longest status call read. A real one has some 200 bytes.
const LONGEST_BYTES: usize = 16 * 1024;

coded! {
    /// What became of a letter. "Delivered" is no person's answer and stops nothing.
    pub enum State {
        Delivered = "delivered",
        Failed = "failed",
        /// The person answered STOP, or the like.
        OptedOut = "opted_out",
        /// The person answered START, or the like, after a STOP.
        OptedIn = "opted_in",
    }
}

/// One status call. Providers tell things twice: acting on one must be harmless when done again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Status {
    /// The letter's reference; always there unless `OptedOut` or `OptedIn`.
    pub reference: Option<String>,
    pub state: State,
    /// The provider's word for it, at most 200 characters, control characters taken out.
    pub why: Option<String>,
    /// The number that opted out or in, as we would dial it; only with those two, and then there unless `reference` is.
    pub from: Option<String>,
}

/// Why a status call is not believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BadStatus {
    #[error("not signed by a provider of ours")]
    Signature,
    #[error("its time is more than five minutes from ours")]
    Stale,
    #[error("no status call in the documented form")]
    Form,
}

#[derive(Deserialize)]
struct Posted {
    #[serde(default)]
    reference: Option<String>,
    state: State,
    #[serde(default)]
    why: Option<String>,
    #[serde(default)]
    from: Option<String>,
}

/// Reads a status call. `timestamp` and `signature` are the headers `Closewatch-Timestamp` and `Closewatch-Signature`.
pub fn read_status(
    body: &[u8],
    timestamp: &str,
    signature: &str,
    secret: &Secret,
    now: Timestamp,
) -> Result<Status, BadStatus> {
    if body.len() > LONGEST_BYTES {
        return Err(BadStatus::Form);
    }
    if !secret.has_signed(timestamp, body, signature) {
        return Err(BadStatus::Signature);
    }
    if !secret::is_fresh(timestamp, now) {
        return Err(BadStatus::Stale);
    }
    let posted: Posted = serde_json::from_slice(body).map_err(|_| BadStatus::Form)?;
    understood(posted)
}

fn understood(posted: Posted) -> Result<Status, BadStatus> {
    let reference = posted.reference.filter(|text| !text.is_empty());
    if reference.as_ref().is_some_and(|text| text.len() > 100) {
        return Err(BadStatus::Form);
    }
    let from = match posted.from.filter(|text| !text.is_empty()) {
        Some(number) => Some(dialled(&number).map_err(|_| BadStatus::Form)?),
        None => None,
    };
    let named = match posted.state {
        State::Delivered | State::Failed => reference.is_some(),
        State::OptedOut | State::OptedIn => reference.is_some() || from.is_some(),
    };
    if !named {
        return Err(BadStatus::Form);
    }
    let from = match posted.state {
        State::OptedOut | State::OptedIn => from,
        State::Delivered | State::Failed => None,
    };
    let tidy = |text: String| text.chars().filter(|letter| !letter.is_control()).take(200).collect();
    let why = posted.why.map(tidy).filter(|text: &String| !text.is_empty());
    Ok(Status { reference, state: posted.state, why, from })
}

#[cfg(test)]
mod tests {
    use super::*;

    use proptest::prelude::*;

    fn secret() -> Secret {
        Secret::new(b"a shared secret of thirty-two bytes").unwrap()
    }

    fn now() -> Timestamp {
        Timestamp::from_second(1_772_481_600).unwrap()
    }

    fn told(body: &str) -> Result<Status, BadStatus> {
        let time = now().as_second().to_string();
        read_status(body.as_bytes(), &time, &secret().sign(&time, body.as_bytes()), &secret(), now())
    }

    #[test]
    fn delivered_failed_and_opted_out_are_read() {
        let delivered = told(r#"{"reference": "r1", "state": "delivered"}"#).unwrap();
        assert_eq!((delivered.reference.as_deref(), delivered.state), (Some("r1"), State::Delivered));
        let failed = told(r#"{"reference": "r1", "state": "failed", "why": "line\u0000\nbusy"}"#).unwrap();
        assert_eq!((failed.state, failed.why.as_deref()), (State::Failed, Some("linebusy")));
        let stop = told(r#"{"state": "opted_out", "from": "+1 (202) 555-0142", "more": 1}"#).unwrap();
        assert_eq!((stop.state, stop.from.as_deref()), (State::OptedOut, Some("+12025550142")));
        let start = told(r#"{"state": "opted_in", "from": "202-555-0142"}"#).unwrap();
        assert_eq!((start.state, start.from.as_deref()), (State::OptedIn, Some("2025550142")));
    }

    #[test]
    fn a_call_that_names_nobody_or_says_nothing_known_is_refused() {
        let refused = [
            r#"{"state": "delivered"}"#,
            r#"{"state": "failed", "from": "+12025550142"}"#,
            r#"{"state": "opted_out"}"#,
            r#"{"state": "opted_out", "from": "STOP"}"#,
            r#"{"state": "read", "reference": "r1"}"#,
            r#"{"reference": "r1"}"#,
            r#"[]"#,
            "",
        ];
        for body in refused {
            assert_eq!(told(body), Err(BadStatus::Form), "{body}");
        }
        let long = format!(r#"{{"state": "delivered", "reference": "{}"}}"#, "r".repeat(101));
        assert_eq!(told(&long), Err(BadStatus::Form));
        let huge = format!(r#"{{"state": "delivered", "reference": "r1"{}}}"#, " ".repeat(LONGEST_BYTES));
        assert_eq!(told(&huge), Err(BadStatus::Form));
    }

    #[test]
    fn an_old_call_is_not_believed_even_when_signed() {
        let body = br#"{"reference": "r1", "state": "delivered"}"#;
        for (age_s, expected) in [(300, true), (301, false), (-300, true), (-301, false)] {
            let time = (now().as_second() - age_s).to_string();
            let read = read_status(body, &time, &secret().sign(&time, body), &secret(), now());
            assert_eq!(read.is_ok(), expected, "{age_s}");
            assert!(expected || read == Err(BadStatus::Stale));
        }
    }

    #[test]
    fn a_call_signed_with_another_secret_or_for_another_body_is_refused() {
        let time = now().as_second().to_string();
        let body = br#"{"reference": "r1", "state": "delivered"}"#;
        let other = Secret::new(b"another secret of thirty-two bytes!").unwrap();
        assert_eq!(
            read_status(body, &time, &other.sign(&time, body), &secret(), now()),
            Err(BadStatus::Signature)
        );
        let signature = secret().sign(&time, body);
        let changed = br#"{"reference": "r2", "state": "delivered"}"#;
        assert_eq!(read_status(changed, &time, &signature, &secret(), now()), Err(BadStatus::Signature));
        let later = (now().as_second() + 1).to_string();
        assert_eq!(read_status(body, &later, &signature, &secret(), now()), Err(BadStatus::Signature));
    }

    proptest! {
        #[test]
        fn no_bytes_make_the_reader_fall_over(body: Vec<u8>, time: String, signature: String) {
            prop_assert!(read_status(&body, &time, &signature, &secret(), now()).is_err());
        }

        #[test]
        fn no_signed_bytes_make_the_reader_fall_over(body: String) {
            let _ = told(&body);
        }
    }
}
