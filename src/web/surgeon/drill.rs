//! A drill, opened: only now it says that it was one.

use askama::Template;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;

use crate::care::drill;
use crate::ids::DrillId;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::practice::drill_words;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

#[derive(Template)]
#[template(path = "surgeon/drill.html")]
struct DrillPage {
    frame: Frame,
    begun: String,
    /// Who opened it; empty: nobody yet.
    by: String,
    took: String,
    reads_queue: bool,
}

pub async fn open(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id: DrillId = id.parse().map_err(|_| PageError::NotFound)?;
    drill::open(&app.desk, &member.member, id, app.now()).await?;
    Ok(Redirect::to(&format!("/drills/{id}")).into_response())
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id: DrillId = id.parse().map_err(|_| PageError::NotFound)?;
    let (drill, by) = drill::view(&app.desk, &member.member, id).await?;
    let frame = Frame::of(&app, &member, Part::Queue, "Drill").await?;
    let shown = DrillPage {
        begun: time_words::clock_time(drill.begun, app.now(), &frame.practice.zone, STAFF_LANGUAGE),
        by: by.unwrap_or_default(),
        took: drill
            .answered
            .map_or_else(String::new, |(_, at)| drill_words::took(at.duration_since(drill.begun))),
        reads_queue: member.member.roles.surgeon,
        frame,
    };
    page(StatusCode::OK, &shown)
}
