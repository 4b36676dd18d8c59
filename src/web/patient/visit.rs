//! The answer to "come in": one press on *Today*.

use axum::Form;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::come_in;
use crate::web::App;
use crate::web::doors::Phone;
use crate::web::error::PageError;

/// What was pressed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct VisitForm {
    review: String,
    answer: String,
}

pub async fn answer(
    State(app): State<App>,
    phone: Phone,
    Form(form): Form<VisitForm>,
) -> Result<Response, PageError> {
    let (Ok(review), Ok(answer)) = (form.review.parse(), form.answer.parse()) else {
        return Err(PageError::NotFound);
    };
    come_in::answer(&app.desk, &phone.holder, review, answer, &app.moment()).await?;
    Ok(Redirect::to("/my").into_response())
}
