//! Who works here: added, switched off, switched on again.

use askama::Template;
use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::addresses;
use crate::care::duty;
use crate::care::duty::Board;
use crate::care::record::Actor;
use crate::care::second_step::setting_up;
use crate::care::staff;
use crate::care::staff::NewMember;
use crate::care::staff::Sight;
use crate::ids::StaffId;
use crate::store::staff::Activity;
use crate::store::staff::Roles;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

struct Row {
    id: String,
    name: String,
    sign_in_name: String,
    roles: String,
    is_active: bool,
    is_me: bool,
    /// A member of the office who is no surgeon: whether photos are shown to them.
    photos: Option<bool>,
    /// What switching off would leave: "on duty until 18:00; 5 shifts ahead"; empty: nothing.
    duty: String,
    /// Nothing can be sent to them.
    is_unreached: bool,
}

/// Lets a colleague who lost their second step set up a new one; the lead has them before them.
pub async fn re_enrol(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Redirect, PageError> {
    let id: StaffId = id.parse().map_err(|_| PageError::NotFound)?;
    setting_up::re_enrol(&app.desk, &member.member, id, app.now()).await?;
    Ok(Redirect::to("/practice/staff"))
}

/// The form as typed; a password is never shown again.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct MemberForm {
    name: String,
    sign_in_name: String,
    password: String,
    surgeon: Option<String>,
    office: Option<String>,
    lead: Option<String>,
}

#[derive(Template)]
#[template(path = "practice/staff.html")]
struct StaffPage {
    frame: Frame,
    rows: Vec<Row>,
    form: MemberForm,
    faults: Faults,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    staff_page(&app, &member, MemberForm::default(), Vec::new()).await
}

async fn staff_page(
    app: &App,
    member: &Member,
    form: MemberForm,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let now = app.now();
    let board = duty::board(&app.desk, &member.member, now).await?;
    let channels = &app.outside.channels;
    let unreached = addresses::unreachable(&app.desk, member.member.practice, channels).await?;
    let shown = StaffPage {
        frame: Frame::of(app, member, Part::Practice, "Staff").await?,
        rows: board
            .staff
            .iter()
            .map(|colleague| Row {
                duty: duty_words(&board, colleague.id, now),
                is_unreached: unreached.contains(&colleague.id),
                id: colleague.id.to_string(),
                roles: role_words(colleague.roles),
                photos: (colleague.roles.office && !colleague.roles.surgeon).then_some(colleague.sees_photos),
                is_active: colleague.active,
                is_me: colleague.id == member.member.id,
                name: colleague.name.clone(),
                sign_in_name: colleague.sign_in_name.clone(),
            })
            .collect(),
        form,
        faults: Faults(faults),
    };
    page(shown.faults.status(), &shown)
}

fn duty_words(board: &Board, person: StaffId, now: Timestamp) -> String {
    let on = board.roster.on_duty(now).into_iter().find(|on| on.staff == person);
    let until = |at| time_words::clock_time(at, now, &board.practice.zone, STAFF_LANGUAGE);
    let ahead = match duty::shifts_ahead(&board.roster, person, now) {
        0 => return String::new(),
        1 => "1 time on duty in the next 14 days".to_owned(),
        times => format!("{times} times on duty in the next 14 days"),
    };
    match on {
        Some(on) => format!("on duty until {} · {ahead}", until(on.until)),
        None => ahead,
    }
}

fn role_words(roles: Roles) -> String {
    [(roles.surgeon, "surgeon"), (roles.office, "office"), (roles.lead, "lead")]
        .into_iter()
        .filter_map(|(has, word)| has.then_some(word))
        .collect::<Vec<_>>()
        .join(", ")
}

pub async fn add(
    State(app): State<App>,
    member: Member,
    Form(form): Form<MemberForm>,
) -> Result<Response, PageError> {
    let new = NewMember {
        name: form.name.clone(),
        sign_in_name: form.sign_in_name.clone(),
        password: form.password.clone(),
        roles: Roles {
            surgeon: form.surgeon.is_some(),
            office: form.office.is_some(),
            lead: form.lead.is_some(),
        },
    };
    let by = Actor::Staff(member.member.id);
    match staff::add(&app.desk, member.member.practice, &new, by, &app.moment()).await {
        Ok(_) => Ok(Redirect::to("/practice/staff").into_response()),
        Err(CareError::Entered(faults)) => staff_page(&app, &member, form, faults).await,
        Err(other) => Err(other.into()),
    }
}

pub async fn switch_on(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Redirect, PageError> {
    switch(&app, &member, &id, Activity::Active).await
}

pub async fn switch_off(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Redirect, PageError> {
    switch(&app, &member, &id, Activity::Gone).await
}

async fn switch(app: &App, member: &Member, id: &str, activity: Activity) -> Result<Redirect, PageError> {
    let id: StaffId = id.parse().map_err(|_| PageError::NotFound)?;
    let gaps = staff::set_active(&app.desk, &member.member, id, activity, app.now()).await?;
    Ok(Redirect::to(if gaps > 0 { "/practice/duty#gaps" } else { "/practice/staff" }))
}

pub async fn photos_on(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Redirect, PageError> {
    sight(&app, &member, &id, Sight::Photos).await
}

pub async fn photos_off(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Redirect, PageError> {
    sight(&app, &member, &id, Sight::NoPhotos).await
}

async fn sight(app: &App, member: &Member, id: &str, sees: Sight) -> Result<Redirect, PageError> {
    let id: StaffId = id.parse().map_err(|_| PageError::NotFound)?;
    staff::set_sees_photos(&app.desk, &member.member, id, sees, app.now()).await?;
    Ok(Redirect::to("/practice/staff"))
}
