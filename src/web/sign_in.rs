//! Signing in and out, the first set-up, and what happens to a form whose sender was signed out meanwhile.

use askama::Template;
use axum::Form;
use axum::body::to_bytes;
use axum::extract::Path;
use axum::extract::Request;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::Method;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::AppendHeaders;
use axum::response::Html;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::SignedDuration;
use jiff::Timestamp;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::knock;
use crate::care::sign_in;
use crate::care::sign_in::Knocking;
use crate::care::sign_in::SignIn;
use crate::care::staff;
use crate::care::staff::NewMember;
use crate::care::staff::NewPractice;
use crate::sheet::Paper;
use crate::store::staff::Roles;
use crate::store::staff::StaffMember;
use crate::web::App;
use crate::web::assets;
use crate::web::browser_words;
use crate::web::client_address::CountBy;
use crate::web::cookies::Cookie;
use crate::web::doors::Doors;
use crate::web::doors::Member;
use crate::web::doors::Who;
use crate::web::envelope;
use crate::web::error;
use crate::web::error::PageError;
use crate::web::error::retry_after;
use crate::web::prove;
use crate::web::second_step;
use crate::web::time_words;
use crate::words::Language;

/// A form longer than this is not held over a sign-in.
const LONGEST_HELD: usize = 64 * 1024;

pub fn hang(doors: Doors) -> Doors {
    doors
        .get("/", Who::Anyone, start)
        .get("/sign-in", Who::Anyone, show)
        .post("/sign-in", Who::Anyone, enter)
        .post("/sign-out", Who::Entering, leave)
        .get(envelope::PATH, Who::Anyone, envelope::show)
        .post(envelope::PATH, Who::Anyone, envelope::open)
        .get("/prove", Who::Entering, prove::show)
        .post("/prove/code", Who::Entering, prove::by_code)
        .post("/prove/recovery-code", Who::Entering, prove::by_recovery_code)
        .post("/prove/passkey/ask", Who::Entering, prove::ask_passkey)
        .post("/prove/passkey", Who::Entering, prove::by_passkey)
        .get("/second-step", Who::Entering, second_step::show)
        .post_fresh("/second-step/app", Who::Entering, second_step::begin_app)
        .post_fresh("/second-step/app/code", Who::Entering, second_step::confirm_app)
        .post_fresh("/second-step/passkey/ask", Who::Entering, second_step::ask_passkey)
        .post_fresh("/second-step/passkey", Who::Entering, second_step::add_passkey)
        .get("/set-up/{token}", Who::Anyone, show_set_up)
        .post("/set-up/{token}", Who::Anyone, finish_set_up)
}

/// Waits that grow with wrong tries end here; a longer one ends by a colleague.
const LONGEST_ORDINARY_WAIT: SignedDuration = SignedDuration::from_hours(1);

/// One field of a form that waits for its sender to sign in again.
#[derive(Clone, Debug)]
pub struct HeldField {
    pub name: String,
    pub value: String,
}

#[derive(Template)]
#[template(path = "sign_in.html")]
struct SignInPage {
    base_css: String,
    fault: String,
    sign_in_name: String,
    held_path: String,
    held_body: String,
}

#[derive(Template)]
#[template(path = "held_form.html")]
struct HeldFormPage {
    base_css: String,
    path: String,
    fields: Vec<HeldField>,
}

/// Where a person belongs: a signed-in member on their first page, a patient's phone on *Today*, everyone else at the
/// sign-in.
async fn start(State(app): State<App>, headers: HeaderMap) -> Result<Redirect, PageError> {
    if let Some(token) = Cookie::Staff.read(&app, &headers)
        && let Some(member) = sign_in::who(&app.desk, &token, app.now()).await?
    {
        return Ok(Redirect::to(first_page(member.roles)));
    }
    if let Some(token) = Cookie::Phone.read(&app, &headers)
        && knock::holder(&app.desk, &token, app.now()).await?.is_some()
    {
        return Ok(Redirect::to("/my"));
    }
    Ok(Redirect::to("/sign-in"))
}

/// The page a role works on.
pub fn first_page(roles: Roles) -> &'static str {
    if roles.surgeon {
        "/queue"
    } else if roles.office {
        "/callbacks"
    } else {
        "/practice"
    }
}

async fn show() -> Result<Response, PageError> {
    sign_in_page("", "", "", "", StatusCode::OK)
}

