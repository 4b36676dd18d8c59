//! How many of those who come must wait, when arrivals are steady and somebody is always on: Erlang's formula C.

/// The share of checks, 0–1, that find all reviewers busy. `offered_erlangs`: arrivals an hour times hours a review
/// takes. `None` when the reviewers cannot keep up (offered work at or above their number), when there are none, or
/// when the offered work is not a number from 0 up. A. K. Erlang 1917, from memory; compared with scipy in
/// `tests/outside/forecast`.
pub fn waiting_share(offered_erlangs: f64, reviewers: u32) -> Option<f64> {
    let keeps_up = offered_erlangs >= 0.0 && offered_erlangs < f64::from(reviewers);
    keeps_up.then(|| {
        // By way of formula B, whose recursion never leaves 0–1, where factorials would overflow.
        let lost = (1..=reviewers).fold(1.0, |lost, place| {
            let offered = offered_erlangs * lost;
            offered / (f64::from(place) + offered)
        });
        let load = offered_erlangs / f64::from(reviewers);
        lost / (1.0 - load * (1.0 - lost))
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn with_one_reviewer_the_share_that_waits_is_the_load() {
        for load in [0.0, 0.1, 0.5, 0.999] {
            assert!((waiting_share(load, 1).unwrap() - load).abs() < 1e-12);
        }
    }

    #[test]
    fn there_is_no_answer_where_the_queue_would_grow_for_ever() {
        assert_eq!(waiting_share(1.0, 1), None);
        assert!(waiting_share(0.999_999, 1).is_some());
        assert_eq!(waiting_share(0.0, 0), None);
        for offered in [-0.1, f64::NAN, f64::INFINITY] {
            assert_eq!(waiting_share(offered, 2), None);
        }
    }

    proptest! {
        #[test]
        fn the_share_lies_between_none_and_all_and_falls_with_each_reviewer(
            offered in 0.0..200.0_f64,
            more in 1_u32..60,
        ) {
            let reviewers = offered.ceil() as u32 + more;
            let share = waiting_share(offered, reviewers).unwrap();
            let with_one_more = waiting_share(offered, reviewers + 1).unwrap();
            prop_assert!((0.0..=1.0).contains(&share));
            prop_assert!(with_one_more <= share);
        }
    }
}
