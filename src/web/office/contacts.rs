//! How a patient is reached, and who else: kept up to date by the office.

use axum::Form;
use axum::extract::Path;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::patients;
use crate::care::patients::Contacts;
use crate::ids::PatientId;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::office::patient::Typed;
use crate::web::office::patient::patient_page;

/// The form as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct ContactsForm {
    pub phone: String,
    pub helper_name: String,
    pub helper_phone: String,
    /// `yes`, `no`, or empty: by the language.
    pub interpreter: String,
}

pub async fn keep(
    State(app): State<App>,
    member: Member,
    Path(id): Path<String>,
    Form(form): Form<ContactsForm>,
) -> Result<Response, PageError> {
    let id: PatientId = id.parse().map_err(|_| PageError::NotFound)?;
    let contacts = Contacts {
        phone: form.phone.clone(),
        helper_name: form.helper_name.clone(),
        helper_phone: form.helper_phone.clone(),
        interpreter: match form.interpreter.as_str() {
            "yes" => Some(true),
            "no" => Some(false),
            _ => None,
        },
    };
    match patients::set_contacts(&app.desk, &member.member, id, &contacts, app.now()).await {
        Ok(()) => Ok(Redirect::to(&format!("/patients/{id}")).into_response()),
        Err(CareError::Entered(faults)) => {
            let typed = Typed { contacts: Some(form), ..Typed::default() };
            patient_page(&app, &member, id, typed, faults).await
        }
        Err(other) => Err(other.into()),
    }
}
