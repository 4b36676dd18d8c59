//! How a wound's plan ends, and what must be known before it may.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::plan::coded;

coded! {
    /// Why a plan ended.
    pub enum EndWhy {
        /// The skin has closed: a surgeon says so.
        Healed = "healed",
        /// Somebody else looks after the wound now.
        Transferred = "transferred",
        /// Nobody could reach the patient any more.
        Lost = "lost",
    }
}

/// "Lost" needs this many calls that nobody answered since the patient was last heard of (safety promise M9).
pub const LOST_ATTEMPTS: usize = 2;
/// Two calls nearer to each other than this are one try: ours, no source.
pub const LOST_APART: SignedDuration = SignedDuration::from_hours(1);

/// Whether these unanswered calls, in any order, are tries at enough different times to call a patient lost.
pub fn tried_enough(mut calls: Vec<Timestamp>) -> bool {
    calls.sort();
    let mut tries: Vec<Timestamp> = Vec::new();
    for call in calls {
        if tries.last().is_none_or(|last| call.duration_since(*last) >= LOST_APART) {
            tries.push(call);
        }
    }
    tries.len() >= LOST_ATTEMPTS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_patient_is_lost_only_after_two_calls_at_least_an_hour_apart() {
        let at = |text: &str| text.parse::<Timestamp>().unwrap();
        let first = at("2026-03-04T15:00:00Z");
        assert!(!tried_enough(vec![]));
        assert!(!tried_enough(vec![first]));
        assert!(!tried_enough(vec![first, at("2026-03-04T15:59:59Z")]));
        assert!(tried_enough(vec![at("2026-03-04T16:00:00Z"), first]));
        assert!(!tried_enough(vec![first, at("2026-03-04T15:30:00Z"), at("2026-03-04T15:59:59Z")]));
    }
}
