//! The roster: a weekly pattern, what replaces it on dates, who is away, and who is on duty at an instant by all that.

use std::collections::BTreeSet;

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::Weekday;
use jiff::tz::TimeZone;

use crate::duty::timeline::Timeline;
use crate::ids::StaffId;
use crate::plan::coded;

/// No answer looks further ahead than this: who is on duty for longer is on duty at least so long.
pub const HORIZON: SignedDuration = SignedDuration::from_hours(14 * 24);

/// Gaps are looked for within a year at most.
const MOST_DAYS: i64 = 366;

coded! {
    /// Who is asked first, and who when the first does not answer.
    pub enum Rank { First = "first", Second = "second" }
}

/// A shift of every week, in the practice's own clock.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WeeklyShift {
    /// The day it begins on.
    pub weekday: Weekday,
    /// Minutes after midnight, 0–1439.
    pub from_minute: i64,
    /// Minutes after midnight, 0–1440. Not after `from_minute`: it ends the next day, a day later at most.
    pub until_minute: i64,
    pub staff: StaffId,
    pub rank: Rank,
}

/// A shift on a date. It replaces what stood before it for its time and rank.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DatedShift {
    pub from: Timestamp,
    /// The first instant it does not hold. Not after `from`: it is no shift.
    pub until: Timestamp,
    pub staff: StaffId,
    pub rank: Rank,
    /// Whose duty it takes over, and nobody else's. `None`: it replaces the whole weekly pattern for its time and rank;
    /// several such shifts stand beside each other.
    pub instead_of: Option<StaffId>,
}

/// Somebody is away: no duty of theirs counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Absence {
    pub staff: StaffId,
    pub from: Timestamp,
    pub until: Timestamp,
}

/// Everything that says who is on duty.
#[derive(Clone, Debug)]
pub struct Roster {
    pub zone: TimeZone,
    pub weekly: Vec<WeeklyShift>,
    /// In the order they were entered: a later one stands over an earlier one.
    pub dated: Vec<DatedShift>,
    pub absences: Vec<Absence>,
    /// Switched off: they never count, whatever is entered for them.
    pub removed: BTreeSet<StaffId>,
}

/// Somebody on duty at an instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OnDuty {
    pub staff: StaffId,
    pub rank: Rank,
    /// Until when without a break; at most [`HORIZON`] ahead.
    pub until: Timestamp,
}

/// A time in which nobody of a rank is on duty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gap {
    pub from: Timestamp,
    pub until: Timestamp,
    pub rank: Rank,
}

/// A time in which one person is on duty without a break.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DutySpan {
    pub from: Timestamp,
    pub until: Timestamp,
    pub staff: StaffId,
    pub rank: Rank,
}

impl Roster {
    /// A roster in which nothing was entered.
    pub fn empty(zone: TimeZone) -> Roster {
        Roster { zone, weekly: Vec::new(), dated: Vec::new(), absences: Vec::new(), removed: BTreeSet::new() }
    }

    /// Whether no shift was ever entered: the practice does not keep a roster yet.
    pub fn is_blank(&self) -> bool {
        self.weekly.is_empty() && self.dated.is_empty()
    }

    /// Whether anybody was ever entered for this rank.
    pub fn keeps(&self, rank: Rank) -> bool {
        self.weekly.iter().any(|shift| shift.rank == rank)
            || self.dated.iter().any(|shift| shift.rank == rank)
    }

    /// Who is on duty at `at`, the first rank first. Empty: nobody.
    pub fn on_duty(&self, at: Timestamp) -> Vec<OnDuty> {
        let timeline = Timeline::of(self, at, horizon(at));
        let mut on = Vec::new();
        for rank in Rank::ALL {
            for staff in timeline.people(*rank, at) {
                let until = timeline.next_change(at, |then| timeline.people(*rank, then).contains(&staff));
                on.push(OnDuty { staff, rank: *rank, until });
            }
        }
        on
    }

    /// Every time within `days` of 24 hours from `from` in which nobody of a rank is on duty. The second rank counts
    /// only in a practice that keeps one.
    pub fn gaps(&self, from: Timestamp, days: i64) -> Vec<Gap> {
        let hours = SignedDuration::from_hours(days.clamp(0, MOST_DAYS) * 24);
        let end = from.saturating_add(hours).unwrap_or(from);
        let timeline = Timeline::of(self, from, end);
        let mut gaps: Vec<Gap> = Vec::new();
        for rank in Rank::ALL {
            if *rank == Rank::Second && !self.keeps(Rank::Second) {
                continue;
            }
            let empty = timeline.stretches(|then| timeline.people(*rank, then).is_empty());
            gaps.extend(empty.into_iter().map(|(from, until)| Gap { from, until, rank: *rank }));
        }
        gaps.sort_by_key(|gap| (gap.from, gap.rank));
        gaps
    }

    /// Who is on duty when between `from` and `until`, cut there; by beginning, the first rank first.
    pub fn spans(&self, from: Timestamp, until: Timestamp) -> Vec<DutySpan> {
        let timeline = Timeline::of(self, from, until);
        let mut spans = Vec::new();
        for rank in Rank::ALL {
            for staff in self.everyone() {
                let on = timeline.stretches(|then| timeline.people(*rank, then).contains(&staff));
                let span = |(from, until)| DutySpan { from, until, staff, rank: *rank };
                spans.extend(on.into_iter().map(span));
            }
        }
        spans.sort_by_key(|span| (span.from, span.rank, span.staff));
        spans
    }

    /// Everybody some shift was entered for.
    fn everyone(&self) -> BTreeSet<StaffId> {
        self.weekly
            .iter()
            .map(|shift| shift.staff)
            .chain(self.dated.iter().map(|shift| shift.staff))
            .collect()
    }

    /// Whether a person's duty counts at `at`: here, and not switched off.
    pub(super) fn counts(&self, staff: StaffId, at: Timestamp) -> bool {
        let away = |absence: &Absence| absence.staff == staff && absence.from <= at && at < absence.until;
        !self.removed.contains(&staff) && !self.absences.iter().any(away)
    }
}

/// The end of what is looked at from `at`.
pub(super) fn horizon(at: Timestamp) -> Timestamp {
    at.saturating_add(HORIZON).unwrap_or(at)
}
