//! Taking the strip out, one part on a page: the clock is the practice's, so a locked phone or a reload loses no time.
//! "Stuck" and "only part" are on every part and go to the practice at once.

use askama::Template;
use axum::Form;
use axum::extract::Query;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use serde::Deserialize;

use crate::care::plan;
use crate::care::plan::PlanToday;
use crate::care::sent_before;
use crate::care::strip_out;
use crate::care::strip_out::OutSaying;
use crate::care::thread;
use crate::care::thread::Home;
use crate::plan::CountedOut;
use crate::plan::OutPart;
use crate::plan::OutPress;
use crate::plan::OutTimes;
use crate::plan::Packing;
use crate::plan::PlanNumbers;
use crate::plan::Strip;
use crate::store::strip_attempts::StripAttempt;
use crate::store::wounds::WoundState;
use crate::triage::StripAnswer;
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
use crate::web::patient::strip_said;
use crate::web::patient::tasks;
use crate::web::patient::tasks::STRIP_PAGES;
use crate::words::patient_danger::DangerWords;
use crate::words::patient_strip::StripWords;
use crate::words::patient_today::TodayWords;

/// Most pieces and longest length a patient can type; more is a slip.
const MOST_PIECES: u8 = 20;
const LONGEST_CM: f64 = 400.0;
const CM_PER_INCH: f64 = 2.54;

/// A countdown as the page shows it, with and without scripts.
struct Timer {
    not_before: String,
    best_by: String,
    /// Seconds until it is up, as the practice's clock counts them.
    left_s: i64,
}

/// A button that leads on.
struct Press {
    code: &'static str,
    words: String,
}

/// What was typed into the count, and what is wrong with it.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct CountForm {
    said: String,
    pieces: String,
    length: String,
    unit: String,
}

struct CountView {
    put_in: Vec<String>,
    form: CountForm,
    pieces_fault: String,
    length_fault: String,
}

#[derive(Template)]
#[template(path = "patient/strip.html")]
struct StripPage {
    frame: Frame,
    words: StripWords,
    today_words: TodayWords,
    danger: Vec<String>,
    number: usize,
    of: usize,
    title: String,
    /// Set when the strip should stay in for now: until when.
    too_early: Option<String>,
    lines: Vec<String>,
    timer: Option<Timer>,
    presses: Vec<Press>,
    /// Said above the emergency number, when pressing does not help.
    still_bleeds: Option<String>,
    count: Option<CountView>,
    /// Whether there is a part before this one.
    back: Option<&'static str>,
    script: String,
}

/// What the address asks for.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asking {
    /// Anything: from the first part again, after an end.
    again: String,
}

pub async fn show(
    State(app): State<App>,
    phone: Phone,
    Query(asking): Query<Asking>,
) -> Result<Response, PageError> {
    let home = thread::home(&app.desk, &phone.holder, app.now()).await?;
    let Some(packing) = home.wound.operation.packing.filter(|_| home.wound.state == WoundState::Open) else {
        return Ok(Redirect::to("/my").into_response());
    };
    let attempt = strip_out::current(&app.desk, &phone.holder, app.now()).await?;
    let is_again = !asking.again.is_empty() && home.wound.strip_out.is_none();
    let ended = attempt.as_ref().filter(|attempt| attempt.said.is_some() && !is_again);
    if ended.is_some() || home.wound.strip_out.is_some() {
        let receipt = match ended {
            Some(attempt) => sent_before::sent_as(&app.desk, &phone.holder, &attempt.form_key).await?,
            None => None,
        };
        return strip_said::page(&app, &phone.holder, &home, ended, receipt);
    }
    let times = attempt.filter(|one| one.said.is_none()).map_or_else(OutTimes::default, |one| one.times);
    let plan = plan::today(&app.desk, &phone.holder).await?;
    part_page(&app, &phone, &Trying { home, plan, packing, times }, CountForm::default(), StatusCode::OK)
}

/// Everything a part's page is made of.
struct Trying {
    home: Home,
    plan: PlanToday,
    packing: Packing,
    times: OutTimes,
}

