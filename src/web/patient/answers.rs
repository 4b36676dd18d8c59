//! *Answers*: the PIN opens reading, asking back needs only the link.

use askama::Template;
use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::SignedDuration;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::knock;
use crate::care::knock::PinTry;
use crate::care::thread;
use crate::care::thread::Answered;
use crate::care::thread::Home;
use crate::store::thread::Message;
use crate::store::thread::Sender;
use crate::web::App;
use crate::web::doors::Phone;
use crate::web::error::PageError;
use crate::web::patient::check_page::fresh_form_key;
use crate::web::patient::clock;
use crate::web::patient::frame;
use crate::web::patient::frame::Frame;
use crate::web::patient::frame::Here;
use crate::words::calendar;
use crate::words::patient_answers::AnswersWords;

/// One message as shown.
struct MessageView {
    id: String,
    from: String,
    /// `practice` or `patient`.
    side: &'static str,
    sent: String,
    body: String,
    /// Set on the practice's messages: when they were read.
    read: Option<String>,
    can_mark: Option<()>,
}

/// What is behind the PIN.
struct Opened {
    patient: String,
    messages: Vec<MessageView>,
    corrections: Vec<CorrectionView>,
}

/// A note beside something that was wrong.
struct CorrectionView {
    above: String,
    words: String,
}

#[derive(Template)]
#[template(path = "patient/answers.html")]
struct AnswersPage {
    frame: Frame,
    words: AnswersWords,
    /// `None`: the PIN is asked for.
    opened: Option<Opened>,
    /// Why nothing is read on this phone; empty: it may be, with the PIN.
    not_here: String,
    pin_fault: String,
    ask: AskView,
}

/// The question form.
#[derive(Default)]
struct AskView {
    form_key: String,
    typed: String,
    fault: String,
    /// Said after a question went through.
    sent: String,
    /// The question needs a check first: offer the way there.
    check_first: Option<()>,
}

pub async fn show(State(app): State<App>, phone: Phone) -> Result<Response, PageError> {
    page(&app, &phone, String::new(), AskView::default(), StatusCode::OK).await
}

async fn page(
    app: &App,
    phone: &Phone,
    pin_fault: String,
    mut ask: AskView,
    status: StatusCode,
) -> Result<Response, PageError> {
    let home = thread::home(&app.desk, &phone.holder, app.now()).await?;
    let words = AnswersWords(phone.holder.language);
    let opened = if phone.holder.may_read {
        let answered = thread::read(&app.desk, &phone.holder, app.now()).await?;
        Some(open(app, &home, &answered, words))
    } else {
        None
    };
    if ask.form_key.is_empty() {
        ask.form_key = fresh_form_key(&app.chance);
    }
    let page = AnswersPage {
        frame: Frame::new(&home, phone.holder.language, Here::Answers, "/my/answers", app.now()),
        words,
        opened,
        not_here: if phone.holder.borrowed { words.not_here(&home.practice.phone) } else { String::new() },
        pin_fault,
        ask,
    };
    frame::show(&page, status)
}

fn open(app: &App, home: &Home, answered: &Answered, words: AnswersWords) -> Opened {
    let mut messages: Vec<MessageView> =
        answered.messages.iter().map(|message| view(app, answered, message, words)).collect();
    messages.reverse();
    // A name in another script keeps its own direction inside our sentence.
    let corrections = answered.corrections.iter().map(|one| {
        let by = answered.staff.iter().find(|member| member.id == one.by);
        let by = by.map_or(answered.practice.name.as_str(), |member| member.name.as_str());
        let when = clock::when(one.noted, app.now(), &answered.practice.zone, words.language());
        let noted =
            one.words.read().map_or_else(|| words.cannot_be_read(&answered.practice.phone), str::to_owned);
        // The day, and not the hour: a full stop follows it.
        let sent = answered.sent(one).to_zoned_datetime(answered.practice.zone.clone()).datetime();
        let sent = calendar::long_day(words.language(), sent);
        let above = match one.review {
            Some(_) => words.corrected_answer(&sent, by, &when),
            None => words.corrected_check(&sent, by, &when),
        };
        CorrectionView { above, words: noted }
    });
    Opened {
        patient: format!("\u{2068}{}\u{2069}", home.patient.name),
        corrections: corrections.collect(),
        messages,
    }
}

