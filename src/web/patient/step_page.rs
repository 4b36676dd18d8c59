//! One step of the wound check as a page: what is asked here, with everything typed so far still in it.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;

use crate::care::LinkHolder;
use crate::care::sent_before;
use crate::care::thread::Home;
use crate::store::check_drafts::Draft;
use crate::triage;
use crate::web::App;
use crate::web::error::PageError;
use crate::web::patient::check_page;
use crate::web::patient::check_page::context_of;
use crate::web::patient::clock;
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
use crate::web::patient::step_plan;
use crate::web::patient::step_plan::DANGER;
use crate::web::patient::step_plan::LAST;
use crate::web::patient::step_plan::Step;
use crate::web::patient::steps::slips;
use crate::web::patient::typed::Typed;
use crate::words::patient_check::CheckWords;
use crate::words::patient_danger::DangerWords;
use crate::words::patient_faults::FaultWords;
use crate::words::patient_photos::PhotoWords;
use crate::words::patient_questions::QuestionWords;

#[derive(Template)]
#[template(path = "patient/step.html")]
struct StepPage {
    frame: Frame,
    words: CheckWords,
    danger_words: DangerWords,
    photo_words: PhotoWords,
    fault_words: FaultWords,
    question_words: QuestionWords,
    form_key: String,
    code: &'static str,
    title: String,
    /// Empty: none.
    hint: String,
    number: usize,
    of: usize,
    /// When the draft was begun, said on the step it is gone on with.
    began: Option<String>,
    /// Where to look, and what for.
    slips: Vec<(String, String)>,
    /// An answer of this step has just opened a question.
    opened_more: Option<()>,
    /// What to do about a low sugar, first and then.
    low_sugar: Option<[String; 2]>,
    who: Option<QuestionView>,
    danger: Vec<DangerRow>,
    danger_last: String,
    danger_none: bool,
    danger_not_sure: bool,
    questions: Vec<QuestionView>,
    free_words: String,
}

impl StepPage {
    fn is_danger(&self) -> bool {
        self.code == DANGER
    }

    fn is_last(&self) -> bool {
        self.code == LAST
    }
}

/// The step with this code, or where the draft goes on when there is no such step.
pub async fn page(
    app: &App,
    holder: &LinkHolder,
    home: &Home,
    draft: Option<Draft>,
    code: &str,
) -> Result<Response, PageError> {
    let (language, now, context) = (holder.language, app.now(), context_of(home));
    let (words, danger_words) = (CheckWords(language), DangerWords(language));
    let began = draft.as_ref().map(|draft| clock::when(draft.began, now, &home.practice.zone, language));
    let (fields, shown, form_key) = match draft {
        Some(draft) => (draft.fields, draft.shown, draft.form_key),
        None => (Vec::new(), Vec::new(), check_page::fresh_form_key(&app.chance)),
    };
    let before = sent_before::answers_before(&app.desk, holder, &form_key, now).await?;
    let typed = Typed::new(fields);
    let reading = triage::read(typed.fields(), &context);
    let steps = step_plan::plan(&reading.answers, &context);
    let asked_for = steps.iter().position(|step| step.code == code);
    let at = asked_for.unwrap_or_else(|| step_plan::resume(&steps, &shown));
    let step = &steps[at];
    let form = Form {
        context: &context,
        language,
        typed: &typed,
        answers: &reading.answers,
        faults: &reading.faults,
        before: before.as_ref(),
        strips: home.wound.operation.packing.map(|packing| packing.pieces),
    };
    let back = format!("/my/check/steps?at={}", step.code);
    let was_seen = |id: &&'static str| shown.iter().any(|seen| seen == id);
    let page = StepPage {
        frame: Frame::new(&home.practice, language, Here::Check, &back, now),
        words,
        danger_words,
        photo_words: PhotoWords(language),
        fault_words: FaultWords(language),
        question_words: QuestionWords(language),
        form_key,
        code: step.code,
        title: title(step, words, &form),
        hint: form.title(&format!("part_{}_hint", step.code)),
        number: at + 1,
        of: steps.len(),
        began: began.filter(|_| asked_for.is_none()),
        slips: slips(step, &reading.faults)
            .map(|fault| (format!("#q-{}", question_of(fault.field)), about(fault, language)))
            .collect(),
        opened_more: (step.asked.iter().any(was_seen) && !step.asked.iter().all(was_seen)).then_some(()),
        low_sugar: danger::low_sugar_advice(&reading.answers, danger_words, &home.practice.emergency_number),
        who: form.question("who").filter(|_| step.code == DANGER),
        danger: danger::rows(&context, danger_words, &danger::opening(home, danger_words, now), &typed),
        danger_last: form.last("danger"),
        danger_none: typed.has("danger", "none"),
        danger_not_sure: typed.has("danger", "not_sure"),
        questions: questions(step, &form),
        free_words: typed.text("words").to_owned(),
    };
    frame::show(&page, StatusCode::OK)
}

fn title(step: &Step, words: CheckWords, form: &Form<'_>) -> String {
    match step.code {
        DANGER => words.danger_first(),
        LAST => words.send_title(),
        code => form.title(&format!("part_{code}")),
    }
}

/// Everything here is asked: nobody has to be told who it is for.
fn questions(step: &Step, form: &Form<'_>) -> Vec<QuestionView> {
    let ids: &[&str] = match step.code {
        DANGER => &[],
        LAST => return check_page::reached(form),
        _ => &step.asked,
    };
    ids.iter()
        .filter_map(|id| form.question(id))
        .map(|question| QuestionView { only: String::new(), ..question })
        .collect()
}
