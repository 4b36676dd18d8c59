//! Shares, intervals and waiting times in words; where there are too few cases, that is what is said.

use crate::triage::figures::Claim;
use crate::triage::figures::MOST_MISSED;
use crate::triage::figures::Share;
use crate::triage::figures::Tally;
use crate::triage::figures::more_needed;

/// What stands where a number would say more than is known.
pub const TOO_FEW: &str = "too few to say";

/// A share, ready to be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShareWords {
    /// Such as "2 of 60".
    pub raw: String,
    /// Such as "3.3 %", or that there are too few cases.
    pub share: String,
    /// Such as "0.9 to 11.4 %"; empty with too few cases.
    pub interval: String,
}

/// A share in words.
pub fn share(share: Share) -> ShareWords {
    let raw = format!("{} of {}", share.hits(), share.cases());
    match (share.value(), share.wilson()) {
        (Some(value), Some(interval)) if share.says_something() => ShareWords {
            raw,
            share: percent(value),
            interval: format!("{:.1} to {}", 100.0 * interval.low, percent(interval.high)),
        },
        _ => ShareWords { raw, share: TOO_FEW.to_owned(), interval: String::new() },
    }
}

/// A part of the whole, with one decimal: "3.3 %", its two parts never on two lines.
pub fn percent(part: f64) -> String {
    format!("{:.1}\u{a0}%", 100.0 * part)
}

/// What can be claimed about the missed share of the urgent, and what is missing to claim it.
pub fn claim(missed: Share) -> String {
    let limit = format!("{:.0} %", 100.0 * MOST_MISSED);
    let from_none = more_needed(Share::new(0, 0), MOST_MISSED).unwrap_or(0);
    match missed.against(MOST_MISSED) {
        Some(Claim::AtMost) => {
            format!("At most {limit} missed: the whole 95 % interval lies at or below it.")
        }
        Some(Claim::Above) => format!("More than {limit} missed: the whole 95 % interval lies above it."),
        Some(Claim::TooFew { more }) => format!(
            "Too few to say that at most {limit} are missed: {more} more urgent {} without another miss {} needed. \
             ({from_none} urgent cases without any miss are the fewest that can show it.)",
            if more == 1 { "case" } else { "cases" },
            if more == 1 { "is" } else { "are" },
        ),
        None => String::new(),
    }
}

/// A waiting time: "25 min", "3.5 h", "2.1 d".
pub fn span(minutes: f64) -> String {
    match minutes {
        ..120.0 => format!("{minutes:.0} min"),
        120.0..2_880.0 => format!("{:.1} h", minutes / 60.0),
        _ => format!("{:.1} d", minutes / 1_440.0),
    }
}

/// The time within which this part of a tally was answered. Far parts of few cases are the luck of one case.
pub fn waited(tally: &Tally, part: f64) -> String {
    match tally.waited_min(part) {
        None => "–".to_owned(),
        Some(_) if part > 0.5 && !tally.within_target().says_something() => TOO_FEW.to_owned(),
        Some(minutes) => span(minutes),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nine_cases_are_counts_and_ten_are_a_percentage() {
        let nine = share(Share::new(2, 9));
        assert_eq!((nine.raw.as_str(), nine.share.as_str(), nine.interval.as_str()), ("2 of 9", TOO_FEW, ""));
        let ten = share(Share::new(2, 10));
        assert_eq!((ten.share.as_str(), ten.interval.as_str()), ("20.0\u{a0}%", "5.7 to 51.0\u{a0}%"));
        assert_eq!(share(Share::new(0, 0)).share, TOO_FEW);
    }

    #[test]
    fn what_is_missing_to_claim_five_per_cent_is_said_in_cases() {
        assert!(claim(Share::new(0, 0)).contains("73 more urgent cases without another miss are needed"));
        assert!(claim(Share::new(0, 72)).contains("1 more urgent case without another miss is needed"));
        assert!(claim(Share::new(0, 73)).starts_with("At most 5 % missed"));
        assert!(claim(Share::new(30, 60)).starts_with("More than 5 % missed"));
    }

    #[test]
    fn minutes_turn_into_hours_at_two_and_into_days_at_two() {
        assert_eq!((span(0.4), span(119.4)), ("0 min".to_owned(), "119 min".to_owned()));
        assert_eq!((span(120.0), span(2_879.0)), ("2.0 h".to_owned(), "48.0 h".to_owned()));
        assert_eq!(span(2_880.0), "2.0 d");
    }
}
