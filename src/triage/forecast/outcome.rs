//! What the played weeks say of each class: how long it waits, and how often it is answered in time.

use crate::triage::Urgency;
use crate::triage::forecast::by_class::ByClass;
use crate::triage::forecast::draw::Check;
use crate::triage::forecast::draw::moment;
use crate::triage::forecast::simulation::Cover;
use crate::triage::forecast::simulation::Served;
use crate::triage::forecast::student::Estimate;

const MINUTE_MS: f64 = 60_000.0;

/// Which part of a run counts: the weeks before let the queue fill as it does in earnest, the weeks after keep checks
/// coming until those that count are answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Window {
    pub from_ms: i64,
    pub to_ms: i64,
}

/// What one run says of one class. A wait runs from receipt until a reviewer opens the check.
#[derive(Clone, Copy, Debug, PartialEq)]
struct ClassRun {
    checks: usize,
    mean_minutes: f64,
    median_minutes: f64,
    ninetieth_minutes: f64,
    longest_minutes: f64,
    /// `None`: none came while somebody was on duty.
    on_duty_mean_minutes: Option<f64>,
    in_time: f64,
}

/// What one run says. `None`: no check of that class came in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Run {
    by_class: ByClass<Option<ClassRun>>,
    busy_share: f64,
}

/// What all runs together say of one class. Waits in minutes from receipt until a reviewer opens the check; each run's
/// own mean, median and 90th percentile, averaged over the runs in which the class came.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClassFigures {
    pub checks: usize,
    pub mean_minutes: Estimate,
    pub median_minutes: Estimate,
    pub ninetieth_minutes: Estimate,
    /// The mean of those that come while somebody is on duty. `None`: none did.
    pub on_duty_mean_minutes: Option<Estimate>,
    /// The longest of all runs, without an interval: more weeks would find a longer one.
    pub longest_minutes: f64,
    /// 0–1: reviewed to the end by the time the answer was due.
    pub in_time: Estimate,
}

/// What all runs together say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// `None`: no check of that class came in any run.
    pub by_class: ByClass<Option<ClassFigures>>,
    /// Time spent reviewing over time on duty. Can pass 1 a little, because a review begun is finished after duty.
    pub busy_share: Estimate,
}

/// What another cover changes for one class: its figure less that of the cover asked about, run by run on the same
/// arrivals and review lengths.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClassDifference {
    pub mean_minutes: Estimate,
    /// −1 to 1.
    pub in_time: Estimate,
}

impl Run {
    pub(super) fn of(checks: &[Check], served: &[Served], cover: &Cover, window: Window) -> Run {
        let counts = |at_ms: i64| (window.from_ms..window.to_ms).contains(&at_ms);
        let mut classes = ByClass::of_each(|_| Waits::default());
        for (check, served) in checks.iter().zip(served).filter(|(check, _)| counts(check.received_ms)) {
            let waits = classes.of_mut(check.urgency);
            let wait_minutes = (served.started_ms - check.received_ms) as f64 / MINUTE_MS;
            waits.minutes.push(wait_minutes);
            waits.in_time += usize::from(moment(served.ended_ms) <= check.due);
            if cover.duty.is_open(check.received_ms) {
                waits.on_duty += 1;
                waits.on_duty_minutes += wait_minutes;
            }
        }
        let reviewing_ms: i64 = served
            .iter()
            .filter(|served| counts(served.started_ms))
            .map(|served| served.ended_ms - served.started_ms)
            .sum();
        let weeks = (window.to_ms - window.from_ms) as f64 / super::duty::WEEK_MS as f64;
        let duty_ms = weeks * cover.duty.minutes() as f64 * MINUTE_MS;
        Run {
            by_class: ByClass::of_each(|urgency| std::mem::take(classes.of_mut(urgency)).summed_up()),
            busy_share: reviewing_ms as f64 / (duty_ms * f64::from(cover.reviewers)),
        }
    }
}

