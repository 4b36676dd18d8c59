//! Whether anybody watches, whoever it is: what a patient must know before and after sending.

use jiff::Timestamp;

use crate::duty::hours::Hours;
use crate::duty::roster::Rank;
use crate::duty::roster::Roster;
use crate::duty::roster::horizon;
use crate::duty::timeline::Timeline;

/// Whether somebody watches at an instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Watch {
    Somebody {
        /// Until when without a break, whoever takes over in between. `None`: as far as is looked ahead.
        until: Option<Timestamp>,
    },
    Nobody {
        /// When somebody watches again. `None`: nobody is entered as far as is looked ahead.
        again: Option<Timestamp>,
    },
}

impl Roster {
    /// Whether anybody of any rank is on duty at `at`, looking 14 days ahead.
    pub fn watch(&self, at: Timestamp) -> Watch {
        let end = horizon(at);
        let timeline = Timeline::of(self, at, end);
        let watched = |then: Timestamp| Rank::ALL.iter().any(|rank| !timeline.people(*rank, then).is_empty());
        if watched(at) {
            let until = timeline.next_change(at, watched);
            Watch::Somebody { until: (until < end).then_some(until) }
        } else {
            let again = timeline.next_change(at, |then| !watched(then));
            Watch::Nobody { again: (again < end).then_some(again) }
        }
    }

    /// The same, and by the practice's hours where no roster is kept yet: a practice that entered its hours and no
    /// shifts said that somebody answers then.
    pub fn watch_or_hours(&self, hours: &Hours, at: Timestamp) -> Watch {
        if !self.is_blank() {
            return self.watch(at);
        }
        match hours.closes(at) {
            Some(until) => Watch::Somebody { until: Some(until) },
            None => Watch::Nobody { again: hours.opens_next(at) },
        }
    }
}
