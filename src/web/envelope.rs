//! The page on which somebody types the sealed code, when nobody can sign in.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::AppendHeaders;
use axum::response::Html;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::envelope;
use crate::care::envelope::Opening;
use crate::web::App;
use crate::web::assets;
use crate::web::browser_words;
use crate::web::client_address::CountBy;
use crate::web::cookies::Cookie;
use crate::web::error;
use crate::web::error::PageError;
use crate::web::error::retry_after;
use crate::web::staff_frame::Faults;

/// Typed from paper.
pub const PATH: &str = "/envelope";

/// The form as typed; the code is not shown again.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct OpeningForm {
    code: String,
    name: String,
    reason: String,
}

#[derive(Template)]
#[template(path = "envelope.html")]
struct EnvelopePage {
    base_css: String,
    /// What is wrong with all of it; empty: nothing.
    fault: String,
    form: OpeningForm,
    faults: Faults,
}

pub async fn show() -> Result<Response, PageError> {
    envelope_page(OpeningForm::default(), String::new(), Vec::new(), StatusCode::OK)
}

fn envelope_page(
    form: OpeningForm,
    fault: String,
    faults: Vec<Fault>,
    status: StatusCode,
) -> Result<Response, PageError> {
    let page = EnvelopePage { base_css: assets::address("base.css"), fault, form, faults: Faults(faults) };
    Ok((status, Html(page.render().map_err(|_| PageError::Unreadable)?)).into_response())
}

pub async fn open(
    State(app): State<App>,
    CountBy(from): CountBy,
    headers: HeaderMap,
    Form(form): Form<OpeningForm>,
) -> Result<Response, PageError> {
    let browser = browser_words::of(&headers);
    let opening =
        Opening { code: &form.code, name: &form.name, reason: &form.reason, browser: &browser, from };
    match envelope::open(&app.desk, opening, &app.moment()).await {
        Ok(Some(token)) => {
            let cookie = AppendHeaders([(header::SET_COOKIE, Cookie::Look.set(&app, token.reveal()))]);
            Ok((cookie, Redirect::to("/look/queue")).into_response())
        }
        Ok(None) => {
            let words = "That code opens nothing. Look at it letter by letter: a code opens once, and a newer one takes the \
                         place of an older one.";
            envelope_page(form, words.to_owned(), Vec::new(), StatusCode::UNPROCESSABLE_ENTITY)
        }
        Err(CareError::Entered(faults)) => {
            envelope_page(form, String::new(), faults, StatusCode::UNPROCESSABLE_ENTITY)
        }
        Err(CareError::TooMany { again }) => {
            let words = format!(
                "Too many tries just now. Wait {}, then try again: nothing was looked at, and nothing is locked.",
                error::wait_words(again)
            );
            let page = envelope_page(form, words, Vec::new(), StatusCode::TOO_MANY_REQUESTS)?;
            Ok(([(header::RETRY_AFTER, retry_after(again))], page).into_response())
        }
        Err(other) => Err(other.into()),
    }
}
