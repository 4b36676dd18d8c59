//! How soon checks were answered, against when they were due.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::triage::figures::share::Share;
use crate::triage::urgency::Urgency;

/// How a check stands against its target.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answered {
    InTime,
    Late,
    /// Overdue, and nobody has answered yet.
    LateAndOpen,
    /// Nobody has answered yet, and nobody had to.
    NotYetDue,
}

/// One check with its times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timed {
    /// The class the first surgeon saw; of an open check, its class now.
    pub class: Urgency,
    /// Local hour of receipt, 0–23.
    pub hour: usize,
    /// From receipt to the first review, in minutes; of an open check, what it has waited so far. Never below 0.
    pub waited_min: f64,
    pub answered: Answered,
}

impl Timed {
    /// `due`: by when the first answer was due. `first_review`: `None` while nobody has answered. A check answered
    /// exactly when it is due is in time.
    pub fn of(
        class: Urgency,
        received: Timestamp,
        due: Timestamp,
        first_review: Option<Timestamp>,
        now: Timestamp,
        zone: &TimeZone,
    ) -> Timed {
        let until = first_review.unwrap_or(now);
        let answered = match (first_review, until > due) {
            (Some(_), false) => Answered::InTime,
            (Some(_), true) => Answered::Late,
            (None, true) => Answered::LateAndOpen,
            (None, false) => Answered::NotYetDue,
        };
        let hour = received.to_zoned_datetime(zone.clone()).hour();
        Timed {
            class,
            hour: usize::try_from(hour).unwrap_or(0),
            waited_min: (until.duration_since(received).as_secs_f64() / 60.0).max(0.0),
            answered,
        }
    }
}

/// Checks of one kind, counted.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    pub in_time: u64,
    pub late: u64,
    pub late_and_open: u64,
    /// Counted aside: neither in time nor late so far.
    pub not_yet_due: u64,
    /// Of all but those not yet due.
    waited_min: Vec<f64>,
}

impl Tally {
    fn count(&mut self, timed: &Timed) {
        match timed.answered {
            Answered::InTime => self.in_time += 1,
            Answered::Late => self.late += 1,
            Answered::LateAndOpen => self.late_and_open += 1,
            Answered::NotYetDue => {
                self.not_yet_due += 1;
                return;
            }
        }
        self.waited_min.push(timed.waited_min);
    }

    /// Checks that were answered or should have been.
    pub fn cases(&self) -> u64 {
        self.in_time + self.late + self.late_and_open
    }

    /// The share answered within its target. What is overdue and open counts as late: leaving it out would flatter.
    pub fn within_target(&self) -> Share {
        Share::new(self.in_time, self.cases())
    }

    /// Minutes within which this part of the checks, from 0 to 1, was answered. An overdue open check counts with what
    /// it has waited so far, which is less than it will have. `None` without a check.
    pub fn waited_min(&self, part: f64) -> Option<f64> {
        let mut sorted = self.waited_min.clone();
        sorted.sort_unstable_by(f64::total_cmp);
        quantile(&sorted, part)
    }
}

/// Every check of a period, counted by class and by hour of receipt.
#[derive(Clone, Debug, PartialEq)]
pub struct Response {
    by_class: Vec<Tally>,
    by_hour: Vec<Tally>,
}

impl Default for Response {
    fn default() -> Response {
        Response {
            by_class: vec![Tally::default(); Urgency::ALL.len()],
            by_hour: vec![Tally::default(); Response::HOURS],
        }
    }
}

impl Response {
    /// Columns of the day.
    pub const HOURS: usize = 24;

    /// Counts one check.
    pub fn count(&mut self, timed: &Timed) {
        if let Some(tally) = self.by_class.get_mut(usize::from(timed.class.rank())) {
            tally.count(timed);
        }
        if let Some(tally) = self.by_hour.get_mut(timed.hour) {
            tally.count(timed);
        }
    }

    /// Each class with its checks, most urgent first.
    pub fn by_class(&self) -> impl Iterator<Item = (Urgency, &Tally)> {
        Urgency::ALL
            .iter()
            .rev()
            .filter_map(|class| Some((*class, self.by_class.get(usize::from(class.rank()))?)))
    }

    /// Each local hour of receipt with its checks, from midnight on.
    pub fn by_hour(&self) -> impl Iterator<Item = (usize, &Tally)> {
        self.by_hour.iter().enumerate()
    }
}

