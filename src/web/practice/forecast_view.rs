//! What the cover page shows of an answer: ready words and the widths of its bars.

use crate::triage::Urgency;
use crate::triage::forecast::Answer;
use crate::triage::forecast::ClassFigures;
use crate::triage::forecast::Estimate;
use crate::triage::forecast::Figures;
use crate::triage::forecast::FormulaWaits;
use crate::triage::forecast::Question;
use crate::triage::forecast::RecordedArrivals;
use crate::triage::forecast::Scenario;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::practice::forecast_form::DAYS;
use crate::web::practice::forecast_form::counted;
use crate::web::practice::forecast_words::change_and_range;
use crate::web::practice::forecast_words::listed;
use crate::web::practice::forecast_words::points_and_range;
use crate::web::practice::forecast_words::share;
use crate::web::practice::forecast_words::share_and_range;
use crate::web::practice::forecast_words::spread_words;
use crate::web::practice::forecast_words::unmet_words;
use crate::web::practice::forecast_words::wait;
use crate::web::practice::forecast_words::wait_and_range;

/// A class answered in time at least so often is not named as short of cover. Our choice, no source.
const OFTEN_ENOUGH: f64 = 0.9;
/// From this load on the page warns. By the formula waits grow at least with 1/(1 − load), by half from 85 % to
/// 90 %. Where to begin is our choice, no source.
const HEAVY_LOAD: f64 = 0.85;
const HOURS_IN_BLOCK: usize = 4;

/// A figure and its range, in words.
pub struct Said {
    pub value: String,
    pub range: String,
}

impl Said {
    fn of((value, range): (String, String)) -> Said {
        Said { value, range }
    }
}

/// One class as asked.
pub struct ClassRow {
    pub class: Class,
    pub mean: Said,
    pub on_duty: String,
    pub median: Said,
    pub ninetieth: Said,
    pub in_time: Said,
    pub longest: String,
    pub off_duty: String,
}

/// One class under another cover, against as asked.
pub struct ChangeRow {
    pub class: Class,
    pub mean_asked: String,
    pub mean_other: String,
    pub mean_change: Said,
    pub in_time_asked: String,
    pub in_time_other: String,
    pub points: Said,
}

/// A bar in hundredths of the figure's width, and the interval on it.
pub struct Bar {
    pub length: String,
    pub range_from: String,
    pub range_length: String,
    pub words: String,
}

pub struct Bars {
    pub class: Class,
    pub asked: Bar,
    pub one_more: Bar,
}

pub struct FormulaRow {
    pub class: Class,
    pub asked: String,
    pub one_more: String,
}

pub struct Formula {
    pub rows: Vec<FormulaRow>,
    pub first_come_asked: String,
    pub first_come_one_more: String,
    pub weighted_asked: String,
    pub weighted_one_more: String,
}

/// Everything the page says of an answer.
pub struct Outlook {
    pub headline: String,
    /// Classes answered in time often enough, and those that are not; either can be empty.
    pub often: String,
    pub seldom: String,
    /// How much comes while nobody is on duty; empty: somebody always is.
    pub off_duty: String,
    /// Empty: there is slack.
    pub heavy: String,
    pub reviewers_asked: String,
    pub reviewers_one_more: String,
    pub bars: Vec<Bars>,
    pub rows: Vec<ClassRow>,
    pub one_more: Vec<ChangeRow>,
    pub longer: Vec<ChangeRow>,
    pub formula: Option<Formula>,
    pub unmet: Vec<&'static str>,
    pub spread: String,
    pub played: String,
    /// Share of their time on duty that reviewers spent reviewing in the played weeks.
    pub busy_asked: Said,
    pub busy_one_more: Said,
    pub seed: u64,
}

