//! *Today*: the day, what to do now and next, the big button, and when to call for help.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use crate::care::check_draft;
use crate::care::thread;
use crate::plan::day_number;
use crate::web::App;
use crate::web::assets;
use crate::web::doors::Phone;
use crate::web::error::PageError;
use crate::web::patient::check_page::context_of;
use crate::web::patient::clock;
use crate::web::patient::danger;
use crate::web::patient::frame;
use crate::web::patient::frame::Frame;
use crate::web::patient::frame::Here;
use crate::web::patient::tasks;
use crate::web::patient::tasks::StripHelp;
use crate::web::patient::tasks::Tasks;
use crate::web::time_words;
use crate::words::patient_danger::DangerWords;
use crate::words::patient_today::TodayWords;

#[derive(Template)]
#[template(path = "patient/today.html")]
struct TodayPage {
    frame: Frame,
    words: TodayWords,
    day: i64,
    operated: String,
    tasks: Tasks,
    last_check: Option<String>,
    unread: usize,
    /// When an unfinished check was begun on this phone.
    unfinished: Option<String>,
    danger: Vec<String>,
    script: String,
}

impl TodayPage {
    fn count_line(&self, help: &StripHelp) -> String {
        match help.pieces {
            1 => self.words.step_count_one(),
            pieces => self.words.step_count_many(pieces),
        }
    }

    /// Inches for a length in whole centimetres (1 in = 2.54 cm).
    fn length_line(&self, length_cm: &i64) -> String {
        self.words.step_length(*length_cm, (*length_cm as f64 / 2.54).round() as i64)
    }
}

pub async fn show(State(app): State<App>, phone: Phone) -> Result<Response, PageError> {
    let home = thread::home(&app.desk, &phone.holder).await?;
    let (language, now, zone) = (phone.holder.language, app.now(), home.practice.zone.clone());
    let words = TodayWords(language);
    let draft = check_draft::unfinished(&app.desk, &phone.holder, &phone.token, "", now).await?;
    let operated = home.wound.operation.operated;
    let page = TodayPage {
        frame: Frame::new(&home.practice, language, Here::Today, "/my", now),
        words,
        day: day_number(operated, now, &zone).max(0),
        operated: time_words::day(operated, &zone, language),
        tasks: tasks::tasks(&home, words, now),
        last_check: home.wound.last_check.map(|sent| clock::when(sent, now, &zone, language)),
        unread: home.unread,
        unfinished: draft.map(|draft| clock::when(draft.began, now, &zone, language)),
        danger: danger::signs(&context_of(&home), DangerWords(language)),
        script: assets::address("patient/timer.js"),
    };
    frame::show(&page, StatusCode::OK)
}
