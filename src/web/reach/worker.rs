//! The script with which a browser shows what is pushed to it. It stands at the root, so that a tap may open any page.

use axum::extract::Path;
use axum::extract::RawQuery;
use axum::http::HeaderMap;
use axum::response::Response;

use crate::web::assets;

pub async fn serve(headers: HeaderMap) -> Response {
    assets::serve(Path("push-worker.js".to_owned()), RawQuery(None), headers).await
}
