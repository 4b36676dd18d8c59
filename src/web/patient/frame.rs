//! What stands on every patient page: the practice, the two numbers to call, the language, and whether anybody is there.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Html;
use axum::response::IntoResponse;
use axum::response::Response;
use jiff::Timestamp;

use crate::store::practices::Practice;
use crate::web::assets;
use crate::web::error::PageError;
use crate::web::patient::clock;
use crate::web::patient::clock::Cover;
use crate::words::Language;
use crate::words::patient::PatientWords;

/// Which page a frame stands around.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Here {
    Today,
    Check,
    Sent,
    Answers,
}

/// The frame of one page, ready to show.
#[derive(Clone, Debug)]
pub struct Frame {
    pub words: PatientWords,
    pub base_css: String,
    pub css: String,
    pub practice: String,
    pub phone: Number,
    pub emergency: Number,
    pub here: Here,
    /// Where the language switch comes back to.
    pub back: String,
    /// Set when nobody is there now: when the practice opens.
    pub opens: Option<String>,
}

/// A phone number to read and to tap.
#[derive(Clone, Debug)]
pub struct Number {
    pub shown: String,
    pub href: String,
}

impl Number {
    pub fn new(number: &str) -> Number {
        let dialled: String =
            number.chars().filter(|sign| sign.is_ascii_digit() || matches!(sign, '+' | '*' | '#')).collect();
        Number { shown: number.to_owned(), href: format!("tel:{dialled}") }
    }
}

impl Frame {
    pub fn new(practice: &Practice, language: Language, here: Here, back: &str, now: Timestamp) -> Frame {
        Frame {
            words: PatientWords(language),
            base_css: assets::address("base.css"),
            css: assets::address("patient.css"),
            practice: practice.name.clone(),
            phone: Number::new(&practice.phone),
            emergency: Number::new(&practice.emergency_number),
            here,
            back: back.to_owned(),
            opens: match clock::cover(practice, now) {
                Cover::Open => None,
                Cover::Closed { opens } => Some(clock::when(opens, now, &practice.zone, language)),
            },
        }
    }

    pub fn lang(&self) -> &'static str {
        self.words.language().code()
    }

    pub fn is_here(&self, page: &str) -> bool {
        let here = match self.here {
            Here::Today => "today",
            Here::Check => "check",
            Here::Sent => "sent",
            Here::Answers => "answers",
        };
        here == page
    }
}

/// Shows a page.
pub fn show(page: &impl Template, status: StatusCode) -> Result<Response, PageError> {
    let html = page.render().map_err(|_| PageError::Unreadable)?;
    Ok((status, Html(html)).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_dialled_without_its_dashes() {
        assert_eq!(Number::new("+1 (202) 555-0143").href, "tel:+12025550143");
        assert_eq!(Number::new("911").href, "tel:911");
    }
}
