//! A new patient link, shown once, and its sheet to print.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Response;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::enrol;
use crate::care::enrol::IssuedLink;
use crate::care::grouped;
use crate::sheet::Paper;
use crate::sheet::SheetContents;
use crate::sheet::scale_card::USUAL_TAG_ID;
use crate::sheet::sheet_pdf;
use crate::store::links::PatientLink;
use crate::store::patients::Patient;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::page;
use crate::web::time_words;
use crate::web::wound_words;

#[derive(Template)]
#[template(path = "office/issued.html")]
struct IssuedPage {
    frame: Frame,
    name: String,
    place: String,
    language: &'static str,
    link_name: String,
    expires: String,
    address: String,
    short_address: String,
    code: String,
    code_raw: String,
    pin: String,
    token: String,
    is_a4: bool,
    patient_address: String,
}

/// The page with a link's secrets: the only time they are seen.
pub fn issued_page(
    app: &App,
    frame: Frame,
    patient: &Patient,
    wound: &Wound,
    issued: &IssuedLink,
) -> Result<Response, PageError> {
    let practice = &frame.practice;
    let shown = IssuedPage {
        name: patient.name.clone(),
        place: wound_words::place_line(&wound.operation),
        language: patient.language.own_name(),
        link_name: issued.link.name.clone(),
        expires: time_words::day(issued.link.expires, &practice.zone, STAFF_LANGUAGE),
        address: link_address(app, issued.token.reveal()),
        short_address: short_address(app),
        code: grouped(issued.code.reveal()),
        code_raw: issued.code.reveal().to_owned(),
        pin: issued.pin.reveal().to_owned(),
        token: issued.token.reveal().to_owned(),
        is_a4: practice.paper == Paper::A4,
        patient_address: format!("/patients/{}", patient.id),
        frame,
    };
    page(StatusCode::OK, &shown)
}

/// The secret address in the square code.
fn link_address(app: &App, token: &str) -> String {
    format!("{}/k/{token}", app.public_url)
}

/// What is typed from paper, without the scheme.
fn short_address(app: &App) -> String {
    let host = app.public_url.trim_start_matches("https://").trim_start_matches("http://");
    format!("{host}/go")
}

#[derive(Deserialize)]
pub struct SheetForm {
    token: String,
    code: String,
    pin: String,
    #[serde(default)]
    paper: String,
}

/// The sheet as a PDF. The secrets come with the form, since they are kept nowhere.
pub async fn sheet(
    State(app): State<App>,
    member: Member,
    Form(form): Form<SheetForm>,
) -> Result<Response, PageError> {
    let desk = &app.desk;
    let found = enrol::link_of_secrets(desk, &member.member, &form.token, &form.code, &form.pin).await?;
    let (patient, wound, link) = found.ok_or(PageError::NotFound)?;
    let practice = practice(&app, &member).await?;
    let paper = form.paper.parse().unwrap_or(practice.paper);
    let contents = contents(&app, &practice, &patient, &wound, &link, &form).await?;
    let pdf = sheet_pdf(&contents, paper).map_err(|fault| CareError::Work(fault.to_string()))?;
    Ok((
        [
            (header::CONTENT_TYPE, "application/pdf"),
            (header::CONTENT_DISPOSITION, "inline; filename=\"discharge-sheet.pdf\""),
            (header::CACHE_CONTROL, "no-store"),
        ],
        pdf,
    )
        .into_response())
}

async fn practice(app: &App, member: &Member) -> Result<Practice, PageError> {
    let mut conn = app.desk.db.read().await.map_err(CareError::from)?;
    let found = practices::find(&mut conn, member.member.practice).await.map_err(CareError::from)?;
    found.ok_or(PageError::NotFound)
}

async fn contents(
    app: &App,
    practice: &Practice,
    patient: &Patient,
    wound: &Wound,
    link: &PatientLink,
    form: &SheetForm,
) -> Result<SheetContents, PageError> {
    let mut conn = app.desk.db.read().await.map_err(CareError::from)?;
    let settings = practices::measuring(&mut conn, practice.id).await.map_err(CareError::from)?;
    let surgeon = staff::find(&mut conn, practice.id, wound.surgeon).await.map_err(CareError::from)?;
    Ok(SheetContents {
        language: patient.language,
        practice_name: practice.name.clone(),
        practice_phone: practice.phone.clone(),
        emergency_number: practice.emergency_number.clone(),
        patient_name: patient.name.clone(),
        link_name: link.name.clone(),
        site: wound.operation.site,
        wound: wound_words::place(&wound.operation, patient.language),
        procedure: wound.operation.procedure.clone(),
        surgeon_name: surgeon.map_or_else(String::new, |member| member.name),
        operated: wound.operation.operated,
        plan: wounds::plan(&mut conn, practice.id, wound.id).await.map_err(CareError::from)?,
        packing: wound.operation.packing,
        zone: practice.zone.clone(),
        link_url: link_address(app, &form.token),
        short_address: short_address(app),
        typed_code: grouped(&form.code),
        pin: form.pin.clone(),
        expires: link.expires,
        printed: app.now(),
        tag_id: settings.map_or(USUAL_TAG_ID, |settings| *settings.cards.ids.start()),
    })
}
