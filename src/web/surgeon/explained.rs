//! One assessment explained on a page of its own, under the protocol of that day.

use askama::Template;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use crate::care::explain;
use crate::care::explain::Explained;
use crate::plan::day_number;
use crate::triage::Context;
use crate::triage::Protocol;
use crate::web::App;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::surgeon::answer_words;
use crate::web::surgeon::answer_words::AnswerLine;
use crate::web::surgeon::review::read_id;
use crate::web::surgeon::why::ReasonView;
use crate::web::surgeon::why::Why;
use crate::web::surgeon::why::why;
use crate::web::time_words;
use crate::web::wound_words;

/// A reason, with its sentence in the patient's other language.
pub struct ReasonLine {
    pub reason: ReasonView,
    /// Empty: the protocol of that day is not there to say it.
    pub spanish: String,
}

pub struct VersionLine {
    pub number: i64,
    pub made: String,
    pub class: Class,
    pub protocol: String,
    pub is_this: bool,
}

#[derive(Template)]
#[template(path = "surgeon/explained.html")]
struct ExplainedPage {
    frame: Frame,
    id: String,
    name: String,
    place: String,
    day: i64,
    made: String,
    class: Class,
    why: Why,
    reasons: Vec<ReasonLine>,
    /// Whether what could have raised it was worked out; otherwise it is what the assessment itself listed.
    is_worked_out: bool,
    changed: Vec<AnswerLine>,
    has_before: bool,
    versions: Vec<VersionLine>,
    protocol_is_kept: bool,
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    explained_page(&app, &member, &id, None).await
}

pub async fn show_one(
    State(app): State<App>,
    member: Member,
    Path((id, number)): Path<(String, String)>,
) -> Result<Response, PageError> {
    let number = number.parse().map_err(|_| PageError::NotFound)?;
    explained_page(&app, &member, &id, Some(number)).await
}

async fn explained_page(
    app: &App,
    member: &Member,
    id: &str,
    number: Option<i64>,
) -> Result<Response, PageError> {
    let now = app.now();
    let explained = explain::explain(&app.desk, &member.member, read_id(id)?, number, now).await?;
    let frame = Frame::of(app, member, Part::Queue, "Why it stands here").await?;
    let zone = frame.practice.zone.clone();
    let clock = |at| time_words::clock_time(at, now, &zone, STAFF_LANGUAGE);
    let why = why(&explained.kept.assessment, explained.could_raise.as_deref());
    let operation = &explained.wound.operation;
    let shown = ExplainedPage {
        id: explained.check.id.to_string(),
        name: explained.patient.name.clone(),
        place: wound_words::place_line(operation),
        day: day_number(operation.operated, explained.check.received, &zone),
        made: clock(explained.kept.made),
        class: class(explained.kept.assessment.urgency),
        reasons: reason_lines(&explained, &why),
        is_worked_out: explained.could_raise.is_some(),
        changed: changed(&explained),
        has_before: explained.before.is_some(),
        versions: explained
            .all
            .iter()
            .map(|kept| VersionLine {
                number: kept.number,
                made: clock(kept.made),
                class: class(kept.assessment.urgency),
                protocol: kept.assessment.protocol_version.clone(),
                is_this: kept.number == explained.kept.number,
            })
            .collect(),
        protocol_is_kept: explained.protocol.is_some(),
        why,
        frame,
    };
    page(StatusCode::OK, &shown)
}

fn reason_lines(explained: &Explained, why: &Why) -> Vec<ReasonLine> {
    let spanish = |protocol: &Protocol, rule: &str| Some(protocol.rule(rule)?.sentence.es.clone());
    why.reasons
        .iter()
        .chain(&why.more_reasons)
        .map(|reason| ReasonLine {
            spanish: explained
                .protocol
                .as_ref()
                .and_then(|protocol| spanish(protocol, &reason.rule))
                .unwrap_or_default(),
            reason: reason.clone(),
        })
        .collect()
}

/// The answers that are not what they were in the check before.
fn changed(explained: &Explained) -> Vec<AnswerLine> {
    let Some(before) = &explained.before else { return Vec::new() };
    let wound = &explained.wound;
    // Only what changed is shown; whether the strip was confirmed out by then changes nothing of that.
    let context = Context::of(&wound.operation, &wound.risk, wound.strip_out);
    let lines =
        answer_words::lines(&explained.check.answers_shown(), Some(&before.answers_shown()), &context);
    lines.into_iter().filter(|line| line.is_changed).collect()
}
