//! When somebody is there to review, as one week that repeats itself, in the practice's own clock.

use jiff::civil::Weekday;

const MINUTE_MS: i64 = 60_000;
const DAY_MINUTES: i64 = 24 * 60;
pub(super) const WEEK_MS: i64 = 7 * DAY_MINUTES * MINUTE_MS;

/// The hours of duty in a week that begins on Monday at midnight. Clock changes are left out: every week has 168 hours.
///
/// Invariant: spans of minutes of the week, in order, apart from each other, each at least a minute long.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DutyWeek {
    spans_minutes: Vec<(i64, i64)>,
}

impl DutyWeek {
    /// The same hours on each of these days. Local minutes after midnight, 0–1440; a closing at or before the opening
    /// leaves nobody on duty.
    pub fn on(days: &[Weekday], opens_minute: i64, closes_minute: i64) -> DutyWeek {
        let (opens, closes) = (opens_minute.clamp(0, DAY_MINUTES), closes_minute.clamp(0, DAY_MINUTES));
        let starts = days.iter().map(|day| i64::from(day.to_monday_zero_offset()) * DAY_MINUTES);
        DutyWeek::of(starts.map(|start| (start + opens, start + closes)).collect())
    }

    /// Day and night, every day.
    pub fn round_the_clock() -> DutyWeek {
        DutyWeek { spans_minutes: vec![(0, 7 * DAY_MINUTES)] }
    }

    fn of(mut spans: Vec<(i64, i64)>) -> DutyWeek {
        spans.retain(|(from, to)| from < to);
        spans.sort_unstable();
        let mut joined: Vec<(i64, i64)> = Vec::new();
        for (from, to) in spans {
            match joined.last_mut() {
                Some(before) if from <= before.1 => before.1 = before.1.max(to),
                Some(_) | None => joined.push((from, to)),
            }
        }
        DutyWeek { spans_minutes: joined }
    }

    /// The same week with each stretch of duty lasting longer, as far as the week's end.
    pub fn longer_by(&self, minutes: i64) -> DutyWeek {
        let end = 7 * DAY_MINUTES;
        DutyWeek::of(self.spans_minutes.iter().map(|(from, to)| (*from, (to + minutes).min(end))).collect())
    }

    /// Minutes of duty a week.
    pub fn minutes(&self) -> i64 {
        self.spans_minutes.iter().map(|(from, to)| to - from).sum()
    }

    pub fn is_round_the_clock(&self) -> bool {
        self.minutes() == 7 * DAY_MINUTES
    }

    /// 0–1: how much of one hour of the week, counted from Monday midnight, is duty.
    pub fn share_of_hour(&self, hour: usize) -> f64 {
        let from = i64::try_from(hour).unwrap_or(0) * 60;
        let overlap = |span: &(i64, i64)| (span.1.min(from + 60) - span.0.max(from)).max(0);
        self.spans_minutes.iter().map(overlap).sum::<i64>() as f64 / 60.0
    }

    /// Whether somebody is there, `at_ms` after a Monday midnight.
    pub(super) fn is_open(&self, at_ms: i64) -> bool {
        let in_week = at_ms.rem_euclid(WEEK_MS);
        self.spans_minutes.iter().any(|(from, to)| (from * MINUTE_MS..to * MINUTE_MS).contains(&in_week))
    }

    /// When somebody is there next, at or after `at_ms`. `None`: never.
    pub(super) fn next_open(&self, at_ms: i64) -> Option<i64> {
        if self.is_open(at_ms) {
            return Some(at_ms);
        }
        let in_week = at_ms.rem_euclid(WEEK_MS);
        let later = self.spans_minutes.iter().map(|(from, _)| from * MINUTE_MS).find(|from| *from > in_week);
        let next_week = self.spans_minutes.first().map(|(from, _)| from * MINUTE_MS + WEEK_MS);
        later.or(next_week).map(|opens| at_ms - in_week + opens)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const WORKDAYS: [Weekday; 5] =
        [Weekday::Monday, Weekday::Tuesday, Weekday::Wednesday, Weekday::Thursday, Weekday::Friday];

    fn at(day: i64, hour: i64, minute: i64) -> i64 {
        ((day * 24 + hour) * 60 + minute) * MINUTE_MS
    }

    #[test]
    fn duty_runs_from_its_first_minute_to_before_its_last_and_friday_evening_waits_for_monday() {
        let week = DutyWeek::on(&WORKDAYS, 8 * 60, 17 * 60);
        assert_eq!(week.minutes(), 5 * 9 * 60);
        assert!(!week.is_open(at(0, 8, 0) - 1) && week.is_open(at(0, 8, 0)));
        assert!(week.is_open(at(0, 17, 0) - 1) && !week.is_open(at(0, 17, 0)));
        assert_eq!(week.next_open(at(0, 17, 0)), Some(at(1, 8, 0)));
        assert_eq!(week.next_open(at(4, 17, 0)), Some(at(7, 8, 0)));
        assert_eq!(week.next_open(at(9, 12, 30)), Some(at(9, 12, 30)));
    }

    #[test]
    fn days_that_touch_are_one_stretch_and_all_seven_are_round_the_clock() {
        let all = [&WORKDAYS[..], &[Weekday::Saturday, Weekday::Sunday]].concat();
        assert_eq!(DutyWeek::on(&all, 0, 24 * 60), DutyWeek::round_the_clock());
        assert!(DutyWeek::on(&all, 0, 24 * 60).is_round_the_clock());
        assert!(!DutyWeek::on(&all, 0, 24 * 60 - 1).is_round_the_clock());
    }

    #[test]
    fn nobody_is_ever_there_when_no_day_or_no_hour_is_chosen() {
        for nobody in [DutyWeek::on(&[], 0, 1_440), DutyWeek::on(&WORKDAYS, 600, 600)] {
            assert_eq!((nobody.minutes(), nobody.next_open(0)), (0, None));
        }
    }

    #[test]
    fn half_an_hour_longer_is_half_an_hour_each_day_but_not_past_the_weeks_end() {
        let week = DutyWeek::on(&WORKDAYS, 480, 1_020);
        assert_eq!(week.longer_by(30).minutes(), week.minutes() + 5 * 30);
        assert_eq!(DutyWeek::round_the_clock().longer_by(30), DutyWeek::round_the_clock());
        let late = DutyWeek::on(&[Weekday::Sunday], 22 * 60, 24 * 60);
        assert_eq!(late.longer_by(30), late);
    }

    proptest! {
        #[test]
        fn the_next_opening_is_open_and_nothing_before_it_is(
            days in prop::collection::vec(0..7_i8, 1..7),
            opens in 0_i64..1_380,
            lasts in 1_i64..600,
            at_minute in 0_i64..40_000,
        ) {
            let days: Vec<Weekday> =
                days.iter().map(|day| Weekday::from_monday_zero_offset(*day).unwrap()).collect();
            let week = DutyWeek::on(&days, opens, opens + lasts);
            let from = at_minute * MINUTE_MS;
            let next = week.next_open(from).unwrap();
            prop_assert!(next >= from && week.is_open(next));
            prop_assert!((from..next).step_by(60_000).all(|closed| !week.is_open(closed)));
            let by_hours: f64 = (0..168).map(|hour| week.share_of_hour(hour) * 60.0).sum();
            prop_assert!((by_hours - week.minutes() as f64).abs() < 1e-6);
        }
    }
}
