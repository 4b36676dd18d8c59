//! The calls the office must make, due first.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::backup::noted::Restored;
use crate::care::callback;
use crate::care::callback::Call;
use crate::care::late_knock;
use crate::care::silence;
use crate::store::callbacks::CallbackState;
use crate::triage::CallOutcome;
use crate::web::App;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::chart_words::class_in_time;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::office::late;
use crate::web::office::late::LateRow;
use crate::web::office::late::Typed;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;
use crate::web::wound_words;

struct Row {
    id: String,
    name: String,
    place: String,
    phone: String,
    helper: String,
    helper_phone: String,
    language: &'static str,
    class: Class,
    reason: String,
    left: String,
    due: String,
    due_ms: i64,
    missed: String,
    ended: String,
    /// It was open when the books came out of a back-up: it may have been made since.
    is_restored: bool,
}

#[derive(Template)]
#[template(path = "office/calls.html")]
struct CallsPage {
    frame: Frame,
    open: Vec<Row>,
    ended: Vec<Row>,
    now_ms: i64,
    silent: usize,
    /// Knocks on closed links.
    late: Vec<LateRow>,
    faults: Faults,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    calls_page(&app, &member, Typed::default()).await
}

/// The page, with what was typed about a knock and not taken.
pub async fn calls_page(app: &App, member: &Member, typed: Typed) -> Result<Response, PageError> {
    let now = app.now();
    let calls = callback::list(&app.desk, &member.member, app.now()).await?;
    let late = late_knock::waiting(&app.desk, &member.member).await?;
    let zone = &calls.practice.zone;
    let mut open: Vec<&Call> = calls.open.iter().collect();
    // An overdue call counts one class higher, as everywhere.
    open.sort_by_key(|call| {
        let callback = &call.callback;
        (crate::triage::effective(callback.urgency, callback.due, now).rank(), callback.due, callback.id)
    });
    let shown = CallsPage {
        frame: Frame::of(app, member, Part::Callbacks, "Callbacks").await?,
        open: open.into_iter().map(|call| open_row(call, calls.restored, now, zone)).collect(),
        ended: calls.ended.iter().map(|call| row(call, now, zone)).collect(),
        now_ms: now.as_millisecond(),
        silent: silence::count_open(&app.desk, &member.member).await?,
        late: late.iter().map(|one| late::row(one, &typed, now, zone)).collect(),
        faults: typed.faults,
    };
    page(shown.faults.status(), &shown)
}

fn row(call: &Call, now: Timestamp, zone: &TimeZone) -> Row {
    let (callback, patient) = (&call.callback, &call.patient);
    let is_open = callback.state == CallbackState::Open;
    Row {
        id: callback.id.to_string(),
        name: patient.name.clone(),
        place: wound_words::place_line(&call.operation),
        phone: patient.phone.clone(),
        helper: patient.helper_name.clone().unwrap_or_default(),
        helper_phone: patient.helper_phone.clone().unwrap_or_default(),
        language: patient.language.own_name(),
        class: if is_open {
            class_in_time(callback.urgency, callback.due, now)
        } else {
            class(callback.urgency)
        },
        reason: callback.reason.clone(),
        left: time_words::time_left(callback.due, now),
        due: time_words::clock_time(callback.due, now, zone, STAFF_LANGUAGE),
        due_ms: callback.due.as_millisecond(),
        missed: missed_words(callback.missed),
        ended: ended_words(call, now, zone),
        is_restored: false,
    }
}

fn open_row(call: &Call, restored: Option<Restored>, now: Timestamp, zone: &TimeZone) -> Row {
    let is_restored = restored.is_some_and(|restored| call.callback.created < restored.at);
    Row { is_restored, ..row(call, now, zone) }
}

/// Tries nobody answered; empty when there were none.
pub fn missed_words(missed: i64) -> String {
    match missed {
        ..=0 => String::new(),
        1 => "1 try missed".to_owned(),
        more => format!("{more} tries missed"),
    }
}

/// How a call ended; empty while it is open.
pub fn ended_words(call: &Call, now: Timestamp, zone: &TimeZone) -> String {
    let callback = &call.callback;
    let how = match callback.state {
        CallbackState::Open => return String::new(),
        CallbackState::HandedBack => match callback.outcome {
            Some(CallOutcome::CouldNotReach) => "Could not reach; back with the surgeon".to_owned(),
            Some(_) | None => "Handed back to the surgeon".to_owned(),
        },
        CallbackState::Closed => callback.outcome.map_or("Ended", CallOutcome::words).to_owned(),
    };
    match callback.closed {
        Some(closed) => format!("{how}, {}", time_words::clock_time(closed, now, zone, STAFF_LANGUAGE)),
        None => how,
    }
}
