//! The draft on the stored past: what it would have changed, and the approval.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::protocol_draft;
use crate::care::protocol_draft::Open;
use crate::care::trial::Findings;
use crate::care::trial::Moved;
use crate::care::trial::TrialState;
use crate::store::Conn;
use crate::store::checks;
use crate::triage::Difference;
use crate::web::App;
use crate::web::assets;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::practice::protocol::approval_words;
use crate::web::practice::protocol::colleagues;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

/// Checks listed on the page in each direction.
const LISTED: usize = 25;

struct MoveView {
    from: Class,
    to: Class,
    checks: u64,
}

struct MovedView {
    id: String,
    receipt: String,
    received: String,
    from: Class,
    to: Class,
}

struct FindingsView {
    tried: u64,
    raised: u64,
    lowered: u64,
    lowered_urgent: u64,
    moves: Vec<MoveView>,
    raised_list: Vec<MovedView>,
    lowered_list: Vec<MovedView>,
    lowered_urgent_list: Vec<MovedView>,
}

struct ProgressView {
    done: u64,
    all: u64,
    is_running: bool,
    has_failed: bool,
}

#[derive(Template)]
#[template(path = "practice/protocol_trial.html")]
struct TrialPage {
    frame: Frame,
    script: String,
    based_on: String,
    differences: Vec<Difference>,
    /// Sentences in which a moved limit stands; they say nothing new.
    sentences: Vec<Difference>,
    progress: Option<ProgressView>,
    findings: Option<FindingsView>,
    /// A patient's check is opened by a surgeon only.
    is_surgeon: bool,
    approvals: Vec<String>,
    needs_second: bool,
    has_approved: bool,
    form: ApprovalForm,
    faults: Faults,
}

#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct ApprovalForm {
    reason: String,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    match protocol_draft::open(&app.desk, &member.member).await? {
        Some(open) => trial_page(&app, &member, &open, ApprovalForm::default(), Vec::new()).await,
        None => Ok(Redirect::to("/practice/protocol").into_response()),
    }
}

pub async fn start(State(app): State<App>, member: Member) -> Result<Redirect, PageError> {
    protocol_draft::start_trial(&app.desk, &member.member, app.now()).await?;
    Ok(Redirect::to("/practice/protocol/trial"))
}

pub async fn approve(
    State(app): State<App>,
    member: Member,
    Form(form): Form<ApprovalForm>,
) -> Result<Response, PageError> {
    match protocol_draft::approve(&app.desk, &member.member, &form.reason, app.now()).await {
        Ok(protocol_draft::Approved::InForce(_)) => Ok(Redirect::to("/practice/protocol").into_response()),
        Ok(protocol_draft::Approved::SecondLeadNeeded) => {
            Ok(Redirect::to("/practice/protocol/trial").into_response())
        }
        Err(CareError::Entered(faults)) => {
            let open = protocol_draft::open(&app.desk, &member.member).await?;
            let open = open.ok_or(PageError::NotFound)?;
            trial_page(&app, &member, &open, form, faults).await
        }
        Err(other) => Err(other.into()),
    }
}

async fn trial_page(
    app: &App,
    member: &Member,
    open: &Open,
    form: ApprovalForm,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let frame = Frame::of(app, member, Part::of_ranking(member), "Trial of the draft").await?;
    let staff = colleagues(app, member).await?;
    let findings = match &open.draft.trial {
        Some(findings) => Some(findings_view(app, &frame, findings).await?),
        None => None,
    };
    let approvals = &open.draft.approvals;
    let (sentences, differences): (Vec<Difference>, Vec<Difference>) = open
        .in_force
        .differences(&open.edited)
        .into_iter()
        .partition(|one| one.what.ends_with(", sentence") && !one.was.is_empty() && !one.is.is_empty());
    let shown = TrialPage {
        script: assets::address("staff/trial.js"),
        based_on: open.in_force.version().to_owned(),
        differences,
        sentences,
        progress: open.progress.filter(|_| open.draft.trial.is_none()).map(|progress| ProgressView {
            done: progress.done,
            all: progress.all.max(1),
            is_running: progress.state == TrialState::Running,
            has_failed: progress.state == TrialState::Failed,
        }),
        findings,
        is_surgeon: member.member.roles.surgeon,
        approvals: approvals.iter().map(|approval| approval_words(approval, &staff)).collect(),
        needs_second: open.leads_needed() == Some(2),
        has_approved: approvals.iter().any(|approval| approval.by == member.member.id),
        frame,
        form,
        faults: Faults(faults),
    };
    page(if shown.faults.0.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY }, &shown)
}

async fn findings_view(app: &App, frame: &Frame, findings: &Findings) -> Result<FindingsView, PageError> {
    let mut conn = app.desk.db.read().await.map_err(CareError::from)?;
    Ok(FindingsView {
        tried: findings.tried,
        raised: findings.raised_count(),
        lowered: findings.lowered_count(),
        lowered_urgent: findings.lowered_urgent,
        moves: findings
            .moves
            .iter()
            .map(|one| MoveView { from: class(one.from), to: class(one.to), checks: one.checks })
            .collect(),
        raised_list: moved(app, frame, &mut conn, &findings.raised).await?,
        lowered_list: moved(app, frame, &mut conn, &findings.lowered).await?,
        lowered_urgent_list: moved(app, frame, &mut conn, &findings.lowered_urgent_named).await?,
    })
}

async fn moved(
    app: &App,
    frame: &Frame,
    conn: &mut Conn,
    list: &[Moved],
) -> Result<Vec<MovedView>, PageError> {
    let (practice, zone) = (frame.practice.id, &frame.practice.zone);
    let mut views = Vec::new();
    for one in list.iter().take(LISTED) {
        if let Some(check) = checks::find(conn, practice, one.check).await.map_err(CareError::from)? {
            views.push(MovedView {
                id: check.id.to_string(),
                receipt: check.receipt,
                received: time_words::clock_time(check.received, app.now(), zone, STAFF_LANGUAGE),
                from: class(one.from),
                to: class(one.to),
            });
        }
    }
    Ok(views)
}
