//! The small requests a page with scripts sends: the answers first, then one photo after the other.

use axum::Form;
use axum::Json;
use axum::extract::Multipart;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::SignedDuration;
use jiff::Timestamp;
use serde::Serialize;

use crate::care::CareError;
use crate::care::intake;
use crate::care::thread;
use crate::triage::Urgency;
use crate::web::App;
use crate::web::doors::Phone;
use crate::web::error::PageError;
use crate::web::patient::check::take_in;
use crate::web::patient::clock;
use crate::web::patient::faults::about;
use crate::web::patient::faults::question_of;
use crate::web::patient::incoming;
use crate::web::patient::typed::Typed;
use crate::words::patient_photos::PhotoWords;

/// The receipt, for the script.
#[derive(Serialize)]
struct AnswersIn {
    receipt: String,
    answer_by: String,
    sent_url: String,
    /// Show the emergency advice now.
    call_now: bool,
    /// What needs another look; the check is in all the same.
    faults: Vec<FaultLine>,
}

#[derive(Serialize)]
struct FaultLine {
    field: &'static str,
    question: &'static str,
    message: String,
}

pub async fn answers(
    State(app): State<App>,
    phone: Phone,
    Form(fields): Form<Vec<(String, String)>>,
) -> Result<Response, PageError> {
    let typed = Typed::new(fields);
    let language = phone.holder.language;
    let photos_expected = typed.text("photos_expected").parse().unwrap_or(0_usize);
    let taken = take_in(&app, &phone.holder, &typed, Vec::new(), photos_expected).await?;
    let status = if taken.needs_another_look() { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK };
    let line = |fault: &crate::triage::Fault| FaultLine {
        field: fault.field,
        question: question_of(fault.field),
        message: about(fault, language),
    };
    let body = AnswersIn {
        answer_by: clock::when(taken.receipt.due, app.now(), &taken.home.practice.zone, language),
        sent_url: format!("/my/sent/{}", taken.receipt.code),
        call_now: taken.receipt.urgency == Urgency::GoNow,
        faults: match status {
            StatusCode::OK => Vec::new(),
            _ => taken.reading.faults.iter().map(line).collect(),
        },
        receipt: taken.receipt.code,
    };
    Ok((status, Json(body)).into_response())
}

/// How a photo came through, for the script.
#[derive(Serialize)]
struct PhotoIn {
    /// The picture can be looked at.
    ok: bool,
    words: Vec<String>,
}

/// One more photo for a check whose answers are in. A page without scripts sends it from *Sent*.
pub async fn photo(
    State(app): State<App>,
    phone: Phone,
    headers: HeaderMap,
    form: Multipart,
) -> Result<Response, PageError> {
    let incoming = incoming::take(&app, &phone.holder, form).await?;
    let wants_json = headers
        .get(header::ACCEPT)
        .and_then(|accept| accept.to_str().ok())
        .is_some_and(|accept| accept.contains("application/json"));
    let words = PhotoWords(phone.holder.language);
    let form_key = incoming.typed.form_key();
    let mut last = None;
    let mut seen = PhotoIn { ok: false, words: Vec::new() };
    if incoming.no_room > 0 {
        return no_room(&app, &phone, wants_json, incoming.typed.text("receipt")).await;
    }
    if let Some(until) = incoming.refused_until {
        return too_many(&app, &phone, wants_json, incoming.typed.text("receipt"), until).await;
    }
    if let Some(again) = incoming.busy {
        return busy(wants_json, again, words);
    }
    if incoming.lost > 0 || incoming.cut_short && wants_json {
        return Err(PageError::Care(CareError::Work("a photo did not arrive".to_owned())));
    }
    for photo in incoming.photos {
        seen.ok = photo.is_readable();
        seen.words = photo.flags().iter().map(|flag| words.about(flag)).collect();
        last = intake::add_photo(&app.desk, &phone.holder, form_key, photo, &app.moment()).await?;
    }
    match last {
        Some(_) if wants_json => Ok(Json(seen).into_response()),
        Some(receipt) => Ok(Redirect::to(&format!("/my/sent/{}", receipt.code)).into_response()),
        None if wants_json => {
            seen.words = vec![words.send_answers_first()];
            Ok((StatusCode::CONFLICT, Json(seen)).into_response())
        }
        None => Ok(Redirect::to(&way_to_check(incoming.typed.text("receipt"))).into_response()),
    }
}

/// The disk takes no photos just now: trying again at once would bring the same, and the answers are what counts.
async fn no_room(app: &App, phone: &Phone, wants_json: bool, receipt: &str) -> Result<Response, PageError> {
    if !wants_json {
        return Ok(Redirect::to(&way_to_check(receipt)).into_response());
    }
    let home = thread::home(&app.desk, &phone.holder, app.now()).await?;
    let words = PhotoWords(phone.holder.language);
    let told = PhotoIn { ok: false, words: vec![words.no_room(&home.practice.phone)] };
    Ok((StatusCode::INSUFFICIENT_STORAGE, Json(told)).into_response())
}

/// This link sent photos with more checks today than are taken. Not worth another try before then, and the answers are in.
async fn too_many(
    app: &App,
    phone: &Phone,
    wants_json: bool,
    receipt: &str,
    until: Timestamp,
) -> Result<Response, PageError> {
    if !wants_json {
        return Ok(Redirect::to(&way_to_check(receipt)).into_response());
    }
    let home = thread::home(&app.desk, &phone.holder, app.now()).await?;
    let language = phone.holder.language;
    let when = clock::when(until, app.now(), &home.practice.zone, language);
    let most = app.desk.vitals.machine().photo_checks_a_day;
    let words = PhotoWords(language).too_many_today(most, &when, &home.practice.phone);
    let told = PhotoIn { ok: false, words: vec![words] };
    Ok((StatusCode::INSUFFICIENT_STORAGE, Json(told)).into_response())
}

/// More photos come in than can be read soon: the script tries again by itself, a person by hand.
fn busy(wants_json: bool, again: SignedDuration, words: PhotoWords) -> Result<Response, PageError> {
    if !wants_json {
        return Err(PageError::Care(CareError::Busy { again }));
    }
    let told = PhotoIn { ok: false, words: vec![words.busy()] };
    let after = [(header::RETRY_AFTER, again.as_secs().max(1).to_string())];
    Ok((StatusCode::SERVICE_UNAVAILABLE, after, Json(told)).into_response())
}

/// Nothing was chosen: back to where the form stood.
fn way_to_check(receipt: &str) -> String {
    let is_receipt = receipt.chars().all(|sign| sign.is_ascii_alphanumeric() || sign == '-');
    match receipt {
        "" => "/my/check".to_owned(),
        receipt if is_receipt => format!("/my/sent/{receipt}"),
        _ => "/my".to_owned(),
    }
}
