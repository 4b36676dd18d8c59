//! When the practice is open: hours of each weekday, and the holidays it is closed on.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::ToSpan;
use jiff::civil::Date;
use jiff::civil::Weekday;
use jiff::tz::TimeZone;

use crate::duty::local::DAY_MINUTES;
use crate::duty::local::instant;

/// How far ahead an opening or a closing is looked for.
const LOOKS_AHEAD_DAYS: i64 = 400;

/// Hours of one weekday, local minutes after midnight. Invariant: `0 ≤ from < until ≤ 1440`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DayHours {
    from_minute: i64,
    until_minute: i64,
}

impl DayHours {
    /// `None`: no time of a day, or none is left between the two.
    pub fn new(from_minute: i64, until_minute: i64) -> Option<DayHours> {
        (0 <= from_minute && from_minute < until_minute && until_minute <= DAY_MINUTES)
            .then_some(DayHours { from_minute, until_minute })
    }

    pub fn from_minute(self) -> i64 {
        self.from_minute
    }

    pub fn until_minute(self) -> i64 {
        self.until_minute
    }
}

/// The practice's hours.
#[derive(Clone, Debug)]
pub struct Hours {
    pub zone: TimeZone,
    /// Monday first; `None`: closed all day.
    pub days: [Option<DayHours>; 7],
    /// Days on which the practice is closed whatever the weekday, with their names.
    pub holidays: BTreeMap<Date, String>,
}

/// A stretch of time, its end not in it.
type Stretch = (Timestamp, Timestamp);

impl Hours {
    /// The same hours from Monday to Friday, closed at the weekend, no holidays.
    pub fn on_weekdays(zone: TimeZone, hours: Option<DayHours>) -> Hours {
        Hours { zone, days: [hours, hours, hours, hours, hours, None, None], holidays: BTreeMap::new() }
    }

    /// The hours of a weekday; `None`: closed.
    pub fn of(&self, weekday: Weekday) -> Option<DayHours> {
        let index = usize::try_from(weekday.to_monday_zero_offset()).unwrap_or(0);
        self.days.get(index).copied().flatten()
    }

    /// The name of the holiday on this day; `None`: an ordinary day.
    pub fn holiday(&self, date: Date) -> Option<&str> {
        self.holidays.get(&date).map(String::as_str)
    }

    pub fn is_open(&self, at: Timestamp) -> bool {
        self.around(at).any(|(from, until)| from <= at && at < until)
    }

    /// When the practice opens next, after `at`; `None`: not within 400 days.
    pub fn opens_next(&self, at: Timestamp) -> Option<Timestamp> {
        self.ahead(at).map(|(from, _)| from).find(|from| *from > at)
    }

    /// Until when the practice is open; `None`: it is closed at `at`. A practice that never closes: the end of the
    /// 400 days looked at.
    pub fn closes(&self, at: Timestamp) -> Option<Timestamp> {
        self.ahead(at).find(|(from, until)| *from <= at && at < *until).map(|(_, until)| until)
    }

    /// What a day's hours are in earnest; `None`: closed, or the clocks skipped them all.
    fn stretch(&self, date: Date) -> Option<Stretch> {
        if self.holidays.contains_key(&date) {
            return None;
        }
        let hours = self.of(date.weekday())?;
        let from = instant(date, hours.from_minute, &self.zone)?;
        let until = instant(date, hours.until_minute, &self.zone)?;
        (from < until).then_some((from, until))
    }

    fn days_from(&self, at: Timestamp, days: std::ops::RangeInclusive<i64>) -> impl Iterator<Item = Stretch> {
        let today = at.to_zoned_datetime(self.zone.clone()).date();
        days.filter_map(move |day| self.stretch(today.checked_add(day.days()).ok()?))
    }

    /// What can hold `at`.
    fn around(&self, at: Timestamp) -> impl Iterator<Item = Stretch> {
        self.days_from(at, -1..=1)
    }

