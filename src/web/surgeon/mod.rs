//! What a surgeon works with: the queue, the review of one check, and its photos.

pub(in crate::web) mod answer_words;
mod clash_words;
mod correction_view;
mod course_chart;
mod course_view;
mod course_words;
mod decide;
mod disagreement_words;
mod drawing;
mod drill;
mod explained;
mod fact_words;
mod here;
pub mod measure_words;
mod measured;
mod photo;
mod photo_set;
mod pulse;
mod queue;
mod reply_text;
mod review;
mod review_page;
mod side_by_side;
mod stream;
mod why;

use crate::web::doors::Doors;
use crate::web::doors::Who;

pub fn hang(doors: Doors) -> Doors {
    doors
        .get("/queue", Who::Surgeon, queue::show)
        .get("/queue/stream", Who::Surgeon, stream::listen)
        .get("/pulse", Who::Anyone, pulse::listen)
        .post("/here", Who::Staff, here::note)
        .get("/drills/{id}", Who::Staff, drill::show)
        .post("/drills/{id}/open", Who::Staff, drill::open)
        .get("/checks/{id}", Who::Surgeon, review::show)
        .get("/checks/{id}/why", Who::Surgeon, explained::show)
        .get("/checks/{id}/why/{number}", Who::Surgeon, explained::show_one)
        .post("/checks/{id}/open", Who::Surgeon, review::open)
        .post("/checks/{id}/release", Who::Surgeon, review::release)
        .post("/checks/{id}/decide", Who::Surgeon, decide::send)
        .get("/photos/{id}/{size}", Who::PhotoViewer, photo::show)
        .get("/look/queue", Who::Onlooker, queue::show_to_onlooker)
        .get("/look/queue/stream", Who::Onlooker, stream::listen_as_onlooker)
        .get("/look/checks/{id}", Who::Onlooker, review::show_to_onlooker)
        .get("/look/photos/{id}/{size}", Who::Onlooker, photo::show_to_onlooker)
        .post("/photos/{id}/outline", Who::Surgeon, drawing::save)
        .post("/photos/{id}/outline/confirm", Who::Surgeon, drawing::confirm)
}
