//! Who works here: added, switched off, switched on again.

use askama::Template;
use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::record::Actor;
use crate::care::staff;
use crate::care::staff::NewMember;
use crate::ids::StaffId;
use crate::store::staff::Activity;
use crate::store::staff::Roles;
use crate::store::staff::of_practice;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;

struct Row {
    id: String,
    name: String,
    sign_in_name: String,
    roles: String,
    is_active: bool,
    is_me: bool,
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
    let colleagues = {
        let mut conn = app.desk.db.read().await.map_err(CareError::from)?;
        of_practice(&mut conn, member.member.practice).await.map_err(CareError::from)?
    };
    let shown = StaffPage {
        frame: Frame::of(app, member, Part::Practice, "Staff").await?,
        rows: colleagues
            .into_iter()
            .map(|colleague| Row {
                id: colleague.id.to_string(),
                roles: role_words(colleague.roles),
                is_active: colleague.active,
                is_me: colleague.id == member.member.id,
                name: colleague.name,
                sign_in_name: colleague.sign_in_name,
            })
            .collect(),
        form,
        faults: Faults(faults),
    };
    page(shown.faults.status(), &shown)
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
    staff::set_active(&app.desk, &member.member, id, activity, app.now()).await?;
    Ok(Redirect::to("/practice/staff"))
}
