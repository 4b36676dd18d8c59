//! The dated steps of home care for one wound, and what day it is in them.
//!
//! Times are common practice, no source, unless said otherwise: strip out after about two days, wash twice a day in
//! the first week and once a day after it, a photo daily in week 1, every other day to day 21, weekly to closure.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::ToSpan;
use jiff::tz::TimeZone;

use crate::plan::Operation;
use crate::plan::Packing;
use crate::plan::coded;

/// The strip is due out this long after it was placed.
pub const STRIP_DUE_H: i64 = 48;
/// Before this the strip should stay in.
pub const STRIP_EARLIEST_H: i64 = 40;
/// Six hours of grace after the due time, then it is overdue.
pub const STRIP_OVERDUE_H: i64 = 54;
/// The plan covers the slow end of the usual one to three months.
pub const PLAN_DAYS: i64 = 90;
/// Local hour at which a day's photo is first asked for, and at which it is due.
const PHOTO_FROM_HOUR: i8 = 7;
const PHOTO_DUE_HOUR: i8 = 20;

coded! {
    /// What a step asks of the patient.
    pub enum StepKind {
        PackingRemoval = "packing_removal",
        WashTwiceDaily = "wash_twice_daily",
        WashDaily = "wash_daily",
        Photo = "photo",
        PlanEnd = "plan_end",
    }
}

/// One dated step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlanStep {
    pub kind: StepKind,
    /// From when it can be done.
    pub from: Timestamp,
    /// By when it should be done; for a standing step (washing) the end of its period.
    pub due: Timestamp,
}

/// The care plan that follows from an operation, in order of `from`, then `due`.
pub fn care_plan(operation: &Operation, zone: &TimeZone) -> Vec<PlanStep> {
    let mut steps = Vec::new();
    let washing_from = match operation.packing {
        Some(packing) => {
            let removal = packing_removal(packing);
            steps.push(removal);
            removal.due
        }
        None => later_by_hours(operation.operated, 24),
    };
    let week_1_end = local_hour_on_day(operation.operated, zone, 8, 0);
    let plan_end = local_hour_on_day(operation.operated, zone, PLAN_DAYS, PHOTO_DUE_HOUR);
    if washing_from < week_1_end {
        steps.push(PlanStep { kind: StepKind::WashTwiceDaily, from: washing_from, due: week_1_end });
    }
    steps.push(PlanStep { kind: StepKind::WashDaily, from: washing_from.max(week_1_end), due: plan_end });
    for day in photo_days() {
        steps.push(PlanStep {
            kind: StepKind::Photo,
            from: local_hour_on_day(operation.operated, zone, day, PHOTO_FROM_HOUR),
            due: local_hour_on_day(operation.operated, zone, day, PHOTO_DUE_HOUR),
        });
    }
    steps.push(PlanStep { kind: StepKind::PlanEnd, from: plan_end, due: plan_end });
    steps.sort_by_key(|step| (step.from, step.due));
    steps
}

/// Days on which a photo is asked for: daily to day 7, every other day to day 21, weekly to the plan's end.
fn photo_days() -> impl Iterator<Item = i64> {
    (1..=7).chain((9..=21).step_by(2)).chain((28..=PLAN_DAYS).step_by(7))
}

fn packing_removal(packing: Packing) -> PlanStep {
    PlanStep {
        kind: StepKind::PackingRemoval,
        from: later_by_hours(packing.placed, STRIP_EARLIEST_H),
        due: later_by_hours(packing.placed, STRIP_DUE_H),
    }
}

fn later_by_hours(from: Timestamp, hours: i64) -> Timestamp {
    from.saturating_add(SignedDuration::from_hours(hours)).expect("hours are a fixed unit")
}

/// `hour` o'clock in `zone` on the day-th day after the operation's local date. Across a change of clocks nine
/// o'clock stays nine o'clock.
fn local_hour_on_day(operated: Timestamp, zone: &TimeZone, day: i64, hour: i8) -> Timestamp {
    let date = operated.to_zoned_datetime(zone.clone()).date().saturating_add(day.days());
    date.at(hour, 0, 0, 0).to_zoned_datetime(zone.clone()).map_or(operated, |zoned| zoned.timestamp())
}

/// The wound's day number: local calendar days since the operation, whose own day is day 0. Negative before it.
pub fn day_number(operated: Timestamp, now: Timestamp, zone: &TimeZone) -> i64 {
    let from = operated.to_zoned_datetime(zone.clone()).date();
    let to = now.to_zoned_datetime(zone.clone()).date();
    i64::from((to - from).get_days())
}

