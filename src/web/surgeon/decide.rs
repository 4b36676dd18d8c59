//! The decision form: one press sends the answer and closes the check or hands it to the office.

use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::antibiotic::Starting;
use crate::care::antibiotic::USUAL_DAYS;
use crate::care::review;
use crate::care::review::Deciding;
use crate::care::review::Opened;
use crate::ids::WoundCheckId;
use crate::store::antibiotics::Culture;
use crate::triage::Decision;
use crate::triage::Urgency;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::local_time;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::surgeon::reply_text;
use crate::web::surgeon::reply_text::Offered;
use crate::web::surgeon::review::read_id;
use crate::web::surgeon::review_page::ReviewPage;
use crate::web::surgeon::review_page::can_decide;

/// The form as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct DecideForm {
    pub decision: String,
    pub reply: String,
    pub note: String,
    pub come_in: String,
    pub ask: String,
    /// A class's code; empty: as the decision says.
    pub judged: String,
    pub drug: String,
    pub doses: String,
    pub days: String,
    pub started: String,
    pub culture: Option<String>,
    /// How much of the check the page showed.
    pub extent: String,
}

impl DecideForm {
    /// An empty form, or one begun with the reply text of this id.
    pub fn beginning_with(reply: &str, opened: &Opened, now: Timestamp) -> DecideForm {
        let chosen = reply_text::offered(opened, now).into_iter().find(|text| text.id == reply);
        chosen.map_or_else(DecideForm::default, |text| DecideForm {
            decision: text.decision.to_owned(),
            reply: text.body,
            ..DecideForm::default()
        })
    }
}

/// One decision to choose.
pub struct DecisionChoice {
    pub code: &'static str,
    pub words: &'static str,
    pub key: usize,
    pub is_chosen: bool,
    /// `closes` or `calls`: whether the office must ring.
    pub leads_to: &'static str,
    pub replies: Vec<Offered>,
}

/// The form as shown.
pub struct DecideView {
    pub form: DecideForm,
    pub faults: Faults,
    pub choices: Vec<DecisionChoice>,
    pub language: &'static str,
    pub lang: &'static str,
    pub earliest_visit: String,
    /// How much of the check is on this page.
    pub extent: String,
    /// "How urgent was it?", most urgent first.
    pub judgements: Vec<JudgementChoice>,
}

/// One answer to "How urgent was it?".
pub struct JudgementChoice {
    pub code: &'static str,
    pub words: &'static str,
    pub is_chosen: bool,
}

impl DecideView {
    pub fn of(opened: &Opened, form: DecideForm, faults: Vec<Fault>, now: Timestamp) -> DecideView {
        let offered = reply_text::offered(opened, now);
        let choice = |(place, decision): (usize, &Decision)| DecisionChoice {
            code: decision.code(),
            words: decision.words(),
            key: place + 1,
            is_chosen: form.decision == decision.code(),
            leads_to: if decision.needs_a_call() { "calls" } else { "closes" },
            replies: offered.iter().filter(|text| text.decision == decision.code()).cloned().collect(),
        };
        DecideView {
            choices: Decision::ALL.iter().enumerate().map(choice).collect(),
            faults: Faults(faults),
            language: opened.patient.language.own_name(),
            lang: opened.patient.language.code(),
            extent: opened.extent().to_string(),
            earliest_visit: local_time::write(now, &opened.practice.zone),
            judgements: Urgency::ALL
                .iter()
                .rev()
                .map(|class| JudgementChoice {
                    code: class.code(),
                    words: class.staff_words(),
                    is_chosen: form.judged == class.code(),
                })
                .collect(),
            form,
        }
    }
}

pub async fn send(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<DecideForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let deciding = match read(&app, &member, id, &form).await? {
        Ok(deciding) => deciding,
        Err(faults) => return again(&app, &member, id, form, faults, StatusCode::UNPROCESSABLE_ENTITY).await,
    };
    match review::decide(&app.desk, &member.member, id, deciding, &app.moment()).await {
        Ok(_) => Ok(Redirect::to("/queue").into_response()),
        Err(CareError::Entered(faults)) => {
            again(&app, &member, id, form, faults, StatusCode::UNPROCESSABLE_ENTITY).await
        }
        // Somebody else was faster: how it stands now, and what was typed, stay on the page.
        Err(CareError::Claimed { .. } | CareError::AlreadyDone) => {
            again(&app, &member, id, form, Vec::new(), StatusCode::CONFLICT).await
        }
        Err(other) => Err(other.into()),
    }
}

