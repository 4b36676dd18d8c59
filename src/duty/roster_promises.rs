//! What holds for every roster: gaps are exactly the time nobody is on duty, swaps keep every time covered, and
//! nothing panics.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use proptest::prelude::*;

use crate::duty::Absence;
use crate::duty::DatedShift;
use crate::duty::DutySpan;
use crate::duty::Rank;
use crate::duty::Roster;
use crate::duty::Watch;
use crate::duty::WeeklyShift;
use crate::duty::roster_checks::WEEK;
use crate::duty::roster_checks::people;
use crate::ids::StaffId;

/// Three days before New York's clocks went forward in 2026; the other change is in reach too.
const BEGINS_S: i64 = 1_772_668_800;
const DAY_S: i64 = 86_400;

fn second(second: i64) -> Timestamp {
    Timestamp::from_second(second).unwrap()
}

fn staff() -> impl Strategy<Value = StaffId> {
    prop::sample::select(people(4))
}

fn rank() -> impl Strategy<Value = Rank> {
    prop::sample::select(Rank::ALL.to_vec())
}

fn weekly() -> impl Strategy<Value = WeeklyShift> {
    // Half hours, so that shifts often meet.
    (prop::sample::select(WEEK.to_vec()), 0_i64..48, 0_i64..=48, staff(), rank()).prop_map(
        |(weekday, from, until, staff, rank)| WeeklyShift {
            weekday,
            from_minute: from * 30,
            until_minute: until * 30,
            staff,
            rank,
        },
    )
}

fn stretch() -> impl Strategy<Value = (Timestamp, Timestamp)> {
    (0_i64..800, -2_i64..100)
        .prop_map(|(from, long)| (second(BEGINS_S + from * 1_800), second(BEGINS_S + (from + long) * 1_800)))
}

fn dated() -> impl Strategy<Value = DatedShift> {
    (stretch(), staff(), rank(), prop::option::of(staff())).prop_map(
        |((from, until), staff, rank, instead_of)| DatedShift { from, until, staff, rank, instead_of },
    )
}

fn roster() -> impl Strategy<Value = Roster> {
    (
        prop::sample::select(vec!["America/New_York", "Europe/Madrid", "Australia/Lord_Howe", "UTC"]),
        prop::collection::vec(weekly(), 0..25),
        prop::collection::vec(dated(), 0..6),
        prop::collection::vec((staff(), stretch()), 0..3),
        prop::collection::btree_set(staff(), 0..2),
    )
        .prop_map(|(zone, weekly, dated, away, removed)| Roster {
            zone: TimeZone::get(zone).unwrap(),
            weekly,
            dated,
            absences: away.into_iter().map(|(staff, (from, until))| Absence { staff, from, until }).collect(),
            removed,
        })
}

fn on(roster: &Roster, rank: Rank, at: Timestamp) -> Vec<StaffId> {
    roster.on_duty(at).into_iter().filter(|on| on.rank == rank).map(|on| on.staff).collect()
}

