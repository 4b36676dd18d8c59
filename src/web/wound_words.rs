//! Where a wound is, in words: for staff in English, on the sheet in the patient's language.

use crate::plan::Operation;
use crate::plan::Side;
use crate::plan::Site;
use crate::words::Language;

/// Site and side, such as "left thigh" or "muslo izquierdo".
pub fn place(operation: &Operation, language: Language) -> String {
    let (site, side) = (operation.site, operation.side);
    match language {
        Language::English => match side_en(site, side) {
            "" => site_en(site).to_owned(),
            "middle" => format!("{}, middle", site_en(site)),
            word => format!("{word} {}", site_en(site)),
        },
        Language::Spanish => match side_es(site, side) {
            "" => site_es(site).0.to_owned(),
            word => format!("{} {word}", site_es(site).0),
        },
    }
}

/// The same with a capital letter, to begin a line with.
pub fn place_line(operation: &Operation) -> String {
    let words = place(operation, Language::English);
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

pub fn site_en(site: Site) -> &'static str {
    match site {
        Site::Face => "face",
        Site::Scalp => "scalp",
        Site::Neck => "neck",
        Site::Axilla => "armpit",
        Site::Breast => "breast",
        Site::Trunk => "trunk",
        Site::Arm => "arm",
        Site::Hand => "hand",
        Site::Groin => "groin",
        Site::Genital => "genital area",
        Site::Buttock => "buttock",
        Site::Pilonidal => "tailbone cleft",
        Site::Perianal => "beside the anus",
        Site::Thigh => "thigh",
        Site::Leg => "lower leg",
        Site::Foot => "foot",
    }
}

pub fn side_words(side: Side) -> &'static str {
    match side {
        Side::Left => "left",
        Side::Right => "right",
        Side::Middle => "middle",
    }
}

/// Places on the middle line need no word for it.
fn side_en(site: Site, side: Side) -> &'static str {
    match (site, side) {
        (Site::Perianal, Side::Left) => "left,",
        (Site::Perianal, Side::Right) => "right,",
        (Site::Pilonidal | Site::Perianal | Site::Genital, Side::Middle) => "",
        (_, side) => side_words(side),
    }
}

/// The noun, and whether it is feminine.
fn site_es(site: Site) -> (&'static str, bool) {
    match site {
        Site::Face => ("cara", true),
        Site::Scalp => ("cuero cabelludo", false),
        Site::Neck => ("cuello", false),
        Site::Axilla => ("axila", true),
        Site::Breast => ("pecho (seno)", false),
        Site::Trunk => ("tronco", false),
        Site::Arm => ("brazo", false),
        Site::Hand => ("mano", true),
        Site::Groin => ("ingle", true),
        Site::Genital => ("partes íntimas", true),
        Site::Buttock => ("nalga", true),
        Site::Pilonidal => ("rabadilla", true),
        Site::Perianal => ("junto al ano", false),
        Site::Thigh => ("muslo", false),
        Site::Leg => ("pierna", true),
        Site::Foot => ("pie", false),
    }
}

fn side_es(site: Site, side: Side) -> &'static str {
    let of_noun = |masculine, feminine| if site_es(site).1 { feminine } else { masculine };
    match (site, side) {
        (Site::Genital, Side::Left) => "(lado izquierdo)",
        (Site::Genital, Side::Right) => "(lado derecho)",
        (Site::Perianal, Side::Left) => "(lado izquierdo)",
        (Site::Perianal, Side::Right) => "(lado derecho)",
        (Site::Pilonidal | Site::Perianal | Site::Genital, Side::Middle) => "",
        (_, Side::Left) => of_noun("izquierdo", "izquierda"),
        (_, Side::Right) => of_noun("derecho", "derecha"),
        (_, Side::Middle) => "(en medio)",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wound(site: Site, side: Side) -> Operation {
        Operation {
            site,
            side,
            procedure: "abscess drained".to_owned(),
            operated: "2026-03-02T14:00:00Z".parse().unwrap(),
            size: None,
            packing: None,
            pen_line: None,
        }
    }

    #[test]
    fn a_place_reads_naturally_in_both_languages() {
        let read = |site, side| {
            let wound = wound(site, side);
            (place(&wound, Language::English), place(&wound, Language::Spanish))
        };
        assert_eq!(read(Site::Thigh, Side::Left), ("left thigh".to_owned(), "muslo izquierdo".to_owned()));
        assert_eq!(read(Site::Hand, Side::Right), ("right hand".to_owned(), "mano derecha".to_owned()));
        assert_eq!(
            read(Site::Pilonidal, Side::Middle),
            ("tailbone cleft".to_owned(), "rabadilla".to_owned())
        );
        assert_eq!(place_line(&wound(Site::Trunk, Side::Middle)), "Trunk, middle");
        assert_eq!(place_line(&wound(Site::Buttock, Side::Right)), "Right buttock");
    }
}
