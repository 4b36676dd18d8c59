//! The patient pages: open the link, see what to do today, send a wound check, read the answer.

mod answers;
mod check;
mod check_page;
mod clock;
mod danger;
mod faults;
mod frame;
mod incoming;
mod last_time;
mod link;
mod phone;
mod photo_advice;
mod questions;
mod sent;
mod small_sends;
mod step_page;
mod step_plan;
mod steps;
mod tasks;
mod today;
mod typed;

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
        .get("/my/answers", Who::Phone, answers::show)
        .post("/my/answers", Who::Phone, answers::ask)
        .post("/my/answers/{message}/read", Who::Phone, answers::mark_read)
        .post("/my/pin", Who::Phone, answers::try_pin)
}