/// The weekly pattern read off the clock's face of a zone without changes, minute by minute: another way to say it.
fn by_the_face(roster: &Roster, rank: Rank, at: Timestamp) -> Vec<StaffId> {
    let local = at.to_zoned_datetime(TimeZone::UTC);
    let minute = i64::from(local.weekday().to_monday_zero_offset()) * 1_440
        + i64::from(local.hour()) * 60
        + i64::from(local.minute());
    let mut found: Vec<StaffId> = roster
        .weekly
        .iter()
        .filter(|shift| shift.rank == rank && !roster.removed.contains(&shift.staff))
        .filter(|shift| {
            let begins = i64::from(shift.weekday.to_monday_zero_offset()) * 1_440 + shift.from_minute;
            let long = match shift.until_minute - shift.from_minute {
                long @ 1.. => long,
                long => long + 1_440,
            };
            (minute - begins).rem_euclid(7 * 1_440) < long
        })
        .map(|shift| shift.staff)
        .collect();
    found.sort();
    found.dedup();
    found
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn a_gap_is_exactly_a_time_with_nobody_on_duty(
        roster in roster(),
        from in 0_i64..20 * DAY_S,
        within in prop::collection::vec(0_i64..14 * DAY_S, 12),
    ) {
        let from = second(BEGINS_S + from);
        let gaps = roster.gaps(from, 14);
        for rank in Rank::ALL.iter().copied().filter(|rank| *rank == Rank::First || roster.keeps(*rank)) {
            let its: Vec<_> = gaps.iter().filter(|gap| gap.rank == rank).collect();
            for gap in &its {
                prop_assert!(gap.from < gap.until);
                prop_assert!(on(&roster, rank, gap.from).is_empty());
                // It is the longest: somebody is there just before, or nothing before was asked for.
                let before = gap.from - SignedDuration::from_secs(1);
                prop_assert!(gap.from == from || !on(&roster, rank, before).is_empty());
            }
            for offset_s in &within {
                let at = from + SignedDuration::from_secs(*offset_s);
                let in_gap = its.iter().any(|gap| gap.from <= at && at < gap.until);
                prop_assert_eq!(in_gap, on(&roster, rank, at).is_empty());
            }
        }
    }

    #[test]
    fn spans_say_the_same_as_asking_at_an_instant(
        roster in roster(),
        from in 0_i64..20 * DAY_S,
        within in prop::collection::vec(0_i64..14 * DAY_S, 12),
    ) {
        let from = second(BEGINS_S + from);
        let spans = roster.spans(from, from + SignedDuration::from_hours(14 * 24));
        for offset_s in within {
            let at = from + SignedDuration::from_secs(offset_s);
            for rank in Rank::ALL {
                let held = |span: &&DutySpan| span.rank == *rank && span.from <= at && at < span.until;
                let mut shown: Vec<StaffId> = spans.iter().filter(held).map(|span| span.staff).collect();
                shown.sort();
                prop_assert_eq!(shown, on(&roster, *rank, at));
            }
        }
    }

    #[test]
    fn a_plain_pattern_is_read_as_its_clock_face_says(
        roster in roster(),
        within in prop::collection::vec(0_i64..14 * DAY_S, 12),
    ) {
        let plain = Roster { zone: TimeZone::UTC, dated: Vec::new(), absences: Vec::new(), ..roster };
        for offset_s in within {
            let at = second(BEGINS_S + offset_s);
            for rank in Rank::ALL {
                prop_assert_eq!(on(&plain, *rank, at), by_the_face(&plain, *rank, at));
            }
        }
    }

    #[test]
    fn nobody_counts_who_is_switched_off_or_away_and_until_is_ahead(roster in roster(), at in 0_i64..30 * DAY_S) {
        let at = second(BEGINS_S + at);
        for on in roster.on_duty(at) {
            prop_assert!(on.until > at);
            prop_assert!(!roster.removed.contains(&on.staff));
            let away = |absence: &Absence| absence.staff == on.staff && absence.from <= at && at < absence.until;
            prop_assert!(!roster.absences.iter().any(away));
        }
    }

    #[test]
    fn the_watch_is_kept_until_it_says_and_taken_up_again_when_it_says(
        roster in roster(),
        at in 0_i64..30 * DAY_S,
        part in 0.0..1.0,
    ) {
        let at = second(BEGINS_S + at);
        let watched = |then: Timestamp| !roster.on_duty(then).is_empty();
        let between = |end: Timestamp| {
            at + SignedDuration::from_secs((end.duration_since(at).as_secs() as f64 * part) as i64)
        };
        match roster.watch(at) {
            Watch::Somebody { until: Some(until) } => prop_assert!(watched(between(until)) && !watched(until)),
            Watch::Nobody { again: Some(again) } => prop_assert!(!watched(between(again)) && watched(again)),
            Watch::Somebody { until: None } => prop_assert!(watched(at)),
            Watch::Nobody { again: None } => prop_assert!(!watched(at)),
        }
    }

    #[test]
    fn a_swap_keeps_every_time_as_covered_as_it_was_and_can_be_swapped_back(
        roster in roster(),
        picks in (any::<prop::sample::Index>(), any::<prop::sample::Index>()),
        within in prop::collection::vec(0_i64..14 * DAY_S, 16),
    ) {
        let from = second(BEGINS_S);
        let spans = roster.spans(from, from + SignedDuration::from_hours(14 * 24));
        prop_assume!(spans.len() > 1);
        let (one, other) = (*picks.0.get(&spans), *picks.1.get(&spans));
        let swapped = roster.swap(&one, &other);
        prop_assume!(swapped.is_ok());
        let mut after = roster.clone();
        after.dated.extend(swapped.unwrap());
        prop_assert!(on(&after, one.rank, one.from).contains(&other.staff));
        prop_assert!(on(&after, other.rank, other.from).contains(&one.staff));
        let back = [DutySpan { staff: other.staff, ..one }, DutySpan { staff: one.staff, ..other }];
        let mut restored = after.clone();
        restored.dated.extend(after.swap(&back[0], &back[1]).unwrap());
        for offset_s in within {
            let at = from + SignedDuration::from_secs(offset_s);
            for rank in Rank::ALL {
                let before = on(&roster, *rank, at);
                prop_assert_eq!(on(&after, *rank, at).len(), before.len());
                prop_assert_eq!(on(&restored, *rank, at), before);
            }
        }
    }

    #[test]
    fn no_instant_and_no_entry_makes_it_panic(
        roster in roster(),
        at in prop::sample::select(vec![Timestamp::MIN, Timestamp::MAX, Timestamp::UNIX_EPOCH]),
        minutes in (any::<i64>(), any::<i64>()),
        days in any::<i64>(),
    ) {
        let mut roster = roster;
        for shift in &mut roster.weekly {
            (shift.from_minute, shift.until_minute) = minutes;
        }
        roster.dated.extend(people(1).into_iter().map(|staff| DatedShift {
            from: Timestamp::MIN,
            until: Timestamp::MAX,
            staff,
            rank: Rank::Second,
            instead_of: None,
        }));
        roster.on_duty(at);
        roster.gaps(at, days);
        roster.watch(at);
        roster.spans(at, at.saturating_add(SignedDuration::from_hours(200)).unwrap_or(at));
    }
}