fn sign_in_page(
    fault: &str,
    name: &str,
    path: &str,
    body: &str,
    status: StatusCode,
) -> Result<Response, PageError> {
    let page = SignInPage {
        base_css: assets::address("base.css"),
        fault: fault.to_owned(),
        sign_in_name: name.to_owned(),
        held_path: path.to_owned(),
        held_body: body.to_owned(),
    };
    Ok((status, Html(page.render().map_err(|_| PageError::Unreadable)?)).into_response())
}

#[derive(Deserialize)]
struct SignInForm {
    sign_in_name: String,
    password: String,
    #[serde(default)]
    held_path: String,
    #[serde(default)]
    held_body: String,
}

async fn enter(
    State(app): State<App>,
    CountBy(from): CountBy,
    headers: HeaderMap,
    Form(form): Form<SignInForm>,
) -> Result<Response, PageError> {
    let (old, known) = (Cookie::Staff.read(&app, &headers), Cookie::Known.read(&app, &headers));
    let browser = browser_words::of(&headers);
    let knocking = Knocking {
        sign_in_name: &form.sign_in_name,
        password: &form.password,
        old_session: old.as_deref(),
        known_browser: known.as_deref(),
        browser: &browser,
        from,
    };
    let page = |fault: &str, status: StatusCode| {
        sign_in_page(fault, &form.sign_in_name, &form.held_path, &form.held_body, status)
    };
    let again = |fault: &str| page(fault, StatusCode::UNPROCESSABLE_ENTITY);
    let tried = match sign_in::sign_in(&app.desk, knocking, &app.moment()).await {
        Err(CareError::TooMany { again }) => {
            let page = page(&too_many_words(again), StatusCode::TOO_MANY_REQUESTS)?;
            return Ok(([(header::RETRY_AFTER, retry_after(again))], page).into_response());
        }
        other => other?,
    };
    match tried {
        SignIn::HalfWay { token, member } => {
            let cookie = AppendHeaders([(header::SET_COOKIE, Cookie::Staff.set(&app, token.reveal()))]);
            let held = Held { path: form.held_path.clone(), body: form.held_body.clone() };
            let next = prove::after_password(&app, &member, held).await?;
            Ok((cookie, next).into_response())
        }
        SignIn::Wrong => again("That name and password do not go together. Try again."),
        SignIn::Wait { until } => again(&wait_words(until, app.now())),
    }
}

/// What to do when too many tries came from the same network, or come just now.
fn too_many_words(again: SignedDuration) -> String {
    format!(
        "Too many tries to sign in just now, perhaps by somebody else. Wait {}, then try again; in a browser in which you signed \
         in before you need not wait. Nothing is locked, and what you typed is still here.",
        error::wait_words(again)
    )
}

/// What to do while no try is looked at.
pub fn wait_words(until: Timestamp, now: Timestamp) -> String {
    if until.duration_since(now) > LONGEST_ORDINARY_WAIT {
        return "Too many wrong tries. Ask a lead of the practice to switch you off and on again, or use a browser in \
                which you signed in before."
            .to_owned();
    }
    format!("Too many wrong tries. The next one is looked at {}.", time_words::time_left(until, now))
}

/// A form that waits for its sender to come in.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Held {
    #[serde(rename = "held_path")]
    pub path: String,
    #[serde(rename = "held_body")]
    pub body: String,
}

impl Held {
    /// Where somebody goes who is wholly in: what they typed is offered to be sent, or their first page opens.
    pub fn let_go(&self, member: &StaffMember) -> Result<Response, PageError> {
        let is_ours = self.path.starts_with('/') && !self.path.starts_with("//");
        match (is_ours, self.body.is_empty()) {
            (true, false) => Ok(held_form_page(&self.path, &self.body)?.into_response()),
            (true, true) => Ok(Redirect::to(&self.path).into_response()),
            (false, _) => Ok(Redirect::to(first_page(member.roles)).into_response()),
        }
    }
}

fn held_form_page(path: &str, body: &str) -> Result<Html<String>, PageError> {
    let fields: Vec<(String, String)> =
        serde_urlencoded::from_str(body).map_err(|_| PageError::Unreadable)?;
    let page = HeldFormPage {
        base_css: assets::address("base.css"),
        path: path.to_owned(),
        fields: fields.into_iter().map(|(name, value)| HeldField { name, value }).collect(),
    };
    Ok(Html(page.render().map_err(|_| PageError::Unreadable)?))
}

