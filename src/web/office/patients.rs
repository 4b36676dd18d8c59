//! Patients by name: wound, day, last check, and who has gone silent.

use askama::Template;
use axum::extract::Query;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::care::patients;
use crate::care::patients::Listed;
use crate::care::patients::ListedWound;
use crate::plan::day_number;
use crate::store::checks::CheckState;
use crate::store::wounds::WoundState;
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

/// What the address asks for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asking {
    name: String,
}

struct WoundLine {
    place: String,
    day: String,
    last: String,
    class: Option<Class>,
    stands: &'static str,
    silent: String,
}

struct Row {
    id: String,
    name: String,
    born: String,
    language: &'static str,
    wounds: Vec<WoundLine>,
}

#[derive(Template)]
#[template(path = "office/patients.html")]
struct PatientsPage {
    frame: Frame,
    name: String,
    rows: Vec<Row>,
    is_cut: bool,
    may_enrol: bool,
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Query(asking): Query<Asking>,
) -> Result<Response, PageError> {
    let now = app.now();
    let found = patients::find(&app.desk, &member.member, &asking.name, now).await?;
    let zone = &found.practice.zone;
    let shown = PatientsPage {
        frame: Frame::of(&app, &member, Part::Patients, "Patients").await?,
        rows: found.patients.iter().map(|listed| row(listed, now, zone)).collect(),
        name: asking.name,
        is_cut: found.is_cut,
        may_enrol: member.member.roles.office,
    };
    page(StatusCode::OK, &shown)
}

fn row(listed: &Listed, now: Timestamp, zone: &TimeZone) -> Row {
    Row {
        id: listed.patient.id.to_string(),
        name: listed.patient.name.clone(),
        born: listed.patient.born.to_string(),
        language: listed.patient.language.own_name(),
        wounds: listed.wounds.iter().map(|wound| wound_line(wound, now, zone)).collect(),
    }
}

fn wound_line(listed: &ListedWound, now: Timestamp, zone: &TimeZone) -> WoundLine {
    let wound = &listed.wound;
    WoundLine {
        place: wound_words::place_line(&wound.operation),
        day: match wound.state {
            WoundState::Open => format!("day {}", day_number(wound.operation.operated, now, zone)),
            WoundState::Closed => "closed".to_owned(),
        },
        last: listed.last.as_ref().map_or_else(
            || "no check yet".to_owned(),
            |check| {
                format!("last check {}", time_words::clock_time(check.received, now, zone, STAFF_LANGUAGE))
            },
        ),
        class: listed.last.as_ref().map(|check| class(check.assessment.urgency)),
        stands: listed.last.as_ref().map_or("", |check| state_words(check.state)),
        silent: silence_words(wound.last_check.unwrap_or(wound.enrolled), listed.missed_photo_days, now),
    }
}

pub fn state_words(state: CheckState) -> &'static str {
    match state {
        CheckState::Queued => "waits for a surgeon",
        CheckState::InReview => "a surgeon is looking",
        CheckState::AwaitingCall => "the office calls",
        CheckState::Closed => "answered",
    }
}

/// How long nothing came although a photo was due; empty when nothing is missing.
pub fn silence_words(heard: Timestamp, missed_photo_days: usize, now: Timestamp) -> String {
    if missed_photo_days == 0 {
        return String::new();
    }
    let days = now.duration_since(heard).as_hours() / 24;
    let silent = match days {
        ..=0 => "Silent since yesterday".to_owned(),
        1 => "Silent for 1 day".to_owned(),
        more => format!("Silent for {more} days"),
    };
    let missed = match missed_photo_days {
        1 => "1 photo due did not come".to_owned(),
        more => format!("{more} photos due did not come"),
    };
    format!("{silent}; {missed}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn silence_is_said_in_days_and_only_when_something_was_due() {
        let heard: Timestamp = "2026-05-01T12:00:00Z".parse().unwrap();
        let now: Timestamp = "2026-05-05T13:00:00Z".parse().unwrap();
        assert_eq!(silence_words(heard, 0, now), "");
        assert_eq!(silence_words(heard, 3, now), "Silent for 4 days; 3 photos due did not come");
    }
}
