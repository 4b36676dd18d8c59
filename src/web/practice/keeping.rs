//! Keeping: what is kept for how long, what goes soon, what must not go, and what went.

use askama::Template;
use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use jiff::civil::Date;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::keeping;
use crate::care::keeping::Board;
use crate::care::keeping::PROPOSED;
use crate::care::keeping::Placing;
use crate::care::keeping::Typed;
use crate::ids::LegalHoldId;
use crate::ids::StaffId;
use crate::store::keepings::Numbers;
use crate::store::legal_holds::LegalHold;
use crate::store::staff::StaffMember;
use crate::store::tombstones::Gone;
use crate::store::tombstones::Tombstone;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;
use crate::words::calendar;

/// The numbers as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct NumbersForm {
    clinical_years: String,
    minor_age: String,
    minor_years: String,
    record_years: String,
    letters_days: String,
    passing_days: String,
    confirmed: Option<String>,
}

impl NumbersForm {
    fn of(numbers: &Numbers) -> NumbersForm {
        NumbersForm {
            clinical_years: numbers.clinical_years.to_string(),
            minor_age: numbers.minor_age.to_string(),
            minor_years: numbers.minor_years.to_string(),
            record_years: numbers.record_years.to_string(),
            letters_days: numbers.letters_days.to_string(),
            passing_days: numbers.passing_days.to_string(),
            confirmed: None,
        }
    }
}

/// A hold as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct HoldForm {
    scope: String,
    name: String,
    born: String,
    reason: String,
}

struct HoldLine {
    id: String,
    whom: String,
    since: String,
    by: String,
    reason: String,
    /// Who asked for its end, and until when somebody else must follow; empty: nobody.
    asked: String,
    /// What this member may press; empty: nothing.
    button: &'static str,
}

struct GoneLine {
    at: String,
    what: &'static str,
    rule: String,
    rows: i64,
    files: i64,
    /// The first letters of the hash; all of it stands in the record.
    sha256: String,
}

#[derive(Template)]
#[template(path = "practice/keeping.html")]
struct KeepingPage {
    frame: Frame,
    /// Where things stand, in a sentence.
    state: String,
    /// A lead confirmed the numbers.
    is_confirmed: bool,
    patients: String,
    letters: i64,
    lines: i64,
    holds: Vec<HoldLine>,
    gone: Vec<GoneLine>,
    form: NumbersForm,
    hold_form: HoldForm,
    /// The hold that was typed is on all of it.
    on_practice: bool,
    faults: Faults,
}

/// What was typed and what is wrong with it.
#[derive(Default)]
struct Tried {
    numbers: Option<NumbersForm>,
    hold: HoldForm,
    faults: Vec<Fault>,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    shown(&app, &member, Tried::default()).await
}

pub async fn set(
    State(app): State<App>,
    member: Member,
    Form(form): Form<NumbersForm>,
) -> Result<Response, PageError> {
    let typed = Typed {
        clinical_years: form.clinical_years.clone(),
        minor_age: form.minor_age.clone(),
        minor_years: form.minor_years.clone(),
        record_years: form.record_years.clone(),
        letters_days: form.letters_days.clone(),
        passing_days: form.passing_days.clone(),
        is_confirmed: form.confirmed.is_some(),
    };
    let done = keeping::set(&app.desk, &member.member, &typed, &app.moment()).await;
    answered(&app, &member, done, |faults| Tried { numbers: Some(form), faults, ..Tried::default() }).await
}

pub async fn place(
    State(app): State<App>,
    member: Member,
    Form(form): Form<HoldForm>,
) -> Result<Response, PageError> {
    let placing = Placing {
        scope: form.scope.clone(),
        name: form.name.clone(),
        born: form.born.clone(),
        reason: form.reason.clone(),
    };
    let done = keeping::place(&app.desk, &member.member, &placing, &app.moment()).await;
    answered(&app, &member, done, |faults| Tried { hold: form, faults, ..Tried::default() }).await
}

pub async fn release(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id: LegalHoldId = id.parse().map_err(|_| PageError::NotFound)?;
    let done = keeping::release(&app.desk, &member.member, id, &app.moment()).await;
    answered(&app, &member, done, |faults| Tried { faults, ..Tried::default() }).await
}

/// Back to the page, or the page with what is wrong.
async fn answered<T>(
    app: &App,
    member: &Member,
    done: Result<T, CareError>,
    tried: impl FnOnce(Vec<Fault>) -> Tried,
) -> Result<Response, PageError> {
    match done {
        Ok(_) => Ok(Redirect::to("/practice/keeping").into_response()),
        Err(CareError::Entered(faults)) => shown(app, member, tried(faults)).await,
        Err(other) => Err(other.into()),
    }
}

