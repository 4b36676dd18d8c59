//! Guessing at patient links and typed codes (safety promise C13): few from one network, and many in an hour are an alarm.
//! A link that is known is never asked how often it came.

use std::collections::VecDeque;
use std::net::IpAddr;
use std::sync::Mutex;
use std::sync::PoisonError;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::alarms::of_practice;
use crate::care::alarms::of_practice::Actions;
use crate::care::gates::Network;
use crate::care::gates::Tally;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::alarms::AlarmKind;

/// Unknown links and codes from one network,
pub const UNKNOWN: usize = 20;
/// within this long.
pub const UNKNOWN_WITHIN: SignedDuration = SignedDuration::from_mins(1);
/// Unknown ones from everywhere,
pub const ALARM_AT: usize = 1_000;
/// within this long, are an alarm.
pub const ALARM_WITHIN: SignedDuration = SignedDuration::from_hours(1);
/// Codes with a known beginning are looked at beyond the limit too, so often within a minute: somebody's own code must open
/// though others guess from the same network.
const KNOWN_BEGINNING: usize = 6;

/// What was guessed lately.
#[derive(Debug)]
pub(in crate::care) struct Guesses {
    unknown: Tally<Network>,
    beginnings: Tally<String>,
    /// The newest, as many as make an alarm.
    all: Mutex<VecDeque<Timestamp>>,
}

impl Default for Guesses {
    fn default() -> Guesses {
        Guesses {
            unknown: Tally::new(UNKNOWN, UNKNOWN_WITHIN),
            beginnings: Tally::new(KNOWN_BEGINNING, UNKNOWN_WITHIN),
            all: Mutex::default(),
        }
    }
}

impl Guesses {
    /// Counts a link or code that nobody has. `from`: `None` where there is no network to count it at. An error: it was one too
    /// many from there.
    pub fn note(&self, from: Option<IpAddr>, now: Timestamp) -> Done<()> {
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.push_back(now);
        if all.len() > ALARM_AT {
            all.pop_front();
        }
        drop(all);
        let Some(from) = from else { return Ok(()) };
        self.unknown.count(&Network::of(from), now).map_err(|again| {
            tracing::warn!("too many unknown links or codes from one network");
            CareError::TooMany { again }
        })
    }

    /// Whether a code with a known beginning is worth a hash. An error: too many came from there, and too many begin like this.
    pub fn may_look(&self, from: Option<IpAddr>, beginning: &str, now: Timestamp) -> Done<()> {
        let full = from.and_then(|from| self.unknown.full_for(&Network::of(from), now));
        match full {
            None => Ok(()),
            Some(_) => self
                .beginnings
                .count(&beginning.to_owned(), now)
                .map_err(|again| CareError::TooMany { again }),
        }
    }

    fn is_alarming(&self, now: Timestamp) -> bool {
        let all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.len() >= ALARM_AT && all.iter().all(|at| now.duration_since(*at).abs() < ALARM_WITHIN)
    }
}

/// Raises the alarm of one practice, or ends it.
pub(in crate::care) async fn see_to(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<()> {
    let is_alarming = desk.gates.guesses.is_alarming(moment.now);
    let actions = Actions { begins: "links.guessed", ends: "links.quiet" };
    of_practice::set(desk, practice, AlarmKind::LinksGuessed, is_alarming, actions, "", moment).await
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_second(1_000_000 + seconds).unwrap()
    }

    #[test]
    fn the_thousandth_within_an_hour_is_alarming_and_no_longer_an_hour_later() {
        let guesses = Guesses::default();
        for number in 0..999 {
            guesses.note(None, at(number)).unwrap();
        }
        assert!(!guesses.is_alarming(at(999)));
        guesses.note(None, at(3_599)).unwrap();
        assert!(guesses.is_alarming(at(3_599)));
        assert!(!guesses.is_alarming(at(3_600)), "the first is an hour old");
    }

    #[test]
    fn the_twenty_first_in_a_minute_waits_and_those_refused_count_for_the_alarm() {
        let guesses = Guesses::default();
        let from = Some("192.0.2.7".parse().unwrap());
        for _ in 0..20 {
            guesses.note(from, at(0)).unwrap();
        }
        for _ in 0..980 {
            let refused = guesses.note(from, at(1));
            assert!(matches!(refused, Err(CareError::TooMany { again }) if again.as_secs() == 59));
        }
        assert!(guesses.is_alarming(at(2)));
        guesses.note(Some("192.0.2.8".parse().unwrap()), at(2)).unwrap();
        guesses.note(from, at(60)).unwrap();
    }

    #[test]
    fn a_code_with_a_known_beginning_is_looked_at_though_others_guess_from_there() {
        let guesses = Guesses::default();
        let from = Some("192.0.2.7".parse().unwrap());
        for _ in 0..20 {
            guesses.note(from, at(0)).unwrap();
        }
        for _ in 0..KNOWN_BEGINNING {
            guesses.may_look(from, "K7QM", at(1)).unwrap();
        }
        assert!(guesses.may_look(from, "K7QM", at(1)).is_err());
        guesses.may_look(from, "ABCD", at(1)).unwrap();
        guesses.may_look(Some("192.0.2.8".parse().unwrap()), "K7QM", at(1)).unwrap();
    }
}
