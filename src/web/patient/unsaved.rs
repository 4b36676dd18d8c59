//! The page a patient gets when something of ours failed: that nothing was received, and whom to ring, in both languages. It
//! asks the books nothing, for they may be what failed.

use askama::Template;
use axum::http::Method;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Response;

use crate::care::vitals::Numbers;
use crate::ids::PracticeId;
use crate::web::App;
use crate::web::assets;
use crate::web::patient::frame;
use crate::web::patient::frame::Number;
use crate::words::Language;
use crate::words::patient::PatientWords;
use crate::words::patient_unsaved::UnsavedWords;

/// What was tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Tried {
    ToOpen,
    ToSend,
}

struct Half {
    lang: &'static str,
    words: UnsavedWords,
    common: PatientWords,
}

struct ToCall {
    phone: Number,
    emergency: Number,
}

#[derive(Template)]
#[template(path = "patient/unsaved.html")]
struct UnsavedPage {
    base_css: String,
    css: String,
    halves: [Half; 2],
    sent: Option<()>,
    /// `None`: nobody knows which practice it is.
    to_call: Option<ToCall>,
    /// By what the log calls this fault; empty: it is none.
    reference: String,
}

/// `practice`: whose patient it is; `None`: not known. The patient's language stands first. `reference`: by what the log calls
/// the fault; empty: there was only no room.
pub fn page(
    app: &App,
    practice: Option<PracticeId>,
    language: Language,
    method: &Method,
    status: StatusCode,
    reference: String,
) -> Response {
    let tried = if method.is_safe() { Tried::ToOpen } else { Tried::ToSend };
    let to_call = app.desk.vitals.numbers(practice).map(|Numbers { phone, emergency, .. }| ToCall {
        phone: Number::new(&phone),
        emergency: Number::new(&emergency),
    });
    let mut languages = Language::ALL;
    languages.sort_by_key(|one| *one != language);
    let page = UnsavedPage {
        base_css: assets::address("base.css"),
        css: assets::address("patient.css"),
        halves: languages.map(|language| Half {
            lang: language.code(),
            words: UnsavedWords(language),
            common: PatientWords(language),
        }),
        sent: (tried == Tried::ToSend).then_some(()),
        to_call,
        reference,
    };
    frame::show(&page, status).unwrap_or_else(IntoResponse::into_response)
}
