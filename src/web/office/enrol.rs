//! Enrolling a patient at discharge.

use axum::Form;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use data_encoding::HEXLOWER;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::enrol;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::office::enrol_form::EnrolForm;
use crate::web::office::enrol_form::enrol_page;
use crate::web::office::enrol_read;
use crate::web::office::issued::issued_page;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let form = EnrolForm {
        enrol_key: HEXLOWER.encode(&app.chance.bytes::<16>()),
        line: "none".to_owned(),
        strip_unit: "cm".to_owned(),
        ..EnrolForm::default()
    };
    again(&app, &member, form, Vec::new()).await
}

pub async fn send(
    State(app): State<App>,
    member: Member,
    Form(form): Form<EnrolForm>,
) -> Result<Response, PageError> {
    let frame = Frame::of(&app, &member, Part::Patients, "Enrolled").await?;
    let enrolment = match enrol_read::read(&form, &frame.practice.zone) {
        Ok(enrolment) => enrolment,
        Err(faults) => return again(&app, &member, form, faults).await,
    };
    match enrol::enrol(&app.desk, &member.member, enrolment, &app.moment()).await {
        Ok(enrolled) => match enrolled.issued {
            Some(issued) => issued_page(&app, frame, &enrolled.patient, &enrolled.wound, &issued),
            // The same form again: its link was shown once, and is not shown twice.
            None => Ok(Redirect::to(&format!("/patients/{}", enrolled.patient.id)).into_response()),
        },
        Err(CareError::Entered(faults)) => {
            let faults = faults.into_iter().map(by_form_field).collect();
            again(&app, &member, form, faults).await
        }
        Err(other) => Err(other.into()),
    }
}

/// The care room speaks of the operation; on the form three fields make a size, and two a strip's length.
fn by_form_field(fault: Fault) -> Fault {
    let field = match fault.field {
        "size" => "length_mm",
        "strip_length_cm" => "strip_length",
        same => same,
    };
    Fault { field, ..fault }
}

async fn again(
    app: &App,
    member: &Member,
    form: EnrolForm,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let frame = Frame::of(app, member, Part::Patients, "Enrol a patient").await?;
    enrol_page(frame, &colleagues(app, member).await?, form, faults)
}

async fn colleagues(app: &App, member: &Member) -> Result<Vec<StaffMember>, PageError> {
    let mut conn = app.desk.db.read().await.map_err(CareError::from)?;
    Ok(staff::of_practice(&mut conn, member.member.practice).await.map_err(CareError::from)?)
}
