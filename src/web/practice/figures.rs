//! How well it ranks: what surgeons decided against what was assessed, and how soon answers came.

use askama::Template;
use axum::extract::Query;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use jiff::Timestamp;
use serde::Deserialize;

use crate::care::figures;
use crate::care::figures::Figures;
use crate::care::figures::LISTED_IN_FILE;
use crate::care::figures::MovedUp;
use crate::triage::Decision;
use crate::triage::Urgency;
use crate::triage::figures::MOST_MISSED;
use crate::triage::figures::Matrix;
use crate::triage::figures::Origin;
use crate::triage::figures::Period;
use crate::triage::figures::Tally;
use crate::web::App;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::practice::figure_plots::HourPlot;
use crate::web::practice::figure_plots::IntervalPlot;
use crate::web::practice::figure_words;
use crate::web::practice::figure_words::ShareWords;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;
use crate::words::calendar;

/// What the address asks for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asking {
    period: String,
}

impl Asking {
    /// A period nobody offers is read as the usual one.
    pub fn period(&self) -> Period {
        self.period.parse().unwrap_or(Period::Days90)
    }
}

struct PeriodChoice {
    code: &'static str,
    words: &'static str,
    is_chosen: bool,
}

struct DecisionRow {
    words: &'static str,
    cells: Vec<u64>,
    total: u64,
}

struct ShareRow {
    name: &'static str,
    formula: &'static str,
    means: &'static str,
    words: ShareWords,
}

struct MovedRow {
    /// Where a surgeon reads it; empty for somebody who may not.
    address: String,
    receipt: String,
    received: String,
    decision: &'static str,
    assessed: Class,
    judged: Class,
    origin: &'static str,
    rules: String,
}

struct ResponseRow {
    tally: TallyWords,
    class: Class,
}

struct HourRow {
    tally: TallyWords,
    hour: String,
}

/// A tally, ready to be read.
struct TallyWords {
    cases: u64,
    in_time: u64,
    late: u64,
    late_and_open: u64,
    not_yet_due: u64,
    median: String,
    ninetieth: String,
    within: ShareWords,
}

#[derive(Template)]
#[template(path = "practice/figures.html")]
struct FiguresPage {
    frame: Frame,
    period: &'static str,
    periods: Vec<PeriodChoice>,
    span: String,
    received: u64,
    counted: u64,
    said: u64,
    read: u64,
    without_judgement: u64,
    not_reviewed: u64,
    classes: Vec<Class>,
    decisions: Vec<DecisionRow>,
    totals: Vec<u64>,
    matrix: Matrix,
    shares: Vec<ShareRow>,
    claim: String,
    share_plot: IntervalPlot,
    moved_up: ShareWords,
    moved: Vec<MovedRow>,
    /// How many were moved up and are not listed here.
    moved_unlisted: u64,
    in_file: usize,
    by_class: Vec<ResponseRow>,
    class_plot: IntervalPlot,
    by_hour: Vec<HourRow>,
    hour_plot: HourPlot,
    not_yet_due: u64,
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Query(asking): Query<Asking>,
) -> Result<Response, PageError> {
    let now = app.now();
    let figures = figures::read(&app.desk, &member.member, asking.period(), now).await?;
    let part = Part::of_ranking(&member);
    let frame = Frame::of(&app, &member, part, "How well it ranks").await?;
    page(StatusCode::OK, &FiguresPage::of(&figures, frame, &member, now))
}

impl FiguresPage {
    fn of(figures: &Figures, frame: Frame, member: &Member, now: Timestamp) -> FiguresPage {
        let (agreement, response) = (&figures.agreement, &figures.response);
        let matrix = agreement.matrix();
        let roles = member.member.roles;
        let moved: Vec<MovedRow> = figures
            .moved_up
            .iter()
            .map(|one| moved_row(one, figures, roles.surgeon.then_some(&one.check), now))
            .collect();
        FiguresPage {
            period: figures.period.code(),
            periods: periods(figures.period),
            span: span_words(figures, now),
            received: figures.received,
            counted: agreement.counted(),
            said: agreement.said(),
            read: agreement.counted() - agreement.said(),
            without_judgement: agreement.without_judgement(),
            not_reviewed: agreement.not_reviewed(),
            classes: most_urgent_first().map(class).collect(),
            decisions: Decision::ALL.iter().map(|decision| decision_row(figures, *decision)).collect(),
            totals: most_urgent_first().map(|assessed| assessed_total(figures, assessed)).collect(),
            shares: share_rows(&matrix),
            claim: figure_words::claim(matrix.missed_share_of_the_urgent()),
            share_plot: share_plot(&matrix),
            matrix,
            moved_up: figure_words::share(agreement.moved_up()),
            moved_unlisted: agreement.moved_up().hits().saturating_sub(moved.len() as u64),
            moved,
            in_file: LISTED_IN_FILE,
            by_class: response
                .by_class()
                .map(|(urgency, tally)| ResponseRow { class: class(urgency), tally: tally_words(tally) })
                .collect(),
            class_plot: class_plot(figures),
            by_hour: response
                .by_hour()
                .map(|(hour, tally)| HourRow { hour: hour_words(hour), tally: tally_words(tally) })
                .collect(),
            hour_plot: HourPlot::of("hours", "Checks by hour of day received", response),
            not_yet_due: response.by_class().map(|(_, tally)| tally.not_yet_due).sum(),
            frame,
        }
    }
}

