//! Changing duty: the weekly pattern, shifts on dates, who is away, holidays and hours.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::civil::Date;

use crate::care::CareError;
use crate::care::Done;
use crate::care::Fault;
use crate::care::duty;
use crate::care::duty::Board;
use crate::ids::DutyShiftId;
use crate::store::duty::KeptDated;
use crate::store::duty::KeptWeekly;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::practice::duty_typed::Typed;
use crate::web::practice::duty_typed::WEEK;
use crate::web::practice::duty_typed::time_field;
use crate::web::practice::duty_view;
use crate::web::practice::duty_view::Choice;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::words::calendar;

/// One entry with a button that takes it back.
struct Row {
    id: String,
    when: String,
    who: String,
    more: String,
}

/// One weekday of a form.
struct WeekdayField {
    code: &'static str,
    name: &'static str,
    is_ticked: bool,
    from: String,
    until: String,
}

#[derive(Template)]
#[template(path = "practice/duty_change.html")]
struct ChangePage {
    frame: Frame,
    weekly: Vec<Row>,
    dated: Vec<Row>,
    away: Vec<Row>,
    holidays: Vec<Row>,
    week: Vec<WeekdayField>,
    people: Vec<Choice>,
    typed: Typed,
    faults: Faults,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    change_page(&app, &member, Typed::default(), Vec::new()).await
}

async fn change_page(
    app: &App,
    member: &Member,
    typed: Typed,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let board = duty::board(&app.desk, &member.member, app.now()).await?;
    let today = app.now().to_zoned_datetime(board.practice.zone.clone()).date();
    let holidays = board.hours.holidays.iter().filter(|(day, _)| **day >= today);
    let shown = ChangePage {
        frame: Frame::of(app, member, Part::Practice, "Change duty").await?,
        weekly: board.weekly.iter().map(|kept| weekly_row(&board, kept)).collect(),
        dated: board.dated.iter().map(|kept| dated_row(&board, kept)).collect(),
        away: board
            .away
            .iter()
            .map(|kept| Row {
                id: kept.id.to_string(),
                when: duty_view::stretch_words(kept.absence.from, kept.absence.until, &board.practice.zone),
                who: duty_view::name_of(&board.staff, kept.absence.staff),
                more: String::new(),
            })
            .collect(),
        holidays: holidays
            .map(|(day, name)| Row {
                id: day.to_string(),
                when: calendar::long_day(STAFF_LANGUAGE, day.at(0, 0, 0, 0)),
                who: name.clone(),
                more: day.year().to_string(),
            })
            .collect(),
        week: week(&board, &typed),
        people: duty_view::people(&board.staff),
        typed,
        faults: Faults(faults),
    };
    page(shown.faults.status(), &shown)
}

fn weekly_row(board: &Board, kept: &KeptWeekly) -> Row {
    let shift = &kept.shift;
    let name = WEEK.iter().find(|(weekday, _, _)| *weekday == shift.weekday).map_or("", |(_, _, name)| name);
    let passes = if shift.until_minute <= shift.from_minute { " the next day" } else { "" };
    let (from, until) = (duty_view::clock_face(shift.from_minute), duty_view::clock_face(shift.until_minute));
    Row {
        id: kept.id.to_string(),
        when: format!("{name}, {from} to {until}{passes}"),
        who: duty_view::name_of(&board.staff, shift.staff),
        more: duty_view::rank_words(shift.rank).to_owned() + gone(board, shift.staff),
    }
}

fn gone(board: &Board, staff: crate::ids::StaffId) -> &'static str {
    if board.roster.removed.contains(&staff) { " · switched off: does not count" } else { "" }
}

fn dated_row(board: &Board, kept: &KeptDated) -> Row {
    let shift = &kept.shift;
    let instead = match (shift.instead_of, kept.swap) {
        (Some(replaced), Some(_)) => {
            format!(" · swapped with {}", duty_view::name_of(&board.staff, replaced))
        }
        (Some(replaced), None) => format!(" · instead of {}", duty_view::name_of(&board.staff, replaced)),
        (None, _) => String::new(),
    };
    Row {
        id: kept.id.to_string(),
        when: duty_view::stretch_words(shift.from, shift.until, &board.practice.zone),
        who: duty_view::name_of(&board.staff, shift.staff),
        more: format!("{}{instead}{}", duty_view::rank_words(shift.rank), gone(board, shift.staff)),
    }
}

fn week(board: &Board, typed: &Typed) -> Vec<WeekdayField> {
    let field = |(weekday, code, name): (_, &'static str, &'static str)| {
        let hours = board.hours.of(weekday);
        let usual = |minute: Option<i64>| minute.map_or_else(String::new, time_field);
        let (from, until) = (hours.map(|day| day.from_minute()), hours.map(|day| day.until_minute()));
        WeekdayField {
            code,
            name,
            is_ticked: typed.is_ticked(&format!("weekly_{code}")),
            from: typed.text_or(&format!("hours_{code}_from"), &usual(from)),
            until: typed.text_or(&format!("hours_{code}_until"), &usual(until)),
        }
    };
    WEEK.into_iter().map(field).collect()
}

