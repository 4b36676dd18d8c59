//! One callback: whom to ring, what to ask or say, and how it went.

use askama::Template;
use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::callback;
use crate::care::callback::Attempting;
use crate::care::callback::OpenedCall;
use crate::care::callback::Reach;
use crate::ids::CallbackId;
use crate::plan::day_number;
use crate::store::callbacks::CallAttempt;
use crate::store::callbacks::CallbackState;
use crate::store::silences::Interpreter;
use crate::triage::CallOutcome;
use crate::triage::CallResult;
use crate::triage::Context;
use crate::triage::Decision;
use crate::triage::QUESTIONS;
use crate::triage::Question;
use crate::triage::Whom;
use crate::triage::YesNo;
use crate::triage::is_optional;
use crate::web::App;
use crate::web::chart_words;
use crate::web::chart_words::Class;
use crate::web::chart_words::class_in_time;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::local_time;
use crate::web::office::call_script;
use crate::web::office::call_script::About;
use crate::web::office::call_script::Facts;
use crate::web::office::call_script::Line;
use crate::web::office::call_script::Script;
use crate::web::office::calls::ended_words;
use crate::web::office::calls::missed_words;
use crate::web::office::silence as call_choice;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::surgeon::answer_words;
use crate::web::time_words;
use crate::web::wound_words;
use crate::words::Language;
use crate::words::patient_questions::QuestionWords;
use crate::words::patient_questions::named;

/// Reasons and questions a caller can take in.
const REASONS_SHOWN: usize = 6;
const QUESTIONS_SHOWN: usize = 10;
/// Not for a call: who typed, the number that is rung, free words, and the danger screen, which is asked every time.
const NOT_ASKED_AGAIN: [&str; 5] = ["who", "danger", "words", "phone", "voicemail"];

struct AttemptView {
    result: String,
    note: String,
    by: String,
    at: String,
}

/// The number the patient gave with the check.
struct ReachView {
    words: String,
    /// `None`: no whole number, so nothing to tap.
    dial: Option<String>,
    said: String,
    voicemail: &'static str,
}

struct Choice {
    code: &'static str,
    words: &'static str,
    is_chosen: bool,
}

/// What was typed into one of the page's forms.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct CallForm {
    result: String,
    outcome: String,
    note: String,
    why: String,
    whom: String,
    spoke_with: String,
    interpreter: String,
    visit: String,
    place: String,
    next_try: String,
}

#[derive(Template)]
#[template(path = "office/call.html")]
struct CallPage {
    frame: Frame,
    id: String,
    name: String,
    age_and_place: String,
    phone: String,
    reach: Option<ReachView>,
    helper: String,
    helper_phone: String,
    language: &'static str,
    lang: &'static str,
    patient_address: String,
    class: Class,
    left: String,
    due: String,
    due_ms: i64,
    now_ms: i64,
    missed: String,
    reason: String,
    decided_by: String,
    come_in: String,
    ask: Vec<String>,
    note: String,
    reply: String,
    reply_read: String,
    attempts: Vec<AttemptView>,
    /// Why the check stands where it does, without any photo.
    why_class: Vec<String>,
    /// Questions the patient left open, in their language and in English.
    open_questions: Vec<Line>,
    script: Script,
    needs_interpreter: bool,
    whoms: Vec<Choice>,
    interpreters: Vec<call_choice::Choice>,
    /// Addresses of small photos, for whoever may see them.
    photos: Vec<String>,
    hand_off_address: String,
    to_emergency: bool,
    next_try: String,
    is_open: bool,
    ended: String,
    hand_back_note: String,
    /// The matter is an emergency: giving up is not offered.
    about_go_now: bool,
    results: Vec<Choice>,
    outcomes: Vec<Choice>,
    form: CallForm,
    faults: Faults,
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    call_page(&app, &member, read_id(&id)?, CallForm::default(), Vec::new()).await
}

