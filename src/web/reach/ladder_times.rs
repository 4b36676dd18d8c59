//! How soon who is told of something urgent, with what is safe beside each time.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::ladder_times;
use crate::store::audit::AuditEntry;
use crate::store::staff::StaffMember;
use crate::store::staff::of_practice;
use crate::triage::LadderKind;
use crate::triage::RungTime;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::reach::words;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

struct RungRow {
    field: &'static str,
    told: &'static str,
    minutes: String,
    /// Such as "2 to 5"; empty: there is no choice.
    safe: String,
    fault: String,
}

struct LadderForm {
    kind: &'static str,
    code: &'static str,
    rungs: Vec<RungRow>,
}

struct Change {
    at: String,
    who: String,
    what: String,
}

#[derive(Template)]
#[template(path = "reach/ladder_times.html")]
struct TimesPage {
    frame: Frame,
    ladders: Vec<LadderForm>,
    history: Vec<Change>,
    faults: Faults,
}

/// What was typed, by field; what is not among it stands as it is kept.
type Fields = Vec<(String, String)>;

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    times_page(&app, &member, &Vec::new(), Vec::new()).await
}

async fn times_page(
    app: &App,
    member: &Member,
    typed: &Fields,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let (times, lines) = ladder_times::view(&app.desk, &member.member).await?;
    let staff = {
        let mut conn = app.desk.db.read().await.map_err(CareError::from)?;
        of_practice(&mut conn, member.member.practice).await.map_err(CareError::from)?
    };
    let frame = Frame::of(app, member, Part::of_ranking(member), "Calling").await?;
    let faults = Faults(faults);
    let ladder = |kind: LadderKind| LadderForm {
        kind: words::ladder(kind),
        code: kind.code(),
        rungs: ladder_times::of_kind(&times, kind).iter().map(|rung| row(rung, typed, &faults)).collect(),
    };
    let change = |line: &AuditEntry| Change {
        at: time_words::clock_time(line.at, app.now(), &frame.practice.zone, STAFF_LANGUAGE),
        who: who(&line.actor, &staff),
        what: in_words(&line.detail),
    };
    let shown = TimesPage {
        ladders: LadderKind::ALL.iter().map(|kind| ladder(*kind)).collect(),
        history: lines.iter().map(change).collect(),
        frame,
        faults,
    };
    page(shown.faults.status(), &shown)
}

fn row(rung: &RungTime, typed: &Fields, faults: &Faults) -> RungRow {
    let field = ladder_times::field(rung.kind, rung.number);
    let (least, most) = (rung.safe.start(), rung.safe.end());
    RungRow {
        field,
        told: words::told(rung.told),
        minutes: typed_in(typed, field).unwrap_or_else(|| rung.minutes.to_string()),
        safe: if least == most { String::new() } else { format!("{least} to {most}") },
        fault: faults.beside(field).to_owned(),
    }
}

fn typed_in(typed: &Fields, field: &str) -> Option<String> {
    typed.iter().find(|(name, _)| name == field).map(|(_, value)| value.clone())
}

fn who(actor: &str, staff: &[StaffMember]) -> String {
    let id = actor.strip_prefix("staff:").unwrap_or(actor);
    let found = staff.iter().find(|member| member.id.to_string() == id);
    found.map_or_else(|| "the program".to_owned(), |member| member.name.clone())
}

/// `go_now=0,5→0,4` as "Emergency: 0, 5 → 0, 4 minutes".
fn in_words(detail: &str) -> String {
    let one = |part: &str| match part.split_once('=') {
        Some((code, minutes)) => {
            let kind = code.parse::<LadderKind>().map_or("Ladder", words::ladder);
            format!("{kind}: {} minutes", minutes.replace(',', ", ").replace('→', " → "))
        }
        None => part.to_owned(),
    };
    detail.split(' ').map(one).collect::<Vec<_>>().join("; ")
}

pub async fn keep(
    State(app): State<App>,
    member: Member,
    Form(fields): Form<Fields>,
) -> Result<Response, PageError> {
    let typed = |kind, number| typed_in(&fields, ladder_times::field(kind, number)).unwrap_or_default();
    match ladder_times::keep(&app.desk, &member.member, typed, &app.moment()).await {
        Ok(()) => Ok(Redirect::to("/practice/ladder").into_response()),
        Err(CareError::Entered(faults)) => times_page(&app, &member, &fields, faults).await,
        Err(other) => Err(other.into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_reads_as_a_sentence() {
        assert_eq!(in_words("go_now=0,5→0,4"), "Emergency: 0, 5 → 0, 4 minutes");
    }
}
