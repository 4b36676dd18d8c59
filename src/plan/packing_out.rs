//! Taking the strip out at home, part by part: where somebody is, when the next part may begin, and what a count of the
//! pieces comes to. Nothing here ever says that all is well.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::plan::Packing;
use crate::plan::PlanNumbers;
use crate::plan::coded;

coded! {
    /// The parts, in order.
    pub enum OutPart {
        /// Nothing begun: take the pain pill.
        Pill = "pill",
        /// The pill was taken: wait for it to work.
        Wait = "wait",
        Soak = "soak",
        Pull = "pull",
        /// Something came out: press if it bleeds.
        Press = "press",
        /// Count what came out.
        Count = "count",
    }
}

coded! {
    /// What is pressed to go on.
    pub enum OutPress {
        TookPill = "took_pill",
        /// Nothing was given for the pain, or it is not wanted.
        NoPill = "no_pill",
        Soaking = "soaking",
        Pulling = "pulling",
        CameOut = "came_out",
        Pressing = "pressing",
        Counting = "counting",
        /// One part back.
        Back = "back",
    }
}

/// When each part of one try began; `None`: not begun.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct OutTimes {
    pub pill: Option<Timestamp>,
    pub soak: Option<Timestamp>,
    pub pull: Option<Timestamp>,
    pub out: Option<Timestamp>,
    /// Pressing on what bleeds; begun again as often as it must.
    pub press: Option<Timestamp>,
    pub count: Option<Timestamp>,
}

impl OutTimes {
    /// Where somebody is.
    pub fn part(&self) -> OutPart {
        match (self.count, self.out, self.pull, self.soak, self.pill) {
            (Some(_), ..) => OutPart::Count,
            (None, Some(_), ..) => OutPart::Press,
            (None, None, Some(_), ..) => OutPart::Pull,
            (None, None, None, Some(_), _) => OutPart::Soak,
            (None, None, None, None, Some(_)) => OutPart::Wait,
            (None, None, None, None, None) => OutPart::Pill,
        }
    }

    /// After a press at `now`. A time once begun stands when the same button is pressed twice.
    pub fn after(mut self, press: OutPress, now: Timestamp) -> OutTimes {
        let begun = |time: Option<Timestamp>| Some(time.unwrap_or(now));
        match press {
            OutPress::TookPill => self.pill = begun(self.pill),
            OutPress::NoPill | OutPress::Soaking => self.soak = begun(self.soak),
            OutPress::Pulling => self.pull = begun(self.pull),
            OutPress::CameOut => self.out = begun(self.out),
            // Pressing starts afresh whenever somebody looked and it bled on.
            OutPress::Pressing => self.press = Some(now),
            OutPress::Counting => self.count = begun(self.count),
            OutPress::Back => match self.part() {
                OutPart::Pill => {}
                OutPart::Wait => self.pill = None,
                OutPart::Soak => self.soak = None,
                OutPart::Pull => self.pull = None,
                OutPart::Press => (self.out, self.press) = (None, None),
                OutPart::Count => self.count = None,
            },
        }
        self
    }

    /// When the running timer of this part is up, first and at the latest; `None`: nothing is being waited for.
    pub fn timer(&self, numbers: &PlanNumbers) -> Option<(Timestamp, Timestamp)> {
        let (began, least, most) = match self.part() {
            OutPart::Pill | OutPart::Pull | OutPart::Count => return None,
            OutPart::Wait => (self.pill?, numbers.pill_wait_min, numbers.pill_wait_most_min),
            OutPart::Soak => (self.soak?, numbers.soak_min, numbers.soak_most_min),
            OutPart::Press => (self.press?, numbers.press_min, numbers.press_min),
        };
        Some((later(began, least), later(began, most)))
    }
}

fn later(at: Timestamp, minutes: u16) -> Timestamp {
    at.saturating_add(SignedDuration::from_mins(i64::from(minutes))).unwrap_or(at)
}

/// What came out, as the patient counted it; `None`: not counted or not measured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CountedOut {
    pub pieces: Option<u8>,
    pub length_cm: Option<u16>,
}

