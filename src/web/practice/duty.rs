//! Duty: who is on now, the fortnight ahead with its gaps, and swaps.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::addresses;
use crate::care::duty;
use crate::care::duty::SHOWN_DAYS;
use crate::duty::Rank;
use crate::duty::Watch;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::practice::duty_typed::Typed;
use crate::web::practice::duty_view;
use crate::web::practice::duty_view::Choice;
use crate::web::practice::duty_view::Day;
use crate::web::practice::duty_view::GapLine;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

struct NowLine {
    who: String,
    rank: &'static str,
    until: String,
}

#[derive(Template)]
#[template(path = "practice/duty.html")]
struct DutyPage {
    frame: Frame,
    zone: String,
    /// No shift was ever entered.
    is_blank: bool,
    now: Vec<NowLine>,
    /// When somebody is on duty again; empty: not within the fortnight.
    again: String,
    is_watched: bool,
    days_shown: i64,
    days: Vec<Day>,
    keeps_second: bool,
    gaps: Vec<GapLine>,
    /// Who is called when something urgent waits, and cannot be written to anywhere.
    unreached: Vec<String>,
    spans: Vec<Choice>,
    people: Vec<Choice>,
    typed: Typed,
    faults: Faults,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    duty_page(&app, &member, Typed::default(), Vec::new()).await
}

async fn duty_page(
    app: &App,
    member: &Member,
    typed: Typed,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let now = app.now();
    let board = duty::board(&app.desk, &member.member, now).await?;
    let zone = &board.practice.zone;
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let watch = board.roster.watch_or_hours(&board.hours, now);
    let channels = &app.outside.channels;
    let unreached = addresses::unreachable(&app.desk, member.member.practice, channels).await?;
    let shown = DutyPage {
        frame: Frame::of(app, member, Part::of_duty(member), "Duty").await?,
        zone: zone.iana_name().unwrap_or("not named").to_owned(),
        is_blank: board.roster.is_blank(),
        now: board
            .roster
            .on_duty(now)
            .into_iter()
            .map(|on| NowLine {
                who: duty_view::name_of(&board.staff, on.staff),
                rank: duty_view::rank_words(on.rank),
                until: clock(on.until),
            })
            .collect(),
        again: match watch {
            Watch::Nobody { again: Some(again) } => clock(again),
            Watch::Nobody { again: None } | Watch::Somebody { .. } => String::new(),
        },
        is_watched: matches!(watch, Watch::Somebody { .. }),
        days_shown: SHOWN_DAYS,
        days: duty_view::fortnight(&board, now),
        keeps_second: board.roster.keeps(Rank::Second),
        gaps: duty_view::gaps(&board, now),
        unreached: duty_view::called_and_unreached(&board, &unreached, &member.member, now),
        spans: duty_view::spans(&board, member.member.id, now),
        people: duty_view::people(&board.staff),
        typed,
        faults: Faults(faults),
    };
    page(shown.faults.status(), &shown)
}

pub async fn swap(
    State(app): State<App>,
    member: Member,
    Form(fields): Form<Vec<(String, String)>>,
) -> Result<Response, PageError> {
    let typed = Typed::new(fields);
    let (given, back) = match typed.swap() {
        Ok(read) => read,
        Err(faults) => return duty_page(&app, &member, typed, faults).await,
    };
    match duty::swap(&app.desk, &member.member, given, back, &app.moment()).await {
        Ok(()) => Ok(Redirect::to("/practice/duty").into_response()),
        Err(CareError::Entered(faults)) => duty_page(&app, &member, typed, faults).await,
        Err(other) => Err(other.into()),
    }
}