pub async fn log(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<CallForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let Ok(result) = form.result.parse::<CallResult>() else {
        let fault = Fault::new("result", "Choose how the call went.");
        return call_page(&app, &member, id, form, vec![fault]).await;
    };
    // A way to end belongs only to a call that was answered.
    let outcome = form.outcome.parse().ok().filter(|_| result == CallResult::Spoke);
    let zone = Frame::of(&app, &member, Part::Callbacks, "").await?.practice.zone;
    let mut faults = Vec::new();
    let mut time = |field: &'static str, typed: &str| match local_time::read(typed, &zone) {
        Ok(at) => at,
        Err(wrong) => {
            faults.push(Fault::new(field, wrong.words()));
            None
        }
    };
    let (visit, next_try) = (time("visit", &form.visit), time("next_try", &form.next_try));
    if !faults.is_empty() {
        return call_page(&app, &member, id, form, faults).await;
    }
    let attempting = Attempting {
        note: form.note.clone(),
        outcome,
        whom: form.whom.parse().unwrap_or(Whom::Patient),
        spoke_with: form.spoke_with.clone(),
        interpreter: form.interpreter.parse().unwrap_or(Interpreter::NotNeeded),
        visit: visit.filter(|_| outcome == Some(CallOutcome::VisitBooked)),
        place: form.place.clone(),
        next_try,
        ..Attempting::of(result)
    };
    let logged = callback::log_attempt(&app.desk, &member.member, id, attempting, &app.moment()).await;
    finish(&app, &member, id, form, logged, outcome.is_some()).await
}

pub async fn could_not_reach(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let ended = callback::could_not_reach(&app.desk, &member.member, id, app.now()).await;
    finish(&app, &member, id, CallForm::default(), ended, true).await
}

pub async fn hand_back(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<CallForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let ended = match callback::hand_back(&app.desk, &member.member, id, &form.why, app.now()).await {
        Err(CareError::Entered(faults)) => {
            // This page has two notes: the one for the surgeon is called `why`.
            let faults = faults.into_iter().map(|fault| Fault::new("why", fault.words)).collect();
            Err(CareError::Entered(faults))
        }
        other => other,
    };
    finish(&app, &member, id, form, ended, true).await
}

/// Back to the list when the call ended, back to the call when it goes on, the page again when something was wrong.
async fn finish(
    app: &App,
    member: &Member,
    id: CallbackId,
    form: CallForm,
    done: Result<(), CareError>,
    has_ended: bool,
) -> Result<Response, PageError> {
    match done {
        Ok(()) if has_ended => Ok(Redirect::to("/callbacks").into_response()),
        Ok(()) => Ok(Redirect::to(&format!("/callbacks/{id}")).into_response()),
        Err(CareError::Entered(faults)) => call_page(app, member, id, form, faults).await,
        Err(other) => Err(other.into()),
    }
}

async fn call_page(
    app: &App,
    member: &Member,
    id: CallbackId,
    form: CallForm,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let opened = callback::view(&app.desk, &member.member, id, app.now()).await?;
    let frame = Frame::of(app, member, Part::Callbacks, "Callback").await?;
    let faults = Faults(faults);
    page(faults.status(), &shown(app, &opened, frame, form, faults))
}

