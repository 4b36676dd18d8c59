//! What playing the weeks through promises, tried on many invented weeks, and against the formula over long ones.

use jiff::civil::Weekday;
use proptest::prelude::*;

use crate::triage::Protocol;
use crate::triage::Urgency;
use crate::triage::Waiting;
use crate::triage::forecast::arrivals::ArrivalRates;
use crate::triage::forecast::by_class::ByClass;
use crate::triage::forecast::cobham::formula_waits;
use crate::triage::forecast::draw::Check;
use crate::triage::forecast::draw::dice;
use crate::triage::forecast::draw::draw;
use crate::triage::forecast::draw::moment;
use crate::triage::forecast::duty::DutyWeek;
use crate::triage::forecast::duty::WEEK_MS;
use crate::triage::forecast::lengths::LOG_NORMAL_CV;
use crate::triage::forecast::lengths::ReviewLengths;
use crate::triage::forecast::lengths::Spread;
use crate::triage::forecast::simulation::Cover;
use crate::triage::forecast::simulation::Order;
use crate::triage::forecast::simulation::Served;
use crate::triage::forecast::simulation::play;
use crate::triage::forecast::student::Estimate;
use crate::triage::rank;

const MINUTE_MS: i64 = 60_000;
const ORDERS: [Order; 3] = [Order::Programs, Order::ClassOnly, Order::FirstCome];

/// Up to 40 checks of all classes within three days, some at the very same minute, due by turns in time and too soon.
fn some_checks() -> impl Strategy<Value = Vec<Check>> {
    let one = (prop::sample::select(Urgency::ALL), 0_i64..4_320, 1_i64..900, 1_i64..120);
    prop::collection::vec(one, 1..40).prop_map(|mut drawn| {
        drawn.sort_by_key(|(_, received, _, _)| *received);
        drawn
            .into_iter()
            .map(|(urgency, received, due_after, lasts)| Check {
                urgency,
                received_ms: received * MINUTE_MS,
                due: moment((received + due_after) * MINUTE_MS),
                length_ms: lasts * MINUTE_MS,
            })
            .collect()
    })
}

fn some_cover() -> impl Strategy<Value = Cover> {
    let by_day = (0_i64..1_000, 30_i64..440).prop_map(|(opens, lasts)| {
        DutyWeek::on(&[Weekday::Monday, Weekday::Tuesday, Weekday::Thursday], opens, opens + lasts)
    });
    let duty = prop_oneof![Just(DutyWeek::round_the_clock()), by_day];
    (1_u32..4, duty).prop_map(|(reviewers, duty)| Cover { reviewers, duty })
}

fn own_length(_: usize, check: &Check) -> i64 {
    check.length_ms
}

/// The n-th review to begin takes the n-th length, whoever is reviewed in it: then all orders do the same work at the
/// same moments.
fn length_of_turn(checks: &[Check]) -> impl FnMut(usize, &Check) -> i64 {
    let lengths: Vec<i64> = checks.iter().map(|check| check.length_ms).collect();
    move |turn, _| lengths[turn]
}

fn waits_ms(checks: &[Check], served: &[Served]) -> i64 {
    checks.iter().zip(served).map(|(check, served)| served.started_ms - check.received_ms).sum()
}

fn sorted_starts(served: &[Served]) -> Vec<i64> {
    let mut starts: Vec<i64> = served.iter().map(|one| one.started_ms).collect();
    starts.sort_unstable();
    starts
}

