//! The second step of signing in, and the same page again before something sensitive: a passkey first, then a code of an
//! app, then a printed recovery code.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::AppendHeaders;
use axum::response::Html;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::second_step;
use crate::care::second_step::Coming;
use crate::care::second_step::Proof;
use crate::care::second_step::Ways;
use crate::care::second_step::app;
use crate::care::second_step::passkeys;
use crate::care::sign_in;
use crate::care::sign_in::LetIn;
use crate::store::staff::StaffMember;
use crate::store::staff_sessions::Stage;
use crate::web::App;
use crate::web::assets;
use crate::web::cookies::Cookie;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::sign_in::Held;
use crate::web::sign_in::wait_words;

#[derive(Template)]
#[template(path = "prove.html")]
struct ProvePage {
    base_css: String,
    passkey_js: String,
    name: String,
    /// Signed in before, and asked again.
    is_again: bool,
    fault: String,
    has_passkeys: bool,
    has_app: bool,
    codes_left: usize,
    held: Held,
    /// What an invented person's app shows now; empty: these people are real.
    demo_code: String,
}

/// What came with the second step, beside a form that is held.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct ProveForm {
    code: String,
    /// What a passkey signed, as JSON.
    credential: String,
    held_path: String,
    held_body: String,
}

impl ProveForm {
    fn held(&self) -> Held {
        Held { path: self.held_path.clone(), body: self.held_body.clone() }
    }
}

/// Where somebody goes whose password was right.
pub async fn after_password(app: &App, member: &StaffMember, held: Held) -> Result<Response, PageError> {
    let ways = second_step::ways(&app.desk, member).await?;
    if ways.are_none() {
        return Ok(Redirect::to("/second-step").into_response());
    }
    if held.body.is_empty() {
        return Ok(Redirect::to("/prove").into_response());
    }
    prove_page(app, member, false, &ways, held, "", StatusCode::OK).await
}

/// The page, for a form that somebody sent who has to take the second step first. Nothing typed is lost.
pub async fn hold(
    app: &App,
    token: Option<&str>,
    held: Held,
    status: StatusCode,
) -> Result<Response, PageError> {
    let token = token.ok_or(PageError::SignedOut)?;
    let session = sign_in::session(&app.desk, token, app.now()).await?.ok_or(PageError::SignedOut)?;
    let ways = second_step::ways(&app.desk, &session.member).await?;
    let words = match session.stage {
        Stage::Half => "One step is still missing. What you typed is kept and can be sent right after.",
        Stage::Whole if held.body.is_empty() => "Show once more that it is you, and it goes on.",
        Stage::Whole => "Show once more that it is you. What you typed is kept and can be sent right after.",
    };
    prove_page(app, &session.member, session.stage == Stage::Whole, &ways, held, words, status).await
}

async fn prove_page(
    app: &App,
    member: &StaffMember,
    is_again: bool,
    ways: &Ways,
    held: Held,
    fault: &str,
    status: StatusCode,
) -> Result<Response, PageError> {
    let demo_code = match app.shows_codes {
        true => app::code_of(&app.desk, member, app.now()).await?,
        false => None,
    };
    let page = ProvePage {
        base_css: assets::address("base.css"),
        passkey_js: assets::address("staff/passkey.js"),
        name: member.name.clone(),
        is_again,
        fault: fault.to_owned(),
        has_passkeys: app.passkeys.is_some() && !ways.passkeys.is_empty(),
        has_app: ways.has_app,
        codes_left: ways.codes_left,
        held,
        demo_code: demo_code.unwrap_or_default(),
    };
    Ok((status, Html(page.render().map_err(|_| PageError::Unreadable)?)).into_response())
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let ways = second_step::ways(&app.desk, &member.member).await?;
    if ways.are_none() {
        return Ok(Redirect::to("/second-step").into_response());
    }
    let is_again = member.session.stage == Stage::Whole;
    prove_page(&app, &member.member, is_again, &ways, Held::default(), "", StatusCode::OK).await
}

pub async fn by_code(
    State(app): State<App>,
    member: Member,
    Form(form): Form<ProveForm>,
) -> Result<Response, PageError> {
    let coming = member.coming();
    let proof = app::by_code(&app.desk, &coming, &form.code, &app.moment()).await?;
    let words =
        "That is not the code. Each code is good once, and only while the app shows it. Try the next one.";
    came_to(&app, &coming, proof, form.held(), words).await
}

pub async fn by_recovery_code(
    State(app): State<App>,
    member: Member,
    Form(form): Form<ProveForm>,
) -> Result<Response, PageError> {
    let coming = member.coming();
    let proof = second_step::by_recovery_code(&app.desk, &coming, &form.code, &app.moment()).await?;
    let words =
        "That is none of your recovery codes, or it was used before. Look at the paper and try again.";
    came_to(&app, &coming, proof, form.held(), words).await
}

/// What a passkey is to sign, as JSON for the page's script.
pub async fn ask_passkey(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let known = app.passkeys.as_ref().ok_or(PageError::NotFound)?;
    let asked = passkeys::ask_to_sign(&app.desk, known, &member.coming(), app.now()).await?;
    Ok(([(header::CONTENT_TYPE, "application/json")], asked).into_response())
}

pub async fn by_passkey(
    State(app): State<App>,
    member: Member,
    Form(form): Form<ProveForm>,
) -> Result<Response, PageError> {
    let known = app.passkeys.as_ref().ok_or(PageError::NotFound)?;
    let coming = member.coming();
    let proof = passkeys::by_passkey(&app.desk, known, &coming, &form.credential, &app.moment()).await?;
    came_to(&app, &coming, proof, form.held(), "That passkey was not taken. Try again, or use another way.")
        .await
}

async fn came_to(
    app: &App,
    coming: &Coming,
    proof: Proof,
    held: Held,
    wrong_words: &str,
) -> Result<Response, PageError> {
    let fault = match proof {
        Proof::In(let_in) => {
            let next = held.let_go(&let_in.member)?;
            return Ok((cookies(app, &let_in), next).into_response());
        }
        Proof::Wrong => wrong_words.to_owned(),
        Proof::Wait { until } => wait_words(until, app.now()),
    };
    let member = &coming.session.member;
    let ways = second_step::ways(&app.desk, member).await?;
    let is_again = coming.session.stage == Stage::Whole;
    prove_page(app, member, is_again, &ways, held, &fault, StatusCode::UNPROCESSABLE_ENTITY).await
}

/// The cookies of whoever was let in.
pub fn cookies(app: &App, let_in: &LetIn) -> AppendHeaders<Vec<(header::HeaderName, header::HeaderValue)>> {
    let mut set = vec![(header::SET_COOKIE, Cookie::Staff.set(app, let_in.token.reveal()))];
    if let Some(token) = &let_in.known_browser {
        set.push((header::SET_COOKIE, Cookie::Known.set(app, token.reveal())));
    }
    AppendHeaders(set)
}
