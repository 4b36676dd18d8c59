//! Finds the scale card in one picture as the program would, for checks with other tools.
//!
//! `cargo run --example find_card -- PICTURE DIRECTORY` writes `review.jpg`, the picture that is measured on, and `card.json`. The
//! practice's markers are 0 to 9, the edge 20 mm.

use std::error::Error;
use std::fs;
use std::path::Path;

use closewatch::photo;
use closewatch::photo::CardIssue;
use closewatch::photo::Limits;
use closewatch::photo::Picture;
use closewatch::photo::PxPoint;
use closewatch::photo::TAG_EDGE_MM;
use closewatch::photo::find_card;
use serde_json::json;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [picture, directory] = arguments.as_slice() else {
        return Err("usage: find_card PICTURE DIRECTORY".into());
    };
    let clean = photo::clean(&fs::read(picture)?, &Limits::default())
        .map_err(|refused| format!("{picture}: {refused:?}"))?;
    let review = Picture::from_rendition(&clean.review().jpeg).map_err(|refused| format!("{refused:?}"))?;
    let middle = PxPoint { x_px: review.width() as f64 / 2.0, y_px: review.height() as f64 / 2.0 };
    let issue = CardIssue { ids: 0..=9, tag_edge_mm: TAG_EDGE_MM };
    let report = match find_card(&review, &issue, middle, clean.focal_35mm()) {
        Ok(card) => json!({ "card": card, "focal_35mm": clean.focal_35mm() }),
        Err(fault) => json!({ "fault": fault }),
    };
    fs::create_dir_all(directory)?;
    fs::write(Path::new(directory).join("review.jpg"), &clean.review().jpeg)?;
    fs::write(Path::new(directory).join("card.json"), serde_json::to_string_pretty(&report)?)?;
    Ok(())
}
