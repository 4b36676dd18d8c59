//! The scale card against what OpenCV draws and what was measured on rendered pages (`tests/truth/sheet.json`).

use closewatch::photo;
use closewatch::sheet::scale_card;
use serde_json::Value;

fn truth() -> Value {
    serde_json::from_str(include_str!("truth/sheet.json")).unwrap()
}

#[test]
fn the_marker_is_the_one_opencv_draws() {
    let ours: Vec<String> = photo::marker_cells(scale_card::USUAL_TAG_ID)
        .unwrap()
        .iter()
        .map(|row| row.iter().map(|light| if *light { '1' } else { '0' }).collect())
        .collect();
    assert_eq!(serde_json::json!(ours), truth()["tag36h11_id_0_by_opencv"]);
}

/// A pixel at the 300 dpi the pages were rendered at; an edge can be off by one at each end.
const PIXEL_MM: f64 = 25.4 / 300.0;

#[test]
fn the_rendered_pages_show_the_cards_measures() {
    let truth = truth();
    let pages = truth["seen_on_rendered_pages"].as_array().unwrap();
    assert!(!pages.is_empty());
    let area = |area: closewatch::sheet::Area| [area.left_mm, area.top_mm, area.width_mm, area.height_mm];
    let [tag_left, tag_top, tag_edge, _] = area(scale_card::tag_area());
    let [patch_left, patch_top, patch_width, patch_height] = area(scale_card::patch_area());
    for page in pages {
        let near = |field: &str, wanted: &[f64]| {
            let seen = match &page[field] {
                Value::Array(values) => values.iter().map(|value| value.as_f64().unwrap()).collect(),
                value => vec![value.as_f64().unwrap()],
            };
            assert_eq!(seen.len(), wanted.len(), "{field}");
            for (seen, wanted) in seen.iter().zip(wanted) {
                assert!((seen - wanted).abs() <= 2.0 * PIXEL_MM, "{field}: {seen} for {wanted}");
            }
        };
        near("tag_edge_mm", &[tag_edge]);
        near("tag_on_card_mm", &[tag_left, tag_top]);
        near("card_mm", &[photo::CARD_WIDTH_MM, photo::CARD_HEIGHT_MM]);
        near("patch_mm", &[patch_width, patch_height]);
        near("patch_on_card_mm", &[patch_left, patch_top]);
        assert_eq!(page["ground_level"], scale_card::grey_level(photo::GROUND_REFLECTANCE));
        assert_eq!(page["patch_level"], scale_card::grey_level(photo::PATCH_REFLECTANCE));
    }
}

#[test]
fn the_fonts_are_the_ones_whose_checksums_are_kept_beside_them() {
    use sha2::Digest;
    let sums = include_str!("../src/sheet/fonts/SHA256SUMS");
    let fonts: [(&str, &[u8]); 2] = [
        ("DejaVuSansCondensed.ttf", include_bytes!("../src/sheet/fonts/DejaVuSansCondensed.ttf")),
        ("DejaVuSansCondensed-Bold.ttf", include_bytes!("../src/sheet/fonts/DejaVuSansCondensed-Bold.ttf")),
    ];
    for (name, bytes) in fonts {
        let sum = data_encoding::HEXLOWER.encode(&sha2::Sha256::digest(bytes));
        assert!(sums.lines().any(|line| line == format!("{sum}  {name}")), "{name}");
    }
}
