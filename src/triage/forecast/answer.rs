//! The answer: what to expect as asked, with one more reviewer, and with half an hour more each day.

use crate::triage::ResponseTargets;
use crate::triage::forecast::by_class::ByClass;
use crate::triage::forecast::cobham::FormulaWaits;
use crate::triage::forecast::cobham::formula_waits;
use crate::triage::forecast::draw::Check;
use crate::triage::forecast::draw::dice;
use crate::triage::forecast::draw::draw;
use crate::triage::forecast::duty::WEEK_MS;
use crate::triage::forecast::outcome::ClassDifference;
use crate::triage::forecast::outcome::Figures;
use crate::triage::forecast::outcome::Run;
use crate::triage::forecast::outcome::Window;
use crate::triage::forecast::outcome::differences;
use crate::triage::forecast::outcome::figures;
use crate::triage::forecast::question::Question;
use crate::triage::forecast::simulation::Cover;
use crate::triage::forecast::simulation::Order;
use crate::triage::forecast::simulation::play;

/// Independent runs. Twenty give a factor of 2.09 for the 95 % interval, near to the 1.96 of endlessly many.
const RUNS: usize = 20;
/// All runs together draw about so many checks, which bounds how long an answer takes.
const MOST_CHECKS: f64 = 300_000.0;
const FEWEST_WEEKS: u32 = 4;
const MOST_WEEKS: u32 = 208;
/// Weeks before those that count, in which the queue fills as it does in earnest, and after, in which checks go on
/// coming until those that count are answered.
const WEEKS_BEFORE: u32 = 1;
const WEEKS_AFTER: u32 = 1;
const LONGER_MINUTES: i64 = 30;

/// Another cover than the one asked about, played on the same arrivals and review lengths.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scenario {
    pub figures: Figures,
    /// Against the cover asked about.
    pub change: ByClass<Option<ClassDifference>>,
}

/// What to expect.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    pub as_asked: Figures,
    pub one_more: Scenario,
    /// `None`: duty runs day and night already.
    pub half_hour_longer: Option<Scenario>,
    /// As asked and with one more reviewer. `None`: the formula does not hold here, see [`Question::unmet`].
    pub formula: Option<(FormulaWaits, FormulaWaits)>,
    pub runs: usize,
    /// Weeks of each run that count.
    pub weeks: u32,
    /// Checks drawn in all runs.
    pub checks: usize,
}

/// Works the answer out. `None` never happens for a question that could be asked; it stands for a week in which nobody
/// is ever on duty.
pub fn answer(question: &Question, targets: &ResponseTargets) -> Option<Answer> {
    let weeks = weeks_to_play(question.rates().per_week().sum());
    let window = Window {
        from_ms: i64::from(WEEKS_BEFORE) * WEEK_MS,
        to_ms: i64::from(WEEKS_BEFORE + weeks) * WEEK_MS,
    };
    let asked = question.cover().clone();
    let more = Cover { reviewers: asked.reviewers + 1, duty: asked.duty.clone() };
    let longer = Cover { reviewers: asked.reviewers, duty: asked.duty.longer_by(LONGER_MINUTES) };
    let (mut of_asked, mut of_more, mut of_longer) = (Vec::new(), Vec::new(), Vec::new());
    let mut checks = 0;
    for mut dice in dice(question.seed(), RUNS) {
        let all_weeks = WEEKS_BEFORE + weeks + WEEKS_AFTER;
        let drawn = draw(question.rates(), question.lengths(), targets, all_weeks, &mut dice);
        checks += drawn.len();
        of_asked.push(run(&drawn, &asked, window)?);
        of_more.push(run(&drawn, &more, window)?);
        if longer != asked {
            of_longer.push(run(&drawn, &longer, window)?);
        }
    }
    Some(Answer {
        as_asked: figures(&of_asked)?,
        one_more: scenario(&of_asked, &of_more)?,
        half_hour_longer: scenario(&of_asked, &of_longer),
        formula: by_formula(question),
        runs: RUNS,
        weeks,
        checks,
    })
}

fn weeks_to_play(checks_a_week: f64) -> u32 {
    let affordable = MOST_CHECKS / (RUNS as f64 * checks_a_week.max(0.1));
    let counting = affordable - f64::from(WEEKS_BEFORE + WEEKS_AFTER);
    counting.clamp(f64::from(FEWEST_WEEKS), f64::from(MOST_WEEKS)) as u32
}

fn run(checks: &[Check], cover: &Cover, window: Window) -> Option<Run> {
    let served = play(checks, cover, Order::Programs, |_, check| check.length_ms)?;
    Some(Run::of(checks, &served, cover, window))
}

fn scenario(asked: &[Run], other: &[Run]) -> Option<Scenario> {
    Some(Scenario { figures: figures(other)?, change: differences(asked, other) })
}

fn by_formula(question: &Question) -> Option<(FormulaWaits, FormulaWaits)> {
    let minutes = question.lengths().same_for_all_minutes()?;
    let per_hour = question.rates().per_week().map(|a_week| a_week / 168.0);
    let waits = |reviewers| formula_waits(&per_hour, minutes, reviewers);
    let holds = question.unmet().is_empty();
    waits(question.reviewers()).zip(waits(question.reviewers() + 1)).filter(|_| holds)
}

#[cfg(test)]
mod tests {
    use jiff::civil::Weekday;

    use super::*;
    use crate::triage::Protocol;
    use crate::triage::Urgency;
    use crate::triage::forecast::arrivals::ArrivalRates;
    use crate::triage::forecast::duty::DutyWeek;
    use crate::triage::forecast::lengths::ReviewLengths;
    use crate::triage::forecast::lengths::Spread;

