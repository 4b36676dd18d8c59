//! What comes with a link that is closed: a page that names whom to call, and, where the link has only expired, the few
//! words that somebody wants to leave. A person of the practice sees to every one.

use askama::Template;
use axum::Form;
use axum::body::to_bytes;
use axum::extract::FromRequest;
use axum::extract::Multipart;
use axum::extract::Request;
use axum::extract::State;
use axum::http::Method;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::AppendHeaders;
use axum::response::IntoResponse;
use axum::response::Response;
use serde::Deserialize;

use crate::care::knock;
use crate::care::knock::Held;
use crate::ids::PracticeId;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::web::App;
use crate::web::assets;
use crate::web::client_address::CountBy;
use crate::web::cookies::Cookie;
use crate::web::error::PageError;
use crate::web::patient::frame;
use crate::web::patient::frame::Number;
use crate::web::patient::link::Half;
use crate::web::patient::link::halves;
use crate::web::patient::link::unknown_page;
use crate::web::patient::typed::Typed;

/// Longest form of an ended session that is looked through for words.
const LONGEST_FORM: usize = 256 * 1_024;
/// The fields in which a patient writes, or ticks a danger.
const WORDS: [&str; 3] = ["danger", "words", "question"];

/// What the closed page holds, so that words can be left: by what the link was held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeaveBy<'a> {
    /// It takes none.
    Nothing,
    Token(&'a str),
    Code(&'a str),
    /// The cookie that came along.
    Phone,
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
    /// Whether words can be left, and the fields that say by what the link is held.
    takes_words: bool,
    token: String,
    code: String,
    /// Words were left just now.
    has_left: bool,
}

/// The page of a closed link.
pub fn closed_page(practice: &Practice, by: LeaveBy<'_>, has_left: bool) -> Result<Response, PageError> {
    let (token, code) = match by {
        LeaveBy::Token(token) => (token, ""),
        LeaveBy::Code(code) => ("", code),
        LeaveBy::Nothing | LeaveBy::Phone => ("", ""),
    };
    let page = ClosedPage {
        base_css: assets::address("base.css"),
        css: assets::address("patient.css"),
        halves: halves(),
        practice: practice.name.clone(),
        phone: Number::new(&practice.phone),
        emergency: Number::new(&practice.emergency_number),
        takes_words: by != LeaveBy::Nothing,
        token: token.to_owned(),
        code: code.to_owned(),
        has_left,
    };
    frame::show(&page, StatusCode::GONE)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct LateForm {
    token: String,
    code: String,
    words: String,
}

/// Takes the words left on the page of a link that has expired.
pub async fn leave_words(
    State(app): State<App>,
    CountBy(from): CountBy,
    headers: axum::http::HeaderMap,
    Form(form): Form<LateForm>,
) -> Result<Response, PageError> {
    let phone = Cookie::Phone.read(&app, &headers).unwrap_or_default();
    let (held, by) = match (form.token.as_str(), form.code.as_str()) {
        ("", "") => (Held::Phone(&phone), LeaveBy::Phone),
        ("", code) => (Held::Code(code), LeaveBy::Code(code)),
        (token, _) => (Held::Token(token), LeaveBy::Token(token)),
    };
    match knock::leave_words(&app.desk, held, &form.words, from, &app.moment()).await? {
        Some(practice) => closed_page(&practice, by, !form.words.trim().is_empty()),
        None => unknown_page(),
    }
}

/// The answer to a phone that is not in: where its link has expired, that it is closed, and what was typed is left for a
/// person of the practice; otherwise to open the link again. Whatever the browser kept of a session that is over is to go.
pub async fn not_in(app: &App, refused: PageError, request: Request) -> Response {
    let Some(token) = Cookie::Phone.read(app, request.headers()) else { return refused.into_response() };
    let (held, moment) = (Held::Phone(&token), app.moment());
    // Looking writes nothing down; sending is a knock.
    let (found, has_left) = match *request.method() {
        Method::POST => {
            let words = words_of(request).await;
            (knock::leave_words(&app.desk, held, &words, None, &moment).await, !words.is_empty())
        }
        _ => (knock::expired(&app.desk, held, moment.now).await, false),
    };
    let answer = match found {
        Ok(Some(practice)) => closed_page(&practice, LeaveBy::Phone, has_left),
        Ok(None) => Err(refused),
        Err(fault) => Err(fault.into()),
    };
    let forget = AppendHeaders([(
        header::HeaderName::from_static("clear-site-data"),
        header::HeaderValue::from_static("\"cache\", \"storage\""),
    )]);
    (forget, answer.unwrap_or_else(IntoResponse::into_response)).into_response()
}

/// The answer to a phone whose link was closed while it sent: that it is closed, and whom to call. `None`: the books do not
/// say whose it was.
pub async fn ended_meanwhile(app: &App, practice: PracticeId) -> Option<Response> {
    let mut conn = app.desk.db.read().await.ok()?;
    let practice = practices::find(&mut conn, practice).await.ok()??;
    closed_page(&practice, LeaveBy::Nothing, false).ok()
}

/// What somebody wrote or ticked in whichever form this is; empty: nothing, or it cannot be read.
async fn words_of(request: Request) -> String {
    let kind = request.headers().get(header::CONTENT_TYPE).map(|kind| kind.as_bytes().to_vec());
    let fields = if kind.is_some_and(|kind| kind.starts_with(b"multipart/form-data")) {
        fields_of_parts(request).await
    } else {
        let (parts, body) = request.into_parts();
        let bytes = to_bytes(body, LONGEST_FORM).await.unwrap_or_default();
        let form = Request::from_parts(parts, axum::body::Body::from(bytes));
        Form::<Vec<(String, String)>>::from_request(form, &())
            .await
            .map(|Form(fields)| fields)
            .unwrap_or_default()
    };
    let typed = Typed::new(fields);
    let said = |name: &str| -> Vec<String> {
        let values = typed.fields().iter().filter(|(field, _)| field == name).map(|(_, value)| value.trim());
        values.filter(|value| !value.is_empty() && *value != "none").map(str::to_owned).collect()
    };
    let lines = WORDS.into_iter().flat_map(|name| match name {
        "danger" => said(name).into_iter().map(|sign| format!("Ticked as a danger: {sign}")).collect(),
        _ => said(name),
    });
    lines.collect::<Vec<_>>().join("\n")
}

async fn fields_of_parts(request: Request) -> Vec<(String, String)> {
    let Ok(mut form) = Multipart::from_request(request, &()).await else { return Vec::new() };
    let mut fields = Vec::new();
    let mut bytes = 0;
    while let Ok(Some(field)) = form.next_field().await {
        let name = field.name().unwrap_or_default().to_owned();
        if name == "photo" || bytes > LONGEST_FORM {
            break;
        }
        let Ok(value) = field.text().await else { break };
        bytes += value.len();
        fields.push((name, value));
    }
    fields
}
