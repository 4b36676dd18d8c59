//! How soon a person must act on a wound check: five classes, never more.

use crate::plan::coded;

coded! {
    /// How soon a person must act. More urgent is greater: `max` of two is the safer one.
    pub enum Urgency {
        OnTrack = "on_track",
        /// By the next working day.
        Tomorrow = "tomorrow",
        Today = "today",
        /// A voice within the hour.
        RingNow = "ring_now",
        /// Emergency advice on the screen at once; staff ring to check that they went.
        GoNow = "go_now",
    }
}

impl Urgency {
    /// What staff read.
    pub fn staff_words(self) -> &'static str {
        match self {
            Urgency::GoNow => "Go now",
            Urgency::RingNow => "Ring within the hour",
            Urgency::Today => "Today",
            Urgency::Tomorrow => "By next working day",
            Urgency::OnTrack => "On track",
        }
    }

    /// Reading order: 0 for `GoNow`, which is read first, to 4 for `OnTrack`.
    pub fn rank(self) -> u8 {
        match self {
            Urgency::GoNow => 0,
            Urgency::RingNow => 1,
            Urgency::Today => 2,
            Urgency::Tomorrow => 3,
            Urgency::OnTrack => 4,
        }
    }

    /// The class read at this place; `None` for a rank above 4.
    pub fn from_rank(rank: u8) -> Option<Urgency> {
        Urgency::ALL.iter().copied().find(|urgency| urgency.rank() == rank)
    }

    /// One class more urgent; `GoNow` stays what it is.
    pub fn raised_once(self) -> Urgency {
        match self {
            Urgency::GoNow | Urgency::RingNow => Urgency::GoNow,
            Urgency::Today => Urgency::RingNow,
            Urgency::Tomorrow => Urgency::Today,
            Urgency::OnTrack => Urgency::Tomorrow,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_more_urgent_class_is_greater_and_is_read_earlier() {
        for pair in Urgency::ALL.windows(2) {
            assert!(pair[1] > pair[0] && pair[1].rank() + 1 == pair[0].rank(), "{pair:?}");
            assert_eq!(pair[0].raised_once(), pair[1]);
        }
        assert_eq!(Urgency::GoNow.rank(), 0);
        assert_eq!(Urgency::GoNow.raised_once(), Urgency::GoNow);
    }
}
