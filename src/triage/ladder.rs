//! The ladder: who is told of something urgent, how soon, and who next, until a person acts.
//!
//! Times are ours, after the custom in hospitals that a critical result has a bounded time, a named person and a next one
//! (Campbell and Horvath 2012, as summarised in the practice's notes). A lead changes them within the safe range of each.

use std::ops::RangeInclusive;

use jiff::SignedDuration;
use serde::Deserialize;
use serde::Serialize;

use crate::plan::coded;
use crate::triage::urgency::Urgency;

coded! {
    /// Which ladder is climbed, the most urgent first.
    pub enum LadderKind {
        GoNow = "go_now",
        RingNow = "ring_now",
        /// Something waits past its due time.
        Overdue = "overdue",
    }
}

coded! {
    /// Whom a rung tells, and how.
    pub enum Told {
        /// Whoever is on duty, where they are reached first.
        OnDuty = "on_duty",
        /// The same person everywhere they can be reached.
        OnDutyEverywhere = "on_duty_everywhere",
        /// The second person on duty; without one, every surgeon.
        Second = "second",
        /// The surgeon who operated, by voice where a number for it is known.
        SurgeonByVoice = "surgeon_by_voice",
        Everyone = "everyone",
        /// The patient: nobody was reached, and whom to call.
        Patient = "patient",
    }
}

/// One rung as the program comes with it.
struct Step {
    told: Told,
    minutes: u32,
    safe: RangeInclusive<u32>,
}

const fn step(told: Told, minutes: u32, safe: RangeInclusive<u32>) -> Step {
    Step { told, minutes, safe }
}

const GO_NOW: [Step; 6] = [
    step(Told::OnDuty, 0, 0..=0),
    step(Told::OnDutyEverywhere, 5, 2..=5),
    step(Told::Second, 10, 5..=10),
    step(Told::SurgeonByVoice, 20, 10..=20),
    step(Told::Everyone, 30, 15..=30),
    step(Told::Patient, 30, 15..=30),
];
const RING_NOW: [Step; 6] = [
    step(Told::OnDuty, 0, 0..=0),
    step(Told::OnDutyEverywhere, 10, 5..=15),
    step(Told::Second, 20, 10..=30),
    step(Told::SurgeonByVoice, 40, 20..=45),
    step(Told::Everyone, 60, 30..=60),
    step(Told::Patient, 60, 30..=60),
];
const OVERDUE: [Step; 4] = [
    step(Told::OnDuty, 0, 0..=0),
    step(Told::OnDutyEverywhere, 30, 10..=60),
    step(Told::Second, 60, 20..=120),
    step(Told::Everyone, 120, 30..=240),
];

fn steps(kind: LadderKind) -> &'static [Step] {
    match kind {
        LadderKind::GoNow => &GO_NOW,
        LadderKind::RingNow => &RING_NOW,
        LadderKind::Overdue => &OVERDUE,
    }
}

/// Minutes between two rounds of telling everyone, above the last rung: nobody has acted, and it does not stop by itself.
fn repeat_minutes(kind: LadderKind) -> u32 {
    match kind {
        LadderKind::GoNow => 10,
        LadderKind::RingNow => 15,
        LadderKind::Overdue => 60,
    }
}

/// The ladder of a waiting check, by the class it is read in. `None`: the class needs none before it is overdue.
pub fn ladder_of(urgency: Urgency) -> Option<LadderKind> {
    match urgency {
        Urgency::GoNow => Some(LadderKind::GoNow),
        Urgency::RingNow => Some(LadderKind::RingNow),
        Urgency::Today | Urgency::Tomorrow | Urgency::OnTrack => None,
    }
}

/// Minutes from the ladder's beginning to each rung.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LadderTimes {
    go_now: Vec<u32>,
    ring_now: Vec<u32>,
    overdue: Vec<u32>,
}

/// A rung and when it comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rung {
    pub told: Told,
    /// From the ladder's beginning.
    pub after: SignedDuration,
}