/// The answer in words. `duty`: the hours of duty, "Monday to Friday from 8:00 to 18:00".
pub fn outlook(question: &Question, answer: &Answer, duty: &str) -> Outlook {
    let reviewers = u64::from(question.reviewers());
    let (often, seldom) = by_time(&answer.as_asked);
    Outlook {
        headline: format!(
            "With {} on duty {duty}, reviewing takes {} of their time.",
            counted(reviewers, "reviewer"),
            share(question.load()),
        ),
        often,
        seldom,
        off_duty: off_duty(question),
        heavy: heavy(question.load()),
        reviewers_asked: counted(reviewers, "reviewer"),
        reviewers_one_more: counted(reviewers + 1, "reviewer"),
        bars: bars(answer),
        rows: class_rows(question, &answer.as_asked),
        one_more: change_rows(&answer.as_asked, &answer.one_more),
        longer: answer
            .half_hour_longer
            .as_ref()
            .map_or_else(Vec::new, |longer| change_rows(&answer.as_asked, longer)),
        formula: answer.formula.as_ref().map(|(asked, one_more)| formula(question, asked, one_more)),
        unmet: question.unmet().into_iter().map(unmet_words).collect(),
        spread: spread_words(question),
        played: format!(
            "{} of {} each, {} checks in all",
            counted(answer.runs as u64, "independent run"),
            counted(u64::from(answer.weeks), "week"),
            answer.checks
        ),
        busy_asked: Said::of(share_and_range(&answer.as_asked.busy_share)),
        busy_one_more: Said::of(share_and_range(&answer.one_more.figures.busy_share)),
        seed: question.seed(),
    }
}

fn of_each_class(figures: &Figures) -> impl Iterator<Item = (Urgency, &ClassFigures)> {
    figures.by_class.iter().filter_map(|(urgency, figures)| Some((urgency, figures.as_ref()?)))
}

fn by_time(figures: &Figures) -> (String, String) {
    let in_time = of_each_class(figures).map(|(urgency, figures)| (urgency, figures.in_time.mean));
    let (often, seldom): (Vec<_>, Vec<_>) = in_time.partition(|(_, in_time)| *in_time >= OFTEN_ENOUGH);
    (listed(&often), listed(&seldom))
}

fn off_duty(question: &Question) -> String {
    let per_week = question.rates().per_week();
    let off: f64 = per_week
        .iter()
        .filter_map(|(urgency, rate)| Some(rate * question.rates().share_off_duty(urgency, question.duty())?))
        .sum();
    if question.duty().is_round_the_clock() {
        return String::new();
    }
    format!(
        "{} of all checks come while nobody is on duty. More reviewers do not shorten the wait until the next morning; \
         longer hours, or somebody on call, do.",
        share(off / per_week.sum())
    )
}

fn heavy(load: f64) -> String {
    if load < HEAVY_LOAD {
        return String::new();
    }
    format!(
        "There is hardly any slack: above {} a busier week is not made up for, and the least urgent checks pile up.",
        share(HEAVY_LOAD)
    )
}

fn class_rows(question: &Question, figures: &Figures) -> Vec<ClassRow> {
    of_each_class(figures)
        .map(|(urgency, figures)| ClassRow {
            class: class(urgency),
            mean: Said::of(wait_and_range(&figures.mean_minutes)),
            on_duty: figures
                .on_duty_mean_minutes
                .map_or_else(|| "none came".to_owned(), |one| wait(one.mean)),
            median: Said::of(wait_and_range(&figures.median_minutes)),
            ninetieth: Said::of(wait_and_range(&figures.ninetieth_minutes)),
            in_time: Said::of(share_and_range(&figures.in_time)),
            longest: wait(figures.longest_minutes),
            off_duty: question
                .rates()
                .share_off_duty(urgency, question.duty())
                .map_or_else(String::new, share),
        })
        .collect()
}

fn change_rows(asked: &Figures, other: &Scenario) -> Vec<ChangeRow> {
    of_each_class(asked)
        .filter_map(|(urgency, asked)| {
            let figures = other.figures.by_class.of(urgency).as_ref()?;
            let change = other.change.of(urgency).as_ref()?;
            Some(ChangeRow {
                class: class(urgency),
                mean_asked: wait(asked.mean_minutes.mean),
                mean_other: wait(figures.mean_minutes.mean),
                mean_change: Said::of(change_and_range(&change.mean_minutes)),
                in_time_asked: share(asked.in_time.mean),
                in_time_other: share(figures.in_time.mean),
                points: Said::of(points_and_range(&change.in_time)),
            })
        })
        .collect()
}

fn bars(answer: &Answer) -> Vec<Bars> {
    let upper = |one: &Estimate| one.mean + one.half_width.unwrap_or(0.0);
    let both = [&answer.as_asked, &answer.one_more.figures];
    let all = both.iter().flat_map(|figures| of_each_class(figures));
    let longest = all.map(|(_, figures)| upper(&figures.mean_minutes)).fold(0.0, f64::max);
    of_each_class(&answer.as_asked)
        .filter_map(|(urgency, asked)| {
            let more = answer.one_more.figures.by_class.of(urgency).as_ref()?;
            Some(Bars {
                class: class(urgency),
                asked: bar(&asked.mean_minutes, longest),
                one_more: bar(&more.mean_minutes, longest),
            })
        })
        .collect()
}

