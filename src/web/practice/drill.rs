//! For the lead: when drills are, how long they took, and how long the oldest check may wait.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::drill;
use crate::care::drill::Board;
use crate::care::drill::Typed;
use crate::store::drills::Drill;
use crate::store::staff::StaffMember;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::practice::drill_words;
use crate::web::practice::drill_words::DrillPlot;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

const DAYS: [&str; 7] = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];

/// The form as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct DrillForm {
    weekday: String,
    time: String,
    queue_oldest_hours: String,
}

impl DrillForm {
    fn of(board: &Board) -> DrillForm {
        let drill = board.settings.drill;
        DrillForm {
            weekday: drill.map_or_else(String::new, |drill| drill.weekday.to_string()),
            time: drill.map_or_else(String::new, |drill| {
                format!("{:02}:{:02}", drill.minute / 60, drill.minute % 60)
            }),
            queue_oldest_hours: board.settings.queue_oldest_hours.to_string(),
        }
    }
}

struct Day {
    code: String,
    words: &'static str,
    is_chosen: bool,
}

struct Line {
    begun: String,
    /// Who began it.
    begun_by: String,
    /// Who answered it; empty: nobody yet.
    answered_by: String,
    took: String,
}

#[derive(Template)]
#[template(path = "practice/drill.html")]
struct DrillsPage {
    frame: Frame,
    days: Vec<Day>,
    form: DrillForm,
    lines: Vec<Line>,
    plot: DrillPlot,
    runs: bool,
    /// Why a drill could not be begun; empty: none was tried.
    refused: &'static str,
    faults: Faults,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    shown(&app, &member, None, Vec::new(), "").await
}

pub async fn keep(
    State(app): State<App>,
    member: Member,
    Form(form): Form<DrillForm>,
) -> Result<Response, PageError> {
    let typed = Typed {
        weekday: form.weekday.clone(),
        time: form.time.clone(),
        queue_oldest_hours: form.queue_oldest_hours.clone(),
    };
    match drill::set(&app.desk, &member.member, &typed, app.now()).await {
        Ok(()) => Ok(Redirect::to("/practice/drill").into_response()),
        Err(CareError::Entered(faults)) => shown(&app, &member, Some(form), faults, "").await,
        Err(other) => Err(other.into()),
    }
}

pub async fn start(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    match drill::begin(&app.desk, &member.member, &app.moment()).await {
        Ok(()) => Ok(Redirect::to("/practice/drill").into_response()),
        Err(CareError::AlreadyDone) => {
            let words =
                "A drill runs already, or something real is urgent. Begin it when that has been answered.";
            shown(&app, &member, None, Vec::new(), words).await
        }
        Err(other) => Err(other.into()),
    }
}

async fn shown(
    app: &App,
    member: &Member,
    form: Option<DrillForm>,
    faults: Vec<Fault>,
    refused: &'static str,
) -> Result<Response, PageError> {
    let board = drill::board(&app.desk, &member.member).await?;
    let frame = Frame::of(app, member, Part::Practice, "Drill").await?;
    let form = form.unwrap_or_else(|| DrillForm::of(&board));
    let now = app.now();
    let line = |drill: &Drill| Line {
        begun: time_words::clock_time(drill.begun, now, &frame.practice.zone, STAFF_LANGUAGE),
        begun_by: match drill.begun_by {
            Some(by) => name(&board.staff, |member| member.id == by),
            None => "the calendar".to_owned(),
        },
        answered_by: drill
            .answered
            .map_or_else(String::new, |(by, _)| name(&board.staff, |member| member.id == by)),
        took: drill
            .answered
            .map_or_else(String::new, |(_, at)| drill_words::took(at.duration_since(drill.begun))),
    };
    let shown = DrillsPage {
        days: (1..)
            .zip(DAYS)
            .map(|(number, words)| {
                let code = number.to_string();
                Day { is_chosen: form.weekday == code, code, words }
            })
            .collect(),
        lines: board.drills.iter().map(line).collect(),
        plot: DrillPlot::of(&board.drills),
        runs: board.drills.iter().any(|drill| drill.answered.is_none()),
        form,
        refused,
        faults: Faults(faults),
        frame,
    };
    page(shown.faults.status(), &shown)
}

fn name(staff: &[StaffMember], is: impl Fn(&StaffMember) -> bool) -> String {
    staff
        .iter()
        .find(|member| is(member))
        .map_or_else(|| "a colleague".to_owned(), |member| member.name.clone())
}