/// The waits of one class in one run, as they are gathered.
#[derive(Clone, Debug, Default)]
struct Waits {
    minutes: Vec<f64>,
    in_time: usize,
    on_duty: usize,
    on_duty_minutes: f64,
}

impl Waits {
    fn summed_up(mut self) -> Option<ClassRun> {
        self.minutes.sort_by(f64::total_cmp);
        let checks = self.minutes.len();
        Some(ClassRun {
            checks,
            longest_minutes: *self.minutes.last()?,
            mean_minutes: self.minutes.iter().sum::<f64>() / checks as f64,
            median_minutes: quantile(&self.minutes, 0.5),
            ninetieth_minutes: quantile(&self.minutes, 0.9),
            on_duty_mean_minutes: (self.on_duty > 0).then(|| self.on_duty_minutes / self.on_duty as f64),
            in_time: self.in_time as f64 / checks as f64,
        })
    }
}

/// The value below which this share of a sorted list lies, between neighbours in proportion. An empty list has 0.
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let at = share * sorted.len().saturating_sub(1) as f64;
    let below = sorted.get(at.floor() as usize).copied().unwrap_or(0.0);
    let above = sorted.get(at.ceil() as usize).copied().unwrap_or(below);
    below + (above - below) * at.fract()
}

/// Puts the runs of one cover together. `None` without runs.
pub(super) fn figures(runs: &[Run]) -> Option<Figures> {
    let busy: Vec<f64> = runs.iter().map(|run| run.busy_share).collect();
    Some(Figures {
        by_class: ByClass::of_each(|urgency| class_figures(runs, urgency)),
        busy_share: Estimate::over(&busy)?,
    })
}

fn class_figures(runs: &[Run], urgency: Urgency) -> Option<ClassFigures> {
    let came: Vec<&ClassRun> = runs.iter().filter_map(|run| run.by_class.of(urgency).as_ref()).collect();
    let over = |figure: fn(&ClassRun) -> f64| {
        Estimate::over(&came.iter().map(|run| figure(run)).collect::<Vec<f64>>())
    };
    let on_duty: Vec<f64> = came.iter().filter_map(|run| run.on_duty_mean_minutes).collect();
    Some(ClassFigures {
        on_duty_mean_minutes: Estimate::over(&on_duty),
        checks: came.iter().map(|run| run.checks).sum(),
        mean_minutes: over(|run| run.mean_minutes)?,
        median_minutes: over(|run| run.median_minutes)?,
        ninetieth_minutes: over(|run| run.ninetieth_minutes)?,
        longest_minutes: came.iter().map(|run| run.longest_minutes).fold(0.0, f64::max),
        in_time: over(|run| run.in_time)?,
    })
}

