//! What a lead works with: who works here, who is on duty, the protocol, the reply texts, the figures, the cover and the record.

mod drill;
pub mod drill_words;
mod duty;
mod duty_change;
mod duty_typed;
mod duty_view;
mod envelope;
mod figure_files;
mod figure_plots;
mod figure_words;
mod figures;
mod forecast;
mod forecast_form;
mod forecast_view;
mod forecast_words;
mod hand_over;
mod keeping;
mod overview;
mod plan_text;
mod protocol;
mod protocol_draft;
mod protocol_trial;
mod protocol_view;
mod record;
pub(in crate::web) mod record_words;
mod replies;
mod staff;

use crate::web::doors::Doors;
use crate::web::doors::Who;

pub fn hang(doors: Doors) -> Doors {
    doors
        .get("/practice", Who::Lead, overview::show)
        .post("/practice/measuring", Who::Lead, overview::set_measuring)
        .get("/practice/staff", Who::Lead, staff::show)
        .post_fresh("/practice/staff", Who::Lead, staff::add)
        .post_fresh("/practice/staff/{id}/re-enrol", Who::Lead, staff::re_enrol)
        .post("/practice/staff/{id}/on", Who::Lead, staff::switch_on)
        .post_fresh("/practice/staff/{id}/photos/on", Who::Lead, staff::photos_on)
        .post("/practice/staff/{id}/photos/off", Who::Lead, staff::photos_off)
        .post("/practice/staff/{id}/off", Who::Lead, staff::switch_off)
        .get("/practice/duty", Who::Staff, duty::show)
        .post("/practice/duty/swap", Who::Staff, duty::swap)
        .get("/practice/duty/change", Who::Lead, duty_change::show)
        .post("/practice/duty/weekly", Who::Lead, duty_change::add_weekly)
        .post("/practice/duty/weekly/remove", Who::Lead, duty_change::remove_weekly)
        .post("/practice/duty/dated", Who::Lead, duty_change::add_dated)
        .post("/practice/duty/dated/remove", Who::Lead, duty_change::remove_dated)
        .post("/practice/duty/away", Who::Lead, duty_change::add_away)
        .post("/practice/duty/away/remove", Who::Lead, duty_change::remove_away)
        .post("/practice/duty/holidays", Who::Lead, duty_change::keep_holiday)
        .post("/practice/duty/holidays/remove", Who::Lead, duty_change::remove_holiday)
        .post("/practice/duty/hours", Who::Lead, duty_change::keep_hours)
        .get("/hand-over", Who::Staff, hand_over::show)
        .post("/hand-over", Who::Staff, hand_over::confirm)
        .get("/practice/replies", Who::Lead, replies::show)
        .post("/practice/replies", Who::Lead, replies::keep_new)
        .get("/practice/replies/{id}", Who::Lead, replies::show_one)
        .post("/practice/replies/{id}", Who::Lead, replies::keep)
        .get("/practice/plan-text", Who::Lead, plan_text::show)
        .post("/practice/plan-text", Who::Lead, plan_text::keep)
        .get("/practice/forecast", Who::Judge, forecast::show)
        .get("/practice/figures", Who::Judge, figures::show)
        .get_fresh("/practice/figures/decisions.csv", Who::Judge, figure_files::decisions)
        .get_fresh("/practice/figures/shares.csv", Who::Judge, figure_files::shares)
        .get_fresh("/practice/figures/moved-up.csv", Who::Judge, figure_files::moved_up)
        .get_fresh("/practice/figures/response-by-class.csv", Who::Judge, figure_files::by_class)
        .get_fresh("/practice/figures/response-by-hour.csv", Who::Judge, figure_files::by_hour)
        .get("/practice/protocol", Who::Judge, protocol::show)
        .get("/practice/protocol/versions/{version}", Who::Judge, protocol::show_version)
        .get("/practice/protocol/draft", Who::Lead, protocol_draft::show)
        .post("/practice/protocol/draft", Who::Lead, protocol_draft::keep)
        .post("/practice/protocol/draft/discard", Who::Lead, protocol_draft::discard)
        .get("/practice/protocol/trial", Who::Judge, protocol_trial::show)
        .post("/practice/protocol/trial", Who::Lead, protocol_trial::start)
        .post("/practice/protocol/approve", Who::Lead, protocol_trial::approve)
        .get("/practice/drill", Who::Lead, drill::show)
        .post("/practice/drill", Who::Lead, drill::keep)
        .post("/practice/drill/start", Who::Lead, drill::start)
        .get("/practice/envelope", Who::Lead, envelope::show)
        .post_fresh("/practice/envelope", Who::Lead, envelope::print)
        .post("/practice/envelope/{look}/end", Who::Lead, envelope::end)
        .post("/practice/envelope/{look}/note", Who::Lead, envelope::note)
        .get("/practice/keeping", Who::Judge, keeping::show)
        .post_fresh("/practice/keeping", Who::Lead, keeping::set)
        .post_fresh("/practice/keeping/holds", Who::Lead, keeping::place)
        .post_fresh("/practice/keeping/holds/{id}/release", Who::Judge, keeping::release)
        .get("/practice/record", Who::Lead, record::show)
}
