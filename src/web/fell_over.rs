//! A fault of ours: that one request is answered in words, with a reference that stands in the log as well, and all others go on.

use std::panic::AssertUnwindSafe;

use axum::extract::Request;
use axum::extract::State;
use axum::http::Method;
use axum::http::StatusCode;
use axum::http::header;
use axum::middleware::Next;
use axum::response::IntoResponse;
use axum::response::Response;
use futures::FutureExt;

use crate::care;
use crate::care::CareError;
use crate::care::record;
use crate::ids::PracticeId;
use crate::web::App;
use crate::web::error;
use crate::web::error::OursFailed;
use crate::web::error::PageError;
use crate::web::patient::unsaved;
use crate::words::Language;

/// Goes with an answer whose handler fell over.
#[derive(Clone, Copy, Debug)]
struct FellOver;

/// Goes with an answer that was seen to.
#[derive(Clone, Copy, Debug)]
struct SeenTo;

/// Who asked for what.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    pub method: &'a Method,
    /// The door, never the address that was knocked at: that may hold a link.
    pub door: &'static str,
    /// Of whoever asked; `None`: nobody knows.
    pub practice: Option<PracticeId>,
    /// A patient's phone asked, in this language.
    pub phone: Option<Language>,
}

/// What a handler answers, also when it falls over.
pub async fn caught(running: impl Future<Output = Response>) -> Response {
    AssertUnwindSafe(running).catch_unwind().await.unwrap_or_else(|_| fallen())
}

/// The answer of a handler that fell over, before it was seen to.
pub fn fallen() -> Response {
    let fault = CareError::Work("a handler fell over".to_owned());
    let mut response = PageError::Care(fault).into_response();
    response.extensions_mut().insert(FellOver);
    response
}

/// Gives a fault of ours its reference, in the log, in the record where a handler fell over, and on the page; a patient is told
/// what became of what they sent, and whom to ring. Any other answer stays as it is.
pub async fn see_to(app: &App, asked: Asked<'_>, response: Response) -> Response {
    let failed = response.extensions().get::<OursFailed>().cloned();
    let is_fault = response.status() == StatusCode::INTERNAL_SERVER_ERROR;
    let is_seen_to = response.extensions().get::<SeenTo>().is_some();
    if is_seen_to || (failed.is_none() && !is_fault) {
        return response;
    }
    let mut reference = String::new();
    if is_fault {
        reference = care::reference(&app.chance);
        let fault = failed.and_then(|failed| failed.fault).unwrap_or_else(|| "not said".into());
        let Asked { method, door, .. } = asked;
        tracing::error!(reference, %fault, %method, door, "answered with a fault of ours");
        if response.extensions().get::<FellOver>().is_some() {
            note(app, &asked, &reference).await;
        }
    }
    let mut page = match asked.phone {
        Some(language) => {
            unsaved::page(app, asked.practice, language, asked.method, response.status(), reference)
        }
        None if is_fault => {
            let numbers = app.desk.vitals.numbers(asked.practice);
            error::failed_page(numbers.map_or_else(String::new, |numbers| numbers.phone), reference)
        }
        None => return response,
    };
    if let Some(after) = response.headers().get(header::RETRY_AFTER) {
        page.headers_mut().insert(header::RETRY_AFTER, after.clone());
    }
    page.extensions_mut().insert(SeenTo);
    page
}

/// A line in the record of whoever's practice it is. That it cannot be written changes nothing of the answer.
async fn note(app: &App, asked: &Asked<'_>, reference: &str) {
    let numbers = app.desk.vitals.numbers(asked.practice);
    let Some(practice) = asked.practice.or(numbers.map(|numbers| numbers.practice)) else { return };
    let door = format!("{} {}", asked.method, asked.door);
    if let Err(fault) = record::note_fell_over(&app.desk, practice, reference, &door, app.now()).await {
        tracing::error!(%fault, reference, "that a handler fell over could not be recorded");
    }
}

/// The same for whatever fails before a door was reached, or behind it.
pub async fn outside_the_doors(State(app): State<App>, request: Request, next: Next) -> Response {
    let method = request.method().clone();
    let response = next.run(request).await;
    let asked = Asked { method: &method, door: "none", practice: None, phone: None };
    see_to(&app, asked, response).await
}

/// Doors that fall over or are slow when they are opened, so that a test can see what becomes of the others.
#[cfg(feature = "doubles")]
pub mod on_purpose {
    use axum::http::StatusCode;

    use crate::web::doors::Doors;
    use crate::web::doors::Who;

    pub fn hang(doors: Doors) -> Doors {
        doors
            .unlisted("/falls-over", Who::Anyone, falls_over)
            .unlisted("/my/falls-over", Who::Phone, falls_over)
            .unlisted("/practice/falls-over", Who::Staff, falls_over)
    }

    async fn falls_over() -> StatusCode {
        panic!("a test asked for this")
    }
}