/// Whether a count agrees with what was put in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CountSays {
    /// As many pieces as went in, and not plainly shorter.
    Agrees,
    /// Fewer or more pieces, or plainly shorter: nobody may take it for all.
    Differs,
}

/// Less than this share of the length put in counts as plainly shorter. Wet gauze stretches and nobody measures it well:
/// ours, no source.
const SHORT_SHARE: f64 = 0.75;

/// Holds a count against what was put in. Pieces that were not counted do not agree.
pub fn count_says(packing: Packing, counted: CountedOut) -> CountSays {
    let short = match (packing.length_cm, counted.length_cm) {
        (Some(put_in), Some(out)) => f64::from(out) < put_in * SHORT_SHARE,
        (Some(_) | None, None) | (None, Some(_)) => false,
    };
    if counted.pieces == Some(packing.pieces) && !short { CountSays::Agrees } else { CountSays::Differs }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(minute: i64) -> Timestamp {
        let start: Timestamp = "2026-03-04T15:00:00Z".parse().unwrap();
        start + SignedDuration::from_mins(minute)
    }

    fn packing(pieces: u8, length_cm: Option<f64>) -> Packing {
        Packing { pieces, length_cm, placed: at(0) }
    }

    #[test]
    fn the_parts_follow_each_other_and_their_times_stand() {
        let numbers = PlanNumbers::default();
        let mut times = OutTimes::default();
        assert_eq!((times.part(), times.timer(&numbers)), (OutPart::Pill, None));
        times = times.after(OutPress::TookPill, at(0)).after(OutPress::TookPill, at(9));
        assert_eq!(times.part(), OutPart::Wait);
        assert_eq!(times.timer(&numbers), Some((at(30), at(45))));
        times = times.after(OutPress::Soaking, at(40));
        assert_eq!(times.timer(&numbers), Some((at(60), at(70))));
        times = times.after(OutPress::Pulling, at(65));
        assert_eq!((times.part(), times.timer(&numbers)), (OutPart::Pull, None));
        times = times.after(OutPress::CameOut, at(68));
        assert_eq!((times.part(), times.timer(&numbers)), (OutPart::Press, None));
        times = times.after(OutPress::Pressing, at(69)).after(OutPress::Pressing, at(80));
        assert_eq!(times.timer(&numbers), Some((at(90), at(90))));
        assert_eq!(times.after(OutPress::Counting, at(91)).part(), OutPart::Count);
    }

    #[test]
    fn without_a_pill_the_soak_comes_first() {
        let times = OutTimes::default().after(OutPress::NoPill, at(3));
        assert_eq!((times.part(), times.pill), (OutPart::Soak, None));
    }

    #[test]
    fn a_count_agrees_only_with_every_piece_and_at_three_quarters_of_the_length() {
        let says = |pieces, length_cm| count_says(packing(2, Some(60.0)), CountedOut { pieces, length_cm });
        assert_eq!(says(Some(2), None), CountSays::Agrees);
        assert_eq!(says(Some(2), Some(45)), CountSays::Agrees);
        assert_eq!(says(Some(2), Some(44)), CountSays::Differs);
        assert_eq!(says(Some(1), Some(60)), CountSays::Differs);
        assert_eq!(says(Some(3), Some(60)), CountSays::Differs);
        assert_eq!(says(None, Some(60)), CountSays::Differs);
        assert_eq!(
            count_says(packing(1, None), CountedOut { pieces: Some(1), length_cm: Some(1) }),
            CountSays::Agrees
        );
    }

    proptest! {
        #[test]
        fn whatever_is_pressed_a_step_back_is_never_further_on(presses in prop::collection::vec(0..8_usize, 0..20)) {
            let mut times = OutTimes::default();
            for (minute, press) in (0..).zip(presses) {
                times = times.after(OutPress::ALL[press], at(minute));
            }
            prop_assert!(times.after(OutPress::Back, at(99)).part() <= times.part());
        }
    }
}