fn part_page(
    app: &App,
    phone: &Phone,
    trying: &Trying,
    count: CountForm,
    status: StatusCode,
) -> Result<Response, PageError> {
    let (home, language, now) = (&trying.home, phone.holder.language, app.now());
    let words = StripWords(language);
    let clock = |at: Timestamp| clock::when(at, now, &home.practice.zone, language);
    let numbers = &trying.plan.text.numbers;
    let part = trying.times.part();
    let frame = Frame::new(home, language, Here::Today, STRIP_PAGES, now);
    let (title, lines, presses) = part_words(part, &trying.times, words, numbers);
    let bleeds = words.press_still(numbers.press_min, &frame.emergency.shown);
    let is_faulty = status != StatusCode::OK;
    let page = StripPage {
        words,
        today_words: TodayWords(language),
        danger: danger::signs(&context_of(home), DangerWords(language)),
        number: OutPart::ALL.iter().position(|one| *one == part).map_or(1, |at| at + 1),
        of: OutPart::ALL.len(),
        title,
        too_early: match tasks::strip_of(home, &trying.plan, now) {
            Strip::In { due } => Some(words.too_early(&clock(due))),
            Strip::NeverPlaced | Strip::Out | Strip::DueOut { .. } | Strip::Overdue { .. } => None,
        },
        lines,
        timer: trying.times.timer(numbers).map(|(least, most)| Timer {
            not_before: words.not_before(&clock(least)),
            best_by: if most > least { words.best_by(&clock(most)) } else { String::new() },
            left_s: least.duration_since(now).as_secs().max(0),
        }),
        presses,
        still_bleeds: (part == OutPart::Press).then_some(bleeds),
        count: (part == OutPart::Count).then(|| CountView {
            put_in: put_in(trying.packing, words),
            pieces_fault: if is_faulty && pieces(&count).is_none() {
                words.count_pieces_missing()
            } else {
                String::new()
            },
            length_fault: if is_faulty && length_cm(&count).is_err() {
                words.count_length_wrong()
            } else {
                String::new()
            },
            form: count,
        }),
        back: (part != OutPart::Pill).then_some(OutPress::Back.code()),
        script: assets::address("patient/strip.js"),
        frame,
    };
    frame::show(&page, status)
}

/// Title, sentences and buttons of a part.
fn part_words(
    part: OutPart,
    times: &OutTimes,
    words: StripWords,
    numbers: &PlanNumbers,
) -> (String, Vec<String>, Vec<Press>) {
    let press = |press: OutPress, words: String| Press { code: press.code(), words };
    let PlanNumbers { pill_wait_min, pill_wait_most_min, soak_min, soak_most_min, press_min, .. } = *numbers;
    match part {
        OutPart::Pill => (
            words.pill_title(),
            vec![words.pill_when(pill_wait_min, pill_wait_most_min), words.pill_need(), words.pill_helper()],
            vec![press(OutPress::TookPill, words.pill_took()), press(OutPress::NoPill, words.pill_none())],
        ),
        OutPart::Wait => {
            (words.wait_title(), vec![words.wait_how()], vec![press(OutPress::Soaking, words.wait_next())])
        }
        OutPart::Soak => (
            words.soak_title(),
            vec![words.soak_how(soak_min, soak_most_min), words.soak_faint()],
            vec![press(OutPress::Pulling, words.soak_next())],
        ),
        OutPart::Pull => (
            words.pull_title(),
            vec![words.pull_how(), words.pull_hurts(), words.pull_never()],
            vec![press(OutPress::CameOut, words.pull_next())],
        ),
        OutPart::Press => {
            let start = match times.press {
                Some(_) => words.press_again(press_min),
                None => words.press_start(press_min),
            };
            let presses =
                vec![press(OutPress::Counting, words.press_next()), press(OutPress::Pressing, start)];
            (words.press_title(), vec![words.press_how(press_min)], presses)
        }
        OutPart::Count => (words.count_title(), vec![words.count_lay()], Vec::new()),
    }
}

