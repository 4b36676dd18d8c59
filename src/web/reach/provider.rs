//! The door for providers: what became of a letter, and who wants no more of them. A signature lets in.

use axum::body::Bytes;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Response;

use crate::care::outbox;
use crate::care::outbox::ToldBack;
use crate::care::outbox::What;
use crate::notify::BadStatus;
use crate::notify::State as Became;
use crate::notify::Status;
use crate::web::App;
use crate::web::error::PageError;

pub const STATUS_PATH: &str = "/provider/status";
/// A real one has some 200 bytes.
pub const LONGEST_BYTES: usize = 16 * 1024;

/// Answers in plain words, for whoever sets a provider up.
pub async fn status(State(app): State<App>, headers: HeaderMap, body: Bytes) -> Result<Response, PageError> {
    let header = |name: &str| headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let (timestamp, signature) = (header("closewatch-timestamp"), header("closewatch-signature"));
    let refused = match app.post.read_status(&body, timestamp, signature, app.now()) {
        Ok(status) => {
            outbox::hear(&app.desk, &told_back(status), &app.outside, &app.moment()).await?;
            return Ok((StatusCode::OK, "noted").into_response());
        }
        Err(refused) => refused,
    };
    let (code, reason) = match refused {
        BadStatus::Signature => (StatusCode::UNAUTHORIZED, "signature"),
        BadStatus::Stale => (StatusCode::UNAUTHORIZED, "time"),
        BadStatus::Form => (StatusCode::BAD_REQUEST, "form"),
    };
    outbox::refuse(&app.desk, reason, app.now()).await?;
    Ok((code, refused.to_string()).into_response())
}

fn told_back(status: Status) -> ToldBack {
    let what = match status.state {
        Became::Delivered => What::Delivered,
        Became::Failed => What::Failed,
        Became::OptedOut => What::OptedOut,
        Became::OptedIn => What::OptedIn,
    };
    ToldBack { reference: status.reference, what, why: status.why, from: status.from }
}