/// Answers whoever a door did not let in. A form that was being sent is held over the sign-in: nothing typed is lost.
pub async fn turn_away(app: &App, refused: PageError, who: Who, request: Request) -> Response {
    if matches!(refused, PageError::LookOver) {
        return Redirect::to(envelope::PATH).into_response();
    }
    let is_half = matches!(refused, PageError::HalfIn | PageError::NotFresh);
    let signed_out = matches!(refused, PageError::SignedOut) && who != Who::Phone;
    if !signed_out && !is_half {
        return refused.into_response();
    }
    if *request.method() != Method::POST && matches!(refused, PageError::NotFresh) {
        // Something that is taken home: it comes once the second step was taken.
        let token = Cookie::Staff.read(app, request.headers());
        let path = request.uri().path_and_query().map_or_else(String::new, ToString::to_string);
        let held = Held { path, body: String::new() };
        let page = prove::hold(app, token.as_deref(), held, StatusCode::FORBIDDEN).await;
        return page.unwrap_or_else(IntoResponse::into_response);
    }
    if *request.method() != Method::POST {
        return Redirect::to(if is_half { "/prove" } else { "/sign-in" }).into_response();
    }
    let status =
        if matches!(refused, PageError::NotFresh) { StatusCode::FORBIDDEN } else { StatusCode::UNAUTHORIZED };
    let token = Cookie::Staff.read(app, request.headers());
    let path = request.uri().path().to_owned();
    let body = to_bytes(request.into_body(), LONGEST_HELD).await.unwrap_or_default();
    let body = String::from_utf8(body.to_vec()).unwrap_or_default();
    if is_half {
        let held = Held { path, body };
        return prove::hold(app, token.as_deref(), held, status)
            .await
            .unwrap_or_else(IntoResponse::into_response);
    }
    let words = if body.is_empty() {
        "You were signed out. Sign in and press the button again."
    } else {
        "You were signed out. Sign in: what you typed is kept and can be sent right after."
    };
    sign_in_page(words, "", &path, &body, StatusCode::UNAUTHORIZED)
        .unwrap_or_else(IntoResponse::into_response)
}

async fn leave(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    sign_in::sign_out(&app.desk, &member.token, &member.member, app.now()).await?;
    let headers = AppendHeaders([
        (header::SET_COOKIE, Cookie::Staff.clear(&app)),
        (
            header::HeaderName::from_static("clear-site-data"),
            header::HeaderValue::from_static("\"cache\", \"storage\""),
        ),
    ]);
    Ok((headers, Redirect::to("/sign-in")).into_response())
}

#[derive(Template)]
#[template(path = "set_up.html")]
struct SetUpPage {
    base_css: String,
    faults: Vec<Fault>,
    form: SetUpForm,
}

#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
struct SetUpForm {
    practice_name: String,
    practice_phone: String,
    emergency_number: String,
    time_zone: String,
    paper: String,
    name: String,
    sign_in_name: String,
    password: String,
    surgeon: Option<String>,
    office: Option<String>,
}

async fn show_set_up(State(app): State<App>, Path(token): Path<String>) -> Result<Response, PageError> {
    if !staff::set_up_is_open(&app.desk, &token, app.now()).await? {
        return Err(PageError::NotFound);
    }
    set_up_page(Vec::new(), SetUpForm::default(), StatusCode::OK)
}

fn set_up_page(faults: Vec<Fault>, form: SetUpForm, status: StatusCode) -> Result<Response, PageError> {
    let page = SetUpPage { base_css: assets::address("base.css"), faults, form };
    Ok((status, Html(page.render().map_err(|_| PageError::Unreadable)?)).into_response())
}

async fn finish_set_up(
    State(app): State<App>,
    Path(token): Path<String>,
    Form(form): Form<SetUpForm>,
) -> Result<Response, PageError> {
    let practice = NewPractice {
        name: form.practice_name.clone(),
        phone: form.practice_phone.clone(),
        emergency_number: form.emergency_number.clone(),
        time_zone: form.time_zone.trim().to_owned(),
        paper: form.paper.parse().unwrap_or(Paper::Letter),
    };
    let first = NewMember {
        name: form.name.clone(),
        sign_in_name: form.sign_in_name.clone(),
        password: form.password.clone(),
        roles: Roles { surgeon: form.surgeon.is_some(), office: form.office.is_some(), lead: true },
    };
    match staff::set_up(&app.desk, &token, practice, first, &app.moment()).await {
        Ok(_) => Ok(Redirect::to("/sign-in").into_response()),
        Err(CareError::Entered(faults)) => set_up_page(faults, form, StatusCode::UNPROCESSABLE_ENTITY),
        Err(other) => Err(other.into()),
    }
}

/// Staff pages are in English for now.
pub const STAFF_LANGUAGE: Language = Language::English;
