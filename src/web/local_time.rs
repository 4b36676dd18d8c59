//! Times as typed into a form, in the practice's own clock.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

/// Why a typed time cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WrongTime {
    NotATime,
    /// The clocks went forward over it.
    NeverHappened,
}

impl WrongTime {
    /// What to do about it.
    pub fn words(self) -> &'static str {
        match self {
            WrongTime::NotATime => "Enter a date and a time, such as 2026-05-04T14:30.",
            WrongTime::NeverHappened => {
                "The clocks went forward that night: this time was skipped. Enter the time the clock really showed."
            }
        }
    }
}

/// Reads `2026-05-04T14:30` in the practice's zone; nothing typed is `None`. An hour that comes twice, when the clocks
/// go back, is read as its first time.
pub fn read(typed: &str, zone: &TimeZone) -> Result<Option<Timestamp>, WrongTime> {
    let typed = typed.trim();
    if typed.is_empty() {
        return Ok(None);
    }
    let local: DateTime = typed.parse().map_err(|_| WrongTime::NotATime)?;
    let possible = zone.to_ambiguous_timestamp(local);
    let instant = possible.earlier().map_err(|_| WrongTime::NotATime)?;
    if instant.to_zoned_datetime(zone.clone()).datetime() != local {
        return Err(WrongTime::NeverHappened);
    }
    Ok(Some(instant))
}

/// An instant as the form shows it.
pub fn write(at: Timestamp, zone: &TimeZone) -> String {
    at.to_zoned_datetime(zone.clone()).datetime().strftime("%Y-%m-%dT%H:%M").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn new_york() -> TimeZone {
        TimeZone::get("America/New_York").unwrap()
    }

    #[test]
    fn a_typed_time_is_the_practices_own() {
        let read = read("2026-05-04T14:30", &new_york()).unwrap().unwrap();
        assert_eq!(read, "2026-05-04T18:30:00Z".parse::<Timestamp>().unwrap());
        assert_eq!(write(read, &new_york()), "2026-05-04T14:30");
    }

    // New York: clocks forward at 2:00 on 8 March 2026, back at 2:00 on 1 November (IANA time zone database).
    #[test]
    fn a_skipped_time_is_refused_and_the_minutes_around_it_are_not() {
        assert_eq!(read("2026-03-08T02:30", &new_york()), Err(WrongTime::NeverHappened));
        assert_eq!(
            read("2026-03-08T01:59", &new_york()).unwrap(),
            Some("2026-03-08T06:59:00Z".parse().unwrap())
        );
        assert_eq!(
            read("2026-03-08T03:00", &new_york()).unwrap(),
            Some("2026-03-08T07:00:00Z".parse().unwrap())
        );
    }

    #[test]
    fn a_doubled_time_is_its_first() {
        assert_eq!(
            read("2026-11-01T01:30", &new_york()).unwrap(),
            Some("2026-11-01T05:30:00Z".parse().unwrap())
        );
    }

    #[test]
    fn nothing_is_nothing_and_nonsense_is_refused() {
        assert_eq!(read("  ", &new_york()), Ok(None));
        assert_eq!(read("yesterday", &new_york()), Err(WrongTime::NotATime));
    }
}
