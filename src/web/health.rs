//! For machines: whether the program runs, whether it can do its work, whether people answer; and that no search engine
//! should look in. Nothing here names anybody or says anything of anybody's health.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Response;
use serde_json::json;

use crate::care::ready;
use crate::web::App;

/// The process answers; nothing else is asked.
pub async fn live() -> impl IntoResponse {
    Json(json!({ "live": true }))
}

/// It can keep a check and work it off: 200, or 503 and which part cannot.
pub async fn ready(State(app): State<App>) -> Response {
    let found = ready::readiness(&app.desk, app.now()).await;
    let parts = json!({
        "ready": found.is_ready(),
        "database": found.database,
        "disk": found.disk,
        "clock": found.clock,
        "keys": found.keys,
        "runner": found.runner,
    });
    (status(found.is_ready()), Json(parts)).into_response()
}

/// People answer: 200, or 503 and codes of what is wrong.
pub async fn attend(State(app): State<App>) -> Response {
    match ready::answering(&app.desk, app.now()).await {
        Ok(found) => (status(found.wrong.is_empty()), Json(found)).into_response(),
        Err(fault) => {
            tracing::error!(%fault, "how people answer could not be read");
            (StatusCode::SERVICE_UNAVAILABLE, Json(json!({ "wrong": ["unreadable"] }))).into_response()
        }
    }
}

fn status(is_well: bool) -> StatusCode {
    if is_well { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE }
}

pub async fn robots() -> impl IntoResponse {
    ([(header::CONTENT_TYPE, "text/plain; charset=utf-8")], "User-agent: *\nDisallow: /\n")
}
