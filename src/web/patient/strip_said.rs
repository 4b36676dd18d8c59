//! After the patient said how taking the strip out went: what the practice has, what to do now, and no word that all is
//! well.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;

use crate::care::LinkHolder;
use crate::care::thread::Home;
use crate::store::strip_attempts::StripAttempt;
use crate::triage::StripAnswer;
use crate::web::App;
use crate::web::error::PageError;
use crate::web::patient::check_page::context_of;
use crate::web::patient::clock;
use crate::web::patient::danger;
use crate::web::patient::frame;
use crate::web::patient::frame::Frame;
use crate::web::patient::frame::Here;
use crate::web::patient::tasks::STRIP_PAGES;
use crate::words::Language;
use crate::words::patient_danger::DangerWords;
use crate::words::patient_strip::StripWords;
use crate::words::patient_today::TodayWords;

/// What was said went to the practice as a wound check.
struct Raised {
    /// Where the check's receipt is; empty: another phone sent it.
    sent_url: String,
}

#[derive(Template)]
#[template(path = "patient/strip_said.html")]
struct SaidPage {
    frame: Frame,
    words: StripWords,
    today_words: TodayWords,
    danger: Vec<String>,
    told: String,
    raised: Option<Raised>,
}

/// `ended`: the try that ended; `None`: the strip was reported out in another way.
pub fn page(
    app: &App,
    holder: &LinkHolder,
    home: &Home,
    ended: Option<&StripAttempt>,
    receipt: Option<String>,
) -> Result<Response, PageError> {
    let (language, now) = (holder.language, app.now());
    let words = StripWords(language);
    let said = ended.and_then(|attempt| attempt.said).map(|(said, _)| said);
    let told = match (ended, home.wound.strip_out) {
        (Some(attempt), _) => told(app, home, attempt, language),
        (None, Some(out)) => words.reported_out(&clock::when(out, now, &home.practice.zone, language)),
        (None, None) => String::new(),
    };
    let page = SaidPage {
        frame: Frame::new(home, language, Here::Today, STRIP_PAGES, now),
        words,
        today_words: TodayWords(language),
        danger: danger::signs(&context_of(home), DangerWords(language)),
        told,
        raised: match said {
            None | Some(StripAnswer::AllOut) => None,
            Some(
                StripAnswer::NeverHad
                | StripAnswer::FellOut
                | StripAnswer::PartOut
                | StripAnswer::Unsure
                | StripAnswer::StillIn
                | StripAnswer::Stuck,
            ) => {
                Some(Raised { sent_url: receipt.map_or_else(String::new, |code| format!("/my/sent/{code}")) })
            }
        },
    };
    frame::show(&page, StatusCode::OK)
}

/// What the patient said, with its time, in a sentence; empty: nothing.
pub fn told(app: &App, home: &Home, attempt: &StripAttempt, language: Language) -> String {
    let words = StripWords(language);
    let Some((said, at)) = attempt.said else { return String::new() };
    let when = clock::when(at, app.now(), &home.practice.zone, language);
    match said {
        StripAnswer::AllOut => words.told_out(&when),
        StripAnswer::PartOut => words.told_part(&when),
        StripAnswer::Stuck | StripAnswer::StillIn => words.told_stuck(&when),
        StripAnswer::Unsure | StripAnswer::NeverHad | StripAnswer::FellOut => words.told_unsure(&when),
    }
}
