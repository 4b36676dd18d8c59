//! How long each class waits by formula, when arrivals are steady and somebody is always on: the next free reviewer
//! takes the most urgent class, and no review is interrupted.

use crate::triage::forecast::by_class::ByClass;
use crate::triage::forecast::erlang::waiting_share;

/// Mean waits, in minutes, from receipt until a reviewer opens the check.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FormulaWaits {
    pub by_class_minutes: ByClass<f64>,
    /// The mean wait when checks are read in order of receipt, whatever their class.
    pub first_come_minutes: f64,
    /// The mean over all checks under the classes. An order only moves waiting from one check to another, so this
    /// must be the first-come wait again.
    pub weighted_mean_minutes: f64,
    /// 0–1: how many find every reviewer busy.
    pub waiting_share: f64,
}

/// Waits for arrivals `per_hour` of each class, reviews of `minutes_each` on average (exponentially long, the same for
/// every class) and `reviewers` at work day and night. `None` when nothing comes, when they cannot keep up, or when a
/// figure is not a number above 0.
///
/// A. Cobham, Operations Research 2:70 (1954), from memory; compared with the exact solution of the queue's states in
/// `tests/outside/forecast`.
pub fn formula_waits(per_hour: &ByClass<f64>, minutes_each: f64, reviewers: u32) -> Option<FormulaWaits> {
    let all_per_hour = per_hour.sum();
    let sound = minutes_each > 0.0 && all_per_hour > 0.0 && per_hour.iter().all(|(_, rate)| *rate >= 0.0);
    let waiting_share = waiting_share(all_per_hour * minutes_each / 60.0, reviewers).filter(|_| sound)?;
    let done_per_hour = 60.0 * f64::from(reviewers) / minutes_each;
    // Until a busy room first has a reviewer free, on average over all arrivals.
    let until_free_minutes = 60.0 * waiting_share / done_per_hour;
    let mut load_above = 0.0;
    let by_class_minutes = per_hour.map(|rate| {
        let load_with = load_above + rate / done_per_hour;
        let wait = until_free_minutes / ((1.0 - load_above) * (1.0 - load_with));
        load_above = load_with;
        wait
    });
    let weighted: f64 = per_hour.iter().map(|(urgency, rate)| rate * by_class_minutes.of(urgency)).sum();
    Some(FormulaWaits {
        by_class_minutes,
        first_come_minutes: 60.0 * waiting_share / (done_per_hour - all_per_hour),
        weighted_mean_minutes: weighted / all_per_hour,
        waiting_share,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::triage::Urgency;

    fn four_classes(per_hour: [f64; 4]) -> ByClass<f64> {
        ByClass::of_each(|urgency| per_hour.get(usize::from(urgency.rank())).copied().unwrap_or(0.0))
    }

    fn to_two_digits(waits: &FormulaWaits) -> [String; 6] {
        let class = |rank| *waits.by_class_minutes.of(Urgency::from_rank(rank).unwrap());
        [class(0), class(1), class(2), class(3), waits.first_come_minutes, waits.weighted_mean_minutes]
            .map(|minutes| format!("{minutes:.2}"))
    }

    /// Worked by hand from the formula: one surgeon, 10 minutes a check, 4.0 an hour in four classes.
    #[test]
    fn one_surgeon_at_two_thirds_load() {
        let waits = formula_waits(&four_classes([0.2, 0.6, 1.2, 2.0]), 10.0, 1).unwrap();
        assert_eq!(to_two_digits(&waits), ["6.90", "7.96", "11.54", "30.00", "20.00", "20.00"]);
        assert_eq!(format!("{:.5}", waits.waiting_share), "0.66667");
    }

    /// Worked by hand from the formula: two reviewers, 12 minutes a check, 7.5 an hour in four classes.
    #[test]
    fn two_reviewers_at_three_quarters_load() {
        let waits = formula_waits(&four_classes([0.5, 1.0, 2.5, 3.5]), 12.0, 2).unwrap();
        assert_eq!(to_two_digits(&waits), ["4.06", "4.78", "7.56", "25.71", "15.43", "15.43"]);
        assert_eq!(format!("{:.5}", waits.waiting_share), "0.64286");
    }

    #[test]
    fn there_is_no_wait_to_name_where_nothing_comes_or_nobody_keeps_up() {
        let rates = four_classes([0.2, 0.6, 1.2, 2.0]);
        assert!(formula_waits(&rates, 14.99, 1).is_some());
        assert_eq!(formula_waits(&rates, 15.0, 1), None);
        assert_eq!(formula_waits(&rates, 10.0, 0), None);
        assert_eq!(formula_waits(&rates, 0.0, 1), None);
        assert_eq!(formula_waits(&four_classes([0.0; 4]), 10.0, 1), None);
        assert_eq!(formula_waits(&four_classes([-1.0, 2.0, 0.0, 0.0]), 10.0, 1), None);
        assert_eq!(formula_waits(&four_classes([f64::NAN, 2.0, 0.0, 0.0]), 10.0, 1), None);
    }

    proptest! {
        #[test]
        fn classes_share_out_the_waiting_and_make_none(
            rates in prop::array::uniform5(0.0..3.0_f64),
            minutes in 0.5..30.0_f64,
            spare in 1_u32..4,
        ) {
            let per_hour = ByClass::of_each(|urgency| rates[usize::from(urgency.rank())]);
            prop_assume!(per_hour.sum() > 0.01);
            let reviewers = (per_hour.sum() * minutes / 60.0).floor() as u32 + spare;
            let waits = formula_waits(&per_hour, minutes, reviewers).unwrap();
            let (mean, first_come) = (waits.weighted_mean_minutes, waits.first_come_minutes);
            prop_assert!((mean - first_come).abs() <= 1e-9 * first_come.max(1.0), "{mean} {first_come}");
            let in_order: Vec<f64> = waits.by_class_minutes.iter().map(|(_, wait)| *wait).collect();
            prop_assert!(in_order.is_sorted(), "the more urgent never waits longer: {in_order:?}");
        }
    }
}
