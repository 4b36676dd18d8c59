//! Cleans one picture as the program would and writes what it keeps, for checks with other tools.
//!
//! `cargo run --example clean_photo -- PICTURE DIRECTORY [PROGRAM]` writes `full.jpg`, `review.jpg`, `small.jpg` and `photo.json`.
//! A refused file gives `photo.json` alone and exit code 3. With the program's path the picture is read as a server reads it, by that
//! program in a process that is shut in; one that is lost with its process ends with exit code 4.

use std::error::Error;
use std::fs;
use std::path::Path;
use std::process::ExitCode;

use closewatch::care::decoder::Apart;
use closewatch::care::decoder::Came;
use closewatch::photo;
use closewatch::photo::CleanPhoto;
use closewatch::photo::Limits;
use closewatch::photo::Rendition;
use serde_json::Value;
use serde_json::json;

fn main() -> Result<ExitCode, Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (picture, directory, program) = match arguments.as_slice() {
        [picture, directory] => (picture, directory, None),
        [picture, directory, program] => (picture, directory, Some(program)),
        _ => return Err("usage: clean_photo PICTURE DIRECTORY [PROGRAM]".into()),
    };
    let directory = Path::new(directory);
    fs::create_dir_all(directory)?;
    let bytes = fs::read(picture)?;
    let came = match program {
        None => Came::Read(photo::clean(&bytes, &Limits::default())),
        Some(program) => {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
            let program = fs::canonicalize(program)?;
            runtime.block_on(Apart::new(program).read(&bytes, &Limits::default()))
        }
    };
    let (report, code) = match came {
        Came::Read(Ok(clean)) => {
            for (name, rendition) in sizes(&clean) {
                fs::write(directory.join(format!("{name}.jpg")), &rendition.jpeg)?;
            }
            (described(&clean), ExitCode::SUCCESS)
        }
        Came::Read(Err(refused)) => {
            (json!({ "refused": refused.code(), "detail": format!("{refused:?}") }), ExitCode::from(3))
        }
        Came::Lost(lost) => (json!({ "lost": lost.to_string() }), ExitCode::from(4)),
        Came::NotRead(why) | Came::NotShutIn(why) => return Err(why.into()),
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