fn view(app: &App, answered: &Answered, message: &Message, words: AnswersWords) -> MessageView {
    let clock = |at| clock::when(at, app.now(), &answered.practice.zone, words.language());
    let author = answered.staff.iter().find(|member| Some(member.id) == message.staff);
    let (side, from) = match (message.sender, author) {
        (Sender::Patient, _) => ("patient", words.from_you()),
        (Sender::Practice, Some(author)) => ("practice", words.from_surgeon(&author.name)),
        (Sender::Practice, None) => ("practice", words.from_practice()),
    };
    let from_practice = message.sender == Sender::Practice;
    MessageView {
        id: message.id.to_string(),
        from,
        side,
        sent: clock(message.sent),
        // Nobody is shown other words than were written, and nobody is left without a number.
        body: message
            .body
            .read()
            .map_or_else(|| words.cannot_be_read(&answered.practice.phone), str::to_owned),
        read: message.read.filter(|_| from_practice).map(clock),
        can_mark: (from_practice && message.read.is_none()).then_some(()),
    }
}

pub async fn mark_read(
    State(app): State<App>,
    phone: Phone,
    Path(message): Path<String>,
) -> Result<Response, PageError> {
    let id = message.parse().map_err(|_| PageError::NotFound)?;
    match thread::mark_read(&app.desk, &phone.holder, id, app.now()).await {
        // The reading time ended between the page and the button: the PIN is asked for again.
        Ok(()) | Err(CareError::NotAllowed) => Ok(Redirect::to("/my/answers").into_response()),
        Err(fault) => Err(fault.into()),
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct PinForm {
    pin: String,
}

pub async fn try_pin(
    State(app): State<App>,
    phone: Phone,
    Form(form): Form<PinForm>,
) -> Result<Response, PageError> {
    let tried = knock::try_pin(&app.desk, &phone.token, &form.pin, &app.moment()).await?;
    let home = thread::home(&app.desk, &phone.holder, app.now()).await?;
    let (words, language) = (AnswersWords(phone.holder.language), phone.holder.language);
    let (fault, status) = match tried {
        PinTry::Right => return Ok(Redirect::to("/my/answers").into_response()),
        PinTry::Wrong => (words.pin_wrong(), StatusCode::UNPROCESSABLE_ENTITY),
        PinTry::Wait { until } => {
            // To the next whole minute: a time that is shown must be late enough.
            let shown = until.saturating_add(SignedDuration::from_secs(59)).unwrap_or(until);
            let shown = clock::when(shown, app.now(), &home.practice.zone, language);
            (words.pin_wait(&shown), StatusCode::TOO_MANY_REQUESTS)
        }
        PinTry::NotHere => (words.not_here(&home.practice.phone), StatusCode::FORBIDDEN),
        PinTry::Off => (words.pin_off(&home.practice.phone), StatusCode::LOCKED),
    };
    page(&app, &phone, fault, AskView::default(), status).await
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct AskForm {
    form_key: String,
    question: String,
}

pub async fn ask(
    State(app): State<App>,
    phone: Phone,
    Form(form): Form<AskForm>,
) -> Result<Response, PageError> {
    let words = AnswersWords(phone.holder.language);
    let form_key = if form.form_key.is_empty() { fresh_form_key(&app.chance) } else { form.form_key };
    let question = form.question.replace('\0', "").replace("\r\n", "\n");
    match thread::ask(&app.desk, &phone.holder, &form_key, &question, &app.moment()).await {
        Ok(()) => {
            let ask = AskView { sent: words.ask_sent(), ..AskView::default() };
            page(&app, &phone, String::new(), ask, StatusCode::OK).await
        }
        Err(CareError::Entered(faults)) => {
            let code = faults.first().map_or("", |fault| fault.words.as_str());
            let ask = AskView {
                form_key,
                typed: question,
                fault: refused(code, words),
                sent: String::new(),
                check_first: (code == "no_check").then_some(()),
            };
            page(&app, &phone, String::new(), ask, StatusCode::UNPROCESSABLE_ENTITY).await
        }
        Err(fault) => Err(fault.into()),
    }
}

fn refused(code: &str, words: AnswersWords) -> String {
    match code {
        "too_long" => words.ask_too_long(),
        "no_check" => words.ask_no_check(),
        _ => words.ask_empty(),
    }
}
