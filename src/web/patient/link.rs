//! Opening a patient link or a typed code. Looking at the link does nothing; only the button knocks.

use std::net::IpAddr;

use askama::Template;
use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::extract::rejection::FormRejection;
use axum::http::HeaderMap;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::AppendHeaders;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::SignedDuration;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::knock;
use crate::care::knock::AtTheDoor;
use crate::care::knock::Knock;
use crate::web::App;
use crate::web::assets;
use crate::web::browser_words;
use crate::web::client_address::CountBy;
use crate::web::cookies::Cookie;
use crate::web::error::PageError;
use crate::web::error::retry_after;
use crate::web::patient::frame;
use crate::web::patient::late;
use crate::web::patient::late::LeaveBy;
use crate::words::Language;
use crate::words::patient::PatientWords;
use crate::words::patient_open::OpenWords;

/// Longest code looked at; ours have 16 letters, and people add dashes and blanks.
const LONGEST_CODE: usize = 64;

/// One language's half of a page.
pub struct Half {
    pub lang: &'static str,
    pub words: OpenWords,
    pub common: PatientWords,
}

pub fn halves() -> [Half; 2] {
    Language::ALL.map(|language| Half {
        lang: language.code(),
        words: OpenWords(language),
        common: PatientWords(language),
    })
}

#[derive(Template)]
#[template(path = "patient/link.html")]
struct LinkPage {
    base_css: String,
    css: String,
    halves: [Half; 2],
}

/// The same bytes for every token: nothing is looked up, nothing is set.
pub async fn show() -> Result<Response, PageError> {
    let page = LinkPage {
        base_css: assets::address("base.css"),
        css: assets::address("patient.css"),
        halves: halves(),
    };
    frame::show(&page, StatusCode::OK)
}

/// The knock: the token becomes a cookie, and the address has no secret in it any more.
pub async fn open(
    State(app): State<App>,
    CountBy(from): CountBy,
    Path(token): Path<String>,
    headers: HeaderMap,
    form: Result<Form<DoorForm>, FormRejection>,
) -> Result<Response, PageError> {
    // Whatever is asked at the door may be left out, the form itself as well: a link opens all the same.
    let form = form.map(|Form(form)| form).unwrap_or_default();
    let browser = browser_words::of(&headers);
    match knock::knock(&app.desk, &token, form.said(&browser, from), &app.moment()).await {
        Err(CareError::TooMany { again }) => waits(unknown_page()?, again),
        other => answer(&app, other?, LeaveBy::Token(&token)),
    }
}

/// The same page, which says to wait: too many that nobody knows came from the same network. One that is known would have opened.
fn waits(page: Response, again: SignedDuration) -> Result<Response, PageError> {
    Ok((StatusCode::TOO_MANY_REQUESTS, [(header::RETRY_AFTER, retry_after(again))], page).into_response())
}

/// What is asked of whoever opens a link or types a code; all of it may be left empty.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct DoorForm {
    code: String,
    initials: String,
    /// Anything: the phone is somebody else's.
    borrowed: String,
}

impl DoorForm {
    fn said<'a>(&'a self, browser: &'a str, from: Option<IpAddr>) -> AtTheDoor<'a> {
        AtTheDoor { initials: &self.initials, borrowed: !self.borrowed.is_empty(), browser, from }
    }
}

fn answer(app: &App, knock: Knock, by: LeaveBy<'_>) -> Result<Response, PageError> {
    match knock {
        Knock::Open { token, language: _ } => {
            let cookie = AppendHeaders([(header::SET_COOKIE, Cookie::Phone.set(app, token.reveal()))]);
            Ok((cookie, Redirect::to("/my")).into_response())
        }
        Knock::Closed { practice, takes_words } => {
            late::closed_page(&practice, if takes_words { by } else { LeaveBy::Nothing }, false)
        }
        Knock::Unknown => unknown_page(),
    }
}

#[derive(Template)]
#[template(path = "patient/unknown.html")]
struct UnknownPage {
    base_css: String,
    css: String,
    halves: [Half; 2],
}

pub fn unknown_page() -> Result<Response, PageError> {
    let page = UnknownPage {
        base_css: assets::address("base.css"),
        css: assets::address("patient.css"),
        halves: halves(),
    };
    frame::show(&page, StatusCode::NOT_FOUND)
}

#[derive(Template)]
#[template(path = "patient/code.html")]
struct CodePage {
    base_css: String,
    css: String,
    halves: [Half; 2],
    typed: String,
    initials: String,
    borrowed: bool,
    notice: Notice,
}

/// What the code page says above its field.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Notice {
    Nothing,
    Left,
    Wrong,
    /// Nothing was looked at: too many came.
    Wait,
}

impl Notice {
    fn is_wrong(self) -> bool {
        self == Notice::Wrong
    }

    fn is_wait(self) -> bool {
        self == Notice::Wait
    }

    fn is_left(self) -> bool {
        self == Notice::Left
    }
}

fn code_page(form: DoorForm, notice: Notice, status: StatusCode) -> Result<Response, PageError> {
    let page = CodePage {
        base_css: assets::address("base.css"),
        css: assets::address("patient.css"),
        halves: halves(),
        typed: form.code,
        initials: form.initials,
        borrowed: !form.borrowed.is_empty(),
        notice,
    };
    frame::show(&page, status)
}

pub async fn show_code() -> Result<Response, PageError> {
    code_page(DoorForm::default(), Notice::Nothing, StatusCode::OK)
}

/// The page after leaving.
pub fn left_page() -> Result<Response, PageError> {
    code_page(DoorForm::default(), Notice::Left, StatusCode::OK)
}

pub async fn open_with_code(
    State(app): State<App>,
    CountBy(from): CountBy,
    headers: HeaderMap,
    Form(form): Form<DoorForm>,
) -> Result<Response, PageError> {
    let code: String = form.code.chars().take(LONGEST_CODE).collect();
    let browser = browser_words::of(&headers);
    match knock::knock_with_code(&app.desk, &code, form.said(&browser, from), &app.moment()).await {
        Ok(Knock::Unknown) => code_page(form, Notice::Wrong, StatusCode::UNPROCESSABLE_ENTITY),
        Err(CareError::TooMany { again }) => {
            waits(code_page(form, Notice::Wait, StatusCode::TOO_MANY_REQUESTS)?, again)
        }
        other => answer(&app, other?, LeaveBy::Code(&code)),
    }
}
