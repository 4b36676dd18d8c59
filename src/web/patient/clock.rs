//! Times as patients read them, on the twelve-hour clock like the printed sheet, and whether anybody is there now.

use jiff::Timestamp;
use jiff::ToSpan;
use jiff::civil::Weekday;
use jiff::tz::TimeZone;

use crate::store::practices::Practice;
use crate::words::Language;
use crate::words::calendar;

/// "3:40 pm"; on another day "tomorrow, 9:00 am" or "Friday, May 8, 9:05 am". In Spanish "mañana, 9:00 a. m.".
pub fn when(at: Timestamp, now: Timestamp, zone: &TimeZone, language: Language) -> String {
    let then = at.to_zoned_datetime(zone.clone());
    let today = now.to_zoned_datetime(zone.clone()).date();
    let clock = calendar::clock_time(language, then.datetime());
    let day = match ((then.date() - today).get_days(), language) {
        (0, _) => return clock,
        (1, Language::English) => "tomorrow".to_owned(),
        (1, Language::Spanish) => "mañana".to_owned(),
        (-1, Language::English) => "yesterday".to_owned(),
        (-1, Language::Spanish) => "ayer".to_owned(),
        _ => calendar::long_day(language, then.datetime()),
    };
    format!("{day}, {clock}")
}

/// Whether somebody of the practice is there to read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cover {
    Open,
    Closed {
        /// When the practice opens next.
        opens: Timestamp,
    },
}

/// Goes by the practice's hours, Monday to Friday. A practice whose hours leave no time open opens never: then the
/// next opening is a week away, which nobody should read as soon.
pub fn cover(practice: &Practice, now: Timestamp) -> Cover {
    let local = now.to_zoned_datetime(practice.zone.clone());
    let minute = i64::from(local.hour()) * 60 + i64::from(local.minute());
    let hours = practice.opens_minute..practice.closes_minute;
    if works_on(local.date().weekday()) && hours.contains(&minute) {
        return Cover::Open;
    }
    let in_a_week = now.saturating_add(jiff::SignedDuration::from_hours(7 * 24)).unwrap_or(now);
    let opens = (0..8_i64).find_map(|days| {
        let date = local.date().checked_add(days.days()).ok()?;
        let (hour, minute) = (practice.opens_minute / 60, practice.opens_minute % 60);
        let at = date.at(i8::try_from(hour).ok()?.min(23), i8::try_from(minute).ok()?, 0, 0);
        let at = at.to_zoned_datetime(practice.zone.clone()).ok()?.timestamp();
        (works_on(date.weekday()) && at > now && !hours.is_empty()).then_some(at)
    });
    Cover::Closed { opens: opens.unwrap_or(in_a_week) }
}

fn works_on(weekday: Weekday) -> bool {
    match weekday {
        Weekday::Monday | Weekday::Tuesday | Weekday::Wednesday | Weekday::Thursday | Weekday::Friday => true,
        Weekday::Saturday | Weekday::Sunday => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::Chance;
    use crate::ids::Moment;
    use crate::ids::PracticeId;
    use crate::sheet::Paper;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn new_york() -> TimeZone {
        TimeZone::get("America/New_York").unwrap()
    }

    fn practice(opens_minute: i64, closes_minute: i64) -> Practice {
        Practice {
            id: PracticeId::mint(&Moment::new(at("2026-01-01T00:00:00Z"), Chance::seeded(1))),
            name: "Harbor Surgery".to_owned(),
            phone: "202-555-0143".to_owned(),
            emergency_number: "911".to_owned(),
            zone: new_york(),
            paper: Paper::Letter,
            opens_minute,
            closes_minute,
        }
    }

    #[test]
    fn midnight_and_noon_are_twelve() {
        let now = at("2026-05-04T18:00:00Z");
        let clock = |time: &str, language| when(at(time), now, &new_york(), language);
        assert_eq!(clock("2026-05-04T19:40:00Z", Language::English), "3:40\u{a0}pm");
        assert_eq!(clock("2026-05-04T16:00:00Z", Language::English), "12:00\u{a0}pm");
        assert_eq!(clock("2026-05-05T04:05:00Z", Language::English), "tomorrow, 12:05\u{a0}am");
        assert_eq!(clock("2026-05-05T13:00:00Z", Language::Spanish), "mañana, 9:00\u{a0}a.\u{a0}m.");
        assert_eq!(clock("2026-05-03T13:00:00Z", Language::Spanish), "ayer, 9:00\u{a0}a.\u{a0}m.");
        assert_eq!(clock("2026-05-08T13:05:00Z", Language::English), "Friday, May 8, 9:05\u{a0}am");
    }

    #[test]
    fn the_practice_is_there_from_its_first_minute_to_before_its_last() {
        let hours = practice(8 * 60, 17 * 60);
        let opens = |text: &str| Cover::Closed { opens: at(text) };
        // Monday 4 May 2026; New York is four hours behind.
        assert_eq!(cover(&hours, at("2026-05-04T11:59:00Z")), opens("2026-05-04T12:00:00Z"));
        assert_eq!(cover(&hours, at("2026-05-04T12:00:00Z")), Cover::Open);
        assert_eq!(cover(&hours, at("2026-05-04T20:59:59Z")), Cover::Open);
        assert_eq!(cover(&hours, at("2026-05-04T21:00:00Z")), opens("2026-05-05T12:00:00Z"));
    }

    #[test]
    fn a_friday_evening_waits_for_monday() {
        let hours = practice(8 * 60, 17 * 60);
        assert_eq!(
            cover(&hours, at("2026-05-08T22:00:00Z")),
            Cover::Closed { opens: at("2026-05-11T12:00:00Z") }
        );
        assert_eq!(
            cover(&hours, at("2026-05-09T15:00:00Z")),
            Cover::Closed { opens: at("2026-05-11T12:00:00Z") }
        );
    }

    #[test]
    fn a_practice_without_hours_is_never_there() {
        let now = at("2026-05-04T15:00:00Z");
        assert_eq!(cover(&practice(0, 0), now), Cover::Closed { opens: at("2026-05-11T15:00:00Z") });
    }
}
