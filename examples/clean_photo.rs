//! Cleans one picture as the program would and writes what it keeps, for checks with other tools.
//!
//! `cargo run --example clean_photo -- PICTURE DIRECTORY` writes `full.jpg`, `review.jpg`, `small.jpg` and `photo.json`.
//! A refused file gives `photo.json` alone and exit code 3.

use std::error::Error;
use std::fs;
use std::path::Path;
use std::process::ExitCode;

use closewatch::photo;
use closewatch::photo::CleanPhoto;
use closewatch::photo::Limits;
use closewatch::photo::Rendition;
use serde_json::Value;
use serde_json::json;

fn main() -> Result<ExitCode, Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [picture, directory] = arguments.as_slice() else {
        return Err("usage: clean_photo PICTURE DIRECTORY".into());
    };
    let directory = Path::new(directory);
    fs::create_dir_all(directory)?;
    let (report, code) = match photo::clean(&fs::read(picture)?, &Limits::default()) {
        Ok(clean) => {
            for (name, rendition) in sizes(&clean) {
                fs::write(directory.join(format!("{name}.jpg")), &rendition.jpeg)?;
            }
            (described(&clean), ExitCode::SUCCESS)
        }
        Err(refused) => {
            (json!({ "refused": refused.code(), "detail": format!("{refused:?}") }), ExitCode::from(3))
        }
    };
    fs::write(directory.join("photo.json"), serde_json::to_string_pretty(&report)?)?;
    Ok(code)
}

fn sizes(clean: &CleanPhoto) -> [(&'static str, &Rendition); 3] {
    [("full", clean.full()), ("review", clean.review()), ("small", clean.small())]
}

fn described(clean: &CleanPhoto) -> Value {
    let quality = clean.quality();
    let renditions: serde_json::Map<String, Value> = sizes(clean)
        .into_iter()
        .map(|(name, kept)| {
            let entry =
                json!({ "width_px": kept.width_px, "height_px": kept.height_px, "sha256": kept.sha256 });
            (name.to_owned(), entry)
        })
        .collect();
    json!({
        "format": clean.format().code(),
        "sent_sha256": clean.sent_sha256(),
        "sent_width_px": clean.sent_width_px(),
        "sent_height_px": clean.sent_height_px(),
        "capture_time": clean.capture_time().map(|time| time.to_string()),
        "focal_35mm": clean.focal_35mm(),
        "flags": clean.flags().into_iter().map(|flag| flag.code()).collect::<Vec<_>>(),
        "complete": quality.complete,
        "mean_luminance": quality.mean_luminance,
        "burnt_out": quality.burnt_out,
        "sharpness": quality.sharpness,
        "shortest_side_px": quality.shortest_side_px,
        "renditions": renditions,
    })
}