/// What `other` changes against `asked`, class by class. Both hold the same runs in the same order.
pub(super) fn differences(asked: &[Run], other: &[Run]) -> ByClass<Option<ClassDifference>> {
    ByClass::of_each(|urgency| {
        let pairs: Vec<(ClassRun, ClassRun)> = asked
            .iter()
            .zip(other)
            .filter_map(|(asked, other)| (*asked.by_class.of(urgency)).zip(*other.by_class.of(urgency)))
            .collect();
        let over = |figure: fn(&ClassRun) -> f64| {
            let less: Vec<f64> = pairs.iter().map(|(asked, other)| figure(other) - figure(asked)).collect();
            Estimate::over(&less)
        };
        Some(ClassDifference {
            mean_minutes: over(|run| run.mean_minutes)?,
            in_time: over(|run| run.in_time)?,
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::forecast::duty::DutyWeek;
    use crate::triage::forecast::duty::WEEK_MS;

    fn check(urgency: Urgency, received_minute: i64, due_minute: i64) -> Check {
        let due = moment(due_minute * 60_000);
        Check { urgency, received_ms: received_minute * 60_000, due, length_ms: 60_000 }
    }

    fn served(started_minute: i64, ended_minute: i64) -> Served {
        Served { started_ms: started_minute * 60_000, ended_ms: ended_minute * 60_000 }
    }

    fn whole_week() -> Window {
        Window { from_ms: 0, to_ms: WEEK_MS }
    }

    fn run(checks: &[Check], served: &[Served], window: Window) -> Run {
        let cover = Cover { reviewers: 2, duty: DutyWeek::round_the_clock() };
        Run::of(checks, served, &cover, window)
    }

    #[test]
    fn a_wait_ends_when_the_check_is_opened_and_in_time_means_answered_by_the_minute_it_is_due() {
        let checks =
            [check(Urgency::Today, 0, 30), check(Urgency::Today, 10, 30), check(Urgency::Today, 20, 30)];
        let all = run(&checks, &[served(5, 30), served(20, 31), served(120, 130)], whole_week());
        let today = all.by_class.of(Urgency::Today).unwrap();
        assert_eq!((today.checks, today.mean_minutes), (3, (5.0 + 10.0 + 100.0) / 3.0));
        assert_eq!((today.median_minutes, today.longest_minutes), (10.0, 100.0));
        assert!((today.in_time - 1.0 / 3.0).abs() < 1e-12);
        assert_eq!(*all.by_class.of(Urgency::GoNow), None);
        assert!((all.busy_share - (25.0 + 11.0 + 10.0) / (2.0 * 7.0 * 1_440.0)).abs() < 1e-12);
    }

    #[test]
    fn what_comes_on_duty_is_also_told_apart_from_what_comes_at_night() {
        let checks =
            [check(Urgency::Today, 0, 9), check(Urgency::Today, 70, 99), check(Urgency::GoNow, 5, 9)];
        let played = [served(60, 61), served(74, 75), served(60, 61)];
        let monday = DutyWeek::on(&[jiff::civil::Weekday::Monday], 60, 120);
        let run = Run::of(&checks, &played, &Cover { reviewers: 1, duty: monday }, whole_week());
        assert_eq!(run.by_class.of(Urgency::Today).unwrap().on_duty_mean_minutes, Some(4.0));
        assert_eq!(run.by_class.of(Urgency::GoNow).unwrap().on_duty_mean_minutes, None);
    }

    #[test]
    fn only_what_comes_within_the_window_counts() {
        let checks = [check(Urgency::Today, 0, 9), check(Urgency::Today, 1, 9), check(Urgency::Today, 2, 9)];
        let window = Window { from_ms: 60_000, to_ms: 120_000 };
        let inside = run(&checks, &[served(100, 101), served(3, 4), served(100, 101)], window);
        assert_eq!(inside.by_class.of(Urgency::Today).unwrap().mean_minutes, 2.0);
    }

    #[test]
    fn the_ninetieth_of_eleven_waits_is_the_tenth() {
        let waits: Vec<f64> = (0..11).map(f64::from).collect();
        assert_eq!((quantile(&waits, 0.9), quantile(&waits, 0.5), quantile(&waits, 1.0)), (9.0, 5.0, 10.0));
        assert_eq!(
            (quantile(&[1.0, 2.0], 0.25), quantile(&[7.0], 0.9), quantile(&[], 0.5)),
            (1.25, 7.0, 0.0)
        );
    }

    #[test]
    fn a_run_without_a_class_says_nothing_of_it() {
        let with = run(&[check(Urgency::GoNow, 0, 9)], &[served(4, 5)], whole_week());
        let without = run(&[check(Urgency::Today, 0, 9)], &[served(4, 5)], whole_week());
        let both = figures(&[with, without]).unwrap();
        assert_eq!(both.by_class.of(Urgency::GoNow).unwrap().mean_minutes.runs, 1);
        assert_eq!(*both.by_class.of(Urgency::OnTrack), None);
        assert_eq!(figures(&[]), None);
        assert_eq!(*differences(&[with], &[without]).of(Urgency::GoNow), None);
        let quicker = run(&[check(Urgency::GoNow, 0, 9)], &[served(1, 2)], whole_week());
        let less = differences(&[with], &[quicker]).of(Urgency::GoNow).unwrap();
        assert_eq!((less.mean_minutes.mean, less.in_time.mean), (-3.0, 0.0));
    }
}
