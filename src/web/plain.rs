//! A NUL is no letter: PostgreSQL keeps none, and no form means one. It is left out before anybody reads what was typed.

use axum::body::Body;
use axum::extract::Request;
use axum::http::Uri;
use axum::http::header;
use axum::middleware::Next;
use axum::response::IntoResponse;
use axum::response::Response;

use crate::web::error::PageError;

/// What a form without files may weigh; axum's own limit for one.
const LARGEST_FORM: usize = 2 * 1_024 * 1_024;
const FORM: &str = "application/x-www-form-urlencoded";

pub async fn without_nul(mut request: Request, next: Next) -> Response {
    if let Some(plain) = plain_address(request.uri()) {
        *request.uri_mut() = plain;
    }
    let kind = request.headers().get(header::CONTENT_TYPE);
    if !kind.is_some_and(|kind| kind.as_bytes().starts_with(FORM.as_bytes())) {
        return next.run(request).await;
    }
    let (mut parts, body) = request.into_parts();
    let Ok(bytes) = axum::body::to_bytes(body, LARGEST_FORM).await else {
        return PageError::TooBig.into_response();
    };
    let plain = plain_form(&bytes);
    parts.headers.remove(header::CONTENT_LENGTH);
    next.run(Request::from_parts(parts, Body::from(plain))).await
}

/// `None`: there is nothing to leave out.
fn plain_address(address: &Uri) -> Option<Uri> {
    let whole = address.path_and_query()?.as_str();
    if !whole.contains("%00") {
        return None;
    }
    whole.replace("%00", "").parse().ok()
}

fn plain_form(bytes: &[u8]) -> Vec<u8> {
    let mut plain = Vec::with_capacity(bytes.len());
    let mut rest = bytes;
    while let Some((first, others)) = rest.split_first() {
        if let Some(after) = rest.strip_prefix(b"%00") {
            rest = after;
        } else {
            if *first != 0 {
                plain.push(*first);
            }
            rest = others;
        }
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nul_is_left_out_and_nothing_else() {
        assert_eq!(plain_form(b"name=Mi%00a&note=a\0b%2500c"), b"name=Mia&note=ab%2500c");
        assert_eq!(plain_form(b"%00%00"), b"");
        let address: Uri = "/patients?name=Mi%00a".parse().unwrap();
        assert_eq!(plain_address(&address).unwrap(), "/patients?name=Mia");
        assert_eq!(plain_address(&"/patients?name=Mia".parse().unwrap()), None);
    }
}
