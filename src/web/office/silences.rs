//! Who is silent: what was due and did not come, those at risk first, and what has been tried.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::silence;
use crate::care::silence::Silent;
use crate::store::deliveries::DeliveryState;
use crate::store::silences::SilenceEnd;
use crate::store::silences::SilenceState;
use crate::triage::CallResult;
use crate::triage::SilenceKind;
use crate::triage::SilenceStep;
use crate::triage::Whom;
use crate::triage::silence_class;
use crate::web::App;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;
use crate::web::wound_words;

/// One line of the list.
struct Row {
    id: String,
    name: String,
    place: String,
    phone: String,
    language: &'static str,
    class: Class,
    missing: &'static str,
    since: String,
    tags: Vec<&'static str>,
    tried: Vec<String>,
    next: &'static str,
    by: String,
    left: String,
    is_late: bool,
    ended: String,
}

#[derive(Template)]
#[template(path = "office/silences.html")]
struct SilencesPage {
    frame: Frame,
    open: Vec<Row>,
    ended: Vec<Row>,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let now = app.now();
    let silences = silence::list(&app.desk, &member.member, now).await?;
    let zone = &silences.practice.zone;
    let shown = SilencesPage {
        frame: Frame::of(&app, &member, Part::Callbacks, "Silent patients").await?,
        open: silences.open.iter().map(|silent| row(silent, now, zone)).collect(),
        ended: silences.ended.iter().map(|silent| row(silent, now, zone)).collect(),
    };
    page(StatusCode::OK, &shown)
}

fn row(silent: &Silent, now: Timestamp, zone: &TimeZone) -> Row {
    let silence = &silent.silence;
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    Row {
        id: silence.id.to_string(),
        name: silent.patient.name.clone(),
        place: format!("{}, day {}", wound_words::place_line(silent.operation()), silent.risk.day),
        phone: silent.patient.phone.clone(),
        language: silent.patient.language.own_name(),
        class: class(silence_class(&silent.risk)),
        missing: missing_words(silence.kind),
        since: clock(silence.since),
        tags: tags(silent),
        tried: tried_words(silent, now, zone),
        next: next_words(silence.kind, silence.next),
        by: clock(silence.by),
        left: time_words::time_left(silence.by, now),
        is_late: silence.by < now,
        ended: match (silence.state, silence.ended) {
            (SilenceState::Ended, Some(at)) => format!("{}, {}", ended_words(silence.ended_why), clock(at)),
            (SilenceState::Ended | SilenceState::Open, _) => String::new(),
        },
    }
}

/// What did not come.
pub fn missing_words(kind: SilenceKind) -> &'static str {
    match kind {
        SilenceKind::Arrival => "No word that they arrived at the emergency department",
        SilenceKind::Strip => "Strip not reported out",
        SilenceKind::ComeIn => "No answer to “come in”",
        SilenceKind::Visit => "Did not come to the visit, or nobody noted it",
        SilenceKind::Reply => "The surgeon’s answer was not read",
        SilenceKind::Check => "No wound check came",
        SilenceKind::Culture => "No result of the culture",
    }
}

/// What is to be done next.
pub fn next_words(kind: SilenceKind, step: SilenceStep) -> &'static str {
    match (step, kind) {
        (SilenceStep::Reminder, _) => "A reminder goes by itself",
        (SilenceStep::Call, SilenceKind::Arrival) => "Ring the patient, then the emergency department",
        (SilenceStep::Call, SilenceKind::Culture) => "Ring the laboratory",
        (SilenceStep::Call, _) => "Ring the patient",
        (SilenceStep::SecondContact, _) => "Ring the second contact",
        (SilenceStep::Letter, _) => "Send the letter",
        (SilenceStep::KeepTrying, _) => "Ring once a day",
    }
}

pub fn ended_words(why: Option<SilenceEnd>) -> &'static str {
    match why {
        Some(SilenceEnd::Came) => "It came",
        Some(SilenceEnd::NotDue) => "No longer due",
        Some(SilenceEnd::Told) => "Told on the phone",
        Some(SilenceEnd::ByHand) => "Ended by hand",
        None => "Ended",
    }
}

/// Why this patient is at risk.
pub fn tags(silent: &Silent) -> Vec<&'static str> {
    let mut tags = Vec::new();
    if silent.risk.surgeon_decides {
        tags.push("Surgeon decides");
    }
    if silent.silence.asked.is_some() && silent.silence.decided_note.is_empty() {
        tags.push("Surgeon asked");
    }
    if !silent.silence.decided_note.is_empty() {
        tags.push("Surgeon has answered");
    }
    if silent.risk.fragile {
        tags.push("Diabetes or weak immunity, or not asked");
    }
    if silent.risk.day <= 7 {
        tags.push("Week 1");
    }
    tags
}

/// What was tried, in order.
pub fn tried_words(silent: &Silent, now: Timestamp, zone: &TimeZone) -> Vec<String> {
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let mut lines = Vec::new();
    if let Some(at) = silent.silence.reminded {
        let how = match silent.reminders.iter().map(|letter| letter.state).collect::<Vec<_>>().as_slice() {
            [] if silent.reminder_waits => "Reminder waits for the morning; noted",
            [] => "Reminder: nowhere to send it",
            states if states.contains(&DeliveryState::Delivered) => "Reminder delivered",
            states if states.contains(&DeliveryState::Sent) => "Reminder sent",
            states if states.contains(&DeliveryState::Waiting) => "Reminder on its way",
            _ => "Reminder could not be delivered",
        };
        lines.push(format!("{how} {}", clock(at)));
    }
    for call in &silent.calls {
        let whom = match call.whom {
            Whom::Patient => "patient",
            Whom::SecondContact => "second contact",
            Whom::Elsewhere => "elsewhere",
        };
        let result = match call.result {
            CallResult::NoAnswer => "no answer",
            CallResult::MessageLeft => "message left",
            CallResult::Spoke => "spoke",
        };
        lines.push(format!("Rang {whom}, {result} {}", clock(call.at)));
    }
    if let Some(at) = silent.silence.letter {
        lines.push(format!("Letter sent {}", clock(at)));
    }
    lines
}
