//! What a person is told when something does not work: what to do next, never the cause. A fault of ours is logged where it gets
//! its reference, in `fell_over`.

use std::sync::Arc;

use askama::Template;
use axum::http::HeaderValue;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::Html;
use axum::response::IntoResponse;
use axum::response::Response;
use jiff::SignedDuration;

use crate::care::CareError;
use crate::web::assets;

/// Why a page cannot be shown.
#[derive(Debug)]
pub enum PageError {
    /// No staff session, or it ended.
    SignedOut,
    /// The password was right, and the second step has not been taken.
    HalfIn,
    /// The second step was taken too long ago for this.
    NotFresh,
    /// No phone session, or its link was closed.
    NoLink,
    /// The look by a sealed code ended, or never began.
    LookOver,
    NotAllowed,
    NotFound,
    /// A change that did not come from one of our own pages.
    FromElsewhere,
    /// A change that came over plain http, where HTTPS is spoken.
    InTheOpen,
    /// The form was too big or not in a shape a form has.
    Unreadable,
    TooBig,
    Care(CareError),
}

impl From<CareError> for PageError {
    fn from(fault: CareError) -> PageError {
        match fault {
            CareError::NotFound => PageError::NotFound,
            CareError::NotAllowed => PageError::NotAllowed,
            CareError::LinkClosed => PageError::NoLink,
            other => PageError::Care(other),
        }
    }
}

/// Goes with an answer that says nothing but that something of ours failed: the door knows who asked, and says more.
#[derive(Clone, Debug)]
pub struct OursFailed {
    /// For the log; `None`: there was no room or no time, which is no fault.
    pub fault: Option<Arc<str>>,
}

/// Goes with the answer to a phone whose link is not open: the door knows whose it was, and says more.
#[derive(Clone, Copy, Debug)]
pub struct LinkNotOpen;

/// Goes with an answer that says that something is not for this person, behind a door that let them in.
#[derive(Clone, Copy, Debug)]
pub struct NotForThem;

/// Goes with the answer to a change that did not come from one of our pages, or not over a private line.
#[derive(Clone, Copy, Debug)]
pub struct NotFromOurs;

/// Goes with the answer to whoever came up against a limit.
#[derive(Clone, Copy, Debug)]
pub struct LimitHit;

#[derive(Template)]
#[template(path = "error.html")]
struct ErrorPage {
    base_css: String,
    heading: &'static str,
    advice: String,
    /// Where the button leads; empty: no button.
    next: &'static str,
    next_words: &'static str,
    /// Whom to ring; empty: not known, or no matter.
    phone: String,
    /// By what the log calls this fault; empty: it is none of ours.
    reference: String,
}

