//! The wound check as one form: it opens with its own key, and whatever arrives is taken in before anything is asked
//! about.

use axum::extract::Multipart;
use axum::extract::Query;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::LinkHolder;
use crate::care::intake;
use crate::care::intake::PreparedPhoto;
use crate::care::intake::Receipt;
use crate::care::intake::Sending;
use crate::care::thread;
use crate::care::thread::Home;
use crate::triage::Answers;
use crate::triage::FaultKind;
use crate::triage::Reading;
use crate::triage::Said;
use crate::triage::Urgency;
use crate::web::App;
use crate::web::doors::Phone;
use crate::web::error::PageError;
use crate::web::patient::check_page;
use crate::web::patient::check_page::Opens;
use crate::web::patient::incoming;
use crate::web::patient::typed::Typed;
use crate::words::patient_faults::FaultWords;

/// Marks a request that brings one part of the form, and which.
const PART: &str = "part";
const DANGER_ONLY: &str = "danger";

/// What the address asks for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asking {
    /// `one`: everything on one page, also without scripts.
    page: String,
    /// Anything: goes on with the check that what was said about the strip has begun.
    said: String,
}

pub async fn show(
    State(app): State<App>,
    phone: Phone,
    Query(asking): Query<Asking>,
) -> Result<Response, PageError> {
    let opens = if asking.page == "one" { Opens::OnOnePage } else { Opens::InSteps };
    match asking.said.as_str() {
        "" => check_page::fresh(&app, &phone.holder, opens).await,
        _ => check_page::after_saying(&app, &phone.holder, opens).await,
    }
}

/// A check that is in: what was read, and its receipt.
pub struct Taken {
    pub home: Home,
    pub reading: Reading,
    pub receipt: Receipt,
}

impl Taken {
    /// Whether to ask about slips before saying "sent". Never when the person should be on their way.
    pub fn needs_another_look(&self) -> bool {
        !self.reading.faults.is_empty() && self.receipt.urgency != Urgency::GoNow
    }
}

/// Takes in what was typed and the photos that came along. An unclear value stays unknown; it stops nothing.
pub async fn take_in(
    app: &App,
    holder: &LinkHolder,
    typed: &Typed,
    photos: Vec<PreparedPhoto>,
    photos_expected: usize,
) -> Result<Taken, PageError> {
    let home = thread::home(&app.desk, holder, app.now()).await?;
    let mut reading = check_page::read(&home, typed);
    if typed.has(PART, DANGER_ONLY)
        && let Some(so_far) = intake::answers_so_far(&app.desk, holder, typed.form_key()).await?
    {
        reading.answers = with_danger(so_far, &reading.answers);
    }
    // Long words are kept whole: nothing to ask about.
    reading.faults.retain(|fault| fault.kind != FaultKind::TooLong);
    let sending = Sending {
        form_key: typed.form_key().to_owned(),
        answers: reading.answers.clone(),
        photos_expected: photos_expected as i64,
    };
    let receipt = intake::receive(&app.desk, holder, sending, photos, &app.moment()).await?;
    Ok(Taken { home, reading, receipt })
}

/// A danger tick travels alone and may come in after the whole form: it adds its signs and takes nothing away.
fn with_danger(mut so_far: Answers, tick: &Answers) -> Answers {
    if let Said::Is(ticked) = &tick.danger {
        let before = so_far.danger.known().cloned().unwrap_or_default();
        so_far.danger = Said::Is(before.union(ticked).copied().collect());
    }
    so_far
}

pub async fn send(State(app): State<App>, phone: Phone, form: Multipart) -> Result<Response, PageError> {
    let mut incoming = incoming::take(&app, &phone.holder, form).await?;
    if incoming.typed.form_key().is_empty() {
        incoming.typed.add("form_key", check_page::fresh_form_key(&app.chance));
    }
    let expected = incoming.photos.len() + incoming.lost;
    let taken = take_in(&app, &phone.holder, &incoming.typed, incoming.photos, expected).await?;
    let words = FaultWords(phone.holder.language);
    if !incoming.cut_short && !taken.needs_another_look() {
        return Ok(Redirect::to(&format!("/my/sent/{}", taken.receipt.code)).into_response());
    }
    let heading = if incoming.cut_short { words.cut_short() } else { words.heading() };
    let summary = check_page::summary(&phone.holder, &taken.reading, &taken.receipt, heading);
    check_page::to_fix(&app, &phone.holder, &taken.home, &incoming.typed, summary).await
}
