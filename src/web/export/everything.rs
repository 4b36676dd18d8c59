//! Practice → Export: a lead asks for everything of the practice, a second person agrees, and the code is used on the server.

use askama::Template;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::export::agreement;
use crate::care::export::agreement::Board;
use crate::care::grouped;
use crate::ids::ExportAgreementId;
use crate::store::export_agreements::ExportAgreement;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

struct Line {
    id: String,
    says: String,
    /// Somebody else may agree to it now, and it is this member.
    can_agree: bool,
    can_withdraw: bool,
}

#[derive(Template)]
#[template(path = "practice/export.html")]
struct ExportPage {
    frame: Frame,
    lines: Vec<Line>,
    can_ask: bool,
    /// Nobody else is there who could agree.
    is_alone: bool,
    /// Shown once, to whoever agreed; empty otherwise.
    code: String,
    fault: String,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    board(&app, &member, String::new(), String::new(), StatusCode::OK).await
}

async fn board(
    app: &App,
    member: &Member,
    code: String,
    fault: String,
    status: StatusCode,
) -> Result<Response, PageError> {
    let now = app.now();
    let board = agreement::board(&app.desk, &member.member).await?;
    let frame = Frame::of(app, member, Part::of_ranking(member), "Export").await?;
    let clock = |at| time_words::clock_time(at, now, &frame.practice.zone, STAFF_LANGUAGE);
    let is_open = board.agreements.iter().any(|one| one.is_open(now));
    let others = board
        .staff
        .iter()
        .filter(|one| one.active && one.id != member.member.id && agreement::may_agree(one));
    let is_alone = others.count() == 0;
    let lines = board
        .agreements
        .iter()
        .map(|one| Line {
            id: one.id.to_string(),
            says: says(&board, one, now, &clock),
            can_agree: one.is_open(now)
                && one.agreed.is_none()
                && one.asked_by != member.member.id
                && board.asker_is_here(one),
            can_withdraw: one.is_open(now),
        })
        .collect();
    let shown = ExportPage {
        can_ask: member.member.roles.lead && !is_open && !is_alone,
        is_alone,
        lines,
        code,
        fault,
        frame,
    };
    page(status, &shown)
}

fn says(
    board: &Board,
    one: &ExportAgreement,
    now: Timestamp,
    clock: &impl Fn(Timestamp) -> String,
) -> String {
    let mut says = format!("{} asked, {}.", board.name_of(one.asked_by), clock(one.asked));
    if let Some((by, at)) = one.agreed {
        says = format!("{says} {} agreed, {}.", board.name_of(by), clock(at));
    }
    match (one.taken, one.withdrawn) {
        (Some(taken), _) => format!("{says} Taken out on the server, {}.", clock(taken)),
        (None, Some(withdrawn)) => format!("{says} Taken back, {}.", clock(withdrawn)),
        (None, None) if one.until <= now => format!("{says} Not used within a day; over."),
        (None, None) if one.agreed.is_some() => format!("{says} The code works until {}.", clock(one.until)),
        (None, None) if !board.asker_is_here(one) => {
            format!("{says} They have been switched off since: nobody can agree to it.")
        }
        (None, None) => format!("{says} Waits for a second person until {}.", clock(one.until)),
    }
}

pub async fn ask(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    match agreement::ask(&app.desk, &member.member, &app.moment()).await {
        Ok(_) => Ok(Redirect::to("/practice/export").into_response()),
        Err(CareError::Entered(faults)) => refused(&app, &member, faults).await,
        Err(other) => Err(other.into()),
    }
}

async fn refused(app: &App, member: &Member, faults: Vec<Fault>) -> Result<Response, PageError> {
    let fault = faults.into_iter().map(|fault| fault.words).collect::<Vec<_>>().join(" ");
    board(app, member, String::new(), fault, StatusCode::UNPROCESSABLE_ENTITY).await
}

pub async fn agree(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id: ExportAgreementId = id.parse().map_err(|_| PageError::NotFound)?;
    match agreement::agree(&app.desk, &member.member, id, &app.moment()).await {
        Ok(code) => board(&app, &member, grouped(code.reveal()), String::new(), StatusCode::OK).await,
        Err(CareError::Entered(faults)) => refused(&app, &member, faults).await,
        Err(other) => Err(other.into()),
    }
}

pub async fn withdraw(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id: ExportAgreementId = id.parse().map_err(|_| PageError::NotFound)?;
    agreement::withdraw(&app.desk, &member.member, id, app.now()).await?;
    Ok(Redirect::to("/practice/export").into_response())
}
