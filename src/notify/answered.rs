//! What a provider's answer over HTTP comes to.

use std::error::Error;
use std::time::Duration;

use jiff::SignedDuration;
use jiff::Timestamp;
use reqwest::Response;
use reqwest::StatusCode;
use reqwest::header::RETRY_AFTER;

use crate::notify::letter::Refused;

/// The longest a provider may ask to be left alone. Ours: a lying provider must not silence a practice for a day.
const LONGEST_WAIT: SignedDuration = SignedDuration::from_hours(1);

/// How much of an answer is read. An id needs a few hundred bytes.
const LONGEST_ANSWER_BYTES: usize = 64 * 1024;

/// How long the rest of an answer is waited for, once its status was good. Ours: well within the patience for a letter.
const REST_WAIT: Duration = Duration::from_secs(2);

/// What the status says. `Ok` is "taken".
pub(crate) fn verdict(response: &Response, now: Timestamp) -> Result<(), Refused> {
    let asked = response.headers().get(RETRY_AFTER).and_then(|value| value.to_str().ok());
    verdict_of(response.status(), asked, now)
}

fn verdict_of(status: StatusCode, retry_after: Option<&str>, now: Timestamp) -> Result<(), Refused> {
    let why = format!("the provider answered {}", status.as_u16());
    match status.as_u16() {
        200..=299 => Ok(()),
        // Followed nowhere: the new place is on nobody's list.
        300..=399 => Err(Refused::later(format!("{why}: a redirect, which is not followed"))),
        // Our secret or our clock is wrong, not the address: the same letter may go through once that is mended.
        401 | 403 | 407 => Err(Refused::later(format!("{why}: it does not accept our signature or key"))),
        408 | 425 | 429 | 500..=599 => {
            let after = retry_after.and_then(|text| wait(text, now));
            Err(Refused::Later { why, after })
        }
        404 | 410 => Err(Refused::never(format!("{why}: it does not know this address"))),
        _ => Err(Refused::never(why)),
    }
}

/// `Retry-After` in seconds or as a date (RFC 9110, 10.2.3); `None` when it is neither. Never more than an hour.
fn wait(text: &str, now: Timestamp) -> Option<SignedDuration> {
    let text = text.trim();
    let asked = match text.parse::<u32>() {
        Ok(seconds) => SignedDuration::from_secs(i64::from(seconds)),
        Err(_) => jiff::fmt::rfc2822::parse(text).ok()?.timestamp().duration_since(now),
    };
    Some(asked.clamp(SignedDuration::ZERO, LONGEST_WAIT))
}

/// The answer's body as far as it is of use. One that is too long, breaks off or never ends is nothing: the status
/// had already said that the letter was taken.
pub(crate) async fn body(response: &mut Response) -> Option<Vec<u8>> {
    tokio::time::timeout(REST_WAIT, read_out(response)).await.ok()?
}

async fn read_out(response: &mut Response) -> Option<Vec<u8>> {
    let mut read = Vec::new();
    while let Some(piece) = response.chunk().await.ok()? {
        if read.len() + piece.len() > LONGEST_ANSWER_BYTES {
            return None;
        }
        read.extend_from_slice(&piece);
    }
    Some(read)
}

/// Why a request came to nothing, without its address.
pub(crate) fn unreached(fault: &reqwest::Error) -> Refused {
    let why = if fault.is_timeout() {
        "the provider did not answer in time"
    } else if is_about_certificate(fault) {
        "the provider's certificate is not valid"
    } else if fault.is_connect() {
        "the provider could not be reached"
    } else {
        "the provider broke off"
    };
    Refused::later(why)
}

/// Whether the other side could not show that it is who it says.
pub(crate) fn is_about_certificate(fault: &dyn Error) -> bool {
    let mut cause = fault.source();
    while let Some(inner) = cause {
        if inner.to_string().contains("certificate") {
            return true;
        }
        cause = inner.source();
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now() -> Timestamp {
        "2026-03-02T20:00:00Z".parse().unwrap()
    }

    fn answered(status: u16, retry_after: Option<&str>) -> Result<(), Refused> {
        verdict_of(StatusCode::from_u16(status).unwrap(), retry_after, now())
    }

    #[test]
    fn every_status_comes_to_taken_later_or_never() {
        for status in 100..=599 {
            let verdict = answered(status, None);
            let expected = match status {
                200..=299 => "taken",
                300..=399 | 401 | 403 | 407 | 408 | 425 | 429 | 500..=599 => "later",
                _ => "never",
            };
            let came = match verdict {
                Ok(()) => "taken",
                Err(Refused::Later { .. }) => "later",
                Err(Refused::Never { .. }) => "never",
                Err(Refused::Gone { .. }) => "gone",
            };
            assert_eq!(came, expected, "{status}");
        }
    }

    #[test]
    fn a_busy_provider_is_left_alone_as_long_as_it_asks_but_an_hour_at_most() {
        let wait = |asked| match answered(429, Some(asked)) {
            Err(Refused::Later { after, .. }) => after,
            other => panic!("{other:?}"),
        };
        assert_eq!(wait("0"), Some(SignedDuration::ZERO));
        assert_eq!(wait("120"), Some(SignedDuration::from_secs(120)));
        assert_eq!(wait("3601"), Some(SignedDuration::from_hours(1)));
        assert_eq!(wait("4000000000"), Some(SignedDuration::from_hours(1)));
        assert_eq!(wait("Mon, 02 Mar 2026 20:01:30 GMT"), Some(SignedDuration::from_secs(90)));
        assert_eq!(wait("Mon, 02 Mar 2026 19:00:00 GMT"), Some(SignedDuration::ZERO));
        assert_eq!(wait("Mon, 02 Mar 2099 19:00:00 GMT"), Some(SignedDuration::from_hours(1)));
        for nonsense in ["", "soon", "-5", "1.5", "99999999999999999999"] {
            assert_eq!(wait(nonsense), None, "{nonsense:?}");
        }
    }
}
