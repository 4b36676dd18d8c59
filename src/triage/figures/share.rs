//! A share of cases with how far it can be trusted: Wilson's 95 % interval, and what may be claimed from it.

/// Two-sided 95 %: the 97.5 % point of the normal distribution (`scipy.stats.norm.ppf(0.975)`, scipy 1.17.1). Tables
/// round it to 1.96: for 18 of 60 that moves the limits by 0.0002 percentage points (19.8980 instead of 19.8982), and
/// two decimals stay what they are (`tests/outside/figures`).
const Z_95: f64 = 1.959_963_984_540_054;

/// Fewer cases than this say nothing that can be written as a percentage (own choice, no source).
pub const LEAST_TO_SAY: u64 = 10;

/// The missed share of the urgent that a practice should be able to rule out exceeding: 5 %. A proposal borrowed from
/// trauma care (American College of Surgeons, from memory); no benchmark exists for messages about wounds.
pub const MOST_MISSED: f64 = 0.05;

/// So many of so many cases. Invariant: never more hits than cases.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Share {
    hits: u64,
    cases: u64,
}

/// From 0 to 1, the lower end first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    pub low: f64,
    pub high: f64,
}

/// What may be said about a share and a limit it should not exceed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Claim {
    /// The whole interval lies at or below the limit.
    AtMost,
    /// The whole interval lies above it, and there are cases enough to say so: [`LEAST_TO_SAY`].
    Above,
    /// Neither can be said. `more`: so many more cases without another hit would settle it at or below.
    TooFew { more: u64 },
}

impl Share {
    /// `hits` beyond `cases` are cut: a share is at most the whole.
    pub fn new(hits: u64, cases: u64) -> Share {
        Share { hits: hits.min(cases), cases }
    }

    /// How many cases were hits.
    pub fn hits(self) -> u64 {
        self.hits
    }

    /// How many cases there were.
    pub fn cases(self) -> u64 {
        self.cases
    }

    /// From 0 to 1; `None` without a case.
    pub fn value(self) -> Option<f64> {
        (self.cases > 0).then(|| self.hits as f64 / self.cases as f64)
    }

    /// Whether there are cases enough to write a percentage at all: [`LEAST_TO_SAY`].
    pub fn says_something(self) -> bool {
        self.cases >= LEAST_TO_SAY
    }

    /// Wilson's 95 % interval (Wilson 1927, J Am Stat Assoc 22:209); `None` without a case.
    pub fn wilson(self) -> Option<Interval> {
        let share = self.value()?;
        let cases = self.cases as f64;
        let z2 = Z_95 * Z_95;
        let shrunk = 1.0 + z2 / cases;
        let centre = (share + z2 / (2.0 * cases)) / shrunk;
        let half = Z_95 * (share * (1.0 - share) / cases + z2 / (4.0 * cases * cases)).sqrt() / shrunk;
        // With no hit, and with hits only, the formula ends exactly at 0 and at 1; rounding would miss them by a hair.
        Some(Interval {
            low: if self.hits == 0 { 0.0 } else { (centre - half).clamp(0.0, share) },
            high: if self.hits == self.cases { 1.0 } else { (centre + half).clamp(share, 1.0) },
        })
    }

    /// What may be said about this share and a limit, itself from 0 to 1. `None`: no number of cases would do, because
    /// the limit is not above 0.
    pub fn against(self, limit: f64) -> Option<Claim> {
        let more = more_needed(self, limit)?;
        // One miss in one case is an interval above 5 %, and still one case.
        let is_above = self.says_something() && self.wilson().is_some_and(|interval| interval.low > limit);
        Some(match more {
            0 => Claim::AtMost,
            _ if is_above => Claim::Above,
            more => Claim::TooFew { more },
        })
    }
}

