//! Web push (RFC 8030): a sealed message to one browser, by way of that browser's push service.

use data_encoding::BASE64URL_NOPAD;
use jiff::Timestamp;
use reqwest::Client;
use reqwest::Url;
use reqwest::header::AUTHORIZATION;
use reqwest::header::CONTENT_ENCODING;
use reqwest::header::CONTENT_TYPE;
use sha2::Digest;
use sha2::Sha256;

use crate::ids::Chance;
use crate::notify::answered;
use crate::notify::hosts::Hosts;
use crate::notify::letter::Accepted;
use crate::notify::letter::Letter;
use crate::notify::letter::PushSubscription;
use crate::notify::letter::Refused;
use crate::notify::seal::Browser;
use crate::notify::vapid::Vapid;

/// How long a push service keeps a message for a browser that is off. Ours: after a day, the ladder has long gone on.
const KEPT_SECONDS: u32 = 86_400;

/// What is needed to reach browsers.
#[derive(Clone, Debug)]
pub(crate) struct Push {
    pub vapid: Vapid,
    pub hosts: Hosts,
    pub client: Client,
    pub chance: Chance,
}

impl Push {
    pub async fn take(
        &self,
        letter: &Letter,
        to: &PushSubscription,
        now: Timestamp,
    ) -> Result<Accepted, Refused> {
        let endpoint = Url::parse(&to.endpoint).map_err(|_| Refused::never("no push address"))?;
        self.hosts.check(&endpoint).map_err(Refused::never)?;
        let browser = Browser::read(to).ok_or_else(|| Refused::never("no push keys"))?;
        let sealed = browser
            .seal(message(letter).as_bytes(), &self.chance)
            .ok_or_else(|| Refused::never("the text is too long for a push message"))?;
        let request = self
            .client
            .post(endpoint.clone())
            .header(AUTHORIZATION, self.vapid.authorization(&endpoint, now))
            .header(CONTENT_TYPE, "application/octet-stream")
            .header(CONTENT_ENCODING, "aes128gcm")
            .header("TTL", KEPT_SECONDS)
            .header("Urgency", "high")
            .header("Topic", topic(&letter.reference))
            .body(sealed);
        let response = request.send().await.map_err(|fault| answered::unreached(&fault))?;
        // RFC 8030, 7.3: 404 for a subscription that has expired; services answer 410 as well.
        if matches!(response.status().as_u16(), 404 | 410) {
            return Err(Refused::Gone { why: "the browser does not take messages any more".to_owned() });
        }
        answered::verdict(&response, now)?;
        Ok(Accepted { provider_id: None })
    }
}

/// What the browser's worker reads. `tag` lets a letter that came twice be shown once.
fn message(letter: &Letter) -> String {
    serde_json::json!({
        "title": letter.subject,
        "body": letter.body,
        "lang": letter.language,
        "tag": letter.reference,
    })
    .to_string()
}

/// A letter tried again replaces itself at the push service (RFC 8030, 5.4: at most 32 letters of base64url).
fn topic(reference: &str) -> String {
    BASE64URL_NOPAD.encode(&Sha256::digest(reference.as_bytes())[..16])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_topic_is_short_and_the_same_for_every_try() {
        assert_eq!(topic("r1"), topic("r1"));
        assert_ne!(topic("r1"), topic("r2"));
        assert!(topic(&"x".repeat(100)).len() <= 32);
    }
}
