//! In which order waiting wound checks are read: most urgent first, then soonest due, then first come.

use jiff::Timestamp;

use crate::triage::urgency::Urgency;

/// A wound check that waits for a person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiting<T> {
    pub check: T,
    pub urgency: Urgency,
    pub due: Timestamp,
    /// In order of receipt; each check has its own.
    pub sequence: u64,
}

/// What sorts first is read first: effective class, then due time, then sequence.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct RankKey {
    /// [`Urgency::rank`] of the effective class: 0 is read first.
    pub class_rank: u8,
    pub due: Timestamp,
    pub sequence: u64,
}

/// The class a check is read in. Overdue, it counts one class higher, and never more than one; what is not overdue
/// keeps its own. A check due exactly now is not yet overdue.
pub fn effective(urgency: Urgency, due: Timestamp, now: Timestamp) -> Urgency {
    if now > due { urgency.raised_once() } else { urgency }
}

/// Where a check stands among the others at `now`.
pub fn rank_key(urgency: Urgency, due: Timestamp, sequence: u64, now: Timestamp) -> RankKey {
    RankKey { class_rank: effective(urgency, due, now).rank(), due, sequence }
}

/// The reading order at `now`, first to be read first.
pub fn rank<T>(mut waiting: Vec<Waiting<T>>, now: Timestamp) -> Vec<Waiting<T>> {
    waiting.sort_by_key(|check| rank_key(check.urgency, check.due, check.sequence, now));
    waiting
}

#[cfg(test)]
mod tests {
    use jiff::SignedDuration;
    use jiff::tz::TimeZone;
    use proptest::prelude::*;

    use super::*;
    use crate::triage::Protocol;

    fn second(since_1970: i64) -> Timestamp {
        Timestamp::from_second(since_1970).unwrap()
    }

    fn waiting(sequence: u64, urgency: Urgency, due_s: i64) -> Waiting<u64> {
        Waiting { check: sequence, urgency, due: second(due_s), sequence }
    }

    fn order(checks: Vec<Waiting<u64>>, now_s: i64) -> Vec<u64> {
        rank(checks, second(now_s)).into_iter().map(|check| check.check).collect()
    }

    #[test]
    fn an_overdue_check_rises_one_class_and_only_once_it_is_late() {
        let due = second(1_000);
        assert_eq!(effective(Urgency::OnTrack, due, second(1_000)), Urgency::OnTrack);
        assert_eq!(effective(Urgency::OnTrack, due, second(1_001)), Urgency::Tomorrow);
        assert_eq!(effective(Urgency::OnTrack, due, second(9_000_000)), Urgency::Tomorrow);
        assert_eq!(effective(Urgency::RingNow, due, second(1_001)), Urgency::GoNow);
        assert_eq!(effective(Urgency::GoNow, due, second(1_001)), Urgency::GoNow);
    }

    #[test]
    fn a_fresh_emergency_is_read_before_a_routine_check_a_minute_late() {
        let checks = vec![waiting(1, Urgency::OnTrack, 940), waiting(2, Urgency::GoNow, 1_600)];
        assert_eq!(order(checks, 1_000), vec![2, 1]);
    }

    #[test]
    fn within_a_class_the_soonest_due_comes_first_then_the_first_received() {
        let checks = vec![
            waiting(3, Urgency::Today, 2_000),
            waiting(2, Urgency::Today, 2_000),
            waiting(1, Urgency::Today, 3_000),
            waiting(4, Urgency::Tomorrow, 900),
        ];
        // The fourth is overdue and counts as Today.
        assert_eq!(order(checks, 1_000), vec![4, 2, 3, 1]);
    }

    fn urgencies() -> impl Strategy<Value = Urgency> {
        prop::sample::select(Urgency::ALL)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2_000))]

        #[test]
        fn ranking_loses_nothing_and_does_not_depend_on_the_order_it_is_given(
            given in prop::collection::vec((urgencies(), 0_i64..5_000), 0..20),
            now_s in 0_i64..5_000,
        ) {
            let checks: Vec<Waiting<u64>> = given
                .iter()
                .enumerate()
                .map(|(place, (urgency, due_s))| waiting(place as u64, *urgency, *due_s))
                .collect();
            let mut backwards = checks.clone();
            backwards.reverse();
            let ranked = order(checks, now_s);
            prop_assert_eq!(&ranked, &order(backwards, now_s));
            let mut all = ranked;
            all.sort_unstable();
            prop_assert_eq!(all, (0..given.len() as u64).collect::<Vec<_>>());
        }

        #[test]
        fn keys_of_two_checks_are_never_equal_and_order_them_by_class_first(
            one in (urgencies(), 0_i64..5_000),
            other in (urgencies(), 0_i64..5_000),
            now_s in 0_i64..5_000,
        ) {
            let now = second(now_s);
            let key = |(urgency, due_s): (Urgency, i64), sequence| rank_key(urgency, second(due_s), sequence, now);
            let (first, then) = (key(one, 1), key(other, 2));
            prop_assert_ne!(first, then);
            let class = |(urgency, due_s): (Urgency, i64)| effective(urgency, second(due_s), now);
            if class(one) > class(other) {
                prop_assert!(first < then);
            }
        }

        /// Nothing waits for ever: once a check is overdue, whatever arrives afterwards in its own class, or in the
        /// class it has risen to, is read after it.
        #[test]
        fn an_overdue_check_is_read_before_all_that_arrive_later_up_to_its_raised_class(
            urgency in urgencies(),
            newer in urgencies(),
            received_s in 1_700_000_000_i64..1_701_000_000,
            arrives_after_due_s in 1_i64..1_000_000,
        ) {
            let targets = Protocol::built_in().targets();
            let due = targets.due(urgency, second(received_s), &TimeZone::UTC);
            let arrival = due.saturating_add(SignedDuration::from_secs(arrives_after_due_s)).unwrap();
            let newer_due = targets.due(newer, arrival, &TimeZone::UTC);
            let old = rank_key(urgency, due, 1, arrival);
            let new = rank_key(newer, newer_due, 2, arrival);
            prop_assume!(newer <= urgency.raised_once());
            prop_assert!(old < new);
        }
    }
}
