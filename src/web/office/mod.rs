//! What the office works with: callbacks, enrolment, patients and their links.

mod call;
mod calls;
mod enrol;
mod enrol_form;
mod enrol_read;
mod issued;
mod patient;
mod patients;

use crate::web::doors::Doors;
use crate::web::doors::Who;

pub fn hang(doors: Doors) -> Doors {
    doors
        .get("/callbacks", Who::Caller, calls::show)
        .get("/callbacks/{id}", Who::Caller, call::show)
        .post("/callbacks/{id}/attempts", Who::Caller, call::log)
        .post("/callbacks/{id}/could-not-reach", Who::Caller, call::could_not_reach)
        .post("/callbacks/{id}/hand-back", Who::Caller, call::hand_back)
        .get("/patients", Who::Caller, patients::show)
        .post("/patients", Who::Office, enrol::send)
        .get("/patients/new", Who::Office, enrol::show)
        .get("/patients/{id}", Who::Caller, patient::show)
        .post("/wounds/{id}/links", Who::Office, patient::issue_link)
        .post("/links/{id}/revoke", Who::Office, patient::revoke_link)
        .post("/links/sheet", Who::Office, issued::sheet)
}
