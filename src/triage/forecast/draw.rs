//! One possible run of weeks: which checks come when, of which class, when each is due and how long its review takes.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use rand::Rng;
use rand::SeedableRng;
use rand::rngs::Xoshiro256PlusPlus;

use crate::triage::ResponseTargets;
use crate::triage::Urgency;
use crate::triage::forecast::arrivals::ArrivalRates;
use crate::triage::forecast::arrivals::HOURS_OF_WEEK;
use crate::triage::forecast::lengths::ReviewLengths;
use crate::triage::forecast::lengths::above_0_to_1;

const HOUR_MS: f64 = 3_600_000.0;
/// Monday 5 January 1970, midnight: simulated weeks begin here, in a clock that never changes.
const FIRST_MONDAY_MS: i64 = 4 * 24 * 3_600_000;

/// A check that comes in one run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Check {
    pub urgency: Urgency,
    /// After the first Monday midnight.
    pub received_ms: i64,
    pub due: Timestamp,
    /// How long its review takes.
    pub length_ms: i64,
}

/// The moment `ms` after the first simulated Monday midnight.
pub(super) fn moment(ms: i64) -> Timestamp {
    Timestamp::from_millisecond(FIRST_MONDAY_MS.saturating_add(ms)).unwrap_or(Timestamp::MAX)
}

/// Where the chance of one run comes from. Arrivals and lengths are drawn apart, so that longer reviews do not change
/// who comes.
pub(super) struct Dice {
    arrivals: Xoshiro256PlusPlus,
    lengths: Xoshiro256PlusPlus,
}

/// Independent chance for each of `runs` runs, all from one seed: xoshiro256++ (Blackman and Vigna 2019), seeded by
/// SplitMix64. Named here because the same seed must give the same page after an upgrade.
pub(super) fn dice(seed: u64, runs: usize) -> Vec<Dice> {
    let mut root = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut fresh = || Xoshiro256PlusPlus::seed_from_u64(root.next_u64());
    (0..runs).map(|_| Dice { arrivals: fresh(), lengths: fresh() }).collect()
}

/// Draws `weeks` weeks of arrivals, in order of receipt: a Poisson process whose rate changes with the hour of the week.
/// The waiting for the next arrival is drawn in expected arrivals and used up hour by hour (E. Çinlar 1975, from
/// memory). Unlike thinning it throws no draw away, so a week with all its checks in one hour costs no more than any.
pub(super) fn draw(
    rates: &ArrivalRates,
    lengths: &ReviewLengths,
    targets: &ResponseTargets,
    weeks: u32,
    dice: &mut Dice,
) -> Vec<Check> {
    let by_hour: Vec<f64> = (0..HOURS_OF_WEEK).map(|hour| rates.all_at(hour)).collect();
    let mut checks = Vec::new();
    let mut until_next = -above_0_to_1(&mut dice.arrivals).ln();
    for hour in 0..HOURS_OF_WEEK * weeks as usize {
        let of_week = hour % HOURS_OF_WEEK;
        let rate = by_hour[of_week];
        let mut into_hour = 0.0;
        while until_next < rate * (1.0 - into_hour) {
            into_hour += until_next / rate;
            let urgency = class_of(rate * above_0_to_1(&mut dice.arrivals), of_week, rates);
            let received_ms = ((hour as f64 + into_hour) * HOUR_MS) as i64;
            checks.push(Check {
                urgency,
                received_ms,
                due: targets.due(urgency, moment(received_ms), &TimeZone::UTC),
                length_ms: lengths.draw_ms(urgency, &mut dice.lengths),
            });
            until_next = -above_0_to_1(&mut dice.arrivals).ln();
        }
        until_next -= rate * (1.0 - into_hour);
    }
    checks
}

