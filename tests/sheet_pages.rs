//! The discharge sheet as laid out: everything on the paper, nothing over anything else, whatever the names are.

use std::sync::LazyLock;

use closewatch::photo::CARD_HEIGHT_MM;
use closewatch::photo::CARD_WIDTH_MM;
use closewatch::plan::Operation;
use closewatch::plan::Packing;
use closewatch::plan::Side;
use closewatch::plan::Site;
use closewatch::plan::care_plan;
use closewatch::sheet::Area;
use closewatch::sheet::Draft;
use closewatch::sheet::Mark;
use closewatch::sheet::Paper;
use closewatch::sheet::QR_EDGE_MM;
use closewatch::sheet::SheetContents;
use closewatch::sheet::SheetFault;
use closewatch::sheet::scale_card;
use closewatch::sheet::sheet_pages;
use closewatch::sheet::sheet_pdf;
use closewatch::words::Language;
use jiff::Timestamp;
use jiff::tz::TimeZone;

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn contents(language: Language) -> SheetContents {
    let zone = TimeZone::get("America/Chicago").unwrap();
    let operated = at("2026-03-02T19:00:00Z");
    let operation = Operation {
        site: Site::Thigh,
        side: Side::Left,
        procedure: "abscess drained".to_owned(),
        operated,
        size: None,
        packing: Some(Packing { pieces: 2, length_cm: Some(90.0), placed: operated }),
        pen_line: None,
    };
    SheetContents {
        language,
        practice_name: "Harbor Street Surgery".to_owned(),
        practice_phone: "(312) 555-0142".to_owned(),
        emergency_number: "911".to_owned(),
        patient_name: "Rosa Delgado".to_owned(),
        link_name: "helper Ana".to_owned(),
        site: operation.site,
        wound: "left thigh".to_owned(),
        procedure: operation.procedure.clone(),
        surgeon_name: "Dr. Maya Okafor".to_owned(),
        operated,
        plan: care_plan(&operation, &zone),
        packing: operation.packing,
        zone,
        link_url: "https://harbor.example/p/7Gm2QxV9cK4tHs8LwZr3NbYd5Fj".to_owned(),
        short_address: "harbor.example/go".to_owned(),
        typed_code: "K7QF-2MXD-9RTA".to_owned(),
        pin: "493 027".to_owned(),
        expires: at("2026-06-14T05:00:00Z"),
        printed: at("2026-03-02T20:30:00Z"),
        tag_id: scale_card::USUAL_TAG_ID,
    }
}

/// Sheets that are hard to set: long, wide, written from right to left, outside the fonts, broken.
fn hard_contents(language: Language) -> Vec<SheetContents> {
    let wide = "W".repeat(500);
    let names = [
        "María de los Ángeles Guadalupe Fernández-Villavicencio y Wolfeschlegelsteinhausen de la Cruz",
        "مريم بنت عبد الله الكاتب",
        "דוד כהן (Dave) לוי",
        "Ana \u{1F98B} \u{1F469}\u{200D}\u{1F52C} 王小明 \u{202E}evil\u{0}\u{7}\n\t",
        "",
        &wide,
    ];
    let mut all: Vec<SheetContents> = names
        .into_iter()
        .map(|name| SheetContents { patient_name: name.to_owned(), ..contents(language) })
        .collect();
    all.push(SheetContents {
        practice_name: wide.clone(),
        patient_name: wide.clone(),
        link_name: wide.clone(),
        wound: wide.clone(),
        procedure: wide.clone(),
        surgeon_name: wide.clone(),
        short_address: "w".repeat(48),
        typed_code: "W".repeat(32),
        practice_phone: "0".repeat(24),
        emergency_number: "0".repeat(16),
        site: Site::Perianal,
        ..contents(language)
    });
    all.push(SheetContents { plan: Vec::new(), packing: None, ..contents(language) });
    all
}

fn letters(page: &Draft) -> Vec<(&str, Area)> {
    page.marks
        .iter()
        .filter_map(|mark| match mark {
            Mark::Letters { line, .. } => Some((line.text.as_str(), mark.area())),
            Mark::Filled { .. } | Mark::Oval { .. } | Mark::Frame { .. } => None,
        })
        .collect()
}