/// The columns of every table by class.
pub fn most_urgent_first() -> impl Iterator<Item = Urgency> {
    Urgency::ALL.iter().rev().copied()
}

/// Such as "7:00 to 8:00".
pub fn hour_words(hour: usize) -> String {
    format!("{hour}:00 to {}:00", hour + 1)
}

/// How a judgement came about.
pub fn origin_words(origin: Origin) -> &'static str {
    match origin {
        Origin::Said => "said by the surgeon",
        Origin::Read => "read from the decision",
    }
}

fn periods(chosen: Period) -> Vec<PeriodChoice> {
    Period::ALL
        .iter()
        .map(|period| PeriodChoice {
            code: period.code(),
            words: period.words(),
            is_chosen: *period == chosen,
        })
        .collect()
}

fn span_words(figures: &Figures, now: Timestamp) -> String {
    match figures.period.first_day(now, &figures.practice.zone) {
        Some(day) => {
            let first = calendar::day_and_year(STAFF_LANGUAGE, day.at(0, 0, 0, 0));
            format!("Checks received from {first} to now, by the practice’s own calendar")
        }
        None => "All checks ever received".to_owned(),
    }
}

fn decision_row(figures: &Figures, decision: Decision) -> DecisionRow {
    let cells: Vec<u64> =
        most_urgent_first().map(|assessed| figures.agreement.decided(decision, assessed)).collect();
    DecisionRow { words: decision.words(), total: cells.iter().sum(), cells }
}

fn assessed_total(figures: &Figures, assessed: Urgency) -> u64 {
    Decision::ALL.iter().map(|decision| figures.agreement.decided(*decision, assessed)).sum()
}

fn share_rows(matrix: &Matrix) -> Vec<ShareRow> {
    vec![
        ShareRow {
            name: MISSED_SHARE,
            formula: "c/(a+c) = 1 − sensitivity",
            means: "of the checks judged urgent, those that were not flagged",
            words: figure_words::share(matrix.missed_share_of_the_urgent()),
        },
        ShareRow {
            name: FALSE_SHARE,
            formula: "b/(b+d) = 1 − specificity",
            means: "of the checks judged not urgent, those that were flagged",
            words: figure_words::share(matrix.false_share_of_the_calm()),
        },
    ]
}

/// The two shares by their names, on the page and in the file.
pub const MISSED_SHARE: &str = "missed share of the urgent";
pub const FALSE_SHARE: &str = "false share of the calm";

fn share_plot(matrix: &Matrix) -> IntervalPlot {
    let rows = [
        (MISSED_SHARE.to_owned(), matrix.missed_share_of_the_urgent()),
        (FALSE_SHARE.to_owned(), matrix.false_share_of_the_calm()),
    ];
    let limit = format!("{:.0} % missed", 100.0 * MOST_MISSED);
    IntervalPlot::of(
        "shares",
        "Missed and false share with 95 % intervals",
        &rows,
        Some((MOST_MISSED, limit)),
    )
}

fn class_plot(figures: &Figures) -> IntervalPlot {
    let rows: Vec<_> = figures
        .response
        .by_class()
        .map(|(urgency, tally)| (urgency.staff_words().to_owned(), tally.within_target()))
        .collect();
    IntervalPlot::of("classes", "Share answered within target, by class, with 95 % intervals", &rows, None)
}

fn moved_row(
    one: &MovedUp,
    figures: &Figures,
    open_to_them: Option<&crate::ids::WoundCheckId>,
    now: Timestamp,
) -> MovedRow {
    MovedRow {
        address: open_to_them.map_or_else(String::new, |id| format!("/checks/{id}")),
        receipt: one.receipt.clone(),
        received: time_words::clock_time(one.received, now, &figures.practice.zone, STAFF_LANGUAGE),
        decision: one.judged.decision.words(),
        assessed: class(one.judged.assessed),
        judged: class(one.judged.judged),
        origin: origin_words(one.judged.origin),
        rules: if one.rules.is_empty() { "none fired".to_owned() } else { one.rules.join(", ") },
    }
}

fn tally_words(tally: &Tally) -> TallyWords {
    TallyWords {
        cases: tally.cases(),
        in_time: tally.in_time,
        late: tally.late,
        late_and_open: tally.late_and_open,
        not_yet_due: tally.not_yet_due,
        median: figure_words::waited(tally, 0.5),
        ninetieth: figure_words::waited(tally, 0.9),
        within: figure_words::share(tally.within_target()),
    }
}
