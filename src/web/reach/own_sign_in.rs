//! How a member of staff signs in: their second step, recovery codes, password, and where they are signed in now.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::grouped;
use crate::care::second_step;
use crate::care::second_step::setting_up;
use crate::care::sign_in;
use crate::ids::StaffSessionId;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::second_step::codes_page;
use crate::web::second_step::taken_away;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

struct PasskeyRow {
    id: String,
    name: String,
    since: String,
    /// When it was last used; empty: never.
    used: String,
}

struct SessionRow {
    id: String,
    browser: String,
    since: String,
    seen: String,
    is_this: bool,
}

#[derive(Template)]
#[template(path = "reach/own_sign_in.html")]
struct OwnSignInPage {
    frame: Frame,
    passkeys: Vec<PasskeyRow>,
    has_app: bool,
    codes_left: usize,
    sessions: Vec<SessionRow>,
    /// Who took the second step before away, and when; empty: nobody.
    taken_away: String,
    faults: Faults,
}

/// One of the things to take away.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Which {
    id: String,
}

/// The passwords as typed; never shown again.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct PasswordForm {
    old_password: String,
    password: String,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    own_page(&app, &member, Vec::new()).await
}

async fn own_page(app: &App, member: &Member, faults: Vec<Fault>) -> Result<Response, PageError> {
    let frame = Frame::of(app, member, Part::Me, "How you sign in").await?;
    let (now, zone) = (app.now(), frame.practice.zone.clone());
    let clock = |at| time_words::clock_time(at, now, &zone, STAFF_LANGUAGE);
    let ways = second_step::ways(&app.desk, &member.member).await?;
    let sessions = sign_in::sessions(&app.desk, &member.member, now).await?;
    let shown = OwnSignInPage {
        passkeys: ways
            .passkeys
            .iter()
            .map(|kept| PasskeyRow {
                id: kept.credential_id.clone(),
                name: kept.name.clone(),
                since: clock(kept.created),
                used: kept.last_used.map(clock).unwrap_or_default(),
            })
            .collect(),
        has_app: ways.has_app,
        codes_left: ways.codes_left,
        sessions: sessions
            .iter()
            .map(|session| SessionRow {
                id: session.id.to_string(),
                browser: session.browser.clone(),
                since: clock(session.created),
                seen: clock(session.last_seen),
                is_this: session.id == member.session.id,
            })
            .collect(),
        taken_away: taken_away(app, member, now).await?,
        faults: Faults(faults),
        frame,
    };
    page(shown.faults.status(), &shown)
}

/// The page again with what is wrong, or a way back to it.
async fn came_to(app: &App, member: &Member, came_to: Result<(), CareError>) -> Result<Response, PageError> {
    match came_to {
        Ok(()) => Ok(Redirect::to("/me/sign-in").into_response()),
        Err(CareError::Entered(faults)) => own_page(app, member, faults).await,
        Err(other) => Err(other.into()),
    }
}

pub async fn remove_passkey(
    State(app): State<App>,
    member: Member,
    Form(which): Form<Which>,
) -> Result<Response, PageError> {
    let removed = setting_up::remove_passkey(&app.desk, &member.member, &which.id, app.now()).await;
    came_to(&app, &member, removed).await
}

pub async fn remove_app(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let removed = setting_up::remove_app(&app.desk, &member.member, app.now()).await;
    came_to(&app, &member, removed).await
}

pub async fn new_codes(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let codes = setting_up::new_codes(&app.desk, &member.member, &app.moment()).await?;
    let codes = codes.iter().map(|code| grouped(code.reveal())).collect();
    codes_page(&member, codes, "/me/sign-in")
}

pub async fn change_password(
    State(app): State<App>,
    member: Member,
    Form(form): Form<PasswordForm>,
) -> Result<Response, PageError> {
    let (coming, moment) = (member.coming(), app.moment());
    let changed =
        setting_up::change_password(&app.desk, &coming, &form.old_password, &form.password, &moment).await;
    came_to(&app, &member, changed).await
}

/// Ends one session, or with an empty id all but this one.
pub async fn end_sessions(
    State(app): State<App>,
    member: Member,
    Form(which): Form<Which>,
) -> Result<Response, PageError> {
    let id = match which.id.as_str() {
        "" => None,
        id => Some(id.parse::<StaffSessionId>().map_err(|_| PageError::NotFound)?),
    };
    sign_in::end_sessions(&app.desk, &member.session, id, app.now()).await?;
    Ok(Redirect::to("/me/sign-in").into_response())
}
