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
use crate::plan::PlanNumbers;
use crate::plan::RiskFactors;
use crate::plan::antibiotic::antibiotic_steps;
use crate::plan::coded;

/// The strip is due out this long after it was placed, unless the practice's plan text says otherwise.
pub const STRIP_DUE_H: i64 = 48;
/// It may come out this long before it is due: 40 hours after it was placed.
pub const STRIP_EARLY_H: i64 = 8;
/// Six hours of grace after the due time, then it is overdue.
pub const STRIP_OVERDUE_H: i64 = 54;
/// A strip is never left in for a week: nobody can move its step to this long after it was placed (common practice,
/// no source).
pub const STRIP_NEVER_H: i64 = 7 * 24;
/// Nobody can move it to before a day after it was placed (the lower end of the protocol's range of `strip_due_h`).
pub const STRIP_SOONEST_H: i64 = 24;
/// The plan covers the slow end of the usual one to three months.
pub const PLAN_DAYS: i64 = 90;
/// Local hour at which a day's photo is first asked for, and at which it is due.
const PHOTO_FROM_HOUR: i8 = 7;
const PHOTO_DUE_HOUR: i8 = 20;
/// The painful days are the first; pain eases by day 3 to 4 (common practice, no source).
const PAIN_PILL_DAYS: i64 = 4;
/// How long an antibiotic is shown when nobody noted its end; staff move the end (common practice, no source).
const ANTIBIOTIC_DAYS: i64 = 10;

coded! {
    /// What a step asks of the patient.
    pub enum StepKind {
        PackingRemoval = "packing_removal",
        WashTwiceDaily = "wash_twice_daily",
        WashDaily = "wash_daily",
        /// Clean gauze after each wash.
        Dressing = "dressing",
        /// Where a pain pill was sent home.
        PainPill = "pain_pill",
        /// Where an antibiotic was enrolled.
        Antibiotic = "antibiotic",
        Photo = "photo",
        /// Two days into an antibiotic: is it working?
        AntibioticCheck = "antibiotic_check",
        /// The last day of an antibiotic.
        AntibioticEnd = "antibiotic_end",
        /// The surgeon decided that the patient comes in.
        Visit = "visit",
        PlanEnd = "plan_end",
    }
}

/// How a step lies in time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepShape {
    /// Done once, by its due time.
    Once,
    /// Goes on from its first day to its last.
    Standing,
}

impl StepKind {
    /// Whether a step of this kind is done once or goes on.
    pub fn shape(self) -> StepShape {
        match self {
            StepKind::PackingRemoval
            | StepKind::Photo
            | StepKind::AntibioticCheck
            | StepKind::AntibioticEnd
            | StepKind::Visit
            | StepKind::PlanEnd => StepShape::Once,
            StepKind::WashTwiceDaily
            | StepKind::WashDaily
            | StepKind::Dressing
            | StepKind::PainPill
            | StepKind::Antibiotic => StepShape::Standing,
        }
    }

