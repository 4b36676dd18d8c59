//! Which days a page of figures looks back over, by the practice's own calendar.

use jiff::Timestamp;
use jiff::ToSpan;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::plan::coded;

coded! {
    /// How far back the figures look, counted in the practice's local dates, today among them.
    pub enum Period { Days30 = "30", Days90 = "90", Days365 = "365", All = "all" }
}

impl Period {
    /// How many local dates; `None`: all there are.
    pub fn days(self) -> Option<i64> {
        match self {
            Period::Days30 => Some(30),
            Period::Days90 => Some(90),
            Period::Days365 => Some(365),
            Period::All => None,
        }
    }

    /// What staff read.
    pub fn words(self) -> &'static str {
        match self {
            Period::Days30 => "Last 30 days",
            Period::Days90 => "Last 90 days",
            Period::Days365 => "Last 365 days",
            Period::All => "All",
        }
    }

    /// The first local date that counts; `None`: all there are.
    pub fn first_day(self, now: Timestamp, zone: &TimeZone) -> Option<Date> {
        let today = now.to_zoned_datetime(zone.clone()).date();
        let back = self.days()?.saturating_sub(1);
        Some(today.checked_sub(back.days()).unwrap_or(Date::MIN))
    }

    /// The moment that date begins; what was received earlier does not count.
    pub fn begins(self, now: Timestamp, zone: &TimeZone) -> Timestamp {
        let Some(day) = self.first_day(now, zone) else { return Timestamp::MIN };
        // Where the clocks skip midnight, the day begins when they go on.
        day.at(0, 0, 0, 0).to_zoned_datetime(zone.clone()).map_or(Timestamp::MIN, |first| first.timestamp())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn begins(period: Period, now: &str, zone: &str) -> String {
        let zone = TimeZone::get(zone).unwrap();
        period.begins(now.parse().unwrap(), &zone).to_string()
    }

    #[test]
    fn thirty_days_are_thirty_local_dates_with_today() {
        // 10 March 2026, eleven in the morning in New York: 9 February to 10 March. Clocks changed on 8 March.
        assert_eq!(
            begins(Period::Days30, "2026-03-10T15:00:00Z", "America/New_York"),
            "2026-02-09T05:00:00Z"
        );
        // Late in the evening there, the date in Greenwich is tomorrow's already: the practice's own counts.
        assert_eq!(
            begins(Period::Days30, "2026-03-11T03:59:59Z", "America/New_York"),
            "2026-02-09T05:00:00Z"
        );
        assert_eq!(
            begins(Period::Days30, "2026-03-11T04:00:00Z", "America/New_York"),
            "2026-02-10T05:00:00Z"
        );
    }

    #[test]
    fn a_day_whose_midnight_was_skipped_begins_when_the_clocks_go_on() {
        // Santiago, 6 September 2026: 24:00 became 1:00 (IANA time zone database). 30 dates up to 5 October.
        assert_eq!(
            begins(Period::Days30, "2026-10-05T15:00:00Z", "America/Santiago"),
            "2026-09-06T04:00:00Z"
        );
    }

    #[test]
    fn all_begins_before_everything_and_no_moment_is_too_early() {
        assert_eq!(Period::All.begins(Timestamp::MAX, &TimeZone::UTC), Timestamp::MIN);
        for period in Period::ALL {
            for now in [Timestamp::MIN, Timestamp::MAX] {
                assert!(period.begins(now, &TimeZone::UTC) <= now);
            }
        }
    }
}
