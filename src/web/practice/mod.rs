//! What a lead works with: who works here, the reply texts, the figures and the record.

mod figure_files;
mod figure_plots;
mod figure_words;
mod figures;
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
        .get("/practice/figures", Who::Judge, figures::show)
        .get("/practice/figures/decisions.csv", Who::Judge, figure_files::decisions)
        .get("/practice/figures/shares.csv", Who::Judge, figure_files::shares)
        .get("/practice/figures/moved-up.csv", Who::Judge, figure_files::moved_up)
        .get("/practice/figures/response-by-class.csv", Who::Judge, figure_files::by_class)
        .get("/practice/figures/response-by-hour.csv", Who::Judge, figure_files::by_hour)
        .get("/practice/record", Who::Lead, record::show)
}
