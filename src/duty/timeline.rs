//! A roster laid out over a stretch of time: the instants at which anything can change, and who is on at each.

use std::collections::BTreeSet;

use jiff::Timestamp;
use jiff::ToSpan;
use jiff::civil::Date;

use crate::duty::local::DAY_MINUTES;
use crate::duty::local::instant;
use crate::duty::roster::DatedShift;
use crate::duty::roster::Rank;
use crate::duty::roster::Roster;
use crate::duty::roster::WeeklyShift;
use crate::ids::StaffId;

/// One shift of the weekly pattern on a day.
#[derive(Clone, Copy, Debug)]
struct Fallen {
    from: Timestamp,
    until: Timestamp,
    staff: StaffId,
    rank: Rank,
}

/// The roster between two instants.
#[derive(Debug)]
pub(super) struct Timeline<'a> {
    roster: &'a Roster,
    weekly: Vec<Fallen>,
    dated: Vec<&'a DatedShift>,
    /// Every instant at which somebody can begin or end, in order, the two ends among them.
    changes: Vec<Timestamp>,
}

impl<'a> Timeline<'a> {
    pub(super) fn of(roster: &'a Roster, from: Timestamp, until: Timestamp) -> Timeline<'a> {
        let until = until.max(from);
        let touches = |begins: Timestamp, ends: Timestamp| begins < until && ends > from && begins < ends;
        let weekly: Vec<Fallen> = fallen(roster, from, until)
            .into_iter()
            .filter(|shift| touches(shift.from, shift.until))
            .collect();
        let dated: Vec<&DatedShift> =
            roster.dated.iter().filter(|shift| touches(shift.from, shift.until)).collect();
        let mut changes = BTreeSet::from([from, until]);
        changes.extend(weekly.iter().flat_map(|shift| [shift.from, shift.until]));
        changes.extend(dated.iter().flat_map(|shift| [shift.from, shift.until]));
        changes.extend(roster.absences.iter().flat_map(|absence| [absence.from, absence.until]));
        let changes = changes.into_iter().filter(|at| from <= *at && *at <= until).collect();
        Timeline { roster, weekly, dated, changes }
    }

    /// Who of a rank is on duty at `at`, which must lie in the timeline. What was entered later stands over what was
    /// entered before; whoever is away or switched off is left out last, so that their place shows as empty.
    pub(super) fn people(&self, rank: Rank, at: Timestamp) -> Vec<StaffId> {
        let pattern = self.weekly.iter().filter(|shift| shift.rank == rank);
        let mut people: Vec<StaffId> =
            pattern.filter(|shift| shift.from <= at && at < shift.until).map(|shift| shift.staff).collect();
        let mut is_pattern = true;
        let dated = self.dated.iter().filter(|shift| shift.rank == rank);
        for shift in dated.filter(|shift| shift.from <= at && at < shift.until) {
            match shift.instead_of {
                Some(replaced) => {
                    for person in people.iter_mut().filter(|person| **person == replaced) {
                        *person = shift.staff;
                    }
                }
                None if is_pattern => {
                    people = vec![shift.staff];
                    is_pattern = false;
                }
                None => people.push(shift.staff),
            }
        }
        let once: BTreeSet<StaffId> = people.into_iter().collect();
        once.into_iter().filter(|person| self.roster.counts(*person, at)).collect()
    }

    /// The first change after `at` where `holds` no longer does; the end of the timeline when it holds to there.
    pub(super) fn next_change(&self, at: Timestamp, holds: impl Fn(Timestamp) -> bool) -> Timestamp {
        let end = self.changes.last().copied().unwrap_or(at);
        self.changes.iter().copied().find(|then| *then > at && *then < end && !holds(*then)).unwrap_or(end)
    }

    /// The longest stretches in which `holds` does.
    pub(super) fn stretches(&self, holds: impl Fn(Timestamp) -> bool) -> Vec<(Timestamp, Timestamp)> {
        let mut found: Vec<(Timestamp, Timestamp)> = Vec::new();
        for (from, until) in self.changes.iter().copied().zip(self.changes.iter().copied().skip(1)) {
            if !holds(from) {
                continue;
            }
            match found.last_mut() {
                Some((_, end)) if *end == from => *end = until,
                Some(_) | None => found.push((from, until)),
            }
        }
        found
    }
}

/// The weekly pattern on every day that can reach into the time between the two.
fn fallen(roster: &Roster, from: Timestamp, until: Timestamp) -> Vec<Fallen> {
    if roster.weekly.is_empty() {
        return Vec::new();
    }
    let day = |at: Timestamp, days: i64| -> Option<Date> {
        at.to_zoned_datetime(roster.zone.clone()).date().checked_add(days.days()).ok()
    };
    // A shift is a day long at most; one day more for a change of clocks.
    let (first, last) = (day(from, -2).unwrap_or(Date::MIN), day(until, 1).unwrap_or(Date::MAX));
    let mut found = Vec::new();
    let mut date = first;
    while date <= last {
        let today = roster.weekly.iter().filter(|shift| shift.weekday == date.weekday());
        found.extend(today.filter_map(|shift| falls_on(shift, date, roster)));
        let Ok(next) = date.tomorrow() else { break };
        date = next;
    }
    found
}

/// A weekly shift on a day; `None`: its minutes are no times of a day, or the clocks skipped it all.
fn falls_on(shift: &WeeklyShift, date: Date, roster: &Roster) -> Option<Fallen> {
    let is_time =
        (0..DAY_MINUTES).contains(&shift.from_minute) && (0..=DAY_MINUTES).contains(&shift.until_minute);
    if !is_time {
        return None;
    }
    let passes_midnight = shift.until_minute <= shift.from_minute;
    let until_minute = if passes_midnight { shift.until_minute + DAY_MINUTES } else { shift.until_minute };
    let from = instant(date, shift.from_minute, &roster.zone)?;
    let until = instant(date, until_minute, &roster.zone)?;
    (from < until).then_some(Fallen { from, until, staff: shift.staff, rank: shift.rank })
}
