//! Knocks on closed links, on the page of calls: whom to ring about them, and what came of it.

use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::late_knock;
use crate::care::late_knock::Knocked;
use crate::ids::LateKnockId;
use crate::web::App;
use crate::web::chart_words::Class;
use crate::web::chart_words::class_in_time;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::office::calls;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::time_words;
use crate::web::wound_words;

/// One knock, ready to show.
pub struct LateRow {
    pub id: String,
    pub name: String,
    pub place: String,
    pub phone: String,
    pub link: String,
    pub class: Class,
    pub left: String,
    pub due: String,
    /// Such as "twice, first Monday 09:12, last today 10:02".
    pub when: String,
    pub words: Vec<String>,
    /// What was typed about it and not taken; empty: nothing.
    pub typed: String,
}

/// What was typed about a knock and not taken.
#[derive(Clone, Debug, Default)]
pub struct Typed {
    pub about: Option<LateKnockId>,
    pub note: String,
    pub faults: Faults,
}

pub fn row(one: &Knocked, typed: &Typed, now: Timestamp, zone: &TimeZone) -> LateRow {
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let knock = &one.knock;
    LateRow {
        id: knock.id.to_string(),
        name: one.patient.name.clone(),
        place: wound_words::place_line(&one.operation),
        phone: one.patient.phone.clone(),
        link: one.link.name.clone(),
        class: class_in_time(late_knock::class_of_knock(knock), knock.due, now),
        left: time_words::time_left(knock.due, now),
        due: clock(knock.due),
        when: match knock.knocks {
            1 => clock(knock.first),
            more => format!("{more} times, first {}, last {}", clock(knock.first), clock(knock.last)),
        },
        words: knock.words.lines().map(str::to_owned).collect(),
        typed: if typed.about == Some(knock.id) { typed.note.clone() } else { String::new() },
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct DealForm {
    note: String,
}

pub async fn deal_with(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<DealForm>,
) -> Result<Response, PageError> {
    let id: LateKnockId = id.parse().map_err(|_| PageError::NotFound)?;
    match late_knock::deal_with(&app.desk, &member.member, id, &form.note, app.now()).await {
        Ok(()) => Ok(Redirect::to("/callbacks").into_response()),
        Err(CareError::Entered(faults)) => {
            let typed = Typed { about: Some(id), note: form.note, faults: Faults(faults) };
            calls::calls_page(&app, &member, typed).await
        }
        Err(other) => Err(other.into()),
    }
}
