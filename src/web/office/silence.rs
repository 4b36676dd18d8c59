//! One silence: whom to ring, what to say, how it went, and what else can be done.

use askama::Template;
use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::silence;
use crate::care::silence::Calling;
use crate::care::silence::OpenedSilence;
use crate::care::silence::Said;
use crate::ids::SilenceId;
use crate::store::silences::Interpreter;
use crate::store::silences::SilenceState;
use crate::triage::CallResult;
use crate::triage::SilenceKind;
use crate::triage::Whom;
use crate::triage::silence_class;
use crate::web::App;
use crate::web::chart_words::Class;
use crate::web::chart_words::class;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::local_time;
use crate::web::office::call_script;
use crate::web::office::call_script::Script;
use crate::web::office::silences::ended_words;
use crate::web::office::silences::missing_words;
use crate::web::office::silences::next_words;
use crate::web::office::silences::tags;
use crate::web::office::silences::tried_words;
use crate::web::patient::clock;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;
use crate::web::wound_words;
use crate::words::Language;
use crate::words::call_script::ScriptWords;

/// One way to answer a question of the form.
pub struct Choice {
    pub code: &'static str,
    pub words: &'static str,
    pub is_chosen: bool,
}

/// What was typed into one of the page's forms.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct SilenceForm {
    whom: String,
    result: String,
    spoke_with: String,
    interpreter: String,
    said: String,
    wait_until: String,
    note: String,
    ask: String,
    decision: String,
    why: String,
}

struct CallLine {
    what: String,
    note: String,
}

#[derive(Template)]
#[template(path = "office/silence.html")]
struct SilencePage {
    frame: Frame,
    id: String,
    name: String,
    about: String,
    language: &'static str,
    patient_address: String,
    plan_address: String,
    phone: String,
    second: String,
    second_phone: String,
    class: Class,
    missing: &'static str,
    since: String,
    tags: Vec<&'static str>,
    next: &'static str,
    by: String,
    left: String,
    tried: Vec<String>,
    calls: Vec<CallLine>,
    asked: String,
    decided: String,
    is_open: bool,
    ended: String,
    is_surgeon: bool,
    has_letter: bool,
    needs_interpreter: bool,
    script: Script,
    whoms: Vec<Choice>,
    results: Vec<Choice>,
    saids: Vec<Choice>,
    interpreters: Vec<Choice>,
    form: SilenceForm,
    faults: Faults,
}

pub async fn show(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    silence_page(&app, &member, read_id(&id)?, SilenceForm::default(), Vec::new()).await
}

pub async fn log(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<SilenceForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let zone = Frame::of(&app, &member, Part::Callbacks, "").await?.practice.zone;
    let mut faults = Vec::new();
    let whom = form.whom.parse::<Whom>();
    if whom.is_err() {
        faults.push(Fault::new("whom", "Choose whom you rang."));
    }
    let result = form.result.parse::<CallResult>();
    if result.is_err() {
        faults.push(Fault::new("result", "Choose how the call went."));
    }
    let wait_until = local_time::read(&form.wait_until, &zone);
    if let Err(wrong) = wait_until {
        faults.push(Fault::new("wait_until", wrong.words()));
    }
    let (Ok(whom), Ok(result), Ok(wait_until)) = (whom, result, wait_until) else {
        return silence_page(&app, &member, id, form, faults).await;
    };
    let calling = Calling {
        whom,
        result,
        spoke_with: form.spoke_with.clone(),
        interpreter: form.interpreter.parse().unwrap_or(Interpreter::NotNeeded),
        note: form.note.clone(),
        said: form.said.parse().ok(),
        wait_until,
    };
    let logged = silence::log_call(&app.desk, &member.member, id, calling, &app.moment()).await;
    finish(&app, &member, id, form, logged).await
}

pub async fn letter_sent(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let noted = silence::note_letter(&app.desk, &member.member, id, app.now()).await;
    finish(&app, &member, id, SilenceForm::default(), noted).await
}

pub async fn ask(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<SilenceForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let asked = silence::ask_surgeon(&app.desk, &member.member, id, &form.ask, &app.moment()).await;
    finish(&app, &member, id, form, asked).await
}

pub async fn decide(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<SilenceForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let decided = silence::decide(&app.desk, &member.member, id, &form.decision, &app.moment()).await;
    finish(&app, &member, id, form, decided).await
}

pub async fn end(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<SilenceForm>,
) -> Result<Response, PageError> {
    let id = read_id(&id)?;
    let ended = silence::end(&app.desk, &member.member, id, &form.why, &app.moment()).await;
    finish(&app, &member, id, form, ended).await
}

