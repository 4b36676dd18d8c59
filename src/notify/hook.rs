//! Texts and calls by a signed webhook, in this program's own form (README, "Messages to patients and staff").

use jiff::Timestamp;
use reqwest::Client;
use reqwest::Url;
use reqwest::header::CONTENT_TYPE;
use serde::Deserialize;
use serde::Serialize;

use crate::notify::answered;
use crate::notify::letter::Accepted;
use crate::notify::letter::Letter;
use crate::notify::letter::Refused;
use crate::notify::letter::dialled;
use crate::notify::secret::Secret;

/// One address that takes letters for a phone.
#[derive(Clone, Debug)]
pub(crate) struct Hook {
    pub url: Url,
    pub secret: Secret,
    pub client: Client,
}

/// What is posted.
#[derive(Serialize)]
struct Posted<'a> {
    version: u8,
    reference: &'a str,
    channel: &'a str,
    to: &'a str,
    language: &'a str,
    text: &'a str,
}

/// What is read of the answer.
#[derive(Deserialize)]
struct Answer {
    id: Option<serde_json::Value>,
}

impl Hook {
    pub async fn take(&self, letter: &Letter, number: &str, now: Timestamp) -> Result<Accepted, Refused> {
        let number = dialled(number).map_err(|fault| Refused::never(fault.to_string()))?;
        let body = posted(letter, &number);
        let timestamp = now.as_second().to_string();
        let request = self
            .client
            .post(self.url.clone())
            .header(CONTENT_TYPE, "application/json")
            .header("Idempotency-Key", &letter.reference)
            .header("Closewatch-Signature", self.secret.sign(&timestamp, body.as_bytes()))
            .header("Closewatch-Timestamp", timestamp)
            .body(body);
        let mut response = request.send().await.map_err(|fault| answered::unreached(&fault))?;
        answered::verdict(&response, now)?;
        let provider_id = answered::body(&mut response).await.and_then(|body| id_in(&body));
        Ok(Accepted { provider_id })
    }
}

fn posted(letter: &Letter, number: &str) -> String {
    let posted = Posted {
        version: 1,
        reference: &letter.reference,
        channel: letter.to.channel().code(),
        to: number,
        language: letter.language,
        text: &letter.body,
    };
    serde_json::to_string(&posted).expect("texts and a number are always JSON")
}

/// The provider's `id`, a text or a number, when there is a usable one.
fn id_in(body: &[u8]) -> Option<String> {
    let answer: Answer = serde_json::from_slice(body).ok()?;
    let id = match answer.id? {
        serde_json::Value::String(text) => text,
        serde_json::Value::Number(number) => number.to_string(),
        _ => return None,
    };
    let usable = (1..=200).contains(&id.len()) && !id.chars().any(char::is_control);
    usable.then_some(id)
}

#[cfg(test)]
mod tests {
    use super::*;

    use crate::notify::Address;

    #[test]
    fn what_is_posted_is_what_the_readme_says() {
        let letter = Letter {
            to: Address::Voice("+1 202-555-0142".to_owned()),
            subject: "not posted".to_owned(),
            body: "Llame al \"consultorio\".".to_owned(),
            reference: "r-1".to_owned(),
            language: "es",
        };
        assert_eq!(
            posted(&letter, "+12025550142"),
            r#"{"version":1,"reference":"r-1","channel":"voice","to":"+12025550142","language":"es","text":"Llame al \"consultorio\"."}"#
        );
    }

    #[test]
    fn the_providers_id_is_a_text_or_a_number_or_nothing() {
        assert_eq!(id_in(br#"{"id": "m-1", "more": []}"#).as_deref(), Some("m-1"));
        assert_eq!(id_in(br#"{"id": 17}"#).as_deref(), Some("17"));
        for nothing in
            [&br#"{"id": ""}"#[..], br#"{"id": null}"#, br#"{"id": {}}"#, b"{}", b"OK", b"", b"\xff"]
        {
            assert_eq!(id_in(nothing), None);
        }
        assert_eq!(id_in(format!(r#"{{"id": "{}"}}"#, "x".repeat(201)).as_bytes()), None);
        assert_eq!(id_in(br#"{"id": "a\nb"}"#), None);
    }
}
