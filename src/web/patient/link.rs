//! Opening a patient link or a typed code. Looking at the link does nothing; only the button knocks.

use std::net::IpAddr;

use askama::Template;
use axum::Extension;
use axum::Form;
use axum::extract::Path;
use axum::extract::State;
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
use crate::care::knock::Knock;
use crate::store::practices::Practice;
use crate::web::App;
use crate::web::assets;
use crate::web::client_address::ClientAddress;
use crate::web::cookies::Cookie;
use crate::web::error::PageError;
use crate::web::error::retry_after;
use crate::web::patient::frame;
use crate::web::patient::frame::Number;
use crate::words::Language;
use crate::words::patient::PatientWords;
use crate::words::patient_open::OpenWords;

/// Longest code looked at; ours have 16 letters, and people add dashes and blanks.
const LONGEST_CODE: usize = 64;

/// One language's half of a page.
pub struct Half {
    lang: &'static str,
    words: OpenWords,
    common: PatientWords,
}

fn halves() -> [Half; 2] {
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
    from: Option<Extension<ClientAddress>>,
    Path(token): Path<String>,
) -> Result<Response, PageError> {
    match knock::knock(&app.desk, &token, address(from), &app.moment()).await {
        Err(CareError::TooMany { again }) => waits(unknown_page()?, again),
        other => answer(&app, other?),
    }
}

fn address(from: Option<Extension<ClientAddress>>) -> Option<IpAddr> {
    from.map(|Extension(ClientAddress(address))| address)
}

/// The same page, which says to wait: too many that nobody knows came from the same network. One that is known would have opened.
fn waits(page: Response, again: SignedDuration) -> Result<Response, PageError> {
    Ok((StatusCode::TOO_MANY_REQUESTS, [(header::RETRY_AFTER, retry_after(again))], page).into_response())
}

fn answer(app: &App, knock: Knock) -> Result<Response, PageError> {
    match knock {
        Knock::Open { token, language: _ } => {
            let cookie = AppendHeaders([(header::SET_COOKIE, Cookie::Phone.set(app, token.reveal()))]);
            Ok((cookie, Redirect::to("/my")).into_response())
        }
        Knock::Closed(practice) => closed_page(&practice),
        Knock::Unknown => unknown_page(),
    }
}

#[derive(Template)]
#[template(path = "patient/closed.html")]
struct ClosedPage {
    base_css: String,
    css: String,
    halves: [Half; 2],
    practice: String,
    phone: Number,
    emergency: Number,
}

fn closed_page(practice: &Practice) -> Result<Response, PageError> {
    let page = ClosedPage {
        base_css: assets::address("base.css"),
        css: assets::address("patient.css"),
        halves: halves(),
        practice: practice.name.clone(),
        phone: Number::new(&practice.phone),
        emergency: Number::new(&practice.emergency_number),
    };
    frame::show(&page, StatusCode::GONE)
}

#[derive(Template)]
#[template(path = "patient/unknown.html")]
struct UnknownPage {
    base_css: String,
    css: String,
    halves: [Half; 2],
}

fn unknown_page() -> Result<Response, PageError> {
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

fn code_page(typed: String, notice: Notice, status: StatusCode) -> Result<Response, PageError> {
    let page = CodePage {
        base_css: assets::address("base.css"),
        css: assets::address("patient.css"),
        halves: halves(),
        typed,
        notice,
    };
    frame::show(&page, status)
}

pub async fn show_code() -> Result<Response, PageError> {
    code_page(String::new(), Notice::Nothing, StatusCode::OK)
}

/// The page after leaving.
pub fn left_page() -> Result<Response, PageError> {
    code_page(String::new(), Notice::Left, StatusCode::OK)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct CodeForm {
    code: String,
}

pub async fn open_with_code(
    State(app): State<App>,
    from: Option<Extension<ClientAddress>>,
    Form(form): Form<CodeForm>,
) -> Result<Response, PageError> {
    let typed: String = form.code.chars().take(LONGEST_CODE).collect();
    match knock::knock_with_code(&app.desk, &typed, address(from), &app.moment()).await {
        Ok(Knock::Unknown) => code_page(typed, Notice::Wrong, StatusCode::UNPROCESSABLE_ENTITY),
        Err(CareError::TooMany { again }) => {
            waits(code_page(typed, Notice::Wait, StatusCode::TOO_MANY_REQUESTS)?, again)
        }
        other => answer(&app, other?),
    }
}
