//! What the office works with: callbacks, enrolment, patients and their links.

pub(in crate::web) mod antibiotics;
mod call;
mod call_script;
mod calls;
mod contacts;
mod enrol;
mod enrol_form;
mod enrol_read;
mod hand_off;
mod issued;
mod late;
mod patient;
pub(in crate::web) mod patients;
mod plan;
mod silence;
pub(in crate::web) mod silences;

use crate::web::doors::Doors;
use crate::web::doors::Who;

pub fn hang(doors: Doors) -> Doors {
    doors
        .get("/callbacks", Who::Caller, calls::show)
        .get("/callbacks/{id}", Who::Caller, call::show)
        .post("/callbacks/{id}/attempts", Who::Caller, call::log)
        .post("/callbacks/{id}/could-not-reach", Who::Caller, call::could_not_reach)
        .post("/callbacks/{id}/hand-back", Who::Caller, call::hand_back)
        .get("/silence", Who::Caller, silences::show)
        .get("/silence/{id}", Who::Caller, silence::show)
        .post("/silence/{id}/calls", Who::Caller, silence::log)
        .get("/silence/{id}/letter", Who::Caller, silence::letter)
        .post("/silence/{id}/letter", Who::Caller, silence::letter_sent)
        .post("/silence/{id}/ask", Who::Caller, silence::ask)
        .post("/silence/{id}/decide", Who::Surgeon, silence::decide)
        .post("/silence/{id}/end", Who::Caller, silence::end)
        .get("/patients", Who::Caller, patients::show)
        .post("/patients", Who::Office, enrol::send)
        .get("/patients/new", Who::Office, enrol::show)
        .get("/patients/{id}", Who::Caller, patient::show)
        .post("/patients/{id}/contacts", Who::Caller, contacts::keep)
        .get("/wounds/{id}/hand-off", Who::Caller, hand_off::show)
        .post("/antibiotics/{id}/culture", Who::Caller, antibiotics::culture)
        .post("/antibiotics/{id}/end", Who::Caller, antibiotics::end)
        .get("/wounds/{id}/plan", Who::Caller, plan::show)
        .post("/wounds/{id}/plan/move", Who::Caller, plan::move_step)
        .post("/wounds/{id}/plan/came", Who::Caller, plan::came)
        .post("/wounds/{id}/plan/pause", Who::Caller, plan::pause)
        .post("/wounds/{id}/plan/resume", Who::Caller, plan::resume)
        .post("/wounds/{id}/plan/wash", Who::Caller, plan::wash)
        .post("/wounds/{id}/plan/end", Who::Caller, plan::end)
        .post("/wounds/{id}/links", Who::Office, patient::issue_link)
        .post("/links/{id}/revoke", Who::Office, patient::revoke_link)
        .post("/links/{id}/phones/{phone}/end", Who::Office, patient::end_phone)
        .post("/late/{id}/deal", Who::Caller, late::deal_with)
        .post("/links/sheet", Who::Office, issued::sheet)
}