async fn finish(
    app: &App,
    member: &Member,
    id: SilenceId,
    form: SilenceForm,
    done: Result<(), CareError>,
) -> Result<Response, PageError> {
    match done {
        Ok(()) => Ok(Redirect::to(&format!("/silence/{id}")).into_response()),
        Err(CareError::Entered(faults)) => silence_page(app, member, id, form, faults).await,
        Err(other) => Err(other.into()),
    }
}

async fn silence_page(
    app: &App,
    member: &Member,
    id: SilenceId,
    form: SilenceForm,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let opened = silence::view(&app.desk, &member.member, id, app.now()).await?;
    let frame = Frame::of(app, member, Part::Callbacks, "Silent patient").await?;
    let faults = Faults(faults);
    page(faults.status(), &shown(app, member, &opened, frame, form, faults))
}

fn shown(
    app: &App,
    member: &Member,
    opened: &OpenedSilence,
    frame: Frame,
    form: SilenceForm,
    faults: Faults,
) -> SilencePage {
    let (now, practice, silent) = (app.now(), &opened.practice, &opened.silent);
    let (silence, patient, zone) = (&silent.silence, &silent.patient, &practice.zone);
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let name_of = |id| opened.staff.iter().find(|one| one.id == id).map_or("", |one| one.name.as_str());
    let facts = call_script::Facts { practice, patient, caller: &member.member.name, now };
    let when = silent.step.as_ref().map(|step| step.step.due);
    let about = call_script::About::Silence { kind: silence.kind, when };
    SilencePage {
        frame,
        id: silence.id.to_string(),
        name: patient.name.clone(),
        about: format!("{} · day {}", wound_words::place_line(silent.operation()), silent.risk.day),
        language: patient.language.own_name(),
        patient_address: format!("/patients/{}", patient.id),
        plan_address: format!("/wounds/{}/plan", silent.wound.id),
        phone: patient.phone.clone(),
        second: patient.helper_name.clone().unwrap_or_else(|| "Second contact".to_owned()),
        second_phone: patient.helper_phone.clone().unwrap_or_default(),
        class: class(silence_class(&silent.risk)),
        missing: missing_words(silence.kind),
        since: clock(silence.since),
        tags: tags(silent),
        next: next_words(silence.kind, silence.next),
        by: clock(silence.by),
        left: time_words::time_left(silence.by, now),
        tried: tried_words(silent, now, zone),
        calls: silent
            .calls
            .iter()
            .map(|call| CallLine {
                what: format!(
                    "{}{} {}, {}{}",
                    call.result.words(),
                    if call.spoke_with.is_empty() {
                        String::new()
                    } else {
                        format!(" with {}", call.spoke_with)
                    },
                    clock(call.at),
                    name_of(call.staff),
                    match call.interpreter {
                        Interpreter::NotNeeded => "",
                        Interpreter::Used => ", with an interpreter",
                        Interpreter::CallerSpeaks => ", in their language",
                        Interpreter::OwnAdult => ", an adult of theirs translated",
                        Interpreter::Declined => ", interpreter declined",
                    }
                ),
                note: call.note.to_string(),
            })
            .collect(),
        asked: silence.asked.map_or_else(String::new, |at| format!("{} ({})", silence.asked_note, clock(at))),
        decided: match silence.decided_by {
            Some(by) => format!("{} ({})", silence.decided_note, name_of(by)),
            None => String::new(),
        },
        is_open: silence.state == SilenceState::Open,
        ended: match silence.ended {
            Some(at) => {
                let by = silence.ended_by.map_or_else(String::new, |by| format!(", {}", name_of(by)));
                let note = if silence.ended_note.is_empty() { "" } else { ": " };
                format!("{}{note}{} ({}{by})", ended_words(silence.ended_why), silence.ended_note, clock(at))
            }
            None => String::new(),
        },
        is_surgeon: member.member.roles.surgeon,
        has_letter: silence.letter.is_some(),
        needs_interpreter: call_script::needs_interpreter(patient),
        script: call_script::script(about, facts),
        whoms: whoms(silence.kind, patient.helper_phone.is_some(), &form.whom),
        results: CallResult::ALL
            .iter()
            .map(|one| Choice { code: one.code(), words: one.words(), is_chosen: form.result == one.code() })
            .collect(),
        saids: saids(silence.kind, &form.said),
        interpreters: interpreters(&form.interpreter),
        form,
        faults,
    }
}

