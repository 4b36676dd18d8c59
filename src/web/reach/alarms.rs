//! What nobody sees to yet, with one press to see to it.

use askama::Template;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;

use crate::care::alarms;
use crate::care::alarms::Press;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::reach::alarms_view;
use crate::web::reach::alarms_view::AlarmRow;
use crate::web::reach::alarms_view::CalledRow;
use crate::web::reach::alarms_view::SeenRow;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

#[derive(Template)]
#[template(path = "reach/alarms.html")]
struct AlarmsPage {
    frame: Frame,
    called: Vec<CalledRow>,
    seen: Vec<SeenRow>,
    alarms: Vec<AlarmRow>,
    /// What came of a press that did nothing; empty: there was none.
    said: String,
    may_see_to: bool,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    alarms_page(&app, &member, StatusCode::OK, String::new()).await
}

async fn alarms_page(
    app: &App,
    member: &Member,
    status: StatusCode,
    said: String,
) -> Result<Response, PageError> {
    let now = app.now();
    let board = alarms::board(&app.desk, &member.member, now).await?;
    let roles = member.member.roles;
    let reader = alarms_view::Reader { roles, now, zone: &board.practice.zone };
    // The page itself is what the strip leads to.
    let frame = Frame { strip: None, ..Frame::of(app, member, Part::Me, "Alarms").await? };
    let shown = AlarmsPage {
        frame,
        called: board.running.iter().map(|one| reader.called(one)).collect(),
        seen: board.seen_to.iter().map(|one| reader.seen(one)).collect(),
        alarms: board.alarms.iter().map(|one| reader.alarm(one)).collect(),
        said,
        may_see_to: roles.surgeon || roles.office,
    };
    page(status, &shown)
}

pub async fn see_to_ladder(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id = id.parse().map_err(|_| PageError::NotFound)?;
    let press = alarms::see_to_ladder(&app.desk, &member.member, id, app.now()).await?;
    answer(&app, &member, press).await
}

pub async fn see_to_alarm(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id = id.parse().map_err(|_| PageError::NotFound)?;
    let press = alarms::see_to_alarm(&app.desk, &member.member, id, app.now()).await?;
    answer(&app, &member, press).await
}

async fn answer(app: &App, member: &Member, press: Press) -> Result<Response, PageError> {
    let said = match press {
        Press::Yours => return Ok(Redirect::to("/alarms").into_response()),
        Press::Theirs { by, since } => {
            let frame = Frame::of(app, member, Part::Me, "Alarms").await?;
            let clock = time_words::clock_time(since, app.now(), &frame.practice.zone, STAFF_LANGUAGE);
            format!("{by} sees to it since {clock}. You need do nothing more about it.")
        }
        Press::Over => {
            "This is over, or a more urgent call took its place. See how it stands below.".to_owned()
        }
    };
    alarms_page(app, member, StatusCode::CONFLICT, said).await
}

pub async fn end(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Redirect, PageError> {
    let id = id.parse().map_err(|_| PageError::NotFound)?;
    alarms::end_alarm(&app.desk, &member.member, id, app.now()).await?;
    Ok(Redirect::to("/alarms"))
}