/// Whose share of the hour's arrivals the lot falls into.
fn class_of(lot: f64, hour: usize, rates: &ArrivalRates) -> Urgency {
    let mut upper = 0.0;
    let mut last = Urgency::OnTrack;
    for urgency in Urgency::ALL.iter().rev() {
        let rate = rates.at(*urgency, hour);
        upper += rate;
        if rate > 0.0 {
            last = *urgency;
            if lot <= upper {
                break;
            }
        }
    }
    last
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::Protocol;
    use crate::triage::forecast::arrivals::RecordedArrivals;
    use crate::triage::forecast::by_class::ByClass;
    use crate::triage::forecast::lengths::Spread;

    fn lengths(minutes: f64) -> ReviewLengths {
        ReviewLengths { mean_minutes: ByClass::of_each(|_| minutes), spread: Spread::LogNormal }
    }

    fn drawn(rates: &ArrivalRates, minutes: f64, weeks: u32, seed: u64) -> Vec<Check> {
        draw(rates, &lengths(minutes), Protocol::built_in().targets(), weeks, &mut dice(seed, 1)[0])
    }

    #[test]
    fn arrivals_come_in_the_hours_and_classes_they_were_recorded_in_and_in_number() {
        let mut recorded = RecordedArrivals::over(1);
        recorded.count(Urgency::Today, 9, 30);
        recorded.count(Urgency::OnTrack, 9, 10);
        recorded.count(Urgency::OnTrack, 167, 20);
        let checks = drawn(&ArrivalRates::recorded(&recorded), 5.0, 100, 1);
        // 6,000 expected; four standard deviations of a Poisson count.
        assert!((checks.len() as f64 - 6_000.0).abs() < 4.0 * 6_000_f64.sqrt(), "{}", checks.len());
        assert!(checks.is_sorted_by_key(|check| check.received_ms));
        assert!(checks.iter().all(|check| matches!(check.urgency, Urgency::Today | Urgency::OnTrack)));
        let hours: Vec<i64> = checks.iter().map(|check| check.received_ms / 3_600_000 % 168).collect();
        assert!(hours.iter().all(|hour| [9, 167].contains(hour)));
        let at_nine = hours.iter().filter(|hour| **hour == 9).count() as f64;
        assert!((at_nine - 4_000.0).abs() < 4.0 * 4_000_f64.sqrt(), "{at_nine}");
    }

    #[test]
    fn the_same_seed_gives_the_same_weeks_and_longer_reviews_do_not_change_who_comes() {
        let rates = ArrivalRates::flat(&ByClass::of_each(|_| 3.0));
        let checks = drawn(&rates, 5.0, 4, 11);
        assert_eq!(checks, drawn(&rates, 5.0, 4, 11));
        assert_ne!(checks, drawn(&rates, 5.0, 4, 12));
        let longer = drawn(&rates, 7.0, 4, 11);
        let came =
            |checks: &[Check]| checks.iter().map(|one| (one.received_ms, one.urgency)).collect::<Vec<_>>();
        assert_eq!(came(&checks), came(&longer));
        assert!(checks.iter().zip(&longer).all(|(short, long)| short.length_ms <= long.length_ms));
    }

    #[test]
    fn hours_in_which_nobody_is_expected_stay_empty_and_their_neighbours_full() {
        let mut recorded = RecordedArrivals::over(1);
        for hour in [0, 24, 167] {
            recorded.count(Urgency::OnTrack, hour, 50);
        }
        let checks = drawn(&ArrivalRates::recorded(&recorded), 5.0, 40, 2);
        for hour in [0, 24, 167] {
            let came =
                checks.iter().filter(|check| check.received_ms / 3_600_000 % 168 == hour).count() as f64;
            // 2,000 expected; four standard deviations of a Poisson count.
            assert!((came - 2_000.0).abs() < 4.0 * 2_000_f64.sqrt(), "{hour}: {came}");
        }
        assert!(checks.iter().all(|check| [0, 24, 167].contains(&(check.received_ms / 3_600_000 % 168))));
    }

    #[test]
    fn nobody_comes_where_nobody_is_expected() {
        assert!(drawn(&ArrivalRates::flat(&ByClass::of_each(|_| 0.0)), 5.0, 50, 1).is_empty());
    }

    #[test]
    fn runs_of_one_seed_differ_from_each_other() {
        let rates = ArrivalRates::flat(&ByClass::of_each(|_| 3.0));
        let mut both = dice(11, 2);
        let targets = Protocol::built_in().targets();
        let (first, second) = both.split_at_mut(1);
        let one = draw(&rates, &lengths(5.0), targets, 4, &mut first[0]);
        assert_ne!(one, draw(&rates, &lengths(5.0), targets, 4, &mut second[0]));
    }
}
