//! What the holder of a phone sets: the language, and leaving.

use axum::Form;
use axum::extract::State;
use axum::http::header;
use axum::response::AppendHeaders;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;

use crate::care::knock;
use crate::web::App;
use crate::web::cookies::Cookie;
use crate::web::doors::Phone;
use crate::web::error::PageError;
use crate::web::patient::check_page;
use crate::web::patient::link;
use crate::web::patient::typed::Typed;
use crate::words::Language;

/// Speaks the other language from now on. Pressed inside the check form, it brings what was typed along.
pub async fn speak(
    State(app): State<App>,
    mut phone: Phone,
    Form(fields): Form<Vec<(String, String)>>,
) -> Result<Response, PageError> {
    let typed = Typed::new(fields);
    // A language we do not have changes nothing, and loses nothing.
    if let Ok(language) = typed.text("language").parse::<Language>() {
        knock::speak(&app.desk, &phone.token, language).await?;
        phone.holder.language = language;
    }
    if !typed.form_key().is_empty() {
        return check_page::again(&app, &phone.holder, &typed).await;
    }
    Ok(Redirect::to(way_back(typed.text("back"))).into_response())
}

/// Only to one of our own pages.
fn way_back(back: &str) -> &str {
    let receipt = back.strip_prefix("/my/sent/").unwrap_or("");
    let is_receipt =
        !receipt.is_empty() && receipt.chars().all(|sign| sign.is_ascii_alphanumeric() || sign == '-');
    if is_receipt || matches!(back, "/my/check" | "/my/answers") { back } else { "/my" }
}

/// Ends this phone's session and asks the browser to forget the pages.
pub async fn leave(State(app): State<App>, phone: Phone) -> Result<Response, PageError> {
    knock::leave(&app.desk, &phone.token).await?;
    let headers = AppendHeaders([
        (header::SET_COOKIE, Cookie::Phone.clear(&app)),
        (
            header::HeaderName::from_static("clear-site-data"),
            header::HeaderValue::from_static("\"cache\", \"storage\""),
        ),
    ]);
    Ok((headers, link::left_page()?).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_back_never_leaves_the_house() {
        for fine in ["/my/check", "/my/answers", "/my/sent/K7QM-4T9X"] {
            assert_eq!(way_back(fine), fine);
        }
        for odd in ["//elsewhere.example", "https://elsewhere.example", "", "/my/sent/", "/my/sent/a/b"] {
            assert_eq!(way_back(odd), "/my", "{odd}");
        }
    }
}