type Sheet = (SheetContents, Paper, Vec<Draft>);

/// Every hard sheet in each language on each paper, laid out once for all tests.
static SHEETS: LazyLock<Vec<Sheet>> = LazyLock::new(|| {
    let mut sheets = Vec::new();
    for language in Language::ALL {
        for paper in Paper::ALL.iter().copied() {
            for contents in hard_contents(language).into_iter().chain([contents(language)]) {
                let pages = sheet_pages(&contents, paper).unwrap();
                sheets.push((contents, paper, pages));
            }
        }
    }
    sheets
});

fn every_page(check: impl Fn(&SheetContents, Paper, usize, &Draft)) {
    for (contents, paper, pages) in SHEETS.iter() {
        assert_eq!(pages.len(), 2);
        for (index, page) in pages.iter().enumerate() {
            check(contents, *paper, index + 1, page);
        }
    }
}

#[test]
fn everything_stays_inside_the_printers_margins() {
    every_page(|contents, paper, number, page| {
        for mark in &page.marks {
            let area = mark.area();
            assert!(
                page.printable().holds(&area),
                "{paper:?} page {number} {:?}: {area:?} {mark:?}",
                contents.language
            );
        }
    });
}

#[test]
fn no_line_of_text_runs_into_another() {
    every_page(|contents, paper, number, page| {
        let lines = letters(page);
        for (index, (text, area)) in lines.iter().enumerate() {
            for (other_text, other) in &lines[index + 1..] {
                assert!(
                    !area.overlaps(other),
                    "{paper:?} page {number} {:?}: {text:?} {area:?} over {other_text:?} {other:?}",
                    contents.language
                );
            }
        }
    });
}

/// The code, the card and its parts: solid shapes that no text may touch.
#[test]
fn no_text_lies_on_the_square_code_or_on_the_scale_card() {
    every_page(|_, paper, number, page| {
        let shapes: Vec<Area> = page
            .marks
            .iter()
            .map(Mark::area)
            .filter(|area| {
                let is = |width: f64, height: f64| {
                    (area.width_mm - width).abs() < 1e-6 && (area.height_mm - height).abs() < 1e-6
                };
                is(CARD_WIDTH_MM, CARD_HEIGHT_MM) || is(QR_EDGE_MM, QR_EDGE_MM)
            })
            .collect();
        assert_eq!(shapes.len(), 1, "{paper:?} page {number}");
        for (text, area) in letters(page) {
            assert!(!area.overlaps(&shapes[0]), "{paper:?} page {number}: {text:?}");
        }
    });
}

#[test]
fn the_back_of_the_cut_out_card_holds_nothing_but_notes() {
    for (contents, paper, pages) in SHEETS.iter() {
        let (page, second) = (&pages[0], &pages[1]);
        let card = second
            .marks
            .iter()
            .map(Mark::area)
            .find(|area| (area.width_mm - CARD_WIDTH_MM).abs() < 1e-6)
            .unwrap();
        let back = Area { left_mm: page.width_mm - card.right_mm(), ..card };
        let words = closewatch::words::sheet::SheetWords(contents.language);
        for (text, area) in letters(page) {
            let is_note = text == words.notes_heading() || text == words.notes_hint();
            assert!(is_note || !area.overlaps(&back), "{paper:?}: {text:?}");
        }
    }
}

#[test]
fn the_pages_have_the_papers_size() {
    let size = |paper| {
        let pages = sheet_pages(&contents(Language::English), paper).unwrap();
        pages.iter().map(|page| (page.width_mm, page.height_mm)).collect::<Vec<_>>()
    };
    assert_eq!(size(Paper::A4), [(210.0, 297.0), (210.0, 297.0)]);
    // Eight and a half by eleven inches.
    assert_eq!(size(Paper::Letter), [(215.9, 279.4), (215.9, 279.4)]);
}

#[test]
fn emergency_number_phone_code_address_and_pin_are_on_the_first_page() {
    for language in Language::ALL {
        let pages = sheet_pages(&contents(language), Paper::Letter).unwrap();
        let text: String = letters(&pages[0]).iter().map(|line| format!("{}\n", line.0)).collect();
        for needed in ["911", "(312)\u{a0}555-0142", "K7QF-2MXD-9RTA", "harbor.example/go", "493\u{a0}027"] {
            assert!(text.contains(needed), "{language:?}: {needed}");
        }
    }
}

