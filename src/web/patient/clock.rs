//! Times as patients read them, on the twelve-hour clock like the printed sheet.

use jiff::Timestamp;
use jiff::tz::TimeZone;

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

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    fn new_york() -> TimeZone {
        TimeZone::get("America/New_York").unwrap()
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
}