fn shown(app: &App, opened: &OpenedCall, frame: Frame, form: CallForm, faults: Faults) -> CallPage {
    let now = app.now();
    let (call, zone) = (&opened.call, &opened.practice.zone);
    let (callback, patient) = (&call.callback, &call.patient);
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let name_of =
        |id| opened.staff.iter().find(|member| member.id == id).map_or("", |member| member.name.as_str());
    let today = now.to_zoned_datetime(zone.clone()).date();
    CallPage {
        id: callback.id.to_string(),
        name: patient.name.clone(),
        age_and_place: format!(
            "{} years · {} · {}, day {}",
            patient.age_years(today),
            wound_words::place_line(&call.operation),
            call.operation.procedure,
            day_number(call.operation.operated, now, zone)
        ),
        phone: patient.phone.clone(),
        reach: call.reach.as_ref().map(|reach| reach_view(reach, clock(reach.said))),
        helper: patient.helper_name.clone().unwrap_or_else(|| "Helper".to_owned()),
        helper_phone: patient.helper_phone.clone().unwrap_or_default(),
        language: patient.language.own_name(),
        lang: patient.language.code(),
        patient_address: format!("/patients/{}", patient.id),
        class: class_in_time(callback.urgency, callback.due, now),
        left: time_words::time_left(callback.due, now),
        due: clock(callback.due),
        due_ms: callback.due.as_millisecond(),
        now_ms: now.as_millisecond(),
        missed: missed_words(callback.missed),
        reason: callback.reason.clone(),
        decided_by: opened.review.as_ref().map_or_else(String::new, |review| {
            format!("{}, {}", name_of(review.surgeon), clock(review.decided))
        }),
        come_in: opened.review.as_ref().and_then(|review| review.come_in).map_or_else(String::new, clock),
        ask: callback.ask.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect(),
        note: opened.review.as_ref().map_or_else(String::new, |review| review.note.to_string()),
        reply: opened.reply.as_ref().map_or_else(String::new, |reply| reply.body.to_string()),
        reply_read: opened.reply.as_ref().map_or_else(String::new, |reply| match reply.read {
            Some(read) => format!("read {}", clock(read)),
            None => "not marked as read yet".to_owned(),
        }),
        attempts: call
            .attempts
            .iter()
            .map(|attempt| AttemptView {
                result: attempt_words(attempt),
                note: attempt.note.to_string(),
                by: name_of(attempt.staff).to_owned(),
                at: clock(attempt.at),
            })
            .collect(),
        why_class: opened
            .check
            .assessment
            .reasons
            .iter()
            .take(REASONS_SHOWN)
            .map(|reason| reason.sentence.clone())
            .collect(),
        open_questions: open_questions(opened),
        script: call_script::script(
            About::Decision,
            Facts { practice: &opened.practice, patient, caller: &frame.member_name, now },
        ),
        needs_interpreter: call_script::needs_interpreter(patient),
        whoms: [(Whom::Patient, "The patient"), (Whom::SecondContact, "The second contact")]
            .into_iter()
            .filter(|(whom, _)| *whom == Whom::Patient || patient.helper_phone.is_some())
            .map(|(whom, words)| Choice {
                code: whom.code(),
                words,
                is_chosen: form.whom == whom.code() || (form.whom.is_empty() && whom == Whom::Patient),
            })
            .collect(),
        interpreters: call_choice::interpreters(&form.interpreter),
        photos: opened.photos.iter().map(|photo| format!("/photos/{}/small", photo.id)).collect(),
        hand_off_address: format!("/wounds/{}/hand-off", callback.wound),
        to_emergency: opened.review.as_ref().is_some_and(|one| one.decision == Decision::GoToEmergency)
            || callback.outcome == Some(CallOutcome::WentToEmergency),
        next_try: callback.next_try.filter(|at| *at > now).map_or_else(String::new, clock),
        is_open: callback.state == CallbackState::Open,
        ended: ended_words(call, now, zone),
        hand_back_note: callback.hand_back_note.to_string(),
        about_go_now: call.about_go_now,
        results: CallResult::ALL
            .iter()
            .map(|result| Choice {
                code: result.code(),
                words: result.words(),
                is_chosen: form.result == result.code(),
            })
            .collect(),
        outcomes: CallOutcome::ALL
            .iter()
            .filter(|outcome| **outcome != CallOutcome::CouldNotReach)
            .map(|outcome| Choice {
                code: outcome.code(),
                words: outcome.words(),
                is_chosen: form.outcome == outcome.code(),
            })
            .collect(),
        form,
        faults,
        frame,
    }
}

/// What the patient was asked and did not answer, or was not sure of: to be asked now.
fn open_questions(opened: &OpenedCall) -> Vec<Line> {
    let (answers, wound) = (&opened.check.answers, &opened.wound);
    let context = Context::of(&wound.operation, &wound.risk, wound.strip_out);
    let is_open = |question: &&Question| {
        question.asked(answers, &context)
            && !is_optional(question.id)
            && !NOT_ASKED_AGAIN.contains(&question.id)
            && answer_words::answer(answers, question.id).is_none_or(|said| said == answer_words::NOT_SURE)
    };
    let in_language = |id, language| named(QuestionWords::ALL, id, language).unwrap_or_default().to_owned();
    let language = opened.call.patient.language;
    QUESTIONS
        .iter()
        .filter(is_open)
        .map(|question| Line {
            says: in_language(question.id, language),
            english: match language {
                Language::English => String::new(),
                Language::Spanish => in_language(question.id, Language::English),
            },
        })
        .filter(|line| !line.says.is_empty())
        .take(QUESTIONS_SHOWN)
        .collect()
}

/// Whom a try rang, and who spoke.
fn attempt_words(attempt: &CallAttempt) -> String {
    let whom = match attempt.whom {
        Whom::Patient => "",
        Whom::SecondContact => " (second contact)",
        Whom::Elsewhere => " (elsewhere)",
    };
    let with = match attempt.spoke_with.as_str() {
        "" => String::new(),
        name => format!(" with {name}"),
    };
    format!("{}{with}{whom}", attempt.result.words())
}

fn reach_view(reach: &Reach, said: String) -> ReachView {
    ReachView {
        words: chart_words::best_phone(&reach.phone),
        dial: reach.phone.number.clone(),
        said,
        voicemail: match reach.voicemail {
            Some(YesNo::Yes) => "A voice message may be left there.",
            Some(YesNo::No) => "Leave no voice message there.",
            None => "Whether a voice message may be left was not said: leave none.",
        },
    }
}

fn read_id(text: &str) -> Result<CallbackId, PageError> {
    text.parse().map_err(|_| PageError::NotFound)
}