async fn shown(app: &App, member: &Member, tried: Tried) -> Result<Response, PageError> {
    let now = app.now();
    let board = keeping::board(&app.desk, &member.member, now).await?;
    let frame = Frame::of(app, member, Part::of_ranking(member), "Keeping").await?;
    let numbers = board.keeping.map_or(PROPOSED, |keeping| keeping.numbers);
    let shown = KeepingPage {
        state: state_words(&board, now),
        is_confirmed: board.keeping.is_some(),
        patients: patients_words(&board.soon.patients),
        letters: board.soon.letters,
        lines: board.soon.lines,
        holds: board.holds.iter().map(|hold| hold_line(hold, &board, &member.member, now)).collect(),
        gone: board.gone.iter().map(|stone| gone_line(stone, &board)).collect(),
        form: tried.numbers.unwrap_or_else(|| NumbersForm::of(&numbers)),
        on_practice: tried.hold.scope == "practice",
        hold_form: tried.hold,
        faults: Faults(tried.faults),
        frame,
    };
    page(shown.faults.status(), &shown)
}

fn state_words(board: &Board, now: Timestamp) -> String {
    let Some(keeping) = board.keeping else {
        return unconfirmed_words(board);
    };
    if board.holds.iter().any(|hold| hold.patient.is_none()) {
        return "Nothing goes: a legal hold stands on the whole practice.".to_owned();
    }
    let zone = &board.practice.zone;
    let by = name(&board.staff, keeping.confirmed_by);
    let confirmed = day(keeping.confirmed, board);
    if now < keeping.waits_until {
        let until = time_words::clock_time(keeping.waits_until, now, zone, STAFF_LANGUAGE);
        return format!(
            "Nothing goes before {until}: {by} confirmed the numbers on {confirmed}, or things were changed since. Until then this is a rehearsal."
        );
    }
    format!(
        "{by} confirmed the numbers on {confirmed}. Every night at 3:00 what has been kept for long enough goes."
    )
}

/// Before any numbers were confirmed.
fn unconfirmed_words(board: &Board) -> String {
    let kept = "Nothing goes. Everything is kept until a lead has confirmed the numbers below.";
    match board.holds.is_empty() {
        true => format!(
            "{kept} Half-filled checks are the exception. Left for three days, they go when the next one is begun."
        ),
        false => kept.to_owned(),
    }
}

fn day(at: Timestamp, board: &Board) -> String {
    calendar::day_and_year(STAFF_LANGUAGE, at.to_zoned_datetime(board.practice.zone.clone()).datetime())
}

/// How many patients' records go, and how old they are; no name.
fn patients_words(last_days: &[Date]) -> String {
    let year = |day: &Date| day.year().to_string();
    let (Some(first), Some(last)) = (last_days.first(), last_days.last()) else {
        return "No patient’s record".to_owned();
    };
    let many = match last_days.len() {
        1 => "The record of 1 patient".to_owned(),
        many => format!("The records of {many} patients"),
    };
    match (year(first), year(last)) {
        (one, other) if one == other => format!("{many}, last touched in {one}"),
        (one, other) => format!("{many}, last touched between {one} and {other}"),
    }
}

fn hold_line(hold: &LegalHold, board: &Board, me: &StaffMember, now: Timestamp) -> HoldLine {
    let asked = hold.asked.filter(|(_, at)| now.duration_since(*at) <= keeping::RELEASE_WITHIN);
    let leads = board.staff.iter().filter(|member| member.active && member.roles.lead).count();
    HoldLine {
        id: hold.id.to_string(),
        whom: match hold.patient {
            Some(patient) => format!("One patient, {}", short(&patient.to_string())),
            None => "The whole practice".to_owned(),
        },
        since: day(hold.placed, board),
        by: name(&board.staff, hold.placed_by),
        reason: hold.reason.to_string(),
        asked: asked.map_or_else(String::new, |(by, at)| {
            format!(
                "{} says that it may end. A second person must say so until {}.",
                name(&board.staff, by),
                day(at + keeping::RELEASE_WITHIN, board)
            )
        }),
        button: match asked {
            None if me.roles.lead => "It may end",
            Some((by, _)) if by != me.id && (me.roles.lead || me.roles.surgeon && leads == 1) => {
                "End it, as the second person"
            }
            None | Some(_) => "",
        },
    }
}

fn gone_line(stone: &Tombstone, board: &Board) -> GoneLine {
    GoneLine {
        at: day(stone.at, board),
        what: match stone.gone {
            Gone::Patient => "One patient’s record",
            Gone::Letters => "Texts, e-mails and calls that were sent, and failed work",
            Gone::Passing => "Half-filled checks and staff sessions",
            Gone::Record => "Oldest lines of the record",
        },
        rule: stone.rule.replace('_', " ").replace('=', ": "),
        rows: stone.rows,
        files: stone.files,
        sha256: stone.sha256.chars().take(12).collect(),
    }
}

fn name(staff: &[StaffMember], id: StaffId) -> String {
    let found = staff.iter().find(|member| member.id == id);
    found.map_or_else(|| "a colleague".to_owned(), |member| member.name.clone())
}

/// The end of an id, as the record shows it.
fn short(id: &str) -> String {
    id.get(id.len().saturating_sub(6)..).unwrap_or(id).to_owned()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    #[test]
    fn what_goes_is_told_by_count_and_age() {
        assert_eq!(patients_words(&[]), "No patient’s record");
        assert_eq!(patients_words(&[date(2011, 3, 4)]), "The record of 1 patient, last touched in 2011");
        assert_eq!(
            patients_words(&[date(2010, 3, 4), date(2011, 3, 4)]),
            "The records of 2 patients, last touched between 2010 and 2011"
        );
    }
}
