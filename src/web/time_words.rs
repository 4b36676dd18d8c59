//! Times as people say them.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::words::Language;
use crate::words::calendar;

/// A clock time, with the day when it is not today: "15:40", "tomorrow at 9:00", "Tuesday, 5 May at 9:00".
pub fn clock_time(at: Timestamp, now: Timestamp, zone: &TimeZone, language: Language) -> String {
    let then = at.to_zoned_datetime(zone.clone());
    let today = now.to_zoned_datetime(zone.clone()).date();
    let clock = format!("{}:{:02}", then.hour(), then.minute());
    let days = (then.date() - today).get_days();
    match (days, language) {
        (0, _) => clock,
        (1, Language::English) => format!("tomorrow at {clock}"),
        (1, Language::Spanish) => format!("mañana a las {clock}"),
        (-1, Language::English) => format!("yesterday at {clock}"),
        (-1, Language::Spanish) => format!("ayer a las {clock}"),
        (_, Language::English) => format!("{} at {clock}", day(at, zone, language)),
        (_, Language::Spanish) => format!("{} a las {clock}", day(at, zone, language)),
    }
}

/// A day: "Tuesday, May 5", "martes 5 de mayo".
pub fn day(at: Timestamp, zone: &TimeZone, language: Language) -> String {
    calendar::long_day(language, at.to_zoned_datetime(zone.clone()).datetime())
}

/// Time left or gone, short, for staff: "in 25 min", "in 3 h", "40 min over", "2 d over".
pub fn time_left(due: Timestamp, now: Timestamp) -> String {
    let minutes = due.duration_since(now).as_secs().div_euclid(60);
    if minutes >= 0 { format!("in {}", span(minutes)) } else { format!("{} over", span(-minutes)) }
}

/// How long ago, for staff: "just now", "25 min ago".
pub fn ago(then: Timestamp, now: Timestamp) -> String {
    match now.duration_since(then).as_secs().div_euclid(60) {
        ..1 => "just now".to_owned(),
        minutes => format!("{} ago", span(minutes)),
    }
}

fn span(minutes: i64) -> String {
    match minutes {
        ..60 => format!("{minutes} min"),
        60..2_880 => format!("{} h", minutes / 60),
        _ => format!("{} d", minutes / 1_440),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn the_day_is_said_only_when_it_is_another_one() {
        let zone = TimeZone::get("America/New_York").unwrap();
        let now = at("2026-05-04T18:00:00Z");
        assert_eq!(clock_time(at("2026-05-04T19:40:00Z"), now, &zone, Language::English), "15:40");
        assert_eq!(
            clock_time(at("2026-05-05T13:00:00Z"), now, &zone, Language::Spanish),
            "mañana a las 9:00"
        );
        assert_eq!(
            clock_time(at("2026-05-08T13:05:00Z"), now, &zone, Language::English),
            "Friday, May 8 at 9:05"
        );
        assert_eq!(
            clock_time(at("2026-05-08T13:05:00Z"), now, &zone, Language::Spanish),
            "viernes 8 de mayo a las 9:05"
        );
    }

    #[test]
    fn time_left_turns_into_time_over() {
        let now = at("2026-05-04T18:00:00Z");
        assert_eq!(time_left(at("2026-05-04T18:25:30Z"), now), "in 25 min");
        assert_eq!(time_left(at("2026-05-04T21:00:00Z"), now), "in 3 h");
        assert_eq!(time_left(at("2026-05-04T17:20:00Z"), now), "40 min over");
        assert_eq!(time_left(at("2026-05-01T17:20:00Z"), now), "3 d over");
        assert_eq!(ago(at("2026-05-04T17:59:30Z"), now), "just now");
    }
}