#[test]
fn the_plans_dates_are_local_and_a_period_ends_on_its_last_day() {
    let pages = sheet_pages(&contents(Language::English), Paper::Letter).unwrap();
    let text: String = letters(&pages[1]).iter().map(|line| format!("{} ", line.0)).collect();
    // Strip placed on 2 March at 13:00 in Chicago; week 1 ends with 9 March.
    for needed in [
        "About Wednesday, March 4, 1:00\u{a0}pm.",
        "Twice a day: Wednesday, March 4 to Monday, March 9.",
        "Once a day: from Tuesday, March 10",
        "You have 2 strips in the wound. All together: about 90 cm (35 in).",
        "Tue Mar 3",
        "Mon May 25",
    ] {
        assert!(text.contains(needed), "{needed} in {text}");
    }
}

#[test]
fn signs_that_only_some_places_have_are_printed_only_there() {
    let words = closewatch::words::sheet::SheetWords(Language::English);
    let prints = |site, sentence: &str| {
        let pages = sheet_pages(&SheetContents { site, ..contents(Language::English) }, Paper::A4).unwrap();
        letters(&pages[0]).iter().any(|line| sentence.starts_with(line.0) && line.0.len() > 12)
    };
    for (site, low, face) in
        [(Site::Perianal, true, false), (Site::Neck, false, true), (Site::Thigh, false, false)]
    {
        assert_eq!(prints(site, &words.danger_numb()), low, "{site:?}");
        assert_eq!(prints(site, &words.danger_throat()), face, "{site:?}");
    }
}

#[test]
fn a_sheet_without_a_number_or_a_code_is_refused() {
    let full = contents(Language::English);
    let without = |change: fn(&mut SheetContents)| {
        let mut lacking = full.clone();
        change(&mut lacking);
        sheet_pdf(&lacking, Paper::A4).err()
    };
    assert_eq!(
        without(|sheet| sheet.emergency_number.clear()),
        Some(SheetFault::Missing("the emergency number"))
    );
    assert_eq!(without(|sheet| sheet.pin = "  ".to_owned()), Some(SheetFault::Missing("the PIN")));
    assert_eq!(without(|sheet| sheet.typed_code.clear()), Some(SheetFault::Missing("the typed code")));
    assert_eq!(without(|sheet| sheet.pin = "4930271234567".to_owned()), Some(SheetFault::TooLong("the PIN")));
    assert_eq!(
        without(|sheet| sheet.typed_code = "K7QF\u{1F98B}".to_owned()),
        Some(SheetFault::NotPrintable("the typed code"))
    );
    assert_eq!(without(|sheet| sheet.link_url = "x".repeat(1_500)), Some(SheetFault::LinkTooLong));
    assert_eq!(without(|_| ()), None);
}

#[test]
fn the_same_contents_give_the_same_file_and_its_title_does_not_name_the_patient() {
    let sheet = contents(Language::Spanish);
    let first = sheet_pdf(&sheet, Paper::A4).unwrap();
    assert_eq!(first, sheet_pdf(&sheet, Paper::A4).unwrap());
    assert!(first.starts_with(b"%PDF-"));
    let raw = String::from_utf8_lossy(&first);
    assert!(raw.contains("/Lang (es)") || raw.contains("/Lang(es)"), "language of the document");
    assert!(!raw.contains("Delgado"));
}

#[test]
fn any_text_in_any_name_is_printed_or_refused_without_a_crash() {
    use proptest::prelude::*;
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig::with_cases(24));
    runner
        .run(&(any::<String>(), any::<String>(), any::<bool>()), |(name, code, spanish)| {
            let language = if spanish { Language::Spanish } else { Language::English };
            let sheet = SheetContents { patient_name: name.clone(), ..contents(language) };
            prop_assert!(sheet_pdf(&sheet, Paper::Letter).is_ok());
            let sheet = SheetContents { typed_code: code, procedure: name, ..contents(language) };
            let _printed_or_refused = sheet_pdf(&sheet, Paper::A4);
            Ok(())
        })
        .unwrap();
}