/// How things stand with the strip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Strip {
    NeverPlaced,
    /// All of it was confirmed out.
    Out,
    /// Still meant to be in; due out at the given time.
    In {
        due: Timestamp,
    },
    /// May come out now; due at the given time.
    DueOut {
        due: Timestamp,
    },
    /// Past its grace.
    Overdue {
        due: Timestamp,
    },
}

/// How things stand with the strip now. `out_confirmed`: when all of it was reported out, if it was.
pub fn strip_state(packing: Option<Packing>, out_confirmed: Option<Timestamp>, now: Timestamp) -> Strip {
    let Some(packing) = packing else { return Strip::NeverPlaced };
    if out_confirmed.is_some() {
        return Strip::Out;
    }
    let removal = packing_removal(packing);
    if now > later_by_hours(packing.placed, STRIP_OVERDUE_H) {
        Strip::Overdue { due: removal.due }
    } else if now >= removal.from {
        Strip::DueOut { due: removal.due }
    } else {
        Strip::In { due: removal.due }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Side;
    use crate::plan::Site;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn operation(packed: bool) -> Operation {
        Operation {
            site: Site::Buttock,
            side: Side::Right,
            procedure: "abscess drained".to_owned(),
            operated: at("2026-03-02T18:00:00Z"),
            size: None,
            packing: packed.then(|| Packing {
                pieces: 1,
                length_cm: None,
                placed: at("2026-03-02T18:00:00Z"),
            }),
            pen_line: None,
        }
    }

    fn new_york() -> TimeZone {
        TimeZone::get("America/New_York").unwrap()
    }

    #[test]
    fn the_strip_is_due_two_days_after_it_was_placed() {
        let plan = care_plan(&operation(true), &new_york());
        let removal = plan.iter().find(|step| step.kind == StepKind::PackingRemoval).unwrap();
        assert_eq!(removal.due, at("2026-03-04T18:00:00Z"));
        assert_eq!(removal.from, at("2026-03-04T10:00:00Z"));
    }

    #[test]
    fn a_wound_without_a_strip_has_no_removal() {
        let plan = care_plan(&operation(false), &new_york());
        assert!(plan.iter().all(|step| step.kind != StepKind::PackingRemoval));
    }

    #[test]
    fn photos_are_daily_then_every_other_day_then_weekly() {
        assert_eq!(
            photo_days().collect::<Vec<_>>(),
            vec![1, 2, 3, 4, 5, 6, 7, 9, 11, 13, 15, 17, 19, 21, 28, 35, 42, 49, 56, 63, 70, 77, 84]
        );
    }

    #[test]
    fn a_photo_hour_stays_the_same_on_the_clock_when_the_clocks_change() {
        // New York went to summer time on 8 March 2026 (IANA time zone database).
        let plan = care_plan(&operation(true), &new_york());
        let from: Vec<Timestamp> =
            plan.iter().filter(|step| step.kind == StepKind::Photo).map(|step| step.from).collect();
        assert_eq!(from[4], at("2026-03-07T12:00:00Z"));
        assert_eq!(from[5], at("2026-03-08T11:00:00Z"));
    }

    #[test]
    fn days_are_counted_by_the_local_calendar() {
        let operated = at("2026-03-03T03:30:00Z"); // 22:30 on 2 March in New York
        assert_eq!(day_number(operated, at("2026-03-03T04:59:00Z"), &new_york()), 0);
        assert_eq!(day_number(operated, at("2026-03-03T05:01:00Z"), &new_york()), 1);
        assert_eq!(day_number(operated, at("2026-03-10T12:00:00Z"), &new_york()), 8);
    }

    #[test]
    fn the_strip_goes_from_in_to_due_to_overdue_until_it_is_out() {
        let packing = operation(true).packing;
        let due = at("2026-03-04T18:00:00Z");
        assert_eq!(strip_state(packing, None, at("2026-03-03T18:00:00Z")), Strip::In { due });
        assert_eq!(strip_state(packing, None, at("2026-03-04T10:00:00Z")), Strip::DueOut { due });
        assert_eq!(strip_state(packing, None, at("2026-03-05T00:00:00Z")), Strip::DueOut { due });
        assert_eq!(strip_state(packing, None, at("2026-03-05T00:00:01Z")), Strip::Overdue { due });
        assert_eq!(
            strip_state(packing, Some(at("2026-03-05T00:00:00Z")), at("2026-03-06T00:00:00Z")),
            Strip::Out
        );
        assert_eq!(strip_state(None, None, at("2026-03-06T00:00:00Z")), Strip::NeverPlaced);
    }
}
