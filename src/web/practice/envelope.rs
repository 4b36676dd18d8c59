//! For the lead: the code in the sealed envelope, who looked by it, and what came of that.

use askama::Template;
use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::envelope;
use crate::care::envelope::Board;
use crate::care::grouped;
use crate::ids::LookId;
use crate::ids::StaffId;
use crate::store::sealed_codes::Look;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::envelope::PATH;
use crate::web::error::PageError;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

struct LookRow {
    id: String,
    name: String,
    reason: String,
    browser: String,
    began: String,
    /// How long it runs, or how it ended.
    stands: String,
    is_running: bool,
    /// What a lead noted; empty: nobody has yet.
    note: String,
    noted: String,
}

#[derive(Template)]
#[template(path = "practice/envelope.html")]
struct EnvelopePage {
    frame: Frame,
    /// When the code that stands was printed and by whom; empty: there is none.
    standing: String,
    looks: Vec<LookRow>,
    /// The look a note was refused for, and what was typed; empty: none was.
    typed: (String, String),
    faults: Faults,
}

#[derive(Template)]
#[template(path = "practice/envelope_sheet.html")]
struct SheetPage {
    frame: Frame,
    code: String,
    address: String,
    printed: String,
}

/// What a lead found out.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct NoteForm {
    note: String,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    shown(&app, &member, (String::new(), String::new()), Vec::new()).await
}

async fn shown(
    app: &App,
    member: &Member,
    typed: (String, String),
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let now = app.now();
    let board = envelope::board(&app.desk, &member.member).await?;
    let clock = |at| time_words::clock_time(at, now, &board.practice.zone, STAFF_LANGUAGE);
    let standing = board.standing.as_ref().map_or_else(String::new, |code| {
        format!("{} by {}", clock(code.printed), name(&board, code.printed_by))
    });
    let shown = EnvelopePage {
        frame: Frame::of(app, member, Part::Practice, "Sealed envelope").await?,
        standing,
        looks: board.looks.iter().map(|look| row(&board, look, now)).collect(),
        typed,
        faults: Faults(faults),
    };
    page(shown.faults.status(), &shown)
}

fn row(board: &Board, look: &Look, now: Timestamp) -> LookRow {
    let clock = |at| time_words::clock_time(at, now, &board.practice.zone, STAFF_LANGUAGE);
    LookRow {
        id: look.id.to_string(),
        name: look.name.clone(),
        reason: look.reason.to_string(),
        browser: look.browser.clone(),
        began: clock(look.began),
        stands: match look.ended {
            Some((at, by)) => format!("ended by {}, {}", name(board, by), clock(at)),
            None if look.is_running(now) => format!("runs until {}", clock(look.until)),
            None => format!("ended by itself, {}", clock(look.until)),
        },
        is_running: look.is_running(now),
        note: look.noted.as_ref().map_or_else(String::new, |noted| noted.words.to_string()),
        noted: look
            .noted
            .as_ref()
            .map_or_else(String::new, |noted| format!("{}, {}", name(board, noted.by), clock(noted.at))),
    }
}

fn name(board: &Board, id: StaffId) -> &str {
    let member = board.staff.iter().find(|member| member.id == id);
    member.map_or("a colleague", |member| member.name.as_str())
}

/// Prints a new code. The page is the sheet: the code is shown on it, and never again.
pub async fn print(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let code = envelope::print(&app.desk, &member.member, &app.moment()).await?;
    let frame = Frame::of(&app, &member, Part::Practice, "Sealed envelope").await?;
    let printed = time_words::day(app.now(), &frame.practice.zone, STAFF_LANGUAGE);
    let shown = SheetPage {
        code: grouped(code.reveal()),
        address: format!("{}{PATH}", app.public_url),
        printed: format!("{printed}, {}", member.member.name),
        frame,
    };
    page(StatusCode::OK, &shown)
}

pub async fn end(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Redirect, PageError> {
    envelope::end(&app.desk, &member.member, read_id(&id)?, app.now()).await?;
    Ok(Redirect::to("/practice/envelope"))
}

pub async fn note(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<NoteForm>,
) -> Result<Response, PageError> {
    match envelope::note(&app.desk, &member.member, read_id(&id)?, &form.note, app.now()).await {
        Ok(()) => Ok(Redirect::to("/practice/envelope").into_response()),
        Err(CareError::Entered(faults)) => shown(&app, &member, (id, form.note), faults).await,
        Err(other) => Err(other.into()),
    }
}

fn read_id(text: &str) -> Result<LookId, PageError> {
    text.parse().map_err(|_| PageError::NotFound)
}