    const WORKDAYS: [Weekday; 5] =
        [Weekday::Monday, Weekday::Tuesday, Weekday::Wednesday, Weekday::Thursday, Weekday::Friday];

    fn question(a_day: f64, spread: Spread, duty: DutyWeek, seed: u64) -> Question {
        let rates = ArrivalRates::flat(&ByClass::of_each(|_| a_day / 5.0));
        let lengths = ReviewLengths { mean_minutes: ByClass::of_each(|_| 6.0), spread };
        Question::new(rates, lengths, 1, duty, seed).unwrap()
    }

    fn answered(question: &Question) -> Answer {
        answer(question, Protocol::built_in().targets()).unwrap()
    }

    #[test]
    fn the_same_seed_gives_the_same_answer_and_another_seed_another() {
        let office_hours = DutyWeek::on(&WORKDAYS, 480, 1_080);
        let ask = |seed| answered(&question(40.0, Spread::LogNormal, office_hours.clone(), seed));
        assert_eq!(ask(1), ask(1));
        assert_ne!(ask(1), ask(2));
    }

    #[test]
    fn about_nineteen_in_twenty_intervals_hold_what_all_seeds_together_say() {
        let office_hours = DutyWeek::on(&WORKDAYS, 480, 1_080);
        let answers: Vec<Answer> = (0..40)
            .map(|seed| answered(&question(1.0, Spread::LogNormal, office_hours.clone(), seed)))
            .collect();
        let mut held = 0;
        for urgency in Urgency::ALL {
            let of_seeds: Vec<_> = answers
                .iter()
                .map(|answer| answer.as_asked.by_class.of(*urgency).unwrap().mean_minutes)
                .collect();
            let all = of_seeds.iter().map(|one| one.mean).sum::<f64>() / of_seeds.len() as f64;
            held += of_seeds.iter().filter(|one| one.holds(all)).count();
        }
        // Of 200 intervals 190 are expected; four standard deviations of that number are 12.
        assert!((178..=200).contains(&held), "{held} of 200");
    }

    #[test]
    fn one_more_reviewer_shortens_waits_and_the_change_is_known_better_than_the_waits_are() {
        let answer = answered(&question(60.0, Spread::LogNormal, DutyWeek::on(&WORKDAYS, 480, 1_080), 1));
        let on_track = answer.as_asked.by_class.of(Urgency::OnTrack).unwrap().mean_minutes;
        let more = answer.one_more.figures.by_class.of(Urgency::OnTrack).unwrap().mean_minutes;
        let change = answer.one_more.change.of(Urgency::OnTrack).unwrap().mean_minutes;
        assert!(((more.mean - on_track.mean) - change.mean).abs() < 1e-6);
        assert!(change.mean + change.half_width.unwrap() < 0.0, "{change:?}");
        let apart = (on_track.half_width.unwrap().powi(2) + more.half_width.unwrap().powi(2)).sqrt();
        assert!(change.half_width.unwrap() < apart, "{change:?} {apart}");
        let longer = answer.half_hour_longer.unwrap().change.of(Urgency::OnTrack).unwrap().mean_minutes;
        assert!(longer.mean < 0.0);
    }

    #[test]
    fn reviewers_are_busy_for_as_much_of_their_duty_as_the_load_says() {
        let asked = question(60.0, Spread::LogNormal, DutyWeek::on(&WORKDAYS, 480, 1_080), 1);
        let busy = answered(&asked).as_asked.busy_share;
        assert!(
            (busy.mean - asked.load()).abs() < 2.0 * busy.half_width.unwrap(),
            "{busy:?} {}",
            asked.load()
        );
    }

    #[test]
    fn the_formula_is_given_where_it_holds_and_the_played_weeks_bear_it_out() {
        let steady = answered(&question(96.0, Spread::Exponential, DutyWeek::round_the_clock(), 1));
        let (asked, more) = steady.formula.unwrap();
        assert_eq!(steady.half_hour_longer, None);
        assert!(more.first_come_minutes < asked.first_come_minutes);
        let means: Vec<f64> = asked.by_class_minutes.iter().map(|(_, minutes)| *minutes).collect();
        for ((_, figures), formula) in steady.as_asked.by_class.iter().zip(means) {
            // Nearly nothing climbs at this load, so the plain rule and the program's agree to a few percent.
            let mean = figures.unwrap().mean_minutes;
            assert!((mean.mean / formula - 1.0).abs() < 0.05, "{mean:?} {formula}");
        }
        let by_day = answered(&question(40.0, Spread::Exponential, DutyWeek::on(&WORKDAYS, 480, 1_080), 1));
        assert_eq!(by_day.formula, None);
    }

    #[test]
    fn an_answer_takes_a_bounded_amount_of_work_however_many_come() {
        for a_week in [0.01, 1.0, 300.0, 2_800.0] {
            let weeks = weeks_to_play(a_week);
            assert!((FEWEST_WEEKS..=MOST_WEEKS).contains(&weeks));
            let drawn = RUNS as f64 * a_week * f64::from(weeks + WEEKS_BEFORE + WEEKS_AFTER);
            let fewest = RUNS as f64 * a_week * f64::from(FEWEST_WEEKS + WEEKS_BEFORE + WEEKS_AFTER);
            assert!(drawn <= MOST_CHECKS.max(fewest), "{a_week}: {drawn}");
        }
    }
}
