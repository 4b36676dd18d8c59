//! What came over plain http where HTTPS is spoken: pages are led to the address people know, changes are refused.

use axum::extract::Request;
use axum::extract::State;
use axum::http::Method;
use axum::middleware::Next;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;

use crate::web::App;
use crate::web::client_address::Carried;
use crate::web::error::PageError;

/// Asked by machines on this host or beside it, and hold nothing about anybody.
const FOR_MACHINES: &[&str] = &["/live", "/ready", "/attend"];

/// Only where the public address is `https://`. A change is never led on: what was typed has been sent in the open already, and a
/// redirect would hide it (ASVS 5.0, 4.1.2).
pub async fn guard(State(app): State<App>, request: Request, next: Next) -> Response {
    let carried = request.extensions().get::<Carried>();
    let in_the_open = app.is_https() && carried == Some(&Carried::PlainHttp);
    if !in_the_open || FOR_MACHINES.contains(&request.uri().path()) {
        return next.run(request).await;
    }
    match *request.method() {
        Method::GET | Method::HEAD => {
            let path = request.uri().path_and_query().map_or("/", |path| path.as_str());
            Redirect::permanent(&format!("{}{path}", app.public_url)).into_response()
        }
        _ => PageError::InTheOpen.into_response(),
    }
}
