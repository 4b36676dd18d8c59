//! The wound check step by step, for a browser without scripts: what is typed waits with the practice between the
//! steps, and is a check only when it is sent. A danger sign is sent at once.

use axum::Form;
use axum::extract::Multipart;
use axum::extract::Query;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::check_draft;
use crate::care::check_draft::Kept;
use crate::care::check_draft::StepTyped;
use crate::care::intake;
use crate::care::knock;
use crate::care::sent_before;
use crate::care::thread;
use crate::triage::Fault;
use crate::triage::Reading;
use crate::triage::low_sugar;
use crate::web::App;
use crate::web::doors::Phone;
use crate::web::error::PageError;
use crate::web::patient::check;
use crate::web::patient::check_page;
use crate::web::patient::check_page::context_of;
use crate::web::patient::incoming;
use crate::web::patient::incoming::Incoming;
use crate::web::patient::step_page;
use crate::web::patient::step_plan;
use crate::web::patient::step_plan::LAST;
use crate::web::patient::step_plan::Step;
use crate::web::patient::typed::Typed;
use crate::words::Language;
use crate::words::patient_faults::FaultWords;

/// Where every step is, and where it is posted.
pub const STEPS: &str = "/my/check/steps";
/// All answers of one step.
const MOST_STEP_BYTES: usize = 16 * 1024;

/// What the address asks for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asking {
    /// A step's code; anything else goes on where it was left.
    at: String,
    /// The form's key: going back to a step of a check that was sent leads to its receipt, not into a new check.
    form: String,
}

/// Where a step of this form is.
fn address(code: &str, form_key: &str) -> String {
    let is_ours = form_key.chars().all(|sign| sign.is_ascii_alphanumeric() || matches!(sign, '-' | '_'));
    match is_ours {
        true => format!("{STEPS}?at={code}&form={form_key}"),
        false => format!("{STEPS}?at={code}"),
    }
}

pub async fn show(
    State(app): State<App>,
    phone: Phone,
    Query(asking): Query<Asking>,
) -> Result<Response, PageError> {
    if let Some(receipt) = sent_before::sent_as(&app.desk, &phone.holder, &asking.form).await? {
        return Ok(sent(&receipt));
    }
    let home = thread::home(&app.desk, &phone.holder, app.now()).await?;
    let draft =
        check_draft::unfinished(&app.desk, &phone.holder, &phone.token, &asking.form, app.now()).await?;
    step_page::page(&app, &phone.holder, &home, draft, &asking.at).await
}

/// What pressing a button asks for, beside keeping what was typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Go {
    Next,
    Back,
    /// On, with a slip left as it is.
    Anyway,
    Afresh,
    /// The same step in the other language.
    Speak(Language),
    /// The same step: a language was asked for that we do not have.
    Stay,
}

fn go(typed: &Typed) -> Go {
    match (typed.text("language"), typed.text("go")) {
        ("", "back") => Go::Back,
        ("", "anyway") => Go::Anyway,
        ("", "afresh") => Go::Afresh,
        ("", _) => Go::Next,
        (language, _) => language.parse().map_or(Go::Stay, Go::Speak),
    }
}

/// Keeps a step and leads on.
pub async fn keep(
    State(app): State<App>,
    phone: Phone,
    Form(fields): Form<Vec<(String, String)>>,
) -> Result<Response, PageError> {
    if fields.iter().map(|(name, value)| name.len() + value.len()).sum::<usize>() > MOST_STEP_BYTES {
        return Err(PageError::TooBig);
    }
    let mut typed = Typed::new(fields);
    let go = go(&typed);
    if go == Go::Afresh {
        check_draft::forget(&app.desk, &phone.holder, typed.form_key(), app.now()).await?;
        return Ok(Redirect::to(STEPS).into_response());
    }
    if typed.form_key().is_empty() {
        typed.add("form_key", check_page::fresh_form_key(&app.chance));
    }
    let Some(step) = step_plan::called(typed.text("step")) else {
        return Ok(Redirect::to(STEPS).into_response());
    };
    let all = match kept(&app, &phone, &step, &typed).await? {
        Ok(all) => all,
        Err(receipt) => return Ok(sent(&receipt)),
    };
    speak(&app, &phone, go).await?;
    lead_on(&app, &phone, step.code, &seen(&typed), &all, go).await
}

/// To the next step. A danger sign is sent at once, with everything typed so far, and nothing more is asked.
async fn lead_on(
    app: &App,
    phone: &Phone,
    code: &str,
    seen: &[String],
    all: &Typed,
    go: Go,
) -> Result<Response, PageError> {
    let home = thread::home(&app.desk, &phone.holder, app.now()).await?;
    let reading = check_page::read(&home, all);
    if reading.answers.danger.known().is_some_and(|ticked| !ticked.is_empty()) {
        let taken = check::take_in(app, &phone.holder, all, Vec::new(), 0).await?;
        return Ok(sent(&taken.receipt.code));
    }
    let steps = step_plan::plan(&reading.answers, &context_of(&home));
    let next = next_step(&steps, &reading, code, seen, go);
    let place =
        next.filter(|step| step.code == code).map_or_else(String::new, |step| place(step, &reading, seen));
    let address = address(next.map_or("", |step| step.code), all.form_key());
    Ok(Redirect::to(&format!("{address}{place}")).into_response())
}

