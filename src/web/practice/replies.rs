//! The practice's reply texts, edited in both languages.

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
use crate::care::replies;
use crate::care::replies::Editing;
use crate::ids::ReplyTextId;
use crate::store::replies::ReplyText;
use crate::triage::Decision;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;

struct Row {
    id: String,
    decision: &'static str,
    title: String,
    body_en: String,
    body_es: String,
}

#[derive(Template)]
#[template(path = "practice/replies.html")]
struct RepliesPage {
    frame: Frame,
    rows: Vec<Row>,
}

/// The form as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct ReplyForm {
    decision: String,
    title: String,
    body_en: String,
    body_es: String,
}

struct Choice {
    code: &'static str,
    words: &'static str,
    is_chosen: bool,
}

#[derive(Template)]
#[template(path = "practice/reply.html")]
struct ReplyPage {
    frame: Frame,
    heading: &'static str,
    /// Where the form goes.
    action: String,
    choices: Vec<Choice>,
    form: ReplyForm,
    faults: Faults,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let texts = replies::list(&app.desk, &member.member).await?;
    let shown = RepliesPage {
        frame: Frame::of(&app, &member, Part::Practice, "Replies").await?,
        rows: texts
            .into_iter()
            .map(|text| Row {
                id: text.id.to_string(),
                decision: text.decision.words(),
                title: text.title,
                body_en: text.body_en,
                body_es: text.body_es,
            })
            .collect(),
    };
    page(StatusCode::OK, &shown)
}

pub async fn show_one(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
) -> Result<Response, PageError> {
    if id == "new" {
        return reply_page(&app, &member, None, ReplyForm::default(), Vec::new()).await;
    }
    let id: ReplyTextId = id.parse().map_err(|_| PageError::NotFound)?;
    let text = find(&app, &member, id).await?;
    let form = ReplyForm {
        decision: text.decision.code().to_owned(),
        title: text.title,
        body_en: text.body_en,
        body_es: text.body_es,
    };
    reply_page(&app, &member, Some(id), form, Vec::new()).await
}

async fn find(app: &App, member: &Member, id: ReplyTextId) -> Result<ReplyText, PageError> {
    let texts = replies::list(&app.desk, &member.member).await?;
    texts.into_iter().find(|text| text.id == id).ok_or(PageError::NotFound)
}

async fn reply_page(
    app: &App,
    member: &Member,
    id: Option<ReplyTextId>,
    form: ReplyForm,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let shown = ReplyPage {
        frame: Frame::of(app, member, Part::Practice, "Reply").await?,
        heading: if id.is_some() { "Change a reply" } else { "A new reply" },
        action: id.map_or_else(|| "/practice/replies".to_owned(), |id| format!("/practice/replies/{id}")),
        choices: Decision::ALL
            .iter()
            .map(|decision| Choice {
                code: decision.code(),
                words: decision.words(),
                is_chosen: form.decision == decision.code(),
            })
            .collect(),
        form,
        faults: Faults(faults),
    };
    page(shown.faults.status(), &shown)
}

pub async fn keep_new(
    State(app): State<App>,
    member: Member,
    Form(form): Form<ReplyForm>,
) -> Result<Response, PageError> {
    keep_reply(&app, &member, None, form).await
}

pub async fn keep(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<ReplyForm>,
) -> Result<Response, PageError> {
    let id = id.parse().map_err(|_| PageError::NotFound)?;
    keep_reply(&app, &member, Some(id), form).await
}

async fn keep_reply(
    app: &App,
    member: &Member,
    id: Option<ReplyTextId>,
    form: ReplyForm,
) -> Result<Response, PageError> {
    let Ok(decision) = form.decision.parse::<Decision>() else {
        let fault = Fault::new("decision", "Choose the decision this reply goes with.");
        return reply_page(app, member, id, form, vec![fault]).await;
    };
    let editing = Editing {
        id,
        decision,
        title: form.title.clone(),
        body_en: form.body_en.clone(),
        body_es: form.body_es.clone(),
    };
    match replies::keep(&app.desk, &member.member, editing, &app.moment()).await {
        Ok(_) => Ok(Redirect::to("/practice/replies").into_response()),
        Err(CareError::Entered(faults)) => reply_page(app, member, id, form, faults).await,
        Err(other) => Err(other.into()),
    }
}