    /// Whether somebody must hear that it was done: such a step is missed when its due time passes.
    pub fn is_awaited(self) -> bool {
        match self {
            StepKind::PackingRemoval | StepKind::Photo | StepKind::AntibioticCheck | StepKind::Visit => true,
            StepKind::WashTwiceDaily
            | StepKind::WashDaily
            | StepKind::Dressing
            | StepKind::PainPill
            | StepKind::Antibiotic
            | StepKind::AntibioticEnd
            | StepKind::PlanEnd => false,
        }
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

impl PlanStep {
    /// The same step with another due time. What is done once moves as a whole; what goes on keeps its beginning and
    /// ends at another time.
    pub fn moved_to(self, due: Timestamp) -> PlanStep {
        let from = match self.kind.shape() {
            StepShape::Once => due.saturating_sub(self.due.duration_since(self.from)).unwrap_or(due),
            StepShape::Standing => self.from.min(due),
        };
        PlanStep { from, due, ..self }
    }
}

/// The care plan that follows from an operation by the program's own numbers, without medicines.
pub fn care_plan(operation: &Operation, zone: &TimeZone) -> Vec<PlanStep> {
    care_plan_by(operation, &RiskFactors::default(), &PlanNumbers::default(), zone)
}

/// The care plan that follows from an operation, what the patient takes, and the practice's numbers; in order of
/// `from`, then `due`.
pub fn care_plan_by(
    operation: &Operation,
    risk: &RiskFactors,
    numbers: &PlanNumbers,
    zone: &TimeZone,
) -> Vec<PlanStep> {
    let mut steps = medicines(operation, risk, zone);
    let washing_from = match operation.packing {
        Some(packing) => {
            let removal = packing_removal(packing, numbers);
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
    steps.push(PlanStep { kind: StepKind::Dressing, from: washing_from, due: plan_end });
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

/// What the patient takes. What nobody asked about makes no step.
fn medicines(operation: &Operation, risk: &RiskFactors, zone: &TimeZone) -> Vec<PlanStep> {
    let mut steps = Vec::new();
    let until = |from, days| local_hour_on_day(from, zone, days, PHOTO_DUE_HOUR);
    if risk.opioid_pain_pill == Some(true) {
        let due = until(operation.operated, PAIN_PILL_DAYS);
        steps.push(PlanStep { kind: StepKind::PainPill, from: operation.operated, due });
    }
    if risk.takes_antibiotic == Some(true) || risk.antibiotic.is_some() {
        let started = risk.antibiotic.as_ref().and_then(|antibiotic| antibiotic.started);
        let from = started.unwrap_or(operation.operated);
        steps.extend(antibiotic_steps(from, until(from, ANTIBIOTIC_DAYS)));
    }
    steps
}

/// Days on which a photo is asked for: daily to day 7, every other day to day 21, weekly to the plan's end.
fn photo_days() -> impl Iterator<Item = i64> {
    (1..=7).chain((9..=21).step_by(2)).chain((28..=PLAN_DAYS).step_by(7))
}

fn packing_removal(packing: Packing, numbers: &PlanNumbers) -> PlanStep {
    let due_h = i64::from(numbers.strip_due_h);
    PlanStep {
        kind: StepKind::PackingRemoval,
        from: later_by_hours(packing.placed, due_h - STRIP_EARLY_H),
        due: later_by_hours(packing.placed, due_h),
    }
}

/// Whether a strip placed then may be made due at this time: at the earliest a day after it was placed, and never a
/// week after it.
pub fn strip_may_be_due(packing: Packing, due: Timestamp) -> bool {
    due >= later_by_hours(packing.placed, STRIP_SOONEST_H)
        && due < later_by_hours(packing.placed, STRIP_NEVER_H)
}

pub(super) fn later_by_hours(from: Timestamp, hours: i64) -> Timestamp {
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
    let numbers = PlanNumbers::default();
    let removal = packing.map(|packing| packing_removal(packing, &numbers));
    strip_state_by(removal, &numbers, out_confirmed, now)
}

/// How things stand with the strip by its own step, wherever it was moved to. `None`: no strip was placed.
pub fn strip_state_by(
    removal: Option<PlanStep>,
    numbers: &PlanNumbers,
    out_confirmed: Option<Timestamp>,
    now: Timestamp,
) -> Strip {
    let Some(removal) = removal else { return Strip::NeverPlaced };
    if out_confirmed.is_some() {
        return Strip::Out;
    }
    let grace_h = i64::from(numbers.strip_overdue_h.saturating_sub(numbers.strip_due_h));
    if now > later_by_hours(removal.due, grace_h) {
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
    fn the_practices_own_hours_move_the_removal() {
        let numbers = PlanNumbers { strip_due_h: 36, strip_overdue_h: 40, ..PlanNumbers::default() };
        let plan = care_plan_by(&operation(true), &RiskFactors::default(), &numbers, &new_york());
        let removal = plan.iter().find(|step| step.kind == StepKind::PackingRemoval).copied();
        assert_eq!(removal.unwrap().due, at("2026-03-04T06:00:00Z"));
        let state = |now| strip_state_by(removal, &numbers, None, at(now));
        assert!(matches!(state("2026-03-04T10:00:00Z"), Strip::DueOut { .. }));
        assert!(matches!(state("2026-03-04T10:00:01Z"), Strip::Overdue { .. }));
    }

    #[test]
    fn a_strip_is_never_made_due_a_week_after_it_was_placed_nor_within_its_first_day() {
        let packing = operation(true).packing.unwrap();
        assert!(strip_may_be_due(packing, at("2026-03-09T17:59:59Z")));
        assert!(!strip_may_be_due(packing, at("2026-03-09T18:00:00Z")));
        assert!(strip_may_be_due(packing, at("2026-03-03T18:00:00Z")));
        assert!(!strip_may_be_due(packing, at("2026-03-03T17:59:59Z")));
    }

    #[test]
    fn a_step_done_once_moves_as_a_whole_and_a_standing_one_only_ends_at_another_time() {
        let plan = care_plan(&operation(true), &new_york());
        let of = |kind| *plan.iter().find(|step| step.kind == kind).unwrap();
        let photo = of(StepKind::Photo).moved_to(at("2026-03-05T01:00:00Z"));
        assert_eq!(photo.from, at("2026-03-04T12:00:00Z"));
        let washing = of(StepKind::WashTwiceDaily);
        assert_eq!(washing.moved_to(at("2026-03-06T01:00:00Z")).from, washing.from);
    }

    #[test]
    fn medicines_stand_in_the_plan_where_they_were_enrolled() {
        let kinds = |risk: &RiskFactors| {
            let plan = care_plan_by(&operation(true), risk, &PlanNumbers::default(), &new_york());
            let wanted = [
                StepKind::PainPill,
                StepKind::Antibiotic,
                StepKind::AntibioticCheck,
                StepKind::AntibioticEnd,
            ];
            plan.iter().map(|step| step.kind).filter(|kind| wanted.contains(kind)).collect::<Vec<_>>()
        };
        assert_eq!(kinds(&RiskFactors::default()), vec![]);
        let no = RiskFactors {
            opioid_pain_pill: Some(false),
            takes_antibiotic: Some(false),
            ..RiskFactors::default()
        };
        assert_eq!(kinds(&no), vec![]);
        let both = RiskFactors {
            opioid_pain_pill: Some(true),
            takes_antibiotic: Some(true),
            ..RiskFactors::default()
        };
        assert_eq!(
            kinds(&both),
            vec![
                StepKind::PainPill,
                StepKind::Antibiotic,
                StepKind::AntibioticCheck,
                StepKind::AntibioticEnd
            ]
        );
    }

    #[test]
    fn gauze_is_changed_from_the_first_wash_to_the_plans_end() {
        let plan = care_plan(&operation(true), &new_york());
        let dressing = plan.iter().find(|step| step.kind == StepKind::Dressing).unwrap();
        assert_eq!(dressing.from, at("2026-03-04T18:00:00Z"));
        assert_eq!(dressing.due, plan.iter().find(|step| step.kind == StepKind::PlanEnd).unwrap().due);
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