/// One time a lead can change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RungTime {
    pub kind: LadderKind,
    pub number: usize,
    pub told: Told,
    pub minutes: u32,
    pub safe: RangeInclusive<u32>,
}

impl Default for LadderTimes {
    fn default() -> LadderTimes {
        let minutes = |kind| steps(kind).iter().map(|step| step.minutes).collect();
        LadderTimes {
            go_now: minutes(LadderKind::GoNow),
            ring_now: minutes(LadderKind::RingNow),
            overdue: minutes(LadderKind::Overdue),
        }
    }
}

impl LadderTimes {
    /// These times, where each is safe and none comes before the rung below it.
    ///
    /// # Errors
    /// Says of the first time that cannot stand what it must be.
    pub fn checked(times: &[(LadderKind, Vec<u32>)]) -> Result<LadderTimes, String> {
        let mut all = LadderTimes::default();
        for (kind, minutes) in times {
            let steps = steps(*kind);
            if minutes.len() != steps.len() {
                return Err(format!("This ladder has {} rungs: give a time for each.", steps.len()));
            }
            for (step, found) in steps.iter().zip(minutes) {
                if !step.safe.contains(found) {
                    let (least, most) = (step.safe.start(), step.safe.end());
                    return Err(format!("Give from {least} to {most} minutes for this rung, not {found}."));
                }
            }
            if !minutes.is_sorted() {
                return Err("A rung cannot come before the one below it: let the times rise.".to_owned());
            }
            minutes.clone_into(all.of_mut(*kind));
        }
        Ok(all)
    }

    fn of(&self, kind: LadderKind) -> &[u32] {
        match kind {
            LadderKind::GoNow => &self.go_now,
            LadderKind::RingNow => &self.ring_now,
            LadderKind::Overdue => &self.overdue,
        }
    }

    fn of_mut(&mut self, kind: LadderKind) -> &mut Vec<u32> {
        match kind {
            LadderKind::GoNow => &mut self.go_now,
            LadderKind::RingNow => &mut self.ring_now,
            LadderKind::Overdue => &mut self.overdue,
        }
    }

    /// Every time, with its safe range.
    pub fn all(&self) -> Vec<RungTime> {
        let of_kind =
            |kind: LadderKind| {
                steps(kind).iter().zip(self.of(kind)).enumerate().map(move |(number, (step, minutes))| {
                    RungTime { kind, number, told: step.told, minutes: *minutes, safe: step.safe.clone() }
                })
            };
        LadderKind::ALL.iter().flat_map(|kind| of_kind(*kind)).collect()
    }

    /// How long to wait at least between the rung before this one and this one, however late it is: above the last rung a
    /// program that was away for a week tells everyone once, not a thousand times. Zero below: what was missed is made up for.
    pub fn least_wait(&self, kind: LadderKind, number: usize) -> SignedDuration {
        match number < steps(kind).len() {
            true => SignedDuration::ZERO,
            false => SignedDuration::from_mins(i64::from(repeat_minutes(kind))),
        }
    }

