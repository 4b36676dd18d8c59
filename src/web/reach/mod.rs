//! How the practice reaches its people, and what it does where it does not: alarms, letters, addresses, providers.

mod alarms;
mod alarms_view;
mod jobs;
mod ladder_times;
mod me;
mod own_sign_in;
mod phone;
mod provider;
mod strip;
mod words;
mod worker;

use axum::extract::DefaultBodyLimit;
use axum::handler::Handler;

use crate::web::doors::Doors;
use crate::web::doors::Who;

pub use provider::STATUS_PATH;
pub use strip::Strip;

pub fn hang(doors: Doors) -> Doors {
    doors
        .get("/alarms", Who::Staff, alarms::show)
        .post("/alarms/ladders/{ladder}", Who::Caller, alarms::see_to_ladder)
        .post("/alarms/{alarm}/take", Who::Staff, alarms::see_to_alarm)
        .post("/alarms/{alarm}/end", Who::Staff, alarms::end)
        .get("/practice/jobs", Who::Lead, jobs::show)
        .post("/practice/jobs/now", Who::Lead, jobs::try_now)
        .post("/practice/letters/send", Who::Lead, jobs::send_again)
        .post("/practice/letters/not-needed", Who::Lead, jobs::not_needed)
        .get("/practice/ladder", Who::Judge, ladder_times::show)
        .post("/practice/ladder", Who::Lead, ladder_times::keep)
        .get("/me", Who::Staff, me::show)
        .post_fresh("/me/addresses", Who::Staff, me::add)
        .post_fresh("/me/addresses/remove", Who::Staff, me::remove)
        .post_fresh("/me/addresses/first", Who::Staff, me::put_first)
        .post("/me/addresses/test", Who::Staff, me::test)
        .post_fresh("/me/push", Who::Staff, me::add_browser)
        .get("/me/sign-in", Who::Staff, own_sign_in::show)
        .post_fresh("/me/passkeys/remove", Who::Staff, own_sign_in::remove_passkey)
        .post_fresh("/me/app/remove", Who::Staff, own_sign_in::remove_app)
        .post_fresh("/me/recovery-codes", Who::Staff, own_sign_in::new_codes)
        .post_fresh("/me/password", Who::Staff, own_sign_in::change_password)
        .post("/me/sessions/end", Who::Staff, own_sign_in::end_sessions)
        .post("/my/push", Who::Phone, phone::begin)
        .post("/my/push/end", Who::Phone, phone::end)
        .get("/push-worker.js", Who::Anyone, worker::serve)
        .post(
            STATUS_PATH,
            Who::Provider,
            provider::status.layer(DefaultBodyLimit::max(provider::LONGEST_BYTES)),
        )
}
