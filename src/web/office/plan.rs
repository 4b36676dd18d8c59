//! One wound's care plan: what is still to come, and everything that can be changed about it by hand.

use askama::Template;
use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Done;
use crate::care::Fault;
use crate::care::plan;
use crate::care::plan::PlanView;
use crate::care::plan::Washing;
use crate::ids::PlanStepId;
use crate::ids::WoundId;
use crate::plan::EndWhy;
use crate::plan::StepKind;
use crate::plan::StepShape;
use crate::store::plan::ChangeKind;
use crate::store::plan::KeptStep;
use crate::store::plan::PlanChange;
use crate::store::wounds::WoundState;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::local_time;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;
use crate::web::wound_words;

/// What was typed into one of the page's forms.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct PlanForm {
    step: String,
    due: String,
    until: String,
    why: String,
    reason: String,
    often: String,
}

/// Which form was sent, so that what was typed comes back into it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sent {
    Nothing,
    Move,
    Pause,
    End,
}

struct StepLine {
    id: String,
    says: &'static str,
    when: String,
    /// Its due time as a form takes it.
    due: String,
    is_late: bool,
    is_visit: bool,
    /// What was typed for it is to be put right.
    is_open: bool,
}

struct ChangeLine {
    at: String,
    what: String,
    reason: String,
}

struct Why {
    code: &'static str,
    words: &'static str,
    is_chosen: bool,
}

#[derive(Template)]
#[template(path = "office/plan.html")]
struct PlanPage {
    frame: Frame,
    id: String,
    patient_id: String,
    name: String,
    place: String,
    steps: Vec<StepLine>,
    /// Photo days further ahead, behind a fold.
    later: Vec<StepLine>,
    /// Empty: the plan runs.
    paused: String,
    /// Empty: it has not ended.
    ended: String,
    washing: Option<Washing>,
    whys: Vec<Why>,
    changes: Vec<ChangeLine>,
    form: PlanForm,
    sent: Sent,
    faults: Faults,
}

impl PlanPage {
    fn is_sent(&self, form: &str) -> bool {
        match self.sent {
            Sent::Nothing => false,
            Sent::Move => form == "move",
            Sent::Pause => form == "pause",
            Sent::End => form == "end",
        }
    }

    fn washes(&self, often: &str) -> bool {
        self.washing.is_some_and(|washing| washing.code() == often)
    }
}

/// Steps shown before the fold.
const STEPS_SHOWN: usize = 10;

pub async fn show(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    plan_page(&app, &member, read_id(&id)?, PlanForm::default(), Sent::Nothing, Vec::new()).await
}

fn read_id(id: &str) -> Result<WoundId, PageError> {
    id.parse().map_err(|_| PageError::NotFound)
}

async fn plan_page(
    app: &App,
    member: &Member,
    id: WoundId,
    form: PlanForm,
    sent: Sent,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let now = app.now();
    let view = plan::view(&app.desk, &member.member, id, now).await?;
    let zone = view.practice.zone.clone();
    let clock = |at| time_words::clock_time(at, now, &zone, STAFF_LANGUAGE);
    let mut steps: Vec<StepLine> = view
        .steps
        .iter()
        .filter(|kept| is_shown(kept, now))
        .map(|kept| step_line(kept, &view, &form, now))
        .collect();
    let later = steps.split_off(steps.len().min(STEPS_SHOWN));
    let shown = PlanPage {
        frame: Frame::of(app, member, Part::Patients, "Care plan").await?,
        id: id.to_string(),
        patient_id: view.patient.id.to_string(),
        name: view.patient.name.clone(),
        place: wound_words::place_line(&view.wound.operation),
        steps,
        later,
        paused: view.standing.paused(now).map_or_else(String::new, |pause| clock(pause.until)),
        ended: ended(&view, now),
        washing: view.washing,
        whys: EndWhy::ALL
            .iter()
            .map(|why| Why { code: why.code(), words: why_words(*why), is_chosen: form.why == why.code() })
            .collect(),
        changes: view.changes.iter().map(|change| change_line(change, &view, now)).collect(),
        form,
        sent,
        faults: Faults(faults),
    };
    page(shown.faults.status(), &shown)
}

/// What is still to come, and what was due and was not heard of.
fn is_shown(kept: &KeptStep, now: Timestamp) -> bool {
    kept.is_open() && (kept.step.due > now || kept.step.kind.is_awaited())
}

fn step_line(kept: &KeptStep, view: &PlanView, form: &PlanForm, now: Timestamp) -> StepLine {
    let zone = &view.practice.zone;
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let id = kept.id.to_string();
    let is_open = form.step == id;
    StepLine {
        says: kind_words(kept.step.kind),
        when: match kept.step.kind.shape() {
            StepShape::Once => format!("due {}", clock(kept.step.due)),
            StepShape::Standing => format!("until {}", clock(kept.step.due)),
        },
        due: if is_open { form.due.clone() } else { local_time::write(kept.step.due, zone) },
        is_late: kept.step.kind.is_awaited() && kept.step.due < now && view.wound.state == WoundState::Open,
        is_visit: kept.step.kind == StepKind::Visit,
        is_open,
        id,
    }
}

fn kind_words(kind: StepKind) -> &'static str {
    match kind {
        StepKind::PackingRemoval => "Strip out",
        StepKind::WashTwiceDaily => "Wash twice a day",
        StepKind::WashDaily => "Wash once a day",
        StepKind::Dressing => "Clean gauze",
        StepKind::PainPill => "Pain pill",
        StepKind::Antibiotic => "Antibiotic",
        StepKind::Photo => "Wound check",
        StepKind::AntibioticCheck => "Check of the antibiotic",
        StepKind::AntibioticEnd => "Last day of the antibiotic",
        StepKind::Visit => "Comes in",
        StepKind::PlanEnd => "Plan ends",
    }
}

