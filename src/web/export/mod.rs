//! Copies that leave the house: a wound's episode as a zip, corrections beside what was wrong, and the agreement of two
//! people that everything of a practice is taken out.

mod archive;
mod call_part;
mod check_part;
mod document;
mod everything;
mod make;
pub(in crate::web) mod names;
mod plan_part;
mod record_check;
mod record_part;
mod teller;

pub use make::copy;

use axum::Form;
use axum::body::Body;
use axum::extract::Path;
use axum::extract::State;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::correction;
use crate::care::export;
use crate::care::export::CopyFor;
use crate::care::export::Episode;
use crate::ids::WoundCheckId;
use crate::ids::WoundId;
use crate::web::App;
use crate::web::doors::Doors;
use crate::web::doors::Member;
use crate::web::doors::Who;
use crate::web::error::PageError;

pub fn hang(doors: Doors) -> Doors {
    doors
        .post_fresh("/wounds/{id}/copy", Who::Surgeon, take)
        .post("/checks/{id}/correct", Who::Surgeon, correct)
        .get("/practice/export", Who::Judge, everything::show)
        .post_fresh("/practice/export", Who::Lead, everything::ask)
        .post_fresh("/practice/export/{id}/agree", Who::Judge, everything::agree)
        .post("/practice/export/{id}/withdraw", Who::Judge, everything::withdraw)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct CopyForm {
    copy: String,
}

/// The zip.
async fn take(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<CopyForm>,
) -> Result<Response, PageError> {
    let id: WoundId = id.parse().map_err(|_| PageError::NotFound)?;
    // Whoever does not say which one gets the smaller one.
    let copy = form.copy.parse().unwrap_or(CopyFor::Patient);
    let episode = export::of_wound(&app.desk, &member.member, id, copy, app.now()).await?;
    let name = file_name(&episode);
    let body = Body::from_stream(make::copy(app.desk.clone(), episode));
    Ok((
        [
            (header::CONTENT_TYPE, "application/zip".to_owned()),
            (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
        ],
        body,
    )
        .into_response())
}

/// What the zip of an episode is called.
pub fn file_name(episode: &Episode) -> String {
    format!("{}.zip", names::of_copy(episode))
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct CorrectionForm {
    /// A decision's id; empty: the check itself.
    about: String,
    words: String,
}

async fn correct(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<CorrectionForm>,
) -> Result<Response, PageError> {
    let id: WoundCheckId = id.parse().map_err(|_| PageError::NotFound)?;
    let review = match form.about.as_str() {
        "" => None,
        review => Some(review.parse().map_err(|_| PageError::NotFound)?),
    };
    correction::add(&app.desk, &member.member, id, review, &form.words, &app.moment()).await?;
    Ok(Redirect::to(&format!("/checks/{id}#corrections")).into_response())
}
