//! An open page answers the beats of its live line: the line holds in both directions, and the page still runs.

use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use jiff::Timestamp;
use serde::Deserialize;

use crate::care::attend;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;

/// What a page answers.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Heard {
    /// The beat it heard, as the line gave it: epoch milliseconds.
    beat: i64,
}

pub async fn note(
    State(app): State<App>,
    member: Member,
    Form(heard): Form<Heard>,
) -> Result<StatusCode, PageError> {
    let beat = Timestamp::from_millisecond(heard.beat).unwrap_or(Timestamp::UNIX_EPOCH);
    attend::note_beat(&app.desk, &member.member, beat, app.now()).await?;
    Ok(StatusCode::NO_CONTENT)
}