fn whoms(kind: SilenceKind, has_second: bool, chosen: &str) -> Vec<Choice> {
    Whom::ALL
        .iter()
        .filter(|whom| match whom {
            Whom::Patient => true,
            Whom::SecondContact => has_second,
            Whom::Elsewhere => matches!(kind, SilenceKind::Arrival | SilenceKind::Culture),
        })
        .map(|whom| Choice {
            code: whom.code(),
            words: match (whom, kind) {
                (Whom::Patient, _) => "The patient",
                (Whom::SecondContact, _) => "The second contact",
                (Whom::Elsewhere, SilenceKind::Culture) => "The laboratory",
                (Whom::Elsewhere, _) => "The emergency department",
            },
            is_chosen: chosen == whom.code() || (chosen.is_empty() && *whom == Whom::Patient),
        })
        .collect()
}

fn saids(kind: SilenceKind, chosen: &str) -> Vec<Choice> {
    Said::ALL
        .iter()
        .filter_map(|said| {
            let words = match (said, kind) {
                (Said::WillDo, SilenceKind::Strip) => "They take it out now",
                (Said::WillDo, SilenceKind::Check) => "They send it",
                (Said::WillDo, SilenceKind::Visit) => "They come another time",
                (Said::WillDo, SilenceKind::Arrival) => "They are on their way",
                (Said::WillDo, _) => "They do it later",
                (Said::Done, SilenceKind::Strip) => "All of it is out",
                (Said::Done, SilenceKind::ComeIn) => "They come at that time",
                (Said::Done, SilenceKind::Visit) => "They were here",
                (Said::Done, SilenceKind::Reply) => "I read it to them",
                (Said::Done, SilenceKind::Arrival) => "They arrived",
                (Said::Done, SilenceKind::Check | SilenceKind::Culture) => return None,
                (Said::AsksSurgeon, SilenceKind::Arrival) => "They are not there: the surgeon must know now",
                (Said::AsksSurgeon, _) => "The surgeon must hear of it",
                (Said::Emergency, SilenceKind::Arrival) => return None,
                (Said::Emergency, _) => "They go to the emergency department",
            };
            Some(Choice { code: said.code(), words, is_chosen: chosen == said.code() })
        })
        .collect()
}

/// How a call was translated.
pub fn interpreters(chosen: &str) -> Vec<Choice> {
    Interpreter::ALL
        .iter()
        .map(|one| Choice {
            code: one.code(),
            words: match one {
                Interpreter::NotNeeded => "None needed",
                Interpreter::Used => "A trained interpreter",
                Interpreter::CallerSpeaks => "I speak their language",
                Interpreter::OwnAdult => "An adult they chose (never a child)",
                Interpreter::Declined => "Offered, they wanted none",
            },
            is_chosen: chosen == one.code(),
        })
        .collect()
}

#[derive(Template)]
#[template(path = "office/silence_letter.html")]
struct LetterPage {
    frame: Frame,
    id: String,
    lang: &'static str,
    practice: String,
    phone: String,
    day: String,
    lines: Vec<String>,
    close: String,
    can_note: bool,
}

/// The letter to print, in the patient's language.
pub async fn letter(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    let now = app.now();
    let opened = silence::view(&app.desk, &member.member, read_id(&id)?, now).await?;
    let (practice, silent) = (&opened.practice, &opened.silent);
    let language: Language = silent.patient.language;
    let words = ScriptWords(language);
    let since = clock::when(silent.silence.since, now, &practice.zone, language);
    let mut lines = vec![
        words.letter_greeting(&silent.patient.name),
        words.letter_why(&since),
        words.letter_tried(),
        words.letter_do(&practice.phone),
    ];
    if silent.silence.kind == SilenceKind::Strip {
        lines.push(words.letter_strip());
    }
    lines.push(words.letter_lost_link());
    lines.push(words.letter_danger(&practice.emergency_number));
    let shown = LetterPage {
        frame: Frame::of(&app, &member, Part::Callbacks, "Letter").await?,
        id: silent.silence.id.to_string(),
        lang: language.code(),
        practice: practice.name.clone(),
        phone: practice.phone.clone(),
        day: time_words::day(now, &practice.zone, language),
        lines,
        close: words.letter_close(),
        can_note: silent.silence.state == SilenceState::Open && silent.silence.letter.is_none(),
    };
    page(StatusCode::OK, &shown)
}

fn read_id(text: &str) -> Result<SilenceId, PageError> {
    text.parse().map_err(|_| PageError::NotFound)
}