fn why_words(why: EndWhy) -> &'static str {
    match why {
        EndWhy::Healed => "Healed: the skin has closed",
        EndWhy::Transferred => "Transferred: somebody else looks after the wound",
        EndWhy::Lost => "Lost: nobody could reach the patient",
    }
}

fn ended(view: &PlanView, now: Timestamp) -> String {
    let Some(ended) = view.standing.ended else { return String::new() };
    let at = time_words::clock_time(ended.at, now, &view.practice.zone, STAFF_LANGUAGE);
    format!("{}. {}, {at}", why_words(ended.why), name_of(ended.by.to_string().as_str(), view))
}

fn name_of(id: &str, view: &PlanView) -> String {
    let found = view.staff.iter().find(|member| member.id.to_string() == id);
    found.map_or_else(|| "somebody".to_owned(), |member| member.name.clone())
}

fn change_line(change: &PlanChange, view: &PlanView, now: Timestamp) -> ChangeLine {
    let zone = &view.practice.zone;
    let clock = |at: Option<Timestamp>| {
        at.map_or_else(String::new, |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE))
    };
    let step = view.steps.iter().find(|kept| Some(kept.id) == change.step);
    let says = step.map_or("", |kept| kind_words(kept.step.kind));
    let (was, becomes) = (clock(change.was), clock(change.becomes));
    let what = match change.kind {
        ChangeKind::Moved => format!("{says}: moved from {was} to {becomes}"),
        ChangeKind::Done => format!("Came to the visit of {was}"),
        ChangeKind::Paused => format!("Paused until {becomes}"),
        ChangeKind::Resumed => "Resumed".to_owned(),
        ChangeKind::WashTwice => "Washing twice a day from week 2: bowel trouble".to_owned(),
        ChangeKind::WashOnce => "Washing once a day from week 2".to_owned(),
        ChangeKind::Visit => format!("A surgeon decided: comes in {becomes}"),
        ChangeKind::Ended => "Ended".to_owned(),
    };
    ChangeLine {
        at: format!("{}, {}", clock(Some(change.at)), name_of(&change.by.to_string(), view)),
        what,
        reason: change.reason.to_string(),
    }
}

/// Back to the plan, or the form again with what is to be put right.
async fn finish(
    app: &App,
    member: &Member,
    id: WoundId,
    form: PlanForm,
    sent: Sent,
    done: Done<()>,
) -> Result<Response, PageError> {
    match done {
        Ok(()) => Ok(Redirect::to(&format!("/wounds/{id}/plan")).into_response()),
        Err(CareError::Entered(faults)) => plan_page(app, member, id, form, sent, faults).await,
        Err(other) => Err(other.into()),
    }
}

async fn zone_of(app: &App, member: &Member) -> Result<TimeZone, PageError> {
    Ok(Frame::of(app, member, Part::Patients, "Care plan").await?.practice.zone)
}

pub async fn move_step(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<PlanForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let step: PlanStepId = form.step.parse().map_err(|_| PageError::NotFound)?;
    let due = match local_time::read(&form.due, &zone_of(&app, &member).await?) {
        Ok(Some(due)) => due,
        Ok(None) => {
            let fault = Fault::new("due", "Enter the new date and time.");
            return plan_page(&app, &member, id, form, Sent::Move, vec![fault]).await;
        }
        Err(wrong) => {
            let fault = Fault::new("due", wrong.words());
            return plan_page(&app, &member, id, form, Sent::Move, vec![fault]).await;
        }
    };
    let done = plan::move_step(&app.desk, &member.member, id, step, due, &form.reason, &app.moment()).await;
    finish(&app, &member, id, form, Sent::Move, done).await
}

pub async fn came(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<PlanForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let step: PlanStepId = form.step.parse().map_err(|_| PageError::NotFound)?;
    let done = plan::came(&app.desk, &member.member, id, step, &app.moment()).await;
    finish(&app, &member, id, form, Sent::Nothing, done).await
}

pub async fn pause(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<PlanForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let zone = zone_of(&app, &member).await?;
    let day: Option<Date> = form.until.trim().parse().ok();
    let until = day.and_then(|day| day.at(0, 0, 0, 0).to_zoned_datetime(zone).ok());
    let Some(until) = until else {
        let fault = Fault::new("until", "Enter the day on which the plan goes on, such as 2026-05-04.");
        return plan_page(&app, &member, id, form, Sent::Pause, vec![fault]).await;
    };
    let done =
        plan::pause(&app.desk, &member.member, id, until.timestamp(), &form.reason, &app.moment()).await;
    finish(&app, &member, id, form, Sent::Pause, done).await
}

pub async fn resume(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let done = plan::resume(&app.desk, &member.member, id, &app.moment()).await;
    finish(&app, &member, id, PlanForm::default(), Sent::Nothing, done).await
}

pub async fn wash(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<PlanForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let often: Washing = form.often.parse().map_err(|_| PageError::NotFound)?;
    let done = plan::wash(&app.desk, &member.member, id, often, &app.moment()).await;
    finish(&app, &member, id, form, Sent::Nothing, done).await
}

pub async fn end(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<PlanForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let Ok(why) = form.why.parse::<EndWhy>() else {
        let fault = Fault::new("why", "Choose why the plan ends.");
        return plan_page(&app, &member, id, form, Sent::End, vec![fault]).await;
    };
    let done = plan::end(&app.desk, &member.member, id, why, &form.reason, &app.moment()).await;
    finish(&app, &member, id, form, Sent::End, done).await
}
