//! Opening, reading and giving back one check.

use axum::extract::Path;
use axum::extract::Query;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::envelope;
use crate::care::review;
use crate::ids::WoundCheckId;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::doors::Onlooker;
use crate::web::error::PageError;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::surgeon::decide::DecideForm;
use crate::web::surgeon::decide::DecideView;
use crate::web::surgeon::review_page::ReviewPage;
use crate::web::surgeon::review_page::can_decide;

/// What the address asks for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asking {
    /// A reply text to begin with, chosen without a script.
    reply: String,
}

pub async fn open(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Redirect, PageError> {
    let id = read_id(&id)?;
    review::open(&app.desk, &member.member, id, app.now()).await?;
    Ok(Redirect::to(&format!("/checks/{id}")))
}

pub async fn release(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Redirect, PageError> {
    review::release(&app.desk, &member.member, read_id(&id)?, &app.moment()).await?;
    Ok(Redirect::to("/queue"))
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Query(asking): Query<Asking>,
) -> Result<Response, PageError> {
    let now = app.now();
    let opened = review::view(&app.desk, &member.member, read_id(&id)?, now).await?;
    let me = member.member.id;
    let form = can_decide(&opened, me, now).then(|| {
        DecideView::of(&opened, DecideForm::beginning_with(&asking.reply, &opened, now), Vec::new(), now)
    });
    let frame = Frame::of(&app, &member, Part::Queue, "Wound check").await?;
    page(StatusCode::OK, &ReviewPage::of(&opened, frame, Some(me), form, now))
}

/// The same for whoever opened the sealed envelope: nothing on it can be pressed.
pub async fn show_to_onlooker(
    State(app): State<App>,
    onlooker: Onlooker,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let now = app.now();
    let opened = envelope::check(&app.desk, &onlooker.look, read_id(&id)?, now).await?;
    let frame = Frame::of_look(&app, &onlooker.look, "Wound check").await?;
    page(StatusCode::OK, &ReviewPage::of(&opened, frame, None, None, now).for_a_look())
}

/// An id in an address; what cannot be one is nowhere.
pub fn read_id(text: &str) -> Result<WoundCheckId, PageError> {
    text.parse().map_err(|_| PageError::NotFound)
}
