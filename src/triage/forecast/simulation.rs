//! Weeks of reviewing played through: a reviewer who is free on duty takes the first check in the queue's own order and
//! is not interrupted.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use jiff::Timestamp;

use crate::triage::RankKey;
use crate::triage::Urgency;
use crate::triage::forecast::by_class::ByClass;
use crate::triage::forecast::draw::Check;
use crate::triage::forecast::draw::moment;
use crate::triage::forecast::duty::DutyWeek;
use crate::triage::rank_key;

/// In which order waiting checks are taken.
#[cfg_attr(
    not(test),
    expect(dead_code, reason = "the practice has one order; the others are what tests compare it with")
)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Order {
    /// The program's: effective class, due time, sequence; what is overdue counts one class higher.
    Programs,
    /// Class, then receipt; nothing climbs. What the formula describes.
    ClassOnly,
    FirstCome,
}

impl Order {
    /// Where a check stands at `now`, by the queue's own ranking: the other orders are that ranking with receipt in
    /// place of the due time, at a moment when nothing is overdue.
    fn key(self, urgency: Urgency, place: Place, now: Timestamp) -> RankKey {
        match self {
            Order::Programs => rank_key(urgency, place.due, place.sequence, now),
            Order::ClassOnly => rank_key(urgency, place.due, place.sequence, Timestamp::MIN),
            Order::FirstCome => rank_key(Urgency::OnTrack, place.due, place.sequence, Timestamp::MIN),
        }
    }

    fn due(self, check: &Check) -> Timestamp {
        match self {
            Order::Programs => check.due,
            Order::ClassOnly | Order::FirstCome => moment(check.received_ms),
        }
    }
}

/// Who reviews and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Cover {
    pub reviewers: u32,
    pub duty: DutyWeek,
}

/// What became of a check: milliseconds after the first Monday midnight.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Served {
    pub started_ms: i64,
    pub ended_ms: i64,
}

/// Within one class: soonest due, then first received.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Place {
    due: Timestamp,
    sequence: u64,
}

/// The waiting checks. Of one class only the soonest due can be next: whatever of it is overdue is due sooner than
/// whatever is not, so the queue's order between two checks of a class never turns round.
struct Waiting {
    order: Order,
    by_class: ByClass<BinaryHeap<Reverse<Place>>>,
    count: usize,
}

impl Waiting {
    fn add(&mut self, sequence: usize, check: &Check) {
        let place = Place { due: self.order.due(check), sequence: sequence as u64 };
        self.by_class.of_mut(check.urgency).push(Reverse(place));
        self.count += 1;
    }

    /// Takes out whoever is read first at `now`.
    fn take(&mut self, now: Timestamp) -> Option<usize> {
        let heads = self.by_class.iter().filter_map(|(urgency, heap)| {
            let Reverse(place) = heap.peek()?;
            Some((self.order.key(urgency, *place, now), urgency))
        });
        let (_, urgency) = heads.min_by_key(|(key, _)| *key)?;
        let Reverse(place) = self.by_class.of_mut(urgency).pop()?;
        self.count -= 1;
        usize::try_from(place.sequence).ok()
    }
}

/// Plays the weeks through until every check is reviewed. `checks` in order of receipt; the result in the same order.
/// `length_ms` says how long the next review takes, given how many were begun before it and the check. A review begun
/// on duty is finished, also past the end of duty. `None`: nobody is ever on duty.
pub(super) fn play(
    checks: &[Check],
    cover: &Cover,
    order: Order,
    mut length_ms: impl FnMut(usize, &Check) -> i64,
) -> Option<Vec<Served>> {
    let mut waiting = Waiting { order, by_class: ByClass::of_each(|_| BinaryHeap::new()), count: 0 };
    let mut served = vec![Served { started_ms: i64::MIN, ended_ms: i64::MIN }; checks.len()];
    let mut busy_until: BinaryHeap<Reverse<i64>> = BinaryHeap::new();
    let reviewers = usize::try_from(cover.reviewers).ok()?;
    let (mut now, mut arrived, mut begun) = (i64::MIN, 0, 0);
    while begun < checks.len() {
        let comes = checks.get(arrived).map(|check| check.received_ms);
        let opens = match (waiting.count, busy_until.len() < reviewers) {
            (0, _) => None,
            (_, true) => cover.duty.next_open(now),
            (_, false) => busy_until.peek().map(|Reverse(end)| *end),
        };
        now = comes.into_iter().chain(opens).min()?;
        while busy_until.peek().is_some_and(|Reverse(end)| *end <= now) {
            busy_until.pop();
        }
        while checks.get(arrived).is_some_and(|check| check.received_ms <= now) {
            waiting.add(arrived, &checks[arrived]);
            arrived += 1;
        }
        while busy_until.len() < reviewers && cover.duty.is_open(now) {
            let Some(place) = waiting.take(moment(now)) else { break };
            let ended_ms = now + length_ms(begun, &checks[place]).max(1);
            served[place] = Served { started_ms: now, ended_ms };
            busy_until.push(Reverse(ended_ms));
            begun += 1;
        }
    }
    Some(served)
}