fn busy_at(served: &[Served], at_ms: i64) -> usize {
    served.iter().filter(|one| one.started_ms <= at_ms && at_ms < one.ended_ms).count()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn every_check_is_reviewed_once_on_duty_for_its_whole_length_and_not_before_it_comes(
        checks in some_checks(),
        cover in some_cover(),
    ) {
        for order in ORDERS {
            let mut turns = Vec::new();
            let served = play(&checks, &cover, order, |turn, check| {
                turns.push(turn);
                check.length_ms
            }).unwrap();
            prop_assert_eq!(served.len(), checks.len());
            prop_assert_eq!(turns, (0..checks.len()).collect::<Vec<_>>());
            for (check, own) in checks.iter().zip(&served) {
                prop_assert!(own.started_ms >= check.received_ms);
                prop_assert_eq!(own.ended_ms - own.started_ms, check.length_ms);
                prop_assert!(cover.duty.is_open(own.started_ms));
                let at_once = busy_at(&served, own.started_ms);
                prop_assert!(at_once <= cover.reviewers as usize, "{at_once} at once");
            }
        }
    }

    /// All lengths are whole minutes, so looking once in each minute sees everything.
    #[test]
    fn no_reviewer_is_idle_on_duty_while_somebody_waits(checks in some_checks(), cover in some_cover()) {
        for order in ORDERS {
            let served = served_all(&checks, &cover, order);
            for (check, own) in checks.iter().zip(&served) {
                for at_ms in (check.received_ms..own.started_ms).step_by(MINUTE_MS as usize) {
                    let busy = busy_at(&served, at_ms);
                    prop_assert!(!cover.duty.is_open(at_ms) || busy == cover.reviewers as usize, "{order:?}");
                }
            }
        }
    }

    /// Each time a review begins, the check taken is the one the queue itself would put first.
    #[test]
    fn the_check_taken_next_is_the_first_of_the_programs_own_queue(
        checks in some_checks(),
        cover in some_cover(),
    ) {
        let served = served_all(&checks, &cover, Order::Programs);
        for start_ms in sorted_starts(&served) {
            // All that wait just before the reviews of this moment begin.
            let waiting: Vec<Waiting<usize>> = (0..checks.len())
                .filter(|place| checks[*place].received_ms <= start_ms && served[*place].started_ms >= start_ms)
                .map(|place| Waiting {
                    check: place,
                    urgency: checks[place].urgency,
                    due: checks[place].due,
                    sequence: place as u64,
                })
                .collect();
            let taken: Vec<usize> =
                (0..checks.len()).filter(|place| served[*place].started_ms == start_ms).collect();
            let ranked = rank(waiting, moment(start_ms)).into_iter().map(|one| one.check);
            let mut first: Vec<usize> = ranked.take(taken.len()).collect();
            first.sort_unstable();
            prop_assert_eq!(first, taken);
        }
    }

    /// An order shares out the waiting and makes none: to the millisecond, when the n-th review takes the n-th length.
    #[test]
    fn the_sum_of_all_waits_does_not_depend_on_the_order(checks in some_checks(), cover in some_cover()) {
        let played: Vec<Vec<Served>> = ORDERS
            .iter()
            .map(|order| play(&checks, &cover, *order, length_of_turn(&checks)).unwrap())
            .collect();
        for other in &played[1..] {
            prop_assert_eq!(waits_ms(&checks, other), waits_ms(&checks, &played[0]));
            prop_assert_eq!(sorted_starts(other), sorted_starts(&played[0]));
        }
    }

    /// A single check can wait longer with one more reviewer (another one taken earlier lasts longer), so only what
    /// holds for all together is promised: no turn begins later, and the sum of waits does not grow.
    #[test]
    fn with_one_more_reviewer_no_turn_begins_later(checks in some_checks(), cover in some_cover()) {
        let more = Cover { reviewers: cover.reviewers + 1, duty: cover.duty.clone() };
        for order in ORDERS {
            let few = play(&checks, &cover, order, length_of_turn(&checks)).unwrap();
            let many = play(&checks, &more, order, length_of_turn(&checks)).unwrap();
            let pairs = sorted_starts(&many).into_iter().zip(sorted_starts(&few));
            prop_assert!(pairs.into_iter().all(|(with_more, with_few)| with_more <= with_few));
            prop_assert!(waits_ms(&checks, &many) <= waits_ms(&checks, &few));
        }
    }
}

fn served_all(checks: &[Check], cover: &Cover, order: Order) -> Vec<Served> {
    play(checks, cover, order, own_length).unwrap()
}

#[test]
fn an_overdue_check_is_taken_before_a_fresh_one_of_the_class_above_it() {
    let check = |urgency, received: i64, due: i64| Check {
        urgency,
        received_ms: received * MINUTE_MS,
        due: moment(due * MINUTE_MS),
        length_ms: 10 * MINUTE_MS,
    };
    // While the first is reviewed until minute 10, the second waits past its time; the third, one class higher and
    // not yet due, comes at minute 9.
    let with_due = |due| {
        let first = check(Urgency::GoNow, 0, 10);
        [first, check(Urgency::Tomorrow, 1, due), check(Urgency::Today, 9, 240)]
    };
    let one = Cover { reviewers: 1, duty: DutyWeek::round_the_clock() };
    let starts = |checks: &[Check], order| {
        served_all(checks, &one, order).iter().map(|served| served.started_ms / MINUTE_MS).collect::<Vec<_>>()
    };
    assert_eq!(starts(&with_due(9), Order::Programs), [0, 10, 20]);
    // Due at the very moment the reviewer is free: not overdue yet.
    assert_eq!(starts(&with_due(10), Order::Programs), [0, 20, 10]);
    assert_eq!(starts(&with_due(9), Order::ClassOnly), [0, 20, 10]);
    assert_eq!(starts(&with_due(9), Order::FirstCome), [0, 10, 20]);
}

#[test]
fn what_comes_after_hours_is_opened_when_duty_begins_and_a_review_begun_is_finished() {
    let duty = DutyWeek::on(&[Weekday::Monday, Weekday::Tuesday], 8 * 60, 17 * 60);
    let check = |received: i64| Check {
        urgency: Urgency::Today,
        received_ms: received * MINUTE_MS,
        due: moment((received + 240) * MINUTE_MS),
        length_ms: 30 * MINUTE_MS,
    };
    let checks = [check(16 * 60 + 59), check(17 * 60), check(9 * 1_440)];
    let served = served_all(&checks, &Cover { reviewers: 1, duty: duty.clone() }, Order::Programs);
    let starts: Vec<i64> = served.iter().map(|one| one.started_ms / MINUTE_MS).collect();
    assert_eq!(starts, [16 * 60 + 59, 1_440 + 8 * 60, 14 * 1_440 + 8 * 60]);
    assert_eq!(served[0].ended_ms / MINUTE_MS, 17 * 60 + 29);
    assert_eq!(play(&checks, &Cover { reviewers: 0, duty }, Order::Programs, own_length), None);
    let never = Cover { reviewers: 1, duty: DutyWeek::on(&[], 0, 60) };
    assert_eq!(play(&checks, &never, Order::Programs, own_length), None);
    assert_eq!(play(&[], &never, Order::Programs, own_length), Some(Vec::new()));
}

