//! Writes one sample sheet: `cargo run --example print_sheet -- en a4 plain sheet.pdf`.
//!
//! Samples: `plain`, `long-name`, `right-to-left`, `emoji`, `low` (a wound near the bottom), `own-marker` (id 77). People are invented.

use std::process::ExitCode;

use closewatch::plan::Operation;
use closewatch::plan::Packing;
use closewatch::plan::Side;
use closewatch::plan::Site;
use closewatch::plan::care_plan;
use closewatch::sheet::Paper;
use closewatch::sheet::SheetContents;
use closewatch::sheet::scale_card;
use closewatch::sheet::sheet_pdf;
use closewatch::words::Language;
use jiff::tz::TimeZone;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [language, paper, sample, path] = arguments.as_slice() else {
        eprintln!("use: print_sheet <en|es> <a4|letter> <sample> <file.pdf>");
        return ExitCode::FAILURE;
    };
    let paper = if paper == "letter" { Paper::Letter } else { Paper::A4 };
    let contents = sample_contents(language.parse().unwrap_or_default(), sample);
    match sheet_pdf(&contents, paper).map(|bytes| std::fs::write(path, bytes)) {
        Ok(Ok(())) => ExitCode::SUCCESS,
        Ok(Err(error)) => {
            eprintln!("{path}: {error}");
            ExitCode::FAILURE
        }
        Err(fault) => {
            eprintln!("{fault}");
            ExitCode::FAILURE
        }
    }
}

fn sample_contents(language: Language, sample: &str) -> SheetContents {
    let zone = TimeZone::get("America/Chicago").unwrap_or(TimeZone::UTC);
    let operated = "2026-03-02T19:00:00Z".parse().expect("a time of day written here");
    let low = sample == "low";
    let operation = Operation {
        site: if low { Site::Perianal } else { Site::Thigh },
        side: Side::Left,
        procedure: "abscess drained".to_owned(),
        operated,
        size: None,
        packing: Some(Packing { pieces: 1, length_cm: Some(60.0), placed: operated }),
        pen_line: None,
    };
    let name = match sample {
        "long-name" => {
            "María de los Ángeles Guadalupe Fernández-Villavicencio y Wolfeschlegelsteinhausen de la Cruz"
        }
        "right-to-left" => "مريم الكاتب (Maryam)",
        "emoji" => "Ana \u{1F98B} López \u{1F469}\u{200D}\u{1F52C}",
        _ => "Rosa Delgado",
    };
    let words = |english: &'static str, spanish: &'static str| match language {
        Language::English => english.to_owned(),
        Language::Spanish => spanish.to_owned(),
    };
    SheetContents {
        language,
        practice_name: "Harbor Street Surgery".to_owned(),
        practice_phone: "(312) 555-0142".to_owned(),
        emergency_number: "911".to_owned(),
        patient_name: name.to_owned(),
        link_name: words("patient", "paciente"),
        site: operation.site,
        wound: if low {
            words("near the anus, left", "cerca del ano, izquierda")
        } else {
            words("left thigh", "muslo izquierdo")
        },
        procedure: words("abscess drained", "absceso drenado"),
        surgeon_name: "Dr. Maya Okafor".to_owned(),
        operated,
        plan: care_plan(&operation, &zone),
        packing: operation.packing,
        zone,
        link_url: "https://harbor.example/p/7Gm2QxV9cK4tHs8LwZr3NbYd5Fj".to_owned(),
        short_address: "harbor.example/go".to_owned(),
        typed_code: "K7QF-2MXD-9RTA".to_owned(),
        pin: "493 027".to_owned(),
        expires: "2026-06-14T05:00:00Z".parse().expect("a time of day written here"),
        printed: "2026-03-02T20:30:00Z".parse().expect("a time of day written here"),
        tag_id: if sample == "own-marker" { 77 } else { scale_card::USUAL_TAG_ID },
    }
}
