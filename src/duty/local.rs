//! A minute of a day in the practice's own clock as an instant, over changes of clocks too.

use jiff::Timestamp;
use jiff::ToSpan;
use jiff::civil::Date;
use jiff::tz::AmbiguousOffset;
use jiff::tz::TimeZone;

/// Minutes of a day on the clock's face; a day with a change of clocks is shorter or longer.
pub const DAY_MINUTES: i64 = 24 * 60;

/// The first instant at which a clock in `zone` shows `minute` of `date`, or a later time. A minute that the clocks
/// skip begins where they jump; one that comes twice begins the first time. So shifts that meet on the clock's face
/// meet in earnest, whatever the clocks do. `minute` counts from midnight and may reach into the days after; `None`:
/// outside the calendar.
pub fn instant(date: Date, minute: i64, zone: &TimeZone) -> Option<Timestamp> {
    let date = date.checked_add(minute.div_euclid(DAY_MINUTES).days()).ok()?;
    let of_day = minute.rem_euclid(DAY_MINUTES);
    let (hour, minute) = (i8::try_from(of_day / 60).ok()?, i8::try_from(of_day % 60).ok()?);
    let possible = zone.to_ambiguous_timestamp(date.at(hour, minute, 0, 0));
    let earlier = possible.earlier().ok()?;
    match possible.offset() {
        AmbiguousOffset::Unambiguous { .. } | AmbiguousOffset::Fold { .. } => Some(earlier),
        // By the offset after the jump the skipped minute lies before it: the jump is what follows.
        AmbiguousOffset::Gap { .. } => {
            zone.following(earlier).next().map_or(Some(earlier), |jump| Some(jump.timestamp()))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use proptest::prelude::*;

    fn new_york() -> TimeZone {
        TimeZone::get("America/New_York").unwrap()
    }

    fn at(year: i16, month: i8, day: i8, minute: i64) -> String {
        instant(date(year, month, day), minute, &new_york()).unwrap().to_string()
    }

    // New York: clocks forward at 2:00 on 8 March 2026, back at 2:00 on 1 November (IANA time zone database).
    #[test]
    fn a_skipped_minute_begins_where_the_clocks_jump() {
        assert_eq!(at(2026, 3, 8, 119), "2026-03-08T06:59:00Z");
        for skipped in [120, 121, 150, 179] {
            assert_eq!(at(2026, 3, 8, skipped), "2026-03-08T07:00:00Z", "{skipped}");
        }
        assert_eq!(at(2026, 3, 8, 180), "2026-03-08T07:00:00Z");
        assert_eq!(at(2026, 3, 8, 181), "2026-03-08T07:01:00Z");
    }

    #[test]
    fn a_minute_that_comes_twice_begins_the_first_time() {
        assert_eq!(at(2026, 11, 1, 59), "2026-11-01T04:59:00Z");
        assert_eq!(at(2026, 11, 1, 60), "2026-11-01T05:00:00Z");
        assert_eq!(at(2026, 11, 1, 119), "2026-11-01T05:59:00Z");
        assert_eq!(at(2026, 11, 1, 120), "2026-11-01T07:00:00Z");
    }

    #[test]
    fn the_last_minute_of_a_day_is_the_first_of_the_next() {
        assert_eq!(at(2026, 3, 7, DAY_MINUTES), at(2026, 3, 8, 0));
        assert_eq!(at(2026, 12, 31, DAY_MINUTES + 60), at(2027, 1, 1, 60));
    }

    #[test]
    fn a_day_that_begins_with_a_jump_begins_at_one() {
        // Beirut went from 0:00 to 1:00 on 27 March 2022 (IANA time zone database).
        let beirut = TimeZone::get("Asia/Beirut").unwrap();
        let begins = instant(date(2022, 3, 27), 0, &beirut).unwrap();
        assert_eq!(begins.to_zoned_datetime(beirut).datetime(), date(2022, 3, 27).at(1, 0, 0, 0));
    }

    proptest! {
        #[test]
        fn later_on_the_clocks_face_is_never_earlier(
            zone in prop::sample::select(vec!["America/New_York", "Europe/Madrid", "Australia/Lord_Howe", "UTC"]),
            day in 0_i64..800,
            minute in -2_000_i64..4_000,
        ) {
            let zone = TimeZone::get(zone).unwrap();
            let date = date(2025, 1, 1).checked_add(day.days()).unwrap();
            let (one, next) = (instant(date, minute, &zone).unwrap(), instant(date, minute + 1, &zone).unwrap());
            prop_assert!(one <= next);
        }

        #[test]
        fn nothing_panics(minute in any::<i32>(), year in -9_999_i16..=9_999) {
            instant(date(year, 6, 1), i64::from(minute), &new_york());
        }
    }
}