/// Mean wait by class and over all, in minutes, in each of several long runs.
struct LongRuns {
    by_class: ByClass<Vec<f64>>,
    all: Vec<f64>,
}

fn long_runs(
    per_hour: [f64; 4],
    lengths: &ReviewLengths,
    reviewers: u32,
    order: Order,
    seed: u64,
) -> LongRuns {
    let per_day =
        ByClass::of_each(|urgency| 24.0 * per_hour.get(usize::from(urgency.rank())).unwrap_or(&0.0));
    let rates = ArrivalRates::flat(&per_day);
    let cover = Cover { reviewers, duty: DutyWeek::round_the_clock() };
    let mut runs = LongRuns { by_class: ByClass::of_each(|_| Vec::new()), all: Vec::new() };
    for mut dice in dice(seed, 12) {
        let checks = draw(&rates, lengths, Protocol::built_in().targets(), 100, &mut dice);
        let served = play(&checks, &cover, order, own_length).unwrap();
        let counted = || checks.iter().zip(&served).filter(|(check, _)| check.received_ms >= WEEK_MS);
        let mean = |of: Option<Urgency>| {
            let waits: Vec<f64> = counted()
                .filter(|(check, _)| of.is_none_or(|urgency| check.urgency == urgency))
                .map(|(check, served)| (served.started_ms - check.received_ms) as f64 / MINUTE_MS as f64)
                .collect();
            waits.iter().sum::<f64>() / waits.len() as f64
        };
        runs.all.push(mean(None));
        for rank in 0..4 {
            let urgency = Urgency::from_rank(rank).unwrap();
            runs.by_class.of_mut(urgency).push(mean(Some(urgency)));
        }
    }
    runs
}

/// The formula's wait lies in the interval of the runs, or within 2 % of their mean: of some thirty intervals at 95 %
/// one or two miss.
#[track_caller]
fn agrees(runs: &[f64], minutes: f64) {
    let estimate = Estimate::over(runs).unwrap();
    let close = (estimate.mean / minutes - 1.0).abs() < 0.02;
    assert!(close || estimate.holds(minutes), "{estimate:?} and the formula {minutes}");
    // An interval wide enough to hold anything would prove nothing.
    assert!(estimate.half_width.unwrap() < 0.08 * minutes, "{estimate:?}");
}

#[test]
fn long_runs_by_class_alone_agree_with_the_formula() {
    for (per_hour, minutes, reviewers) in [([0.2, 0.6, 1.2, 2.0], 10.0, 1), ([0.5, 1.0, 2.5, 3.5], 12.0, 2)] {
        let lengths =
            ReviewLengths { mean_minutes: ByClass::of_each(|_| minutes), spread: Spread::Exponential };
        let rates = ByClass::of_each(|urgency| *per_hour.get(usize::from(urgency.rank())).unwrap_or(&0.0));
        let formula = formula_waits(&rates, minutes, reviewers).unwrap();
        let runs = long_runs(per_hour, &lengths, reviewers, Order::ClassOnly, 2);
        for rank in 0..4 {
            let urgency = Urgency::from_rank(rank).unwrap();
            agrees(runs.by_class.of(urgency), *formula.by_class_minutes.of(urgency));
        }
        agrees(&runs.all, formula.first_come_minutes);
        // Nor does climbing make waiting: it moves it from one class to another.
        for order in [Order::FirstCome, Order::Programs] {
            agrees(&long_runs(per_hour, &lengths, reviewers, order, 7).all, formula.first_come_minutes);
        }
    }
}

/// With one reviewer the formula also holds for other lengths: waits are those of exponential ones times (1 + CV²)/2
/// (Pollaczek and Khinchine, from memory).
#[test]
fn long_runs_with_log_normal_reviews_wait_as_much_less_as_their_spread_is_smaller() {
    let per_hour = [0.2, 0.6, 1.2, 2.0];
    let lengths = ReviewLengths { mean_minutes: ByClass::of_each(|_| 10.0), spread: Spread::LogNormal };
    let rates = ByClass::of_each(|urgency| *per_hour.get(usize::from(urgency.rank())).unwrap_or(&0.0));
    let formula = formula_waits(&rates, 10.0, 1).unwrap();
    let runs = long_runs(per_hour, &lengths, 1, Order::ClassOnly, 3);
    for rank in 0..4 {
        let urgency = Urgency::from_rank(rank).unwrap();
        let narrower = (1.0 + LOG_NORMAL_CV * LOG_NORMAL_CV) / 2.0;
        agrees(runs.by_class.of(urgency), narrower * formula.by_class_minutes.of(urgency));
    }
}