    /// From the day before `at`, those that meet at midnight made one.
    fn ahead(&self, at: Timestamp) -> impl Iterator<Item = Stretch> {
        let mut days = self.days_from(at, -1..=LOOKS_AHEAD_DAYS).peekable();
        std::iter::from_fn(move || {
            let (from, mut until) = days.next()?;
            while let Some((_, later)) = days.next_if(|(next, _)| *next <= until) {
                until = later;
            }
            Some((from, until))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use proptest::prelude::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn new_york() -> TimeZone {
        TimeZone::get("America/New_York").unwrap()
    }

    /// Monday to Friday 8 to 17.
    fn office() -> Hours {
        Hours::on_weekdays(new_york(), DayHours::new(480, 1_020))
    }

    #[test]
    fn hours_are_a_stretch_of_one_day() {
        assert!(DayHours::new(480, 481).is_some() && DayHours::new(0, 1_440).is_some());
        for (from, until) in [(480, 480), (480, 479), (-1, 60), (0, 1_441)] {
            assert_eq!(DayHours::new(from, until), None);
        }
    }

    #[test]
    fn the_practice_is_open_from_its_first_minute_to_before_its_last() {
        // Monday 4 May 2026; New York is four hours behind.
        let hours = office();
        assert!(!hours.is_open(at("2026-05-04T11:59:59Z")) && hours.is_open(at("2026-05-04T12:00:00Z")));
        assert!(hours.is_open(at("2026-05-04T20:59:59Z")) && !hours.is_open(at("2026-05-04T21:00:00Z")));
        assert_eq!(hours.opens_next(at("2026-05-04T11:59:59Z")), Some(at("2026-05-04T12:00:00Z")));
        assert_eq!(hours.opens_next(at("2026-05-04T12:00:00Z")), Some(at("2026-05-05T12:00:00Z")));
        assert_eq!(hours.closes(at("2026-05-04T12:00:00Z")), Some(at("2026-05-04T21:00:00Z")));
        assert_eq!(hours.closes(at("2026-05-04T21:00:00Z")), None);
    }

    #[test]
    fn a_friday_evening_waits_for_monday_and_over_a_holiday_for_tuesday() {
        let mut hours = office();
        let friday = at("2026-05-08T22:00:00Z");
        assert_eq!(hours.opens_next(friday), Some(at("2026-05-11T12:00:00Z")));
        hours.holidays.insert(date(2026, 5, 11), "Staff day".to_owned());
        assert_eq!(hours.opens_next(friday), Some(at("2026-05-12T12:00:00Z")));
        assert!(!hours.is_open(at("2026-05-11T15:00:00Z")));
        assert_eq!(hours.holiday(date(2026, 5, 11)), Some("Staff day"));
        assert_eq!(hours.holiday(date(2026, 5, 12)), None);
    }

    #[test]
    fn hours_stay_on_the_clocks_face_when_the_clocks_change() {
        let hours = office();
        // The Fridays before and the Mondays after 8 March and 1 November 2026.
        assert_eq!(hours.opens_next(at("2026-03-06T22:00:00Z")), Some(at("2026-03-09T12:00:00Z")));
        assert_eq!(hours.opens_next(at("2026-10-30T22:00:00Z")), Some(at("2026-11-02T13:00:00Z")));
    }

    #[test]
    fn hours_within_a_skipped_hour_are_none_that_day() {
        let mut hours = office();
        hours.days[6] = DayHours::new(120, 180);
        let sunday = at("2026-03-08T05:30:00Z");
        assert!(!hours.is_open(at("2026-03-08T07:00:00Z")));
        assert_eq!(hours.opens_next(sunday), Some(at("2026-03-09T12:00:00Z")));
    }

    #[test]
    fn days_that_meet_at_midnight_are_one_stretch() {
        let mut hours = office();
        hours.days = [DayHours::new(0, 1_440); 7];
        hours.holidays.insert(date(2026, 5, 9), "Closed".to_owned());
        let monday = at("2026-05-04T15:00:00Z");
        assert_eq!(hours.closes(monday), Some(at("2026-05-09T04:00:00Z")));
        assert_eq!(hours.opens_next(monday), Some(at("2026-05-10T04:00:00Z")));
    }

    #[test]
    fn a_practice_without_hours_never_opens() {
        let hours = Hours::on_weekdays(new_york(), None);
        let now = at("2026-05-04T15:00:00Z");
        assert!(!hours.is_open(now));
        assert_eq!((hours.opens_next(now), hours.closes(now)), (None, None));
    }

    proptest! {
        #[test]
        fn between_now_and_the_next_change_nothing_changes(
            second in 1_760_000_000_i64..1_860_000_000,
            from in 0_i64..1_440,
            long in 1_i64..1_440,
            part in 0.0..1.0,
        ) {
            let hours = Hours::on_weekdays(new_york(), DayHours::new(from, (from + long).min(1_440)));
            let now = Timestamp::from_second(second).unwrap();
            let changes = hours.closes(now).or(hours.opens_next(now)).unwrap();
            prop_assert!(changes > now);
            let within = (changes.as_second() - second) as f64 * part;
            let between = Timestamp::from_second(second + within as i64).unwrap();
            prop_assert_eq!(hours.is_open(between), hours.is_open(now));
            prop_assert_ne!(hours.is_open(changes), hours.is_open(now));
        }
    }

    #[test]
    fn no_instant_is_too_early_or_too_late() {
        for instant in [Timestamp::MIN, Timestamp::MAX] {
            office().is_open(instant);
            office().opens_next(instant);
            office().closes(instant);
        }
    }
}