fn put_in(packing: Packing, words: StripWords) -> Vec<String> {
    let pieces = match packing.pieces {
        1 => words.count_put_in_one(),
        pieces => words.count_put_in_many(pieces),
    };
    let length = packing
        .length_cm
        .map(|cm| words.count_put_in_length(cm.round() as i64, (cm / CM_PER_INCH).round() as i64));
    std::iter::once(pieces).chain(length).collect()
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct PressForm {
    press: String,
}

/// A part is over, or begins again. A button we do not know changes nothing.
pub async fn press(
    State(app): State<App>,
    phone: Phone,
    Form(form): Form<PressForm>,
) -> Result<Response, PageError> {
    if let Ok(press) = form.press.parse::<OutPress>() {
        strip_out::press(&app.desk, &phone.holder, press, &app.moment()).await?;
    }
    Ok(Redirect::to(STRIP_PAGES).into_response())
}

/// What the patient says at the end, or when it does not go on.
pub async fn say(
    State(app): State<App>,
    phone: Phone,
    Form(form): Form<CountForm>,
) -> Result<Response, PageError> {
    let saying = match form.said.parse::<StripAnswer>() {
        Ok(StripAnswer::Stuck) => OutSaying::Stuck,
        Ok(StripAnswer::PartOut) => OutSaying::PartOut,
        Ok(StripAnswer::AllOut) => match (pieces(&form), length_cm(&form)) {
            (Some(pieces), Ok(length_cm)) => {
                OutSaying::AllOut(CountedOut { pieces: Some(pieces), length_cm })
            }
            (None, _) | (Some(_), Err(_)) => return count_again(&app, &phone, form).await,
        },
        Ok(StripAnswer::NeverHad | StripAnswer::FellOut | StripAnswer::Unsure | StripAnswer::StillIn)
        | Err(_) => {
            return Ok(Redirect::to(STRIP_PAGES).into_response());
        }
    };
    strip_out::say(&app.desk, &phone.holder, saying, &app.moment()).await?;
    Ok(Redirect::to(STRIP_PAGES).into_response())
}

/// The count once more, with what was typed.
async fn count_again(app: &App, phone: &Phone, form: CountForm) -> Result<Response, PageError> {
    let home = thread::home(&app.desk, &phone.holder, app.now()).await?;
    let packing = home.wound.operation.packing.ok_or(PageError::NotFound)?;
    let plan = plan::today(&app.desk, &phone.holder).await?;
    let found: Option<StripAttempt> = strip_out::current(&app.desk, &phone.holder, app.now()).await?;
    let times = found.map_or_else(OutTimes::default, |attempt| attempt.times);
    let times = times.after(OutPress::Counting, app.now());
    let trying = Trying { home, plan, packing, times };
    part_page(app, phone, &trying, form, StatusCode::UNPROCESSABLE_ENTITY)
}

/// `None`: missing, or not from 1 to 20.
fn pieces(form: &CountForm) -> Option<u8> {
    form.pieces.trim().parse().ok().filter(|pieces| (1..=MOST_PIECES).contains(pieces))
}

/// Whole centimetres; `Ok(None)`: left empty.
fn length_cm(form: &CountForm) -> Result<Option<u16>, ()> {
    let typed = form.length.trim().replace(',', ".");
    if typed.is_empty() {
        return Ok(None);
    }
    let length: f64 = typed.parse().map_err(|_| ())?;
    let cm = if form.unit == "in" { length * CM_PER_INCH } else { length };
    if (1.0..=LONGEST_CM).contains(&cm) { Ok(Some(cm.round() as u16)) } else { Err(()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(pieces: &str, length: &str, unit: &str) -> CountForm {
        let text = str::to_owned;
        CountForm { said: text("all_out"), pieces: text(pieces), length: text(length), unit: text(unit) }
    }

    #[test]
    fn a_length_is_read_in_inches_and_in_centimetres() {
        assert_eq!(length_cm(&typed("1", "24", "in")), Ok(Some(61)));
        assert_eq!(length_cm(&typed("1", "60,4", "cm")), Ok(Some(60)));
        assert_eq!(length_cm(&typed("1", " ", "cm")), Ok(None));
        for wrong in ["long", "-3", "0", "401", "NaN"] {
            assert_eq!(length_cm(&typed("1", wrong, "cm")), Err(()), "{wrong}");
        }
    }

    #[test]
    fn pieces_are_counted_from_one_to_twenty() {
        let read = |text: &str| pieces(&typed(text, "", ""));
        assert_eq!((read("1"), read("20")), (Some(1), Some(20)));
        assert_eq!((read("0"), read("21"), read(""), read("all")), (None, None, None, None));
    }
}
