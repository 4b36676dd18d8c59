//! The wound check's page: danger first, then photos, then questions, with everything typed kept.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use data_encoding::BASE64URL_NOPAD;

use crate::care::LinkHolder;
use crate::care::intake::Receipt;
use crate::care::sent_before;
use crate::care::thread;
use crate::care::thread::Home;
use crate::ids::Chance;
use crate::plan::Diabetes;
use crate::triage;
use crate::triage::Context;
use crate::triage::Reading;
use crate::web::App;
use crate::web::assets;
use crate::web::error::PageError;
use crate::web::patient::danger;
use crate::web::patient::danger::DangerRow;
use crate::web::patient::faults::about;
use crate::web::patient::faults::question_of;
use crate::web::patient::frame;
use crate::web::patient::frame::Frame;
use crate::web::patient::frame::Here;
use crate::web::patient::questions::Form;
use crate::web::patient::questions::Part;
use crate::web::patient::questions::QuestionView;
use crate::web::patient::typed::Typed;
use crate::words::patient_check::CheckWords;
use crate::words::patient_danger::DangerWords;
use crate::words::patient_faults::FaultWords;
use crate::words::patient_photos::PhotoWords;
use crate::words::patient_questions::QuestionWords;

/// The questions in the order people think of them, part by part.
pub const PARTS: &[(&str, &[&str])] = &[
    ("part_feel", &["better", "temp", "temp_again", "feels_feverish", "chills", "fever_pill"]),
    ("part_skin", &["edge", "edge_move", "edge_hours", "warm_hard", "warm_hard_trend", "streaks"]),
    ("part_pain", &["pain", "pain_trend", "pain_just_packed"]),
    ("part_fluid", &["drain", "drain_amount", "smell", "bleed", "bleed_repeat"]),
    ("part_care", &["strip", "wash", "gauze_changed", "lump_back", "closed_over"]),
    ("part_pills", &["pills_missed", "pills_vomited", "rash", "loose_stools", "stool_blood"]),
    ("part_sugar", &["sugar", "sugar_sick", "ketones"]),
    ("part_site", &["pee", "pee_signs", "finger"]),
    ("part_body", &["pulse", "breaths", "pressure"]),
];

/// A group of questions under one heading.
pub struct PartView {
    pub title: String,
    /// Empty: none.
    pub hint: String,
    pub questions: Vec<QuestionView>,
}

/// What the page says first when the check is in but something needs another look.
pub struct Summary {
    pub heading: String,
    pub receipt: String,
    pub sent_url: String,
    /// Where to look, and what for.
    pub lines: Vec<(String, String)>,
    /// Empty: no photo came yet.
    pub photos_kept: String,
}

#[derive(Template)]
#[template(path = "patient/check.html")]
struct CheckPage {
    frame: Frame,
    words: CheckWords,
    danger_words: DangerWords,
    photo_words: PhotoWords,
    fault_words: FaultWords,
    question_words: QuestionWords,
    form_key: String,
    /// What the style sheet and the scripts know of this patient.
    form_class: &'static str,
    summary: Option<Summary>,
    who: Option<QuestionView>,
    danger: Vec<DangerRow>,
    /// A browser without scripts is led to the form that goes step by step.
    leads_to_steps: Option<()>,
    danger_last: String,
    danger_none: bool,
    danger_not_sure: bool,
    parts: Vec<PartView>,
    low_sugar_mg_dl: u16,
    very_low_sugar_mg_dl: u16,
    /// Where the patient can be reached, asked with the free words.
    reached: Vec<QuestionView>,
    free_words: String,
    script: String,
}

/// The key that makes every retry of one form the same check: 22 letters.
pub fn fresh_form_key(chance: &Chance) -> String {
    BASE64URL_NOPAD.encode(&chance.bytes::<16>())
}

pub fn context_of(home: &Home) -> Context {
    Context::of(&home.wound.operation, &home.wound.risk, home.wound.strip_out)
}

/// Reads what was typed, as this patient's rules read it.
pub fn read(home: &Home, typed: &Typed) -> Reading {
    triage::read(typed.fields(), &context_of(home))
}

/// How an empty form opens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Opens {
    /// Without scripts, on the first of the steps.
    InSteps,
    /// All on one page, with and without scripts.
    OnOnePage,
}

/// An empty form.
pub async fn fresh(app: &App, holder: &LinkHolder, opens: Opens) -> Result<Response, PageError> {
    let home = thread::home(&app.desk, holder).await?;
    page(app, holder, &home, &Typed::default(), Come::Fresh(opens), StatusCode::OK).await
}

/// The page with everything typed still in it.
pub async fn again(app: &App, holder: &LinkHolder, typed: &Typed) -> Result<Response, PageError> {
    let home = thread::home(&app.desk, holder).await?;
    page(app, holder, &home, typed, Come::Again, StatusCode::OK).await
}

/// Why the page is shown.
enum Come {
    Fresh(Opens),
    /// With what was typed, as it is.
    Again,
    ToFix(Summary),
}