    /// The rung with this number, from 0. There is always one: above the last, everyone is told again and again.
    pub fn rung(&self, kind: LadderKind, number: usize) -> Rung {
        let (steps, minutes) = (steps(kind), self.of(kind));
        let minutes_from_start =
            |minutes: u64| SignedDuration::from_mins(i64::try_from(minutes).unwrap_or(i64::MAX / 60));
        match (steps.get(number), minutes.get(number)) {
            (Some(step), Some(minutes)) => {
                Rung { told: step.told, after: minutes_from_start(u64::from(*minutes)) }
            }
            _ => {
                let top = u64::from(minutes.last().copied().unwrap_or(0));
                let again = (number as u64).saturating_sub(minutes.len() as u64).saturating_add(1);
                let after = top.saturating_add(again.saturating_mul(u64::from(repeat_minutes(kind))));
                Rung { told: Told::Everyone, after: minutes_from_start(after.min(u64::from(u32::MAX))) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn minutes(kind: LadderKind, rungs: usize) -> Vec<(Told, i64)> {
        let times = LadderTimes::default();
        (0..rungs)
            .map(|number| times.rung(kind, number))
            .map(|rung| (rung.told, rung.after.as_mins()))
            .collect()
    }

    #[test]
    fn an_emergency_climbs_from_duty_to_everyone_and_the_patient_in_half_an_hour() {
        let expected = [
            (Told::OnDuty, 0),
            (Told::OnDutyEverywhere, 5),
            (Told::Second, 10),
            (Told::SurgeonByVoice, 20),
            (Told::Everyone, 30),
            (Told::Patient, 30),
            (Told::Everyone, 40),
            (Told::Everyone, 50),
        ];
        assert_eq!(minutes(LadderKind::GoNow, 8), expected);
    }

    #[test]
    fn within_the_hour_means_that_the_patient_is_told_after_one() {
        assert_eq!(minutes(LadderKind::RingNow, 7)[5..], [(Told::Patient, 60), (Told::Everyone, 75)]);
    }

    #[test]
    fn what_is_overdue_is_never_told_to_the_patient() {
        assert!(minutes(LadderKind::Overdue, 30).iter().all(|(told, _)| *told != Told::Patient));
    }

    #[test]
    fn only_the_two_most_urgent_classes_begin_a_ladder_before_they_are_overdue() {
        let begins: Vec<Urgency> =
            Urgency::ALL.iter().copied().filter(|urgency| ladder_of(*urgency).is_some()).collect();
        assert_eq!(begins, [Urgency::RingNow, Urgency::GoNow]);
    }

    #[test]
    fn a_time_is_taken_at_both_ends_of_its_safe_range_and_refused_beyond() {
        let go_now = |minutes: [u32; 6]| LadderTimes::checked(&[(LadderKind::GoNow, minutes.to_vec())]);
        assert!(go_now([0, 2, 5, 10, 15, 15]).is_ok());
        assert!(go_now([0, 5, 10, 20, 30, 30]).is_ok());
        assert_eq!(
            go_now([0, 1, 5, 10, 15, 15]).unwrap_err(),
            "Give from 2 to 5 minutes for this rung, not 1."
        );
        assert!(go_now([0, 6, 10, 20, 30, 30]).is_err());
        assert!(go_now([0, 5, 10, 20, 30, 15]).unwrap_err().contains("let the times rise"));
        assert!(LadderTimes::checked(&[(LadderKind::Overdue, vec![0, 30])]).unwrap_err().contains("4 rungs"));
    }

    #[test]
    fn what_is_not_changed_stays_as_it_came() {
        let changed = LadderTimes::checked(&[(LadderKind::Overdue, vec![0, 10, 20, 30])]).unwrap();
        assert_eq!(changed.rung(LadderKind::GoNow, 2), LadderTimes::default().rung(LadderKind::GoNow, 2));
        assert_eq!(changed.rung(LadderKind::Overdue, 3).after.as_mins(), 30);
        assert_eq!(changed.all().len(), 16);
    }

    #[test]
    fn what_was_missed_is_made_up_for_below_the_last_rung_and_not_above() {
        let times = LadderTimes::default();
        assert_eq!(times.least_wait(LadderKind::GoNow, 5), SignedDuration::ZERO);
        assert_eq!(times.least_wait(LadderKind::GoNow, 6), SignedDuration::from_mins(10));
        assert_eq!(times.least_wait(LadderKind::Overdue, 4), SignedDuration::from_mins(60));
    }

    proptest! {
        #[test]
        fn every_rung_comes_no_sooner_than_the_one_below(kind in prop::sample::select(LadderKind::ALL), number in 0usize..5_000) {
            let times = LadderTimes::default();
            prop_assert!(times.rung(kind, number).after <= times.rung(kind, number + 1).after);
        }

        #[test]
        fn no_number_is_too_high(kind in prop::sample::select(LadderKind::ALL), number in any::<usize>()) {
            prop_assert!(LadderTimes::default().rung(kind, number).after >= SignedDuration::ZERO);
        }
    }
}
