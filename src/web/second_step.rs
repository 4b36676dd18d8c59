//! Setting up the second step: with the first sign-in, and later from one's own page.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::Html;
use axum::response::IntoResponse;
use axum::response::Response;
use jiff::Timestamp;
use serde::Deserialize;

use crate::care::grouped;
use crate::care::second_step;
use crate::care::second_step::passkeys;
use crate::care::second_step::setting_up;
use crate::care::second_step::setting_up::NewApp;
use crate::care::second_step::setting_up::SetUp;
use crate::care::staff;
use crate::web::App;
use crate::web::assets;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::prove;
use crate::web::qr_square;
use crate::web::qr_square::QrDrawing;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::sign_in::first_page;
use crate::web::time_words;

#[derive(Template)]
#[template(path = "second_step.html")]
struct SecondStepPage {
    base_css: String,
    passkey_js: String,
    name: String,
    /// Nothing is set up yet: it is needed before anything opens.
    is_first: bool,
    can_have_passkeys: bool,
    /// What the app is to be set up with; `None`: not begun.
    app: Option<AppView>,
    fault: String,
    /// Who took the step before away, and when; empty: nobody.
    taken_away: String,
}

/// What the app is set up with.
struct AppView {
    square: Option<QrDrawing>,
    to_type: String,
    address: String,
    /// What an invented person's app shows now; empty: these people are real.
    demo_code: String,
}

#[derive(Template)]
#[template(path = "recovery_codes.html")]
struct CodesPage {
    base_css: String,
    name: String,
    codes: Vec<String>,
    next: &'static str,
}

/// What came back from setting up.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct SetUpForm {
    code: String,
    name: String,
    /// What the browser made, as JSON.
    credential: String,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    set_up_page(&app, &member, None, "").await
}

async fn set_up_page(
    app: &App,
    member: &Member,
    new_app: Option<NewApp>,
    fault: &str,
) -> Result<Response, PageError> {
    let now = app.now();
    let ways = second_step::ways(&app.desk, &member.member).await?;
    let page = SecondStepPage {
        base_css: assets::address("base.css"),
        passkey_js: assets::address("staff/passkey.js"),
        name: member.member.name.clone(),
        is_first: ways.are_none(),
        can_have_passkeys: app.passkeys.is_some(),
        app: new_app.map(|new| AppView {
            square: qr_square::draw(&new.address),
            to_type: new.seed.to_type(),
            demo_code: if app.shows_codes { new.seed.code_at(now) } else { String::new() },
            address: new.address,
        }),
        fault: fault.to_owned(),
        taken_away: taken_away(app, member, now).await?,
    };
    let status = if fault.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    Ok((status, Html(page.render().map_err(|_| PageError::Unreadable)?)).into_response())
}

/// Who took this person's second step away, and when; empty: nobody.
pub async fn taken_away(app: &App, member: &Member, now: Timestamp) -> Result<String, PageError> {
    let (zone, taken) = staff::re_enrolled(&app.desk, &member.member).await?;
    Ok(taken.map_or_else(String::new, |(at, by)| {
        format!("{by}, {}", time_words::clock_time(at, now, &zone, STAFF_LANGUAGE))
    }))
}

pub async fn begin_app(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let new = setting_up::begin_app(&app.desk, &member.coming(), &app.moment()).await?;
    set_up_page(&app, &member, Some(new), "").await
}

pub async fn confirm_app(
    State(app): State<App>,
    member: Member,
    Form(form): Form<SetUpForm>,
) -> Result<Response, PageError> {
    let (coming, moment) = (member.coming(), app.moment());
    match setting_up::confirm_app(&app.desk, &coming, &form.code, &moment).await? {
        Some(set_up) => done(&app, &member, set_up),
        // A wrong code may mean that the app took another seed: it begins anew.
        None => {
            let new = setting_up::begin_app(&app.desk, &coming, &moment).await?;
            let words = "That was not the code. Take the old entry out of the app, scan this square and type the code \
                         it shows.";
            set_up_page(&app, &member, Some(new), words).await
        }
    }
}

/// What the browser is to make a passkey for, as JSON for the page's script.
pub async fn ask_passkey(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let known = app.passkeys.as_ref().ok_or(PageError::NotFound)?;
    let asked = passkeys::ask_for_new(&app.desk, known, &member.coming(), app.now()).await?;
    Ok(([(header::CONTENT_TYPE, "application/json")], asked).into_response())
}

pub async fn add_passkey(
    State(app): State<App>,
    member: Member,
    Form(form): Form<SetUpForm>,
) -> Result<Response, PageError> {
    let known = app.passkeys.as_ref().ok_or(PageError::NotFound)?;
    let (coming, moment) = (member.coming(), app.moment());
    let added =
        setting_up::add_passkey(&app.desk, known, &coming, &form.name, &form.credential, &moment).await?;
    match added {
        Some(set_up) => done(&app, &member, set_up),
        None => set_up_page(&app, &member, None, "The passkey was not made. Try again, or use an app.").await,
    }
}

fn done(app: &App, member: &Member, set_up: SetUp) -> Result<Response, PageError> {
    let cookies = prove::cookies(app, &set_up.let_in);
    let codes: Vec<String> = set_up.codes.iter().map(|code| grouped(code.reveal())).collect();
    if codes.is_empty() {
        return Ok((cookies, axum::response::Redirect::to("/me/sign-in")).into_response());
    }
    Ok((cookies, codes_page(member, codes, first_page(member.member.roles))?).into_response())
}

/// The page that shows recovery codes, once.
pub fn codes_page(member: &Member, codes: Vec<String>, next: &'static str) -> Result<Response, PageError> {
    let page =
        CodesPage { base_css: assets::address("base.css"), name: member.member.name.clone(), codes, next };
    Ok(Html(page.render().map_err(|_| PageError::Unreadable)?).into_response())
}
