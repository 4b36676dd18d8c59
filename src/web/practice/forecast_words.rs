//! How the cover page says waits, shares and changes: a number, its unit, and how far it may be off.

use crate::triage::Urgency;
use crate::triage::forecast::Estimate;
use crate::triage::forecast::LOG_NORMAL_CV;
use crate::triage::forecast::Question;
use crate::triage::forecast::Spread;
use crate::triage::forecast::Unmet;

/// In which unit a wait is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Unit {
    Minutes,
    Hours,
    Days,
}

impl Unit {
    fn for_minutes(minutes: f64) -> Unit {
        match minutes.abs() {
            ..90.0 => Unit::Minutes,
            ..2_880.0 => Unit::Hours,
            _ => Unit::Days,
        }
    }

    fn minutes(self) -> f64 {
        match self {
            Unit::Minutes => 1.0,
            Unit::Hours => 60.0,
            Unit::Days => 1_440.0,
        }
    }

    fn words(self) -> &'static str {
        match self {
            Unit::Minutes => "min",
            Unit::Hours => "h",
            Unit::Days => "days",
        }
    }
}

/// "4.1 min", "14.3 h", "2.6 days".
pub fn wait(minutes: f64) -> String {
    let unit = Unit::for_minutes(minutes);
    format!("{:.1}\u{a0}{}", minutes / unit.minutes(), unit.words())
}

/// An estimate of a wait and its interval: ("14.3 h", "13.9 to 14.7"). Without an interval the second says so.
pub fn wait_and_range(estimate: &Estimate) -> (String, String) {
    let unit = Unit::for_minutes(estimate.mean).minutes();
    let low = |half: f64| ((estimate.mean - half) / unit).max(0.0);
    let range = |half: f64| format!("{:.1} to {:.1}", low(half), (estimate.mean + half) / unit);
    (wait(estimate.mean), estimate.half_width.map_or_else(no_range, range))
}

/// A change of a wait: ("−1.2 h", "−1.4 to −1.0").
pub fn change_and_range(estimate: &Estimate) -> (String, String) {
    let unit = Unit::for_minutes(estimate.mean);
    let say = |minutes: f64| signed(minutes / unit.minutes());
    let range = |half: f64| format!("{} to {}", say(estimate.mean - half), say(estimate.mean + half));
    (
        format!("{}\u{a0}{}", say(estimate.mean), unit.words()),
        estimate.half_width.map_or_else(no_range, range),
    )
}

/// A share from 0 to 1 in percent: ("29 %", "25 to 33").
pub fn share_and_range(estimate: &Estimate) -> (String, String) {
    let percent = |share: f64| format!("{:.0}", 100.0 * share.clamp(0.0, 1.0));
    let range = |half: f64| format!("{} to {}", percent(estimate.mean - half), percent(estimate.mean + half));
    (share(estimate.mean), estimate.half_width.map_or_else(no_range, range))
}

/// A change of a share, in percentage points: ("+3", "+1 to +5").
pub fn points_and_range(estimate: &Estimate) -> (String, String) {
    let say = |share: f64| {
        let points = (100.0 * share).round();
        if points == 0.0 { "0".to_owned() } else { format!("{points:+.0}").replace('-', "−") }
    };
    let range = |half: f64| format!("{} to {}", say(estimate.mean - half), say(estimate.mean + half));
    (say(estimate.mean), estimate.half_width.map_or_else(no_range, range))
}

/// "29 %".
pub fn share(of_one: f64) -> String {
    format!("{:.0}\u{a0}%", 100.0 * of_one)
}

fn no_range() -> String {
    "seen in one run only".to_owned()
}

fn signed(number: f64) -> String {
    let rounded = format!("{number:+.1}");
    let plain = if rounded == "-0.0" || rounded == "+0.0" { "0.0".to_owned() } else { rounded };
    plain.replace('-', "−")
}

/// Why the formula is not used.
pub fn unmet_words(unmet: Unmet) -> &'static str {
    match unmet {
        Unmet::ArrivalsChangeWithTheHour => {
            "It takes arrivals to be the same at every hour; here they change with the hour of the week."
        }
        Unmet::NotDayAndNight => {
            "It takes somebody to be on duty day and night; here nobody is outside the hours of duty."
        }
        Unmet::LengthsDifferByClass => {
            "It takes reviews of every class to last the same on average; here they differ."
        }
        Unmet::LengthsNotExponential => {
            "It takes review lengths to vary as much as their mean; here they vary less."
        }
    }
}

/// How review lengths are drawn.
pub fn spread_words(question: &Question) -> String {
    match question.lengths().spread {
        Spread::LogNormal => format!(
            "log-normal, with a standard deviation of {LOG_NORMAL_CV} times the mean (our choice, no source)"
        ),
        Spread::Exponential => "exponential, as the formula takes them to be".to_owned(),
    }
}

/// "Go now 29 %, Today 61 %".
pub fn listed(shares: &[(Urgency, f64)]) -> String {
    let one = |(urgency, of_one): &(Urgency, f64)| format!("{} {}", urgency.staff_words(), share(*of_one));
    shares.iter().map(one).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn estimate(mean: f64, half_width: f64) -> Estimate {
        Estimate { mean, half_width: Some(half_width), runs: 20 }
    }

    fn pair(words: (String, String)) -> String {
        spaced(&format!("{} ({})", words.0, words.1))
    }

    /// A number and its unit stand on one line; here they are compared with a plain space between.
    fn spaced(words: &str) -> String {
        words.replace('\u{a0}', " ")
    }

    #[test]
    fn a_wait_is_said_in_the_unit_a_person_would_use() {
        assert_eq!(
            [0.0, 4.06, 89.9].map(|minutes| spaced(&wait(minutes))),
            ["0.0 min", "4.1 min", "89.9 min"]
        );
        assert_eq!(
            [90.0, 2_879.0, 2_880.0].map(|minutes| spaced(&wait(minutes))),
            ["1.5 h", "48.0 h", "2.0 days"]
        );
    }

    #[test]
    fn a_range_is_in_the_unit_of_its_mean_and_never_below_nothing() {
        assert_eq!(pair(wait_and_range(&estimate(858.0, 24.0))), "14.3 h (13.9 to 14.7)");
        assert_eq!(pair(wait_and_range(&estimate(1.0, 3.0))), "1.0 min (0.0 to 4.0)");
        assert_eq!(pair(share_and_range(&estimate(0.99, 0.04))), "99 % (95 to 100)");
        let alone = Estimate { mean: 5.0, half_width: None, runs: 1 };
        assert_eq!(pair(wait_and_range(&alone)), "5.0 min (seen in one run only)");
    }

    #[test]
    fn a_change_shows_its_direction_and_nothing_has_none() {
        assert_eq!(pair(change_and_range(&estimate(-72.0, 12.0))), "−72.0 min (−84.0 to −60.0)");
        assert_eq!(pair(change_and_range(&estimate(-0.01, 0.02))), "0.0 min (0.0 to 0.0)");
        assert_eq!(pair(points_and_range(&estimate(0.034, 0.02))), "+3 (+1 to +5)");
        assert_eq!(pair(points_and_range(&estimate(-0.001, 0.01))), "0 (−1 to +1)");
    }
}
