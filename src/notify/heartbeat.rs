//! The sign of life to an outside checker: a number that only rises, signed with its time. It says nothing else.

use std::time::Duration;

use jiff::Timestamp;
use reqwest::Client;
use reqwest::Url;
use reqwest::header::CONTENT_TYPE;
use serde::Deserialize;
use serde::Serialize;

use crate::config::HeartbeatSettings;
use crate::notify::hosts::Hosts;
use crate::notify::post::client;
use crate::notify::secret;
use crate::notify::secret::Secret;

/// The headers the time and the signature go in.
pub const TIMESTAMP_HEADER: &str = "closewatch-timestamp";
pub const SIGNATURE_HEADER: &str = "closewatch-signature";
/// The longest sign of life read. A real one has some 40 bytes.
pub const LONGEST_BYTES: usize = 1_024;
const PATIENCE: Duration = Duration::from_secs(8);

#[derive(Serialize, Deserialize)]
struct Posted {
    version: u8,
    counter: i64,
}

/// Where signs of life go.
#[derive(Clone, Debug)]
pub struct Heart {
    url: Url,
    secret: Secret,
    client: Client,
}

impl Heart {
    /// `None`: no checker is set up.
    pub fn from_settings(settings: &HeartbeatSettings, hosts: &[String]) -> Result<Option<Heart>, String> {
        let Some(url) = &settings.heartbeat_url else { return Ok(None) };
        let file = settings
            .heartbeat_secret_file
            .as_deref()
            .ok_or("CLOSEWATCH_HEARTBEAT_URL needs CLOSEWATCH_HEARTBEAT_SECRET_FILE")?;
        let url = Hosts::new(hosts).web_address("CLOSEWATCH_HEARTBEAT_URL", url)?;
        Ok(Some(Heart { url, secret: Secret::from_file(file)?, client: client()? }))
    }

    /// Tells the checker that all is well. `now`: by the machine's own clock.
    pub async fn beat(&self, counter: i64, now: Timestamp) -> Result<(), String> {
        let body =
            serde_json::to_string(&Posted { version: 1, counter }).map_err(|fault| fault.to_string())?;
        let timestamp = now.as_second().to_string();
        let request = self
            .client
            .post(self.url.clone())
            .timeout(PATIENCE)
            .header(CONTENT_TYPE, "application/json")
            .header(SIGNATURE_HEADER, self.secret.sign(&timestamp, body.as_bytes()))
            .header(TIMESTAMP_HEADER, timestamp)
            .body(body);
        let answer = request.send().await.map_err(|_| "the checker does not answer".to_owned())?;
        if answer.status().is_success() {
            Ok(())
        } else {
            Err(format!("the checker answered {}", answer.status().as_u16()))
        }
    }
}

/// Why a sign of life is not believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BadBeat {
    #[error("not signed by the server")]
    Signature,
    #[error("its time is more than five minutes from ours")]
    Stale,
    #[error("heard before")]
    Replayed,
    #[error("no sign of life in the documented form")]
    Form,
}

/// Reads a sign of life; `heard` is the highest number heard so far.
pub fn read_beat(
    body: &[u8],
    timestamp: &str,
    signature: &str,
    secret: &Secret,
    heard: i64,
    now: Timestamp,
) -> Result<i64, BadBeat> {
    if body.len() > LONGEST_BYTES {
        return Err(BadBeat::Form);
    }
    if !secret.has_signed(timestamp, body, signature) {
        return Err(BadBeat::Signature);
    }
    if !secret::is_fresh(timestamp, now) {
        return Err(BadBeat::Stale);
    }
    let posted: Posted = serde_json::from_slice(body).map_err(|_| BadBeat::Form)?;
    if posted.version != 1 {
        return Err(BadBeat::Form);
    }
    if posted.counter <= heard { Err(BadBeat::Replayed) } else { Ok(posted.counter) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn secret() -> Secret {
        Secret::new(b"a shared secret of thirty-two bytes").unwrap()
    }

    fn now() -> Timestamp {
        Timestamp::from_second(1_772_481_600).unwrap()
    }

    fn read(body: &str, seconds_ago: i64, heard: i64) -> Result<i64, BadBeat> {
        let time = (now().as_second() - seconds_ago).to_string();
        read_beat(body.as_bytes(), &time, &secret().sign(&time, body.as_bytes()), &secret(), heard, now())
    }

    #[test]
    fn a_number_is_taken_once_and_only_when_it_rises() {
        let body = r#"{"version":1,"counter":7}"#;
        assert_eq!(read(body, 0, 6), Ok(7));
        assert_eq!(read(body, 0, 7), Err(BadBeat::Replayed));
        assert_eq!(read(body, 0, 8), Err(BadBeat::Replayed));
    }

    #[test]
    fn five_minutes_are_fresh_and_a_second_more_is_not() {
        let body = r#"{"version":1,"counter":7}"#;
        assert_eq!(read(body, 300, 0), Ok(7));
        assert_eq!(read(body, 301, 0), Err(BadBeat::Stale));
        assert_eq!(read(body, -301, 0), Err(BadBeat::Stale));
    }

    #[test]
    fn another_secret_another_time_and_another_body_are_not_believed() {
        let (body, time) = (br#"{"version":1,"counter":7}"#, now().as_second().to_string());
        let other = Secret::new(&[b'x'; 32]).unwrap();
        let signature = secret().sign(&time, body);
        let read =
            |body: &[u8], time: &str, secret: &Secret| read_beat(body, time, &signature, secret, 0, now());
        assert_eq!(read(body, &time, &secret()), Ok(7));
        assert_eq!(read(body, &time, &other), Err(BadBeat::Signature));
        assert_eq!(read(br#"{"version":1,"counter":8}"#, &time, &secret()), Err(BadBeat::Signature));
        assert_eq!(read(body, "1772481601", &secret()), Err(BadBeat::Signature));
        assert_eq!(read_beat(&[b' '; 1_025], &time, "v1=", &secret(), 0, now()), Err(BadBeat::Form));
    }

    #[test]
    fn a_form_of_another_day_is_no_sign_of_life() {
        for body in
            ["", "{}", r#"{"version":2,"counter":7}"#, r#"{"counter":7}"#, r#"{"version":1,"counter":"7"}"#]
        {
            assert_eq!(read(body, 0, 0), Err(BadBeat::Form), "{body}");
        }
    }

    #[test]
    fn a_checker_half_set_up_stops_the_start() {
        let hosts = ["127.0.0.1".to_owned()];
        let heart = |url: &str| {
            let settings =
                HeartbeatSettings { heartbeat_url: Some(url.to_owned()), heartbeat_secret_file: None };
            Heart::from_settings(&settings, &hosts)
        };
        assert!(heart("http://127.0.0.1:9/heartbeat").unwrap_err().contains("SECRET_FILE"));
        assert!(Heart::from_settings(&HeartbeatSettings::default(), &hosts).unwrap().is_none());
    }
}