type Fields = Form<Vec<(String, String)>>;

/// Back to the page when it was kept; the page with its faults when it was not.
async fn answered(app: &App, member: &Member, typed: Typed, done: Done<()>) -> Result<Response, PageError> {
    match done {
        Ok(()) => Ok(Redirect::to("/practice/duty/change").into_response()),
        Err(CareError::Entered(faults)) => change_page(app, member, typed, faults).await,
        Err(other) => Err(other.into()),
    }
}

pub async fn add_weekly(
    State(app): State<App>,
    member: Member,
    Form(fields): Fields,
) -> Result<Response, PageError> {
    let typed = Typed::new(fields);
    let done = match typed.weekly() {
        Ok(shifts) => duty::add_weekly(&app.desk, &member.member, &shifts, &app.moment()).await,
        Err(faults) => Err(CareError::Entered(faults)),
    };
    answered(&app, &member, typed, done).await
}

pub async fn add_dated(
    State(app): State<App>,
    member: Member,
    Form(fields): Fields,
) -> Result<Response, PageError> {
    let typed = Typed::new(fields);
    let zone = Frame::of(&app, &member, Part::Practice, "").await?.practice.zone;
    let done = match typed.dated(&zone) {
        Ok(shift) => duty::add_dated(&app.desk, &member.member, shift, &app.moment()).await,
        Err(faults) => Err(CareError::Entered(faults)),
    };
    answered(&app, &member, typed, done).await
}

pub async fn add_away(
    State(app): State<App>,
    member: Member,
    Form(fields): Fields,
) -> Result<Response, PageError> {
    let typed = Typed::new(fields);
    let zone = Frame::of(&app, &member, Part::Practice, "").await?.practice.zone;
    let done = match typed.away(&zone) {
        Ok(absence) => duty::add_away(&app.desk, &member.member, absence, &app.moment()).await,
        Err(faults) => Err(CareError::Entered(faults)),
    };
    answered(&app, &member, typed, done).await
}

pub async fn keep_holiday(
    State(app): State<App>,
    member: Member,
    Form(fields): Fields,
) -> Result<Response, PageError> {
    let typed = Typed::new(fields);
    let name = typed.text("holiday_name").to_owned();
    let done = match typed.holiday() {
        Ok(day) => duty::keep_holiday(&app.desk, &member.member, day, &name, app.now()).await,
        Err(faults) => Err(CareError::Entered(faults)),
    };
    answered(&app, &member, typed, done).await
}

pub async fn keep_hours(
    State(app): State<App>,
    member: Member,
    Form(fields): Fields,
) -> Result<Response, PageError> {
    let typed = Typed::new(fields);
    let done = match typed.hours() {
        Ok(days) => duty::keep_hours(&app.desk, &member.member, &days, app.now()).await,
        Err(faults) => Err(CareError::Entered(faults)),
    };
    answered(&app, &member, typed, done).await
}

fn id_of(fields: &[(String, String)]) -> Result<DutyShiftId, PageError> {
    let id = fields.iter().find(|(name, _)| name == "id").map_or("", |(_, value)| value.as_str());
    id.parse().map_err(|_| PageError::NotFound)
}

pub async fn remove_weekly(
    State(app): State<App>,
    member: Member,
    Form(fields): Fields,
) -> Result<Redirect, PageError> {
    duty::remove_weekly(&app.desk, &member.member, id_of(&fields)?, &app.moment()).await?;
    Ok(Redirect::to("/practice/duty/change"))
}

pub async fn remove_dated(
    State(app): State<App>,
    member: Member,
    Form(fields): Fields,
) -> Result<Redirect, PageError> {
    duty::remove_dated(&app.desk, &member.member, id_of(&fields)?, &app.moment()).await?;
    Ok(Redirect::to("/practice/duty/change"))
}

pub async fn remove_away(
    State(app): State<App>,
    member: Member,
    Form(fields): Fields,
) -> Result<Redirect, PageError> {
    duty::remove_away(&app.desk, &member.member, id_of(&fields)?, &app.moment()).await?;
    Ok(Redirect::to("/practice/duty/change"))
}

pub async fn remove_holiday(
    State(app): State<App>,
    member: Member,
    Form(fields): Fields,
) -> Result<Redirect, PageError> {
    let day = fields.iter().find(|(name, _)| name == "id").map_or("", |(_, value)| value.as_str());
    let day: Date = day.parse().map_err(|_| PageError::NotFound)?;
    duty::remove_holiday(&app.desk, &member.member, day, app.now()).await?;
    Ok(Redirect::to("/practice/duty/change"))
}