/// Straight to the question an answer has just opened; empty when something above it must be read first.
fn place(step: &Step, reading: &Reading, seen: &[String]) -> String {
    if low_sugar(&reading.answers).is_some() || slips(step, &reading.faults).next().is_some() {
        return String::new();
    }
    let opened = step.asked.iter().find(|id| !seen.iter().any(|shown| shown == *id));
    opened.map_or_else(String::new, |id| format!("#q-{id}"))
}

/// Keeps the fields of one step and gives everything typed so far; the receipt when the check was sent before.
async fn kept(
    app: &App,
    phone: &Phone,
    step: &Step,
    typed: &Typed,
) -> Result<Result<Typed, String>, PageError> {
    let step = StepTyped {
        form_key: typed.form_key(),
        step: step.code,
        names: &step.fields(),
        fields: typed.fields().to_vec(),
        shown: seen(typed),
    };
    Ok(match check_draft::keep(&app.desk, &phone.holder, &phone.token, step, app.now()).await? {
        Kept::SentBefore(receipt) => Err(receipt),
        Kept::Draft(draft) => {
            let mut all = Typed::new(draft.fields);
            all.add("form_key", draft.form_key);
            Ok(all)
        }
    })
}

/// The questions the step showed; only ids we know.
fn seen(typed: &Typed) -> Vec<String> {
    let seen = typed.fields().iter().filter(|(name, _)| name == "seen").map(|(_, id)| id);
    seen.filter(|id| crate::triage::question(id).is_some()).cloned().collect()
}

async fn speak(app: &App, phone: &Phone, go: Go) -> Result<(), PageError> {
    match go {
        Go::Speak(language) => Ok(knock::speak(&app.desk, &phone.token, language).await?),
        Go::Next | Go::Back | Go::Anyway | Go::Afresh | Go::Stay => Ok(()),
    }
}

/// Where to go from this step. A slip, and a question that an answer has just opened, come before going on.
fn next_step<'a>(
    steps: &'a [Step],
    reading: &Reading,
    code: &str,
    seen: &[String],
    go: Go,
) -> Option<&'a Step> {
    let at = steps.iter().position(|step| step.code == code)?;
    let step = &steps[at];
    let is_new = step.asked.iter().any(|id| !seen.iter().any(|shown| shown == id));
    let has_slip = slips(step, &reading.faults).next().is_some();
    match go {
        Go::Speak(_) | Go::Stay => steps.get(at),
        Go::Back => steps.get(at.saturating_sub(1)),
        Go::Next if has_slip || is_new => steps.get(at),
        Go::Anyway if is_new => steps.get(at),
        Go::Next | Go::Anyway | Go::Afresh => steps.get(at + 1),
    }
}

/// The slips in this step's own fields. Long words are kept whole: nothing to ask about.
pub fn slips<'a>(step: &Step, faults: &'a [Fault]) -> impl Iterator<Item = &'a Fault> {
    let fields = step.fields();
    faults.iter().filter(move |fault| fields.contains(&fault.field) && fault.field != "words")
}

/// The last step: photos, words, where to be reached, and sending. The same way in as the form on one page.
pub async fn send(State(app): State<App>, phone: Phone, form: Multipart) -> Result<Response, PageError> {
    let mut incoming = incoming::take(&app, &phone.holder, form).await?;
    if incoming.typed.form_key().is_empty() {
        incoming.typed.add("form_key", check_page::fresh_form_key(&app.chance));
    }
    let (last, go) = (Step { code: LAST, asked: Vec::new() }, go(&incoming.typed));
    let all = match kept(&app, &phone, &last, &incoming.typed).await? {
        Ok(all) => all,
        Err(receipt) => return add_photos(&app, &phone, incoming, &receipt).await,
    };
    speak(&app, &phone, go).await?;
    match go {
        Go::Back | Go::Stay | Go::Speak(_) => lead_on(&app, &phone, LAST, &[], &all, go).await,
        Go::Next | Go::Anyway | Go::Afresh => take_in(&app, &phone, &last, &all, incoming).await,
    }
}

/// Takes the check in. Slips of earlier steps were shown there; what is wrong here is asked about on the one page.
async fn take_in(
    app: &App,
    phone: &Phone,
    last: &Step,
    all: &Typed,
    incoming: Incoming,
) -> Result<Response, PageError> {
    let expected = incoming.photos.len() + incoming.lost;
    let taken = check::take_in(app, &phone.holder, all, incoming.photos, expected).await?;
    let has_slip = slips(last, &taken.reading.faults).next().is_some() && taken.needs_another_look();
    if !incoming.cut_short && !has_slip {
        return Ok(sent(&taken.receipt.code));
    }
    let words = FaultWords(phone.holder.language);
    let heading = if incoming.cut_short { words.cut_short() } else { words.heading() };
    let summary = check_page::summary(&phone.holder, &taken.reading, &taken.receipt, heading);
    check_page::to_fix(app, &phone.holder, &taken.home, all, summary).await
}

/// The form was sent twice: the check stands, and what photos are new are added to it.
async fn add_photos(
    app: &App,
    phone: &Phone,
    incoming: Incoming,
    receipt: &str,
) -> Result<Response, PageError> {
    let form_key = incoming.typed.form_key();
    for photo in incoming.photos {
        intake::add_photo(&app.desk, &phone.holder, form_key, photo, &app.moment()).await?;
    }
    Ok(sent(receipt))
}

fn sent(receipt: &str) -> Response {
    Redirect::to(&format!("/my/sent/{receipt}")).into_response()
}