/// The value below which this part, from 0 to 1, of the sorted values lies; between two neighbours in proportion
/// (method 7 of Hyndman and Fan 1996, Am Stat 50:361, which numpy calls linear). `None` without values, or for a part
/// that is none.
pub fn quantile(sorted: &[f64], part: f64) -> Option<f64> {
    if !(0.0..=1.0).contains(&part) {
        return None;
    }
    let place = part * (sorted.len().checked_sub(1)? as f64);
    let below = place.floor();
    let low = *sorted.get(below as usize)?;
    let high = sorted.get(below as usize + 1).copied().unwrap_or(low);
    Some(low + (place - below) * (high - low))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde::Deserialize;

    use super::*;

    const RECEIVED: &str = "2026-03-10T15:00:00Z";

    /// A check received at eleven in New York, due an hour later, answered after so many seconds; the clock shows the
    /// second one.
    fn timed(answered_s: Option<i64>, now_s: i64) -> Timed {
        let received: Timestamp = RECEIVED.parse().unwrap();
        let at = |seconds: i64| received + jiff::SignedDuration::from_secs(seconds);
        let zone = TimeZone::get("America/New_York").unwrap();
        Timed::of(Urgency::RingNow, received, at(3_600), answered_s.map(at), at(now_s), &zone)
    }

    #[test]
    fn an_answer_at_the_due_second_is_in_time_and_one_later_is_late() {
        assert_eq!(timed(Some(3_600), 9_000).answered, Answered::InTime);
        assert_eq!(timed(Some(3_601), 9_000).answered, Answered::Late);
        assert_eq!(timed(Some(1_800), 9_000).waited_min, 30.0);
        assert_eq!(timed(Some(1_800), 9_000).hour, 11);
    }

    #[test]
    fn an_open_check_is_late_once_it_is_overdue_and_is_not_left_out() {
        assert_eq!(timed(None, 3_600).answered, Answered::NotYetDue);
        assert_eq!(timed(None, 3_601).answered, Answered::LateAndOpen);
        let mut response = Response::default();
        for check in [timed(Some(60), 7_200), timed(None, 7_200), timed(None, 600)] {
            response.count(&check);
        }
        let (class, tally) = response.by_class().nth(1).unwrap();
        assert_eq!(class, Urgency::RingNow);
        assert_eq!((tally.cases(), tally.within_target(), tally.not_yet_due), (2, Share::new(1, 2), 1));
        // One minute, and two hours so far.
        assert_eq!(tally.waited_min(0.5), Some(60.5));
        assert_eq!(response.by_hour().map(|(_, tally)| tally.cases()).sum::<u64>(), 2);
        assert_eq!(response.by_hour().count(), 24);
    }

    #[test]
    fn a_review_before_its_receipt_is_no_negative_time() {
        assert_eq!(timed(Some(-60), 600).waited_min, 0.0);
    }

    #[derive(Deserialize)]
    struct Truth {
        quantiles: Vec<Row>,
    }

    #[derive(Deserialize)]
    struct Row {
        values: Vec<f64>,
        part: f64,
        quantile: f64,
    }

    #[test]
    fn quantiles_are_those_of_another_program() {
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/truth/quantiles.json");
        let truth: Truth = serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
        assert!(truth.quantiles.len() > 20);
        for row in truth.quantiles {
            let mut sorted = row.values.clone();
            sorted.sort_unstable_by(f64::total_cmp);
            let ours = quantile(&sorted, row.part).unwrap();
            assert!((ours - row.quantile).abs() < 1e-9, "{:?} {}: {ours}", row.values, row.part);
        }
    }

    #[test]
    fn there_is_no_quantile_of_nothing_or_of_more_than_all() {
        assert_eq!(quantile(&[], 0.5), None);
        for part in [-0.1, 1.1, f64::NAN] {
            assert_eq!(quantile(&[1.0, 2.0], part), None);
        }
    }

    proptest! {
        #[test]
        fn a_quantile_lies_among_its_values_and_grows_with_its_part(
            mut values in prop::collection::vec(-1e6_f64..1e6, 1..50),
            one in 0.0_f64..=1.0,
            other in 0.0_f64..=1.0,
        ) {
            values.sort_unstable_by(f64::total_cmp);
            let (low, high) = (quantile(&values, one.min(other)).unwrap(), quantile(&values, one.max(other)).unwrap());
            prop_assert!(low <= high + 1e-6);
            prop_assert!(values[0] - 1e-6 <= low && high <= values[values.len() - 1] + 1e-6);
        }
    }
}