fn bar(estimate: &Estimate, longest_minutes: f64) -> Bar {
    let hundredths = |minutes: f64| {
        if longest_minutes > 0.0 { (100.0 * minutes / longest_minutes).clamp(0.0, 100.0) } else { 0.0 }
    };
    let half = estimate.half_width.unwrap_or(0.0);
    let (low, high) = (hundredths(estimate.mean - half), hundredths(estimate.mean + half));
    Bar {
        length: format!("{:.2}", hundredths(estimate.mean)),
        range_from: format!("{low:.2}"),
        range_length: format!("{:.2}", high - low),
        words: wait(estimate.mean),
    }
}

fn formula(question: &Question, asked: &FormulaWaits, one_more: &FormulaWaits) -> Formula {
    let per_week = question.rates().per_week();
    Formula {
        rows: asked
            .by_class_minutes
            .iter()
            .filter(|(urgency, _)| *per_week.of(*urgency) > 0.0)
            .map(|(urgency, minutes)| FormulaRow {
                class: class(urgency),
                asked: wait(*minutes),
                one_more: wait(*one_more.by_class_minutes.of(urgency)),
            })
            .collect(),
        first_come_asked: wait(asked.first_come_minutes),
        first_come_one_more: wait(one_more.first_come_minutes),
        weighted_asked: wait(asked.weighted_mean_minutes),
        weighted_one_more: wait(one_more.weighted_mean_minutes),
    }
}

/// One day of the recorded week.
pub struct WeekRow {
    pub day: &'static str,
    /// Checks a week in each block of four hours, from midnight.
    pub blocks: Vec<String>,
    pub all: String,
}

/// When checks come, a week on average, in blocks of four hours.
pub struct WeekTable {
    pub heads: Vec<String>,
    pub rows: Vec<WeekRow>,
}

/// The recorded arrivals by day and block of hours.
pub fn week_table(recorded: &RecordedArrivals) -> WeekTable {
    let weeks = f64::from(recorded.weeks().max(1));
    let a_week = |from: usize, hours: usize| {
        let counted: u64 = (from..from + hours).map(|hour| recorded.in_hour(hour)).sum();
        format!("{:.1}", counted as f64 / weeks)
    };
    let blocks = (0..24).step_by(HOURS_IN_BLOCK);
    WeekTable {
        heads: blocks.clone().map(|hour| format!("{hour}–{}", hour + HOURS_IN_BLOCK)).collect(),
        rows: DAYS
            .iter()
            .enumerate()
            .map(|(place, (_, _, day))| WeekRow {
                day,
                blocks: blocks.clone().map(|hour| a_week(place * 24 + hour, HOURS_IN_BLOCK)).collect(),
                all: a_week(place * 24, 24),
            })
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_longest_wait_fills_the_figure_and_a_range_stays_inside() {
        let estimate = |mean, half| Estimate { mean, half_width: Some(half), runs: 20 };
        let longest = bar(&estimate(90.0, 10.0), 100.0);
        assert_eq!((longest.length.as_str(), longest.range_from.as_str()), ("90.00", "80.00"));
        assert_eq!(longest.range_length, "20.00");
        let short = bar(&estimate(1.0, 5.0), 100.0);
        assert_eq!((short.range_from.as_str(), short.range_length.as_str()), ("0.00", "6.00"));
        assert_eq!(bar(&estimate(0.0, 0.0), 0.0).length, "0.00");
    }

    #[test]
    fn the_recorded_week_stands_by_day_and_by_four_hours() {
        let mut recorded = RecordedArrivals::over(4);
        recorded.count(Urgency::Today, 9, 6);
        recorded.count(Urgency::GoNow, 11, 2);
        recorded.count(Urgency::OnTrack, 167, 4);
        let table = week_table(&recorded);
        assert_eq!(table.heads, ["0–4", "4–8", "8–12", "12–16", "16–20", "20–24"]);
        assert_eq!(table.rows[0].blocks, ["0.0", "0.0", "2.0", "0.0", "0.0", "0.0"]);
        assert_eq!((table.rows[0].all.as_str(), table.rows[6].all.as_str()), ("2.0", "1.0"));
        assert_eq!(table.rows[6].blocks[5], "1.0");
    }
}
