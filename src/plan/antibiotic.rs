//! What a recorded antibiotic adds to a care plan.

use jiff::Timestamp;

use crate::plan::PlanStep;
use crate::plan::StepKind;
use crate::plan::steps::later_by_hours;

/// An antibiotic is asked about this long after its start, a little before, and not much later (the hours around it are
/// ours).
pub const ANTIBIOTIC_CHECK_H: i64 = 48;
const ANTIBIOTIC_CHECK_EARLY_H: i64 = 4;
const ANTIBIOTIC_CHECK_GRACE_H: i64 = 6;

/// The steps of an antibiotic started then, until its last dose: taking it, word after two days whether it works, and
/// the last day.
///
/// Two days: who is no better by then has failed it (rule `pills-not-working`; IDSA 2014, seen in part).
pub fn antibiotic_steps(started: Timestamp, ends: Timestamp) -> Vec<PlanStep> {
    let check = PlanStep {
        kind: StepKind::AntibioticCheck,
        from: later_by_hours(started, ANTIBIOTIC_CHECK_H - ANTIBIOTIC_CHECK_EARLY_H),
        due: later_by_hours(started, ANTIBIOTIC_CHECK_H + ANTIBIOTIC_CHECK_GRACE_H),
    };
    let mut steps = vec![PlanStep { kind: StepKind::Antibiotic, from: started, due: ends }];
    // A course of a day or two ends before anybody can say whether it worked.
    if check.due < ends {
        steps.push(check);
    }
    steps.push(PlanStep {
        kind: StepKind::AntibioticEnd,
        from: later_by_hours(ends, -24).max(started),
        due: ends,
    });
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn kinds(days: i64) -> Vec<StepKind> {
        let started = at("2026-03-04T15:00:00Z");
        antibiotic_steps(started, later_by_hours(started, days * 24)).iter().map(|step| step.kind).collect()
    }

    #[test]
    fn word_is_asked_for_two_days_after_the_start_a_little_before_and_not_much_later() {
        let steps = antibiotic_steps(at("2026-03-04T15:00:00Z"), at("2026-03-11T15:00:00Z"));
        let check = steps.iter().find(|step| step.kind == StepKind::AntibioticCheck).unwrap();
        assert_eq!((check.from, check.due), (at("2026-03-06T11:00:00Z"), at("2026-03-06T21:00:00Z")));
        let end = steps.iter().find(|step| step.kind == StepKind::AntibioticEnd).unwrap();
        assert_eq!((end.from, end.due), (at("2026-03-10T15:00:00Z"), at("2026-03-11T15:00:00Z")));
    }

    #[test]
    fn a_course_that_is_over_before_two_days_are_asks_for_no_word() {
        assert_eq!(kinds(2), [StepKind::Antibiotic, StepKind::AntibioticEnd]);
        assert_eq!(kinds(3), [StepKind::Antibiotic, StepKind::AntibioticCheck, StepKind::AntibioticEnd]);
    }
}
