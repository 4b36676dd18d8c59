//! Two people swap shifts, or one takes another's: what is entered so that every time stays as covered as it was.

use jiff::Timestamp;

use crate::duty::roster::DatedShift;
use crate::duty::roster::DutySpan;
use crate::duty::roster::HORIZON;
use crate::duty::roster::Roster;
use crate::duty::timeline::Timeline;
use crate::ids::StaffId;

/// Why two shifts cannot be swapped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoSwap {
    /// Both are the same person's.
    SamePerson,
    /// One of them is not on duty all that time: the roster changed meanwhile.
    NotTheirs,
    /// Both are on duty in the same rank at the same time already, or the one who takes over is.
    OnAlready,
    /// Who takes over is away or switched off in that time.
    Away,
}

impl Roster {
    /// What to enter so that the two people swap these times. Each rank has as many people on duty as before.
    pub fn swap(&self, one: &DutySpan, other: &DutySpan) -> Result<[DatedShift; 2], NoSwap> {
        let overlap = one.rank == other.rank && one.from < other.until && other.from < one.until;
        if one.staff == other.staff {
            return Err(NoSwap::SamePerson);
        }
        if overlap {
            return Err(NoSwap::OnAlready);
        }
        Ok([self.takes_over(one, other.staff)?, self.takes_over(other, one.staff)?])
    }

    /// What to enter so that `taker` has this duty instead of whoever has it now.
    pub fn takes_over(&self, span: &DutySpan, taker: StaffId) -> Result<DatedShift, NoSwap> {
        if taker == span.staff {
            return Err(NoSwap::SamePerson);
        }
        // What is shown to choose from is never longer; laying out years would only take time.
        if span.until.duration_since(span.from) > HORIZON {
            return Err(NoSwap::NotTheirs);
        }
        let timeline = Timeline::of(self, span.from, span.until);
        let all = |holds: &dyn Fn(Timestamp) -> bool| {
            timeline.stretches(holds) == [(span.from, span.until)] && span.from < span.until
        };
        if !all(&|then| timeline.people(span.rank, then).contains(&span.staff)) {
            return Err(NoSwap::NotTheirs);
        }
        if !all(&|then| !timeline.people(span.rank, then).contains(&taker)) {
            return Err(NoSwap::OnAlready);
        }
        if !all(&|then| self.counts(taker, then)) {
            return Err(NoSwap::Away);
        }
        Ok(DatedShift {
            from: span.from,
            until: span.until,
            staff: taker,
            rank: span.rank,
            instead_of: Some(span.staff),
        })
    }
}
