//! For machines: whether the program runs, and that no search engine should look in.

use axum::http::header;
use axum::response::IntoResponse;

pub async fn live() -> &'static str {
    "alive\n"
}

pub async fn robots() -> impl IntoResponse {
    ([(header::CONTENT_TYPE, "text/plain; charset=utf-8")], "User-agent: *\nDisallow: /\n")
}
