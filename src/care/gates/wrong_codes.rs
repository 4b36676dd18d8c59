//! Guessing at sealed codes (safety promise H2): few from one network, and several within an hour are an alarm.

use std::collections::VecDeque;
use std::net::IpAddr;
use std::sync::Mutex;
use std::sync::PoisonError;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Done;
use crate::care::gates::Network;
use crate::care::gates::Tally;

/// Wrong sealed codes from one network (ours: whoever holds the paper mistypes less often),
pub const WRONG: usize = 5;
/// within this long.
pub const WRONG_WITHIN: SignedDuration = SignedDuration::from_mins(10);
/// Wrong ones from everywhere,
pub const ALARM_AT: usize = 10;
/// within this long, are an alarm.
pub const ALARM_WITHIN: SignedDuration = SignedDuration::from_hours(1);

/// What was typed wrong lately.
#[derive(Debug)]
pub(in crate::care) struct WrongCodes {
    from: Tally<Network>,
    /// The newest, as many as make an alarm.
    all: Mutex<VecDeque<Timestamp>>,
}

impl Default for WrongCodes {
    fn default() -> WrongCodes {
        WrongCodes { from: Tally::new(WRONG, WRONG_WITHIN), all: Mutex::default() }
    }
}

impl WrongCodes {
    /// Whether a code from there is looked at. `from`: `None` where there is no network to count it at.
    pub fn may_try(&self, from: Option<IpAddr>, now: Timestamp) -> Done<()> {
        match from.and_then(|from| self.from.full_for(&Network::of(from), now)) {
            None => Ok(()),
            Some(again) => Err(CareError::TooMany { again }),
        }
    }

    /// Counts one that was wrong.
    pub fn note(&self, from: Option<IpAddr>, now: Timestamp) {
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.push_back(now);
        if all.len() > ALARM_AT {
            all.pop_front();
        }
        drop(all);
        // Of several at once the last may come too late to be counted: they were looked at all the same.
        let _ = from.map(|from| self.from.count(&Network::of(from), now));
    }

    pub fn is_alarming(&self, now: Timestamp) -> bool {
        let all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.len() >= ALARM_AT && all.iter().all(|at| now.duration_since(*at).abs() < ALARM_WITHIN)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_second(1_000_000 + seconds).unwrap()
    }

    #[test]
    fn after_five_wrong_ones_nothing_from_there_is_looked_at_for_ten_minutes_and_others_are() {
        let codes = WrongCodes::default();
        let from = Some("192.0.2.7".parse().unwrap());
        for second in 0..5 {
            codes.may_try(from, at(second)).unwrap();
            codes.note(from, at(second));
        }
        let refused = codes.may_try(from, at(5));
        assert!(matches!(refused, Err(CareError::TooMany { again }) if again.as_secs() == 595));
        codes.may_try(Some("192.0.2.8".parse().unwrap()), at(5)).unwrap();
        codes.may_try(None, at(5)).unwrap();
        codes.may_try(from, at(600)).unwrap();
    }

    #[test]
    fn the_tenth_wrong_one_within_an_hour_is_alarming() {
        let codes = WrongCodes::default();
        for minute in 0..9 {
            codes.note(None, at(60 * minute));
        }
        assert!(!codes.is_alarming(at(60 * 9)));
        codes.note(None, at(60 * 59));
        assert!(codes.is_alarming(at(60 * 59)));
        assert!(!codes.is_alarming(at(60 * 60)), "the first is an hour old");
    }
}
