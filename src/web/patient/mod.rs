//! The patient pages: open the link, see what to do today, send a wound check, read the answer.

mod answers;
pub mod calendar;
mod check;
mod check_page;
pub(in crate::web) mod clock;
pub(in crate::web) mod danger;
pub mod fail_page;
mod faults;
mod frame;
mod incoming;
pub(in crate::web) mod last_time;
pub(in crate::web) mod late;
mod link;
mod phone;
mod photo_advice;
pub(in crate::web) mod questions;
mod sent;
mod small_sends;
mod step_page;
mod step_plan;
mod steps;
mod strip;
mod strip_said;
mod tasks;
#[cfg(test)]
mod tasks_checks;
mod today;
mod typed;
pub mod unsaved;
mod visit;

use axum::extract::DefaultBodyLimit;
use axum::handler::Handler;

use crate::web::doors::Doors;
use crate::web::doors::Who;

pub fn hang(doors: Doors) -> Doors {
    doors
        .get("/k/{token}", Who::Anyone, link::show)
        .post("/k/{token}", Who::Anyone, link::open)
        .get("/go", Who::Anyone, link::show_code)
        .post("/go", Who::Anyone, link::open_with_code)
        .post("/late", Who::Anyone, late::leave_words)
        .get("/my", Who::Phone, today::show)
        .post("/my/language", Who::Phone, phone::speak)
        .post("/my/leave", Who::Phone, phone::leave)
        .get("/my/check", Who::Phone, check::show)
        .post("/my/check", Who::Phone, check::send.layer(DefaultBodyLimit::max(incoming::MOST_BYTES)))
        .get("/my/check/steps", Who::Phone, steps::show)
        .post("/my/check/steps", Who::Phone, steps::keep)
        .post(
            "/my/check/steps/send",
            Who::Phone,
            steps::send.layer(DefaultBodyLimit::max(incoming::MOST_BYTES)),
        )
        .post("/my/check/answers", Who::Phone, small_sends::answers)
        .post(
            "/my/check/photo",
            Who::Phone,
            small_sends::photo.layer(DefaultBodyLimit::max(incoming::MOST_BYTES)),
        )
        .get("/my/sent/{receipt}", Who::Phone, sent::show)
        .post("/my/visit", Who::Phone, visit::answer)
        .get("/my/strip", Who::Phone, strip::show)
        .post("/my/strip", Who::Phone, strip::press)
        // A tab that is opened again after a slip in the count asks for the page it was on.
        .get("/my/strip/say", Who::Phone, strip::show)
        .post("/my/strip/say", Who::Phone, strip::say)
        .get("/my/calendar", Who::Phone, calendar::show)
        .post("/my/calendar", Who::Phone, calendar::make)
        .post("/my/calendar/end", Who::Phone, calendar::end)
        .get("/my/calendar/{step}", Who::Phone, calendar::one)
        .get("/c/{token}", Who::Anyone, calendar::feed)
        .get("/my/answers", Who::Phone, answers::show)
        .post("/my/answers", Who::Phone, answers::ask)
        .post("/my/answers/{message}/read", Who::Phone, answers::mark_read)
        .post("/my/pin", Who::Phone, answers::try_pin)
}
