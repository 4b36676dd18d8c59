//! The plan's dates for a calendar: an address to subscribe to, and a file for one date. No word of it is clinical.

use askama::Template;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::calendar;
use crate::care::calendar::Dates;
use crate::care::plan;
use crate::care::thread;
use crate::ids::PlanStepId;
use crate::plan::StepKind;
use crate::plan::StepShape;
use crate::plan::ical;
use crate::plan::ical::Event;
use crate::plan::ical::EventState;
use crate::store::plan::KeptStep;
use crate::web::App;
use crate::web::doors::Phone;
use crate::web::error::PageError;
use crate::web::patient::clock;
use crate::web::patient::frame;
use crate::web::patient::frame::Frame;
use crate::web::patient::frame::Here;
use crate::words::patient_calendar::CalendarPageWords;
use crate::words::patient_calendar::CalendarWords;

/// An entry is this long: ours, no source.
const ENTRY: SignedDuration = SignedDuration::from_mins(30);
/// Taking the strip out takes this long, from the pain pill to the last look.
const STRIP_ENTRY: SignedDuration = SignedDuration::from_mins(90);
/// Coming dates offered one by one.
const DATES_SHOWN: usize = 6;

struct OneDate {
    when: String,
    href: String,
}

#[derive(Template)]
#[template(path = "patient/calendar.html")]
struct CalendarPage {
    frame: Frame,
    words: CalendarPageWords,
    /// The address, in the one answer that shows it.
    address: Option<String>,
    made: Option<String>,
    dates: Vec<OneDate>,
}

pub async fn show(State(app): State<App>, phone: Phone) -> Result<Response, PageError> {
    page(&app, &phone, None).await
}

async fn page(app: &App, phone: &Phone, address: Option<String>) -> Result<Response, PageError> {
    let home = thread::home(&app.desk, &phone.holder, app.now()).await?;
    let plan = plan::today(&app.desk, &phone.holder).await?;
    let (language, now) = (phone.holder.language, app.now());
    let when = |at: Timestamp| clock::when(at, now, &home.practice.zone, language);
    let coming = plan.steps.iter().filter(|kept| kept.is_open() && kept.step.due > now && is_dated(kept));
    let page = CalendarPage {
        frame: Frame::new(&home, language, Here::Today, "/my/calendar", now),
        words: CalendarPageWords(language),
        address,
        made: calendar::made(&app.desk, &phone.holder).await?.map(&when),
        dates: coming
            .take(DATES_SHOWN)
            .map(|kept| OneDate { when: when(times(kept).0), href: format!("/my/calendar/{}", kept.id) })
            .collect(),
    };
    frame::show(&page, StatusCode::OK)
}

/// Makes the address, and shows it this once.
pub async fn make(State(app): State<App>, phone: Phone) -> Result<Response, PageError> {
    let token = calendar::make(&app.desk, &phone.holder, &app.moment()).await?;
    let address = format!("{}/c/{}", app.public_url, token.reveal());
    page(&app, &phone, Some(address)).await
}

pub async fn end(State(app): State<App>, phone: Phone) -> Result<Response, PageError> {
    calendar::end(&app.desk, &phone.holder, app.now()).await?;
    Ok(Redirect::to("/my/calendar").into_response())
}

/// The calendar behind an address. An address that ended, and one that never was, look alike.
pub async fn feed(State(app): State<App>, Path(token): Path<String>) -> Result<Response, PageError> {
    match calendar::dates(&app.desk, &token, app.now()).await? {
        Some(dates) => Ok(file(&dates, "dates")),
        None => Ok(StatusCode::GONE.into_response()),
    }
}

/// One date of the holder's own plan.
pub async fn one(
    State(app): State<App>,
    phone: Phone,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id: PlanStepId = id.parse().map_err(|_| PageError::NotFound)?;
    Ok(file(&calendar::one_date(&app.desk, &phone.holder, id).await?, "date"))
}

fn file(dates: &Dates, name: &str) -> Response {
    let headers = [
        (header::CONTENT_TYPE, "text/calendar; charset=utf-8".to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}.ics\"")),
    ];
    (headers, calendar_text(dates)).into_response()
}

/// The file: neutral sentences and times.
pub fn calendar_text(dates: &Dates) -> String {
    let words = CalendarWords(dates.language);
    let events: Vec<Event> =
        dates.steps.iter().filter(|kept| is_dated(kept)).map(|kept| event(kept, dates.made, words)).collect();
    ical::calendar(&words.calendar_name(), dates.language.code(), &events)
}

/// What goes on from day to day is no date.
fn is_dated(kept: &KeptStep) -> bool {
    kept.step.kind.shape() == StepShape::Once
}

/// When an entry begins and ends.
fn times(kept: &KeptStep) -> (Timestamp, Timestamp) {
    let step = kept.step;
    let add = |at: Timestamp, by: SignedDuration| at.saturating_add(by).unwrap_or(at);
    match step.kind {
        // It ends when the strip is due, so that the pill comes first.
        StepKind::PackingRemoval => (add(step.due, -STRIP_ENTRY), step.due),
        StepKind::Visit => (step.due, add(step.due, ENTRY)),
        StepKind::Photo
        | StepKind::PlanEnd
        | StepKind::WashTwiceDaily
        | StepKind::WashDaily
        | StepKind::Dressing
        | StepKind::PainPill
        | StepKind::AntibioticCheck
        | StepKind::AntibioticEnd
        | StepKind::Antibiotic => (step.from, add(step.from, ENTRY)),
    }
}

fn event(kept: &KeptStep, made: Timestamp, words: CalendarWords) -> Event {
    let (start, end) = times(kept);
    // What was done before its time needs no reminder: one more change.
    let done_before = kept.done.filter(|done| *done < start);
    let sequence = kept.sequence + i64::from(u8::from(done_before.is_some()));
    Event {
        uid: format!("{}@closewatch", kept.id),
        sequence: u32::try_from(sequence).unwrap_or(0),
        stamp: done_before.or(kept.changed).unwrap_or(made),
        start,
        end,
        summary: match kept.step.kind {
            StepKind::Visit => words.visit(),
            StepKind::PackingRemoval
            | StepKind::Photo
            | StepKind::PlanEnd
            | StepKind::WashTwiceDaily
            | StepKind::WashDaily
            | StepKind::Dressing
            | StepKind::PainPill
            | StepKind::AntibioticCheck
            | StepKind::AntibioticEnd
            | StepKind::Antibiotic => words.step(),
        },
        description: words.open_page(),
        state: match (kept.cancelled, done_before) {
            (None, None) => EventState::Confirmed,
            (Some(_), _) | (_, Some(_)) => EventState::Cancelled,
        },
    }
}
