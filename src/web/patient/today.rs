//! *Today*: the day, what to do now and next, the big button, and when to call for help.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use crate::care::check_draft;
use crate::care::come_in;
use crate::care::phone_push;
use crate::care::plan;
use crate::care::progress;
use crate::care::strip_out;
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
use crate::web::patient::tasks::Tasks;
use crate::web::time_words;
use crate::words::patient_danger::DangerWords;
use crate::words::patient_strip::StripWords;
use crate::words::patient_today::TodayWords;
use crate::words::patient_told::ToldWords;

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
    /// When the practice last rang in vain about something still open.
    missed_call: Option<String>,
    /// When an unfinished check was begun on this phone.
    unfinished: Option<String>,
    danger: Vec<String>,
    strip_words: StripWords,
    /// A visit the patient has not answered: its review and when.
    asked_visit: Option<(String, String)>,
    /// When a try at taking the strip out began that goes on.
    trying_since: Option<String>,
    told_words: ToldWords,
    is_told: bool,
    /// What a browser subscribes with; empty: push is not set up.
    push_key: String,
    push_js: String,
}

pub async fn show(State(app): State<App>, phone: Phone) -> Result<Response, PageError> {
    let home = thread::home(&app.desk, &phone.holder, app.now()).await?;
    let (language, now, zone) = (phone.holder.language, app.now(), home.practice.zone.clone());
    let words = TodayWords(language);
    let draft = check_draft::unfinished(&app.desk, &phone.holder, &phone.token, "", now).await?;
    let plan = plan::today(&app.desk, &phone.holder).await?;
    let trying = strip_out::current(&app.desk, &phone.holder, now).await?;
    let missed = progress::missed_call(&app.desk, &phone.holder).await?;
    let asked = come_in::asked(&app.desk, &phone.holder, now).await?;
    let operated = home.wound.operation.operated;
    let page = TodayPage {
        frame: Frame::new(&home, language, Here::Today, "/my", now),
        words,
        day: day_number(operated, now, &zone).max(0),
        operated: time_words::day(operated, &zone, language),
        tasks: tasks::tasks(&home, &plan, words, now),
        last_check: home.wound.last_check.map(|sent| clock::when(sent, now, &zone, language)),
        unread: home.unread,
        missed_call: missed.map(|at| clock::when(at, now, &zone, language)),
        unfinished: draft.map(|draft| clock::when(draft.began, now, &zone, language)),
        danger: danger::signs(&context_of(&home), DangerWords(language)),
        strip_words: StripWords(language),
        asked_visit: asked.and_then(|review| {
            let when = clock::when(review.come_in?, now, &zone, language);
            Some((review.id.to_string(), when))
        }),
        told_words: ToldWords(language),
        is_told: phone_push::is_told(&app.desk, &phone.holder, &phone.token).await?,
        // Somebody else's phone is told nothing.
        push_key: match phone.holder.borrowed {
            true => String::new(),
            false => app.post.push_public_key().unwrap_or_default().to_owned(),
        },
        push_js: assets::address("push.js"),
        trying_since: trying
            .filter(|attempt| attempt.said.is_none())
            .map(|attempt| clock::when(attempt.began, now, &zone, language)),
    };
    frame::show(&page, StatusCode::OK)
}
