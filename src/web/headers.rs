//! What every response says to the browser, and the proof every change must bring.

use axum::extract::Request;
use axum::extract::State;
use axum::http::HeaderValue;
use axum::http::Method;
use axum::http::StatusCode;
use axum::http::header;
use axum::http::header::HeaderName;
use axum::middleware::Next;
use axum::response::IntoResponse;
use axum::response::Response;

use crate::web::App;
use crate::web::error::PageError;
use crate::web::reach::STATUS_PATH;
use crate::web::refusals;

/// Nothing from elsewhere, nothing inline.
const CONTENT_SECURITY_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
    img-src 'self' blob: data:; font-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; \
    frame-ancestors 'none'; object-src 'none'";

const ALWAYS: &[(&str, &str)] = &[
    ("content-security-policy", CONTENT_SECURITY_POLICY),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(self), geolocation=(), microphone=()"),
    ("x-robots-tag", "noindex, noarchive"),
];

pub async fn add(State(app): State<App>, request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    if refusals::is_from_elsewhere(&response) {
        refusals::note_elsewhere(&app).await;
    }
    let headers = response.headers_mut();
    for (name, value) in ALWAYS {
        headers.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    if app.is_https() {
        let two_years = HeaderValue::from_static("max-age=63072000; includeSubDomains");
        headers.insert(header::STRICT_TRANSPORT_SECURITY, two_years);
    }
    // Only what is the same for everyone says `public`; the rest is about a patient, streams among them.
    let same_for_everyone =
        headers.get(header::CACHE_CONTROL).is_some_and(|said| said.as_bytes().starts_with(b"public"));
    if !same_for_everyone {
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
    response
}

/// A change needs proof that one of our own pages asked for it: `Sec-Fetch-Site`, or a matching `Origin`. The layer
/// behind this one compares them; here a request that brings neither is refused.
pub async fn need_origin(request: Request, next: Next) -> Response {
    // A provider is no browser, and brings a signature in place of this.
    if !brings_proof(&request) && request.uri().path() != STATUS_PATH {
        return PageError::FromElsewhere.into_response();
    }
    let response = next.run(request).await;
    // The layer that compares refuses without a word; a person is told what to do.
    let without_a_word = !response.headers().contains_key(header::CONTENT_TYPE);
    if response.status() == StatusCode::FORBIDDEN && without_a_word {
        return PageError::FromElsewhere.into_response();
    }
    response
}

fn brings_proof(request: &Request) -> bool {
    let reads = matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    reads || request.headers().contains_key("sec-fetch-site") || request.headers().contains_key("origin")
}