/// The page for fixing what the reading found.
pub async fn to_fix(
    app: &App,
    holder: &LinkHolder,
    home: &Home,
    typed: &Typed,
    summary: Summary,
) -> Result<Response, PageError> {
    page(app, holder, home, typed, Come::ToFix(summary), StatusCode::UNPROCESSABLE_ENTITY).await
}

async fn page(
    app: &App,
    holder: &LinkHolder,
    home: &Home,
    typed: &Typed,
    come: Come,
    status: StatusCode,
) -> Result<Response, PageError> {
    let leads_to_steps = matches!(come, Come::Fresh(Opens::InSteps)).then_some(());
    let summary = match come {
        Come::Fresh(_) | Come::Again => None,
        Come::ToFix(summary) => Some(summary),
    };
    let language = holder.language;
    let key = typed.form_key();
    let before = sent_before::answers_before(&app.desk, holder, key, app.now()).await?;
    let context = context_of(home);
    let reading = triage::read(typed.fields(), &context);
    // Faults are shown once the check is in; a form that only changed its language has none yet.
    let faults = if summary.is_some() { reading.faults.as_slice() } else { &[] };
    let form = Form {
        context: &context,
        language,
        typed,
        answers: &reading.answers,
        faults,
        before: before.as_ref(),
        strips: home.wound.operation.packing.map(|packing| packing.pieces),
    };
    let danger_words = DangerWords(language);
    let page = CheckPage {
        frame: Frame::new(&home.practice, language, Here::Check, "/my/check", app.now()),
        words: CheckWords(language),
        danger_words,
        photo_words: PhotoWords(language),
        fault_words: FaultWords(language),
        question_words: QuestionWords(language),
        form_key: if key.is_empty() { fresh_form_key(&app.chance) } else { key.to_owned() },
        form_class: if ketones_at_any_sugar(&context) { "ketones-at-any-sugar" } else { "" },
        summary,
        who: form.question("who"),
        danger: danger::rows(&context, danger_words, &danger::opening(home, danger_words, app.now()), typed),
        leads_to_steps,
        low_sugar_mg_dl: triage::LOW_SUGAR_MG_DL,
        very_low_sugar_mg_dl: triage::VERY_LOW_SUGAR_MG_DL,
        danger_last: form.last("danger"),
        danger_none: typed.has("danger", "none"),
        danger_not_sure: typed.has("danger", "not_sure"),
        parts: parts(&form),
        reached: reached(&form),
        free_words: typed.text("words").to_owned(),
        script: assets::address("patient/check.js"),
    };
    frame::show(&page, status)
}

fn parts(form: &Form<'_>) -> Vec<PartView> {
    let part = |(title, ids): &(&str, &[&str])| PartView {
        title: form.title(title),
        hint: form.title(&format!("{title}_hint")),
        questions: ids.iter().filter_map(|id| form.question(id)).collect(),
    };
    PARTS.iter().map(part).filter(|part| !part.questions.is_empty()).collect()
}

/// Where the patient can be reached.
pub fn reached(form: &Form<'_>) -> Vec<QuestionView> {
    ["phone", "voicemail"].iter().filter_map(|id| form.question(id)).collect()
}

/// Ketones can rise at ordinary sugar with type 1 diabetes or an SGLT2 drug: then feeling worse opens the questions.
fn ketones_at_any_sugar(context: &Context) -> bool {
    context.diabetes == Some(Diabetes::T1) || context.sglt2 == Some(true)
}

/// What the page says about a check that is in but has slips.
pub fn summary(holder: &LinkHolder, reading: &Reading, receipt: &Receipt, heading: String) -> Summary {
    let line =
        |fault: &triage::Fault| (format!("#q-{}", question_of(fault.field)), about(fault, holder.language));
    Summary {
        heading,
        receipt: receipt.code.clone(),
        sent_url: format!("/my/sent/{}", receipt.code),
        lines: reading.faults.iter().map(line).collect(),
        photos_kept: match receipt.photos_here {
            0 => String::new(),
            count => FaultWords(holder.language).photos_kept(count),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::QUESTIONS;
    use crate::triage::Stage;

    #[test]
    fn every_question_of_the_checklist_has_a_place_on_the_page() {
        let placed: Vec<&str> = PARTS.iter().flat_map(|(_, ids)| ids.iter().copied()).collect();
        for question in QUESTIONS {
            match question.stage {
                Stage::Danger | Stage::Close => assert!(!placed.contains(&question.id), "{}", question.id),
                Stage::Core | Stage::Branch | Stage::Special | Stage::Optional => {
                    assert_eq!(placed.iter().filter(|id| **id == question.id).count(), 1, "{}", question.id);
                }
            }
        }
    }

    #[test]
    fn a_form_key_has_22_letters_and_is_never_the_same() {
        let chance = Chance::seeded(7);
        let (first, second) = (fresh_form_key(&chance), fresh_form_key(&chance));
        assert_eq!(first.len(), 22);
        assert_ne!(first, second);
    }
}
