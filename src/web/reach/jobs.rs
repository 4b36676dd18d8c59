//! The lead's page of work: what runs, what waits, what failed, and the messages that could not be sent.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::care::alarms::For;
use crate::care::job_list;
use crate::care::job_list::DeadLetter;
use crate::care::outbox;
use crate::store::jobs::Job;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::reach::words;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

/// Rows of a list; the rest is counted.
const SHOWN: usize = 20;

struct Row {
    id: String,
    what: &'static str,
    when: String,
    tries: i64,
    /// What went wrong the last time; empty: nothing.
    why: String,
}

struct List {
    rows: Vec<Row>,
    more: usize,
}

struct LetterRow {
    /// `delivery:ID` or `notice:ID`.
    subject: String,
    what: &'static str,
    /// A member's name, "the office" or "a patient".
    to: String,
    by: String,
    since: String,
    tries: i64,
    why: String,
    taken: bool,
}

#[derive(Template)]
#[template(path = "reach/jobs.html")]
struct JobsPage {
    frame: Frame,
    letters: Vec<LetterRow>,
    failed: List,
    running: List,
    due: List,
    again: List,
    later: List,
    waiting: i64,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let now = app.now();
    let list = job_list::list(&app.desk, &member.member, now).await?;
    let zone = &list.practice.zone;
    let shown = JobsPage {
        frame: Frame::of(&app, &member, Part::Practice, "Jobs").await?,
        letters: list.letters.iter().map(|letter| letter_row(letter, now, zone)).collect(),
        failed: rows(&list.failed, now, zone),
        running: rows(&list.running, now, zone),
        due: rows(&list.due, now, zone),
        again: rows(&list.again, now, zone),
        later: rows(&list.later, now, zone),
        waiting: list.waiting,
    };
    page(StatusCode::OK, &shown)
}

fn rows(jobs: &[Job], now: Timestamp, zone: &TimeZone) -> List {
    let row = |job: &Job| Row {
        id: job.id.to_string(),
        what: words::job(job.kind),
        when: time_words::clock_time(job.ended.unwrap_or(job.due), now, zone, STAFF_LANGUAGE),
        tries: job.tries,
        why: job.why.clone(),
    };
    List { rows: jobs.iter().take(SHOWN).map(row).collect(), more: jobs.len().saturating_sub(SHOWN) }
}

fn letter_row(dead: &DeadLetter, now: Timestamp, zone: &TimeZone) -> LetterRow {
    let letter = &dead.letter;
    let delivery = letter.delivery.as_ref();
    LetterRow {
        subject: dead.alarm.about.clone(),
        what: words::notice(letter.notice.kind),
        to: match &letter.to {
            For::Staff(name) => name.clone(),
            For::Office => "the office".to_owned(),
            For::Patient(_) => "a patient".to_owned(),
        },
        by: delivery.map_or_else(String::new, |one| {
            format!("{}, {}", words::channel(one.channel), words::masked(one.channel, &one.address))
        }),
        since: time_words::clock_time(dead.alarm.begun, now, zone, STAFF_LANGUAGE),
        tries: delivery.map_or(0, |one| one.tries),
        why: delivery.map_or_else(|| "there is no address that works".to_owned(), |one| one.why.clone()),
        taken: dead.alarm.taken_by.is_some(),
    }
}

/// Which one a button is about.
#[derive(Deserialize)]
pub struct Which {
    #[serde(default)]
    id: String,
}

pub async fn try_now(
    State(app): State<App>,
    member: Member,
    Form(which): Form<Which>,
) -> Result<Redirect, PageError> {
    let id = which.id.parse().map_err(|_| PageError::NotFound)?;
    job_list::try_now(&app.desk, &member.member, id, &app.moment()).await?;
    Ok(Redirect::to("/practice/jobs"))
}

pub async fn send_again(
    State(app): State<App>,
    member: Member,
    Form(which): Form<Which>,
) -> Result<Redirect, PageError> {
    let (desk, lead, moment) = (&app.desk, &member.member, app.moment());
    match which.id.split_once(':') {
        Some(("delivery", id)) => {
            let id = id.parse().map_err(|_| PageError::NotFound)?;
            outbox::send_again(desk, lead, id, &moment).await?;
        }
        Some(("notice", id)) => {
            let id = id.parse().map_err(|_| PageError::NotFound)?;
            outbox::address_again(desk, lead, id, &moment).await?;
        }
        Some(_) | None => return Err(PageError::NotFound),
    }
    Ok(Redirect::to("/practice/jobs"))
}

pub async fn not_needed(
    State(app): State<App>,
    member: Member,
    Form(which): Form<Which>,
) -> Result<Redirect, PageError> {
    if !(which.id.starts_with("delivery:") || which.id.starts_with("notice:")) {
        return Err(PageError::NotFound);
    }
    outbox::not_needed(&app.desk, &member.member, &which.id, &app.moment()).await?;
    Ok(Redirect::to("/practice/jobs"))
}