/// How many more cases without another hit bring the upper end of the interval down to `limit`; 0 when it is there
/// already. `None` for a limit that is not above 0: no number of cases reaches it.
pub fn more_needed(share: Share, limit: f64) -> Option<u64> {
    let enough = |more: u64| {
        let grown = Share::new(share.hits, share.cases.saturating_add(more));
        grown.wilson().is_some_and(|interval| interval.high <= limit)
    };
    if enough(0) {
        return Some(0);
    }
    // The upper end falls with every case without a hit: doubled until it is below, then halved between.
    let mut above = (0..u64::BITS - 1).map(|power| 1_u64 << power).find(|more| enough(*more))?;
    let mut below = above / 2;
    while above - below > 1 {
        let middle = below + (above - below) / 2;
        if enough(middle) {
            above = middle;
        } else {
            below = middle;
        }
    }
    Some(above)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use serde::Deserialize;

    use super::*;

    #[derive(Deserialize)]
    struct Truth {
        z_95: f64,
        intervals: Vec<Row>,
        fewest_without_a_hit: Vec<Fewest>,
    }

    #[derive(Deserialize)]
    struct Row {
        hits: u64,
        cases: u64,
        low: f64,
        high: f64,
    }

    #[derive(Deserialize)]
    struct Fewest {
        limit: f64,
        cases: u64,
    }

    fn truth() -> Truth {
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/truth/wilson.json");
        serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap()
    }

    /// In per cent with two decimals, as the worked examples give it.
    fn percent(hits: u64, cases: u64) -> (String, String) {
        let interval = Share::new(hits, cases).wilson().unwrap();
        (format!("{:.2}", 100.0 * interval.low), format!("{:.2}", 100.0 * interval.high))
    }

    fn pair(low: &str, high: &str) -> (String, String) {
        (low.to_owned(), high.to_owned())
    }

    #[test]
    fn intervals_are_those_of_another_program() {
        let truth = truth();
        assert!((Z_95 - truth.z_95).abs() < 1e-15, "{}", truth.z_95);
        assert!(truth.intervals.len() > 50);
        for row in truth.intervals {
            let ours = Share::new(row.hits, row.cases).wilson().unwrap();
            let apart = (ours.low - row.low).abs().max((ours.high - row.high).abs());
            assert!(apart < 1e-12, "{} of {}: {ours:?}, {apart}", row.hits, row.cases);
        }
    }

    #[test]
    fn the_worked_examples_come_out() {
        assert_eq!(percent(2, 60), pair("0.92", "11.36"));
        assert_eq!(percent(3, 120), pair("0.85", "7.09"));
        assert_eq!(percent(9, 240), pair("1.99", "6.97"));
        assert_eq!(percent(18, 60), pair("19.90", "42.51"));
        assert_eq!(percent(0, 72).1, "5.07");
        assert_eq!(percent(0, 73).1, "5.00");
    }

    #[test]
    fn without_a_miss_73_urgent_cases_rule_out_more_than_five_per_cent() {
        assert_eq!(more_needed(Share::new(0, 0), MOST_MISSED), Some(73));
        for row in truth().fewest_without_a_hit {
            assert_eq!(more_needed(Share::new(0, 0), row.limit), Some(row.cases), "{}", row.limit);
        }
        assert_eq!(Share::new(0, 72).against(MOST_MISSED), Some(Claim::TooFew { more: 1 }));
        assert_eq!(Share::new(0, 73).against(MOST_MISSED), Some(Claim::AtMost));
    }

    #[test]
    fn two_missed_of_sixty_cannot_claim_under_five_per_cent_and_thirty_of_sixty_are_above_it() {
        let Some(Claim::TooFew { more }) = Share::new(2, 60).against(MOST_MISSED) else { panic!("settled") };
        assert_eq!(Share::new(2, 60 + more).against(MOST_MISSED), Some(Claim::AtMost));
        assert_eq!(Share::new(2, 60 + more - 1).against(MOST_MISSED), Some(Claim::TooFew { more: 1 }));
        assert_eq!(Share::new(30, 60).against(MOST_MISSED), Some(Claim::Above));
    }

    #[test]
    fn nothing_is_said_about_nothing_or_about_an_impossible_limit() {
        assert_eq!(Share::new(0, 0).value(), None);
        assert_eq!(Share::new(0, 0).wilson(), None);
        for limit in [0.0, -1.0, f64::NAN] {
            assert_eq!(Share::new(0, 9).against(limit), None);
        }
        assert_eq!(Share::new(7, 3), Share::new(3, 3));
    }

    #[test]
    fn one_miss_in_one_case_is_too_few_to_say_that_too_many_are_missed_and_ten_in_ten_are_not() {
        let Some(Claim::TooFew { more }) = Share::new(1, 1).against(MOST_MISSED) else { panic!("settled") };
        assert_eq!(Share::new(1, 1 + more).against(MOST_MISSED), Some(Claim::AtMost));
        assert!(matches!(Share::new(9, 9).against(MOST_MISSED), Some(Claim::TooFew { .. })));
        assert_eq!(Share::new(10, 10).against(MOST_MISSED), Some(Claim::Above));
    }

    #[test]
    fn nine_cases_are_too_few_for_a_percentage_and_ten_are_not() {
        assert!(!Share::new(1, 9).says_something());
        assert!(Share::new(1, 10).says_something());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2_000))]

        #[test]
        fn an_interval_holds_its_share_and_stays_between_nothing_and_all(
            cases in 1_u64..=u64::from(u32::MAX),
            part in 0.0_f64..=1.0,
        ) {
            let share = Share::new((cases as f64 * part) as u64, cases);
            let (interval, value) = (share.wilson().unwrap(), share.value().unwrap());
            prop_assert!(0.0 <= interval.low && interval.low <= value, "{interval:?} {value}");
            prop_assert!(value <= interval.high && interval.high <= 1.0, "{interval:?} {value}");
            prop_assert!(interval.low < interval.high);
        }

        #[test]
        fn the_same_share_of_more_cases_is_known_more_closely(
            hits in 0_u64..500,
            misses in 0_u64..500,
            times in 2_u64..50,
        ) {
            prop_assume!(hits + misses > 0);
            let width = |times: u64| {
                let interval = Share::new(hits * times, (hits + misses) * times).wilson().unwrap();
                interval.high - interval.low
            };
            prop_assert!(width(times) < width(1));
        }

        #[test]
        fn hits_and_misses_mirror_each_other(hits in 0_u64..1_000, misses in 0_u64..1_000) {
            prop_assume!(hits + misses > 0);
            let one = Share::new(hits, hits + misses).wilson().unwrap();
            let other = Share::new(misses, hits + misses).wilson().unwrap();
            prop_assert!((one.low - (1.0 - other.high)).abs() < 1e-12);
        }

        #[test]
        fn what_is_needed_is_enough_and_one_fewer_is_not(
            hits in 0_u64..300,
            misses in 0_u64..3_000,
            limit in 0.005_f64..0.9,
        ) {
            let share = Share::new(hits, hits + misses);
            let more = more_needed(share, limit).unwrap();
            let high = |more: u64| {
                Share::new(hits, hits + misses + more).wilson().map_or(1.0, |interval| interval.high)
            };
            prop_assert!(high(more) <= limit);
            if more > 0 {
                prop_assert!(high(more - 1) > limit);
            }
        }
    }
}
