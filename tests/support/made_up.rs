//! Invented people, operations, answers and pictures.

use std::collections::BTreeSet;
use std::io::Cursor;

use image::ImageFormat;
use image::RgbImage;
use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::date;

use closewatch::care::enrol::NewPatient;
use closewatch::ids::Chance;
use closewatch::plan::Operation;
use closewatch::plan::Packing;
use closewatch::plan::Side;
use closewatch::plan::Site;
use closewatch::triage::Answers;
use closewatch::triage::DangerItem;
use closewatch::triage::Feels;
use closewatch::triage::Said;
use closewatch::triage::TakenTemperature;
use closewatch::triage::TempUnit;
use closewatch::triage::Temperature;
use closewatch::triage::YesNo;
use closewatch::words::Language;

pub fn person(name: &str) -> NewPatient {
    NewPatient {
        name: name.to_owned(),
        born: date(1961, 4, 17),
        phone: "202-555-0143".to_owned(),
        language: Language::English,
        helper_name: None,
        helper_phone: None,
    }
}

/// An abscess drained four days before `now`, with one strip.
pub fn operation(now: Timestamp) -> Operation {
    let operated = now - SignedDuration::from_hours(96);
    Operation {
        site: Site::Buttock,
        side: Side::Left,
        procedure: "abscess drained".to_owned(),
        operated,
        size: None,
        packing: Some(Packing { pieces: 1, length_cm: Some(40.0), placed: operated }),
        pen_line: None,
    }
}

/// A form on which only the danger screen was answered, with nothing.
pub fn no_danger() -> Answers {
    Answers { danger: Said::Is(BTreeSet::new()), better: Said::Is(Feels::Same), ..Answers::default() }
}

/// Says one of the dangers.
pub fn in_danger() -> Answers {
    Answers { danger: Said::Is(BTreeSet::from([DangerItem::Breath])), ..Answers::default() }
}

/// Says a temperature, in tenths of a degree Celsius.
pub fn with_temperature(tenths_c: u16) -> Answers {
    let taken = TakenTemperature {
        entered: format!("{}.{}", tenths_c / 10, tenths_c % 10),
        unit: TempUnit::Celsius,
        tenths_c,
    };
    Answers { temp: Said::Is(Temperature::Taken(taken)), ..no_danger() }
}

pub fn with_words(words: &str) -> Answers {
    Answers { words: words.to_owned(), smell: Said::Is(YesNo::No), ..no_danger() }
}

/// A small painted picture, different for each `seed`, sharp and bright enough to be judged by.
pub fn jpeg(seed: u64) -> Vec<u8> {
    let chance = Chance::seeded(seed);
    let [red, green, blue] = chance.bytes::<3>();
    let picture = RgbImage::from_fn(640, 480, |x, y| {
        let (dx, dy) = (x as i32 - 320, y as i32 - 240);
        let inside = dx * dx + dy * dy < 90 * 90;
        let checked = (x / 8 + y / 8) % 2 == 0;
        match (inside, checked) {
            (true, true) => image::Rgb([150, 30, 40 + blue % 40]),
            (true, false) => image::Rgb([190, 60, 60]),
            (false, true) => image::Rgb([200 - red % 30, 160 - green % 30, 140]),
            (false, false) => image::Rgb([230, 190, 170]),
        }
    });
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Jpeg).unwrap();
    bytes.into_inner()
}

/// A picture big, sharp and bright enough to be judged by, different for each `seed`.
pub fn photo(seed: u8) -> Vec<u8> {
    let picture = image::RgbImage::from_fn(1_600, 1_200, |x, y| match (x / 16 + y / 16) % 2 {
        0 => image::Rgb([200, 150, 60 + 8 * seed]),
        _ => image::Rgb([235, 195, 175]),
    });
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Jpeg).unwrap();
    bytes.into_inner()
}

/// What a surgeon answers when all is as it should be.
pub const ANSWER: &str = "The wound looks as I expect. Send a photo tomorrow.";

/// An enrolment form as the office fills it in.
pub fn enrolment<'a>(surgeon: &'a str, key: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("enrol_key", key),
        ("name", "Inés Example"),
        ("born", "1980-02-03"),
        ("phone", "202-555-0143"),
        ("language", "es"),
        ("site", "thigh"),
        ("side", "left"),
        ("procedure", "abscess drained"),
        ("surgeon", surgeon),
        ("operated", "2026-03-09T14:30"),
        ("strips", "placed"),
        ("strip_pieces", "1"),
        ("strip_length", "24"),
        ("strip_unit", "in"),
        ("line", "none"),
        ("blood_thinner", "no"),
    ]
}
