//! What a lead works with: who works here, the reply texts, the record, and whether there is enough cover.

mod forecast;
mod forecast_form;
mod forecast_view;
mod forecast_words;
mod overview;
mod record;
mod replies;
mod staff;

use crate::web::doors::Doors;
use crate::web::doors::Who;

pub fn hang(doors: Doors) -> Doors {
    doors
        .get("/practice", Who::Lead, overview::show)
        .get("/practice/staff", Who::Lead, staff::show)
        .post("/practice/staff", Who::Lead, staff::add)
        .post("/practice/staff/{id}/on", Who::Lead, staff::switch_on)
        .post("/practice/staff/{id}/off", Who::Lead, staff::switch_off)
        .get("/practice/replies", Who::Lead, replies::show)
        .post("/practice/replies", Who::Lead, replies::keep_new)
        .get("/practice/replies/{id}", Who::Lead, replies::show_one)
        .post("/practice/replies/{id}", Who::Lead, replies::keep)
        .get("/practice/forecast", Who::Planner, forecast::show)
        .get("/practice/record", Who::Lead, record::show)
}