impl PageError {
    fn status(&self) -> StatusCode {
        match self {
            PageError::NotFresh => StatusCode::FORBIDDEN,
            PageError::SignedOut
            | PageError::HalfIn
            | PageError::NoLink
            | PageError::LookOver
            | PageError::Care(CareError::LinkClosed) => StatusCode::UNAUTHORIZED,
            PageError::NotAllowed | PageError::FromElsewhere | PageError::InTheOpen => StatusCode::FORBIDDEN,
            PageError::NotFound => StatusCode::NOT_FOUND,
            PageError::Unreadable => StatusCode::BAD_REQUEST,
            PageError::TooBig => StatusCode::PAYLOAD_TOO_LARGE,
            PageError::Care(CareError::Claimed { .. } | CareError::AlreadyDone) => StatusCode::CONFLICT,
            PageError::Care(CareError::Entered(_)) => StatusCode::UNPROCESSABLE_ENTITY,
            PageError::Care(CareError::NotFound) => StatusCode::NOT_FOUND,
            PageError::Care(CareError::NotAllowed) => StatusCode::FORBIDDEN,
            PageError::Care(CareError::NoRoom) => StatusCode::INSUFFICIENT_STORAGE,
            PageError::Care(CareError::TooMany { .. }) => StatusCode::TOO_MANY_REQUESTS,
            PageError::Care(CareError::Busy { .. }) => StatusCode::SERVICE_UNAVAILABLE,
            PageError::Care(CareError::Store(_) | CareError::Work(_)) => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }

    /// After how long to try again; `None`: there is no telling.
    fn again(&self) -> Option<SignedDuration> {
        match self {
            PageError::Care(CareError::TooMany { again } | CareError::Busy { again }) => Some(*again),
            PageError::SignedOut
            | PageError::HalfIn
            | PageError::NotFresh
            | PageError::NoLink
            | PageError::LookOver
            | PageError::NotAllowed
            | PageError::NotFound
            | PageError::FromElsewhere
            | PageError::InTheOpen
            | PageError::Unreadable
            | PageError::TooBig
            | PageError::Care(_) => None,
        }
    }

    /// `None`: nothing of ours did.
    fn ours_failed(&self) -> Option<OursFailed> {
        match self {
            PageError::Care(CareError::Store(fault)) => {
                Some(OursFailed { fault: Some(format!("in the store: {fault}").into()) })
            }
            PageError::Care(CareError::Work(fault)) => {
                Some(OursFailed { fault: Some(fault.as_str().into()) })
            }
            PageError::Care(CareError::NoRoom | CareError::Busy { .. }) => Some(OursFailed { fault: None }),
            PageError::Care(_)
            | PageError::SignedOut
            | PageError::HalfIn
            | PageError::NotFresh
            | PageError::NoLink
            | PageError::LookOver
            | PageError::NotAllowed
            | PageError::NotFound
            | PageError::FromElsewhere
            | PageError::InTheOpen
            | PageError::Unreadable
            | PageError::TooBig => None,
        }
    }

    fn page(&self) -> ErrorPage {
        let (heading, advice, next, next_words) = match self {
            PageError::SignedOut => ("Please sign in", "You were signed out.".to_owned(), "/sign-in", "Sign in"),
            PageError::HalfIn => (
                "One step is still missing",
                "Your password was right. Take the second step.".to_owned(),
                "/prove",
                "Second step",
            ),
            PageError::NotFresh => (
                "Show once more that it is you",
                "This is done only by somebody who took the second step a moment ago.".to_owned(),
                "/prove",
                "Second step",
            ),
            PageError::NoLink | PageError::Care(CareError::LinkClosed) => (
                "Open your link again / Abra su enlace otra vez",
                "Use the link or the code on your sheet. If you cannot, ring the practice. In an emergency call the \
                 emergency number. · Use el enlace o el código de su hoja. Si no puede, llame al consultorio. En una \
                 emergencia llame al número de emergencias."
                    .to_owned(),
                "/go",
                "Type the code / Escriba el código",
            ),
            PageError::LookOver => (
                "The look is over",
                "A sealed code opens once, for 60 minutes; a lead may end it sooner.".to_owned(),
                "/envelope",
                "Sealed code",
            ),
            PageError::NotAllowed | PageError::Care(CareError::NotAllowed) => (
                "Not part of your role",
                "Ask a lead of the practice if you should be able to do this.".to_owned(),
                "/",
                "Back to your start page",
            ),
            PageError::NotFound | PageError::Care(CareError::NotFound) => (
                "Nothing is here",
                "Check the address, or go back and follow the link again. · Revise la dirección o regrese.".to_owned(),
                "/",
                "Start page",
            ),
            PageError::FromElsewhere => (
                "That did not come from this site",
                "Nothing was changed. Open the page here and press the button again. · No se cambió nada. Abra la \
                 página aquí y presione el botón otra vez."
                    .to_owned(),
                "/",
                "Start page",
            ),
            PageError::InTheOpen => (
                "Not sent: the line was not private",
                "Nothing was kept. Press the button, then send it once more there. In an emergency call the emergency number. · No \
                 se guardó nada. Presione el botón y mándelo allí otra vez. En una emergencia llame al número de \
                 emergencias."
                    .to_owned(),
                "/",
                "Start page",
            ),
            PageError::Unreadable => (
                "The form did not arrive whole",
                "Go back: what you typed is still in the form. Send it again. · Regrese: lo que escribió sigue ahí. \
                 Mándelo otra vez."
                    .to_owned(),
                "",
                "",
            ),
            PageError::TooBig => (
                "That was too big to send",
                "Go back and choose a smaller photo (15 MB at most), or send the answers without it. · Regrese y \
                 elija una foto más chica (15 MB como máximo), o mande las respuestas sin ella."
                    .to_owned(),
                "",
                "",
            ),
            PageError::Care(CareError::Claimed { by, .. }) => (
                "Somebody else is looking at this check",
                format!("{by} opened it and has it for up to 15 minutes. The queue shows when it is free."),
                "/queue",
                "Back to the queue",
            ),
            PageError::Care(CareError::AlreadyDone) => (
                "Somebody did this meanwhile",
                "Nothing was changed twice. Look at how it stands now.".to_owned(),
                "/",
                "Start page",
            ),
            PageError::Care(CareError::Entered(faults)) => (
                "Something in the form needs another look",
                faults.iter().map(|fault| fault.words.as_str()).collect::<Vec<_>>().join(" "),
                "",
                "",
            ),
            PageError::Care(CareError::TooMany { again }) => (
                "Too many tries just now / Demasiados intentos",
                format!(
                    "Wait {0}, then try again: nothing is locked. In an emergency call the emergency number. · Espere \
                     {0} y pruebe otra vez: nada está bloqueado. En una emergencia llame al número de emergencias.",
                    wait_words(*again)
                ),
                "",
                "",
            ),
            PageError::Care(
                CareError::Store(_) | CareError::Work(_) | CareError::NoRoom | CareError::Busy { .. },
            ) => (
                "This did not work. Send it again",
                "It may not have been saved. Go back and send it again in a moment: the same form is never kept \
                 twice. If it is urgent, ring the practice; in an emergency call the emergency number. · Tal vez no se \
                 guardó. Regrese y mándelo otra vez en un momento: la misma hoja nunca se guarda dos veces. Si es \
                 urgente, llame al consultorio; en una emergencia llame al número de emergencias."
                    .to_owned(),
                "",
                "",
            ),
        };
        ErrorPage {
            base_css: assets::address("base.css"),
            heading,
            advice,
            next,
            next_words,
            phone: String::new(),
            reference: String::new(),
        }
    }
}

/// The page for a fault of ours: whom to ring, where that is known, and by what the log calls the fault.
pub fn failed_page(phone: String, reference: String) -> Response {
    let failed = PageError::Care(CareError::Work(String::new()));
    let page = ErrorPage { phone, reference, ..failed.page() };
    (failed.status(), Html(page.render().unwrap_or_else(|_| LAST_WORDS.to_owned()))).into_response()
}

const LAST_WORDS: &str = "This did not work. Ring the practice.";

/// `Retry-After`, in whole seconds, at least one.
pub fn retry_after(again: SignedDuration) -> HeaderValue {
    HeaderValue::from(whole_seconds(again))
}

fn whole_seconds(again: SignedDuration) -> u64 {
    let up = i64::from(again.subsec_nanos() > 0);
    u64::try_from(again.as_secs() + up).unwrap_or(1).max(1)
}

/// "45 s" or "5 min", rounded up: the same in both languages.
pub fn wait_words(again: SignedDuration) -> String {
    match whole_seconds(again) {
        seconds @ ..=90 => format!("{seconds} s"),
        seconds => format!("{} min", seconds.div_ceil(60)),
    }
}

impl IntoResponse for PageError {
    fn into_response(self) -> Response {
        let html = self.page().render().unwrap_or_else(|_| LAST_WORDS.to_owned());
        let mut response = (self.status(), Html(html)).into_response();
        if let Some(again) = self.again() {
            response.headers_mut().insert(header::RETRY_AFTER, retry_after(again));
        }
        if let Some(failed) = self.ours_failed() {
            response.extensions_mut().insert(failed);
        }
        if let PageError::NoLink | PageError::Care(CareError::LinkClosed) = self {
            response.extensions_mut().insert(LinkNotOpen);
        }
        if let PageError::NotAllowed | PageError::Care(CareError::NotAllowed) = self {
            response.extensions_mut().insert(NotForThem);
        }
        if let PageError::Care(CareError::TooMany { .. } | CareError::Busy { .. }) = self {
            response.extensions_mut().insert(LimitHit);
        }
        if let PageError::FromElsewhere | PageError::InTheOpen = self {
            response.extensions_mut().insert(NotFromOurs);
        }
        response
    }
}
