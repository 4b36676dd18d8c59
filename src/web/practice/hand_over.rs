//! Hand-over: what is open when somebody goes off duty, and one press that passes it on.

use askama::Template;
use axum::Form;
use axum::extract::Query;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::hand_over;
use crate::care::hand_over::Open;
use crate::ids::StaffId;
use crate::store::checks::WaitingCheck;
use crate::store::staff::Roles;
use crate::web::App;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::chart_words::class_in_time;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::practice::duty_view;
use crate::web::practice::duty_view::Choice;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;
use crate::web::wound_words;

/// One open thing.
struct Line {
    /// Where it opens; empty: not for this member.
    address: String,
    name: String,
    place: String,
    class: Class,
    due: String,
    left: String,
}

#[derive(Template)]
#[template(path = "practice/hand_over.html")]
struct HandOverPage {
    frame: Frame,
    from: Choice,
    is_mine: bool,
    /// Empty: not on duty.
    until: String,
    /// For a lead: who else is on duty.
    others: Vec<Choice>,
    /// Whether this member may read whom a check is about.
    reads_checks: bool,
    claimed: Vec<Line>,
    urgent: Vec<Line>,
    reads_calls: bool,
    calls: Vec<Line>,
    people: Vec<Choice>,
    /// Chosen in the list.
    to: String,
    /// It was handed over just now.
    is_done: bool,
    faults: Faults,
}

/// What the address asks for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asking {
    /// Whose duty; empty: the member's own.
    from: String,
    done: String,
}

/// The form as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct HandOverForm {
    from: String,
    to: String,
}

fn whose(from: &str, member: &Member) -> Result<StaffId, PageError> {
    if from.is_empty() { Ok(member.member.id) } else { from.parse().map_err(|_| PageError::NotFound) }
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Query(asking): Query<Asking>,
) -> Result<Response, PageError> {
    let from = whose(&asking.from, &member)?;
    let open = hand_over::read(&app.desk, &member.member, from, app.now()).await?;
    let to = open.next.map_or_else(String::new, |next| next.to_string());
    hand_over_page(&app, &member, open, to, !asking.done.is_empty(), Vec::new()).await
}

async fn hand_over_page(
    app: &App,
    member: &Member,
    open: Open,
    to: String,
    is_done: bool,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let (now, zone, roles) = (app.now(), &open.practice.zone, member.member.roles);
    let clock = |at: Timestamp| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let check_line = |check: &WaitingCheck| Line {
        address: format!("/checks/{}", check.id),
        name: check.patient_name.clone(),
        place: wound_words::place_line(&check.operation),
        class: class_in_time(check.assessment.urgency, check.due, now),
        due: clock(check.due),
        left: time_words::time_left(check.due, now),
    };
    let others = open.on.iter().filter(|on| roles.lead && on.staff != open.from.id);
    let shown = HandOverPage {
        frame: Frame::of(app, member, part(roles), "Hand-over").await?,
        is_mine: open.from.id == member.member.id,
        until: open.until.map_or_else(String::new, clock),
        others: others
            .map(|on| Choice { code: on.staff.to_string(), words: duty_view::name_of(&open.staff, on.staff) })
            .collect(),
        reads_checks: roles.surgeon,
        claimed: open.claimed.iter().map(check_line).collect(),
        urgent: open.urgent.iter().map(check_line).collect(),
        reads_calls: roles.surgeon || roles.office,
        calls: open
            .calls
            .iter()
            .map(|call| Line {
                address: format!("/callbacks/{}", call.callback.id),
                name: call.patient_name.clone(),
                place: String::new(),
                class: class(call.callback.urgency),
                due: clock(call.callback.due),
                left: time_words::time_left(call.callback.due, now),
            })
            .collect(),
        people: duty_view::people(&open.staff)
            .into_iter()
            .filter(|person| person.code != open.from.id.to_string())
            .collect(),
        from: Choice { code: open.from.id.to_string(), words: open.from.name },
        to,
        is_done,
        faults: Faults(faults),
    };
    page(shown.faults.status(), &shown)
}

fn part(roles: Roles) -> Part {
    if roles.surgeon {
        Part::Queue
    } else if roles.office {
        Part::Callbacks
    } else {
        Part::Practice
    }
}

pub async fn confirm(
    State(app): State<App>,
    member: Member,
    Form(form): Form<HandOverForm>,
) -> Result<Response, PageError> {
    let from = whose(&form.from, &member)?;
    let done = match form.to.parse() {
        Ok(to) => hand_over::confirm(&app.desk, &member.member, from, to, app.now()).await,
        Err(_) => Err(CareError::Entered(vec![Fault::new("to", "Choose who takes over.")])),
    };
    match done {
        Ok(_) => Ok(Redirect::to(&format!("/hand-over?from={from}&done=1")).into_response()),
        Err(CareError::Entered(faults)) => {
            let open = hand_over::read(&app.desk, &member.member, from, app.now()).await?;
            hand_over_page(&app, &member, open, form.to, false, faults).await
        }
        Err(other) => Err(other.into()),
    }
}
