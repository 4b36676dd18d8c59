//! Style sheets, scripts and icons, built into the binary.

use axum::extract::Path;
use axum::extract::RawQuery;
use axum::http::HeaderMap;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Response;
use data_encoding::HEXLOWER;

#[derive(rust_embed::Embed)]
#[folder = "static/"]
struct Assets;

/// Where a page finds an asset: its address changes with its content, so that browsers may keep it.
pub fn address(name: &str) -> String {
    match Assets::get(name) {
        Some(file) => format!("/static/{name}?v={}", &HEXLOWER.encode(&file.metadata.sha256_hash())[..12]),
        None => format!("/static/{name}"),
    }
}

/// A script that another script imports is asked for without its version: then the browser asks again each time.
pub async fn serve(Path(name): Path<String>, RawQuery(version): RawQuery, headers: HeaderMap) -> Response {
    let Some(file) = Assets::get(&name) else { return StatusCode::NOT_FOUND.into_response() };
    let etag = format!("\"{}\"", HEXLOWER.encode(&file.metadata.sha256_hash()));
    let kind = file.metadata.mimetype().to_owned();
    let keep = if version.is_some() { "public, max-age=86400" } else { "public, no-cache" };
    if headers.get(header::IF_NONE_MATCH).is_some_and(|seen| seen.as_bytes() == etag.as_bytes()) {
        return (StatusCode::NOT_MODIFIED, [(header::ETAG, etag)]).into_response();
    }
    let kind = if kind.starts_with("text/") { format!("{kind}; charset=utf-8") } else { kind };
    (
        [(header::CONTENT_TYPE, kind), (header::ETAG, etag), (header::CACHE_CONTROL, keep.to_owned())],
        file.data,
    )
        .into_response()
}

/// The mark in a browser's tab. Browsers ask for it at this address whether a page names it or not.
pub async fn icon(headers: HeaderMap) -> Response {
    serve(Path("mark.svg".to_owned()), RawQuery(None), headers).await
}
