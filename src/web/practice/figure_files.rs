//! The tables of the figures as files: counts, shares and times, and never a patient's name.

use axum::extract::Query;
use axum::extract::State;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Response;
use jiff::Timestamp;

use crate::care::figures;
use crate::care::figures::Figures;
use crate::care::figures::Table;
use crate::triage::Decision;
use crate::triage::figures::Share;
use crate::triage::figures::Tally;
use crate::web::App;
use crate::web::csv::Csv;
use crate::web::csv::TakenBy;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::export::names;
use crate::web::local_time;
use crate::web::practice::figure_words;
use crate::web::practice::figures::Asking;
use crate::web::practice::figures::FALSE_SHARE;
use crate::web::practice::figures::MISSED_SHARE;
use crate::web::practice::figures::most_urgent_first;
use crate::web::practice::figures::origin_words;

pub async fn decisions(
    app: State<App>,
    member: Member,
    asking: Query<Asking>,
) -> Result<Response, PageError> {
    file(app, member, asking, Table::Decisions).await
}

pub async fn shares(app: State<App>, member: Member, asking: Query<Asking>) -> Result<Response, PageError> {
    file(app, member, asking, Table::Shares).await
}

pub async fn moved_up(app: State<App>, member: Member, asking: Query<Asking>) -> Result<Response, PageError> {
    file(app, member, asking, Table::MovedUp).await
}

pub async fn by_class(app: State<App>, member: Member, asking: Query<Asking>) -> Result<Response, PageError> {
    file(app, member, asking, Table::ResponseByClass).await
}

pub async fn by_hour(app: State<App>, member: Member, asking: Query<Asking>) -> Result<Response, PageError> {
    file(app, member, asking, Table::ResponseByHour).await
}

async fn file(
    State(app): State<App>,
    member: Member,
    Query(asking): Query<Asking>,
    table: Table,
) -> Result<Response, PageError> {
    let now = app.now();
    let figures = figures::download(&app.desk, &member.member, table, asking.period(), now).await?;
    let taken = TakenBy {
        name: member.member.name.clone(),
        local_time: local_time::write(now, &figures.practice.zone),
    };
    let csv = match table {
        Table::Decisions => decisions_table(&figures, &taken),
        Table::Shares => shares_table(&figures, &taken),
        Table::MovedUp => moved_up_table(&figures, &taken),
        Table::ResponseByClass => by_class_table(&figures, &taken),
        Table::ResponseByHour => by_hour_table(&figures, &taken),
    };
    let name = file_name(&figures, table, &member.member.name, now);
    Ok((
        [
            (header::CONTENT_TYPE, "text/csv; charset=utf-8; header=present".to_owned()),
            (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
        ],
        csv.into_text(),
    )
        .into_response())
}

/// Such as `decisions-90-days-2026-03-10-1105-by-lee-park.csv`.
fn file_name(figures: &Figures, table: Table, by: &str, now: Timestamp) -> String {
    let span = figures.period.days().map_or_else(|| "all".to_owned(), |days| format!("{days}-days"));
    format!("{}-{span}-{}.csv", table.code(), names::made(by, now, &figures.practice.zone))
}

fn decisions_table(figures: &Figures, taken: &TakenBy) -> Csv {
    let names: Vec<String> =
        most_urgent_first().map(|class| format!("assessed_{}_checks", class.code())).collect();
    let mut header = vec!["decision"];
    header.extend(names.iter().map(String::as_str));
    let mut csv = Csv::with_header(&header, taken);
    for decision in Decision::ALL {
        let mut cells = vec![decision.code().to_owned()];
        cells
            .extend(most_urgent_first().map(|class| figures.agreement.decided(*decision, class).to_string()));
        csv.row(&cells);
    }
    csv
}

/// Share and interval in per cent, and what is to be said of them; too few cases leave the numbers empty.
fn share_cells(share: Share) -> [String; 4] {
    match (share.value(), share.wilson()) {
        (Some(value), Some(interval)) if share.says_something() => {
            let percent = |part: f64| format!("{:.2}", 100.0 * part);
            [percent(value), percent(interval.low), percent(interval.high), String::new()]
        }
        _ => [String::new(), String::new(), String::new(), figure_words::TOO_FEW.to_owned()],
    }
}

fn shares_table(figures: &Figures, taken: &TakenBy) -> Csv {
    let mut csv = Csv::with_header(
        &[
            "share",
            "formula",
            "hits_checks",
            "cases_checks",
            "share_percent",
            "wilson_95_low_percent",
            "wilson_95_high_percent",
            "note",
        ],
        taken,
    );
    let matrix = figures.agreement.matrix();
    for (name, formula, share) in [
        (MISSED_SHARE, "c/(a+c)", matrix.missed_share_of_the_urgent()),
        (FALSE_SHARE, "b/(b+d)", matrix.false_share_of_the_calm()),
        ("moved up by a surgeon", "moved up/counted", figures.agreement.moved_up()),
    ] {
        let mut cells = vec![name.to_owned(), formula.to_owned()];
        cells.extend([share.hits().to_string(), share.cases().to_string()]);
        cells.extend(share_cells(share));
        csv.row(&cells);
    }
    csv
}

fn moved_up_table(figures: &Figures, taken: &TakenBy) -> Csv {
    let mut csv = Csv::with_header(
        &[
            "receipt",
            "received_local_time",
            "decision",
            "assessed_class",
            "judged_class",
            "judgement",
            "rules_fired",
        ],
        taken,
    );
    for one in &figures.moved_up {
        csv.row(&[
            one.receipt.as_str(),
            &local_time::write(one.received, &figures.practice.zone),
            one.judged.decision.code(),
            one.judged.assessed.code(),
            one.judged.judged.code(),
            origin_words(one.judged.origin),
            &one.rules.join(" "),
        ]);
    }
    csv
}

const TALLY_NAMES: [&str; 10] = [
    "answered_in_time_checks",
    "answered_late_checks",
    "overdue_and_open_checks",
    "not_yet_due_checks",
    "waited_median_min",
    "waited_90th_percentile_min",
    "within_target_percent",
    "wilson_95_low_percent",
    "wilson_95_high_percent",
    "note",
];

fn tally_cells(tally: &Tally) -> Vec<String> {
    let far = tally.within_target().says_something();
    let minutes =
        |part: f64| tally.waited_min(part).map_or_else(String::new, |minutes| format!("{minutes:.1}"));
    let mut cells = vec![
        tally.in_time.to_string(),
        tally.late.to_string(),
        tally.late_and_open.to_string(),
        tally.not_yet_due.to_string(),
        minutes(0.5),
        if far { minutes(0.9) } else { String::new() },
    ];
    cells.extend(share_cells(tally.within_target()));
    cells
}

fn tally_table<'a>(first: &str, rows: impl Iterator<Item = (String, &'a Tally)>, taken: &TakenBy) -> Csv {
    let mut header = vec![first];
    header.extend(TALLY_NAMES);
    let mut csv = Csv::with_header(&header, taken);
    for (name, tally) in rows {
        let mut cells = vec![name];
        cells.extend(tally_cells(tally));
        csv.row(&cells);
    }
    csv
}

fn by_class_table(figures: &Figures, taken: &TakenBy) -> Csv {
    tally_table(
        "class",
        figures.response.by_class().map(|(class, tally)| (class.code().to_owned(), tally)),
        taken,
    )
}

fn by_hour_table(figures: &Figures, taken: &TakenBy) -> Csv {
    tally_table(
        "received_local_hour",
        figures.response.by_hour().map(|(hour, tally)| (hour.to_string(), tally)),
        taken,
    )
}