/// The form, read: every wrong field at once.
async fn read(
    app: &App,
    member: &Member,
    id: WoundCheckId,
    form: &DecideForm,
) -> Result<Result<Deciding, Vec<Fault>>, PageError> {
    let (practice, language) = review::writes_to(&app.desk, &member.member, id).await?;
    let mut faults = Vec::new();
    let decision: Option<Decision> = form.decision.parse().ok();
    if decision.is_none() {
        faults.push(Fault::new("decision", "Choose what you decide."));
    }
    let come_in = match local_time::read(&form.come_in, &practice.zone) {
        Ok(come_in) => come_in,
        Err(wrong) => {
            faults.push(Fault::new("come_in", wrong.words()));
            None
        }
    };
    let judged = match form.judged.as_str() {
        "" => None,
        code => match code.parse::<Urgency>() {
            Ok(class) => Some(class),
            Err(_) => {
                faults.push(Fault::new("judged", "Choose how urgent it was, or leave it to the decision."));
                None
            }
        },
    };
    let antibiotic = match decision {
        Some(Decision::Antibiotic) => read_antibiotic(app, &practice.zone, form, &mut faults),
        Some(_) | None => None,
    };
    let Some(decision) = decision.filter(|_| faults.is_empty()) else { return Ok(Err(faults)) };
    // A time typed for a visit belongs to no other decision.
    let come_in = come_in.filter(|_| decision == Decision::ComeIn);
    Ok(Ok(Deciding {
        decision,
        reply: reply_text::with_come_in(&form.reply, come_in, &practice.zone, language),
        note: form.note.clone(),
        come_in,
        ask: form.ask.clone(),
        judged,
        antibiotic,
        // A form that does not say has shown nothing.
        extent: Some(form.extent.parse().unwrap_or_default()),
    }))
}

/// What is started, as typed; nothing typed about days is the usual time, about the start is now.
fn read_antibiotic(
    app: &App,
    zone: &TimeZone,
    form: &DecideForm,
    faults: &mut Vec<Fault>,
) -> Option<Starting> {
    let mut number = |field: &'static str, typed: &str, words: &str| match typed.trim() {
        "" => None,
        typed => typed.parse::<i64>().map_err(|_| faults.push(Fault::new(field, words))).ok(),
    };
    let doses_per_day =
        number("doses", &form.doses, "Enter the doses a day: a number from 1 to 12, or leave it empty.");
    let days = number("days", &form.days, "Enter the days it is taken: a number from 1 to 90.");
    let started = match local_time::read(&form.started, zone) {
        Ok(started) => started.unwrap_or(app.now()),
        Err(wrong) => {
            faults.push(Fault::new("started", wrong.words()));
            return None;
        }
    };
    Some(Starting {
        drug: form.drug.clone(),
        doses_per_day,
        days: days.unwrap_or(USUAL_DAYS),
        started,
        culture: if form.culture.is_some() { Culture::Sent } else { Culture::None },
    })
}

/// The page again, with everything that was typed.
async fn again(
    app: &App,
    member: &Member,
    id: WoundCheckId,
    form: DecideForm,
    faults: Vec<Fault>,
    status: StatusCode,
) -> Result<Response, PageError> {
    let now = app.now();
    let opened = review::view(&app.desk, &member.member, id, now).await?;
    let me = member.member.id;
    let unsent = form.reply.clone();
    let view = can_decide(&opened, me, now).then(|| DecideView::of(&opened, form, faults, now));
    let frame = Frame::of(app, member, Part::Queue, "Wound check").await?;
    let mut shown = ReviewPage::of(&opened, frame, Some(me), view, now);
    if shown.form.is_none() {
        shown.unsent = unsent;
        shown.standing = format!("Nothing of yours was sent. {}", shown.standing);
    }
    page(status, &shown)
}
