//! Markers in a real camera's picture, against what the AprilTag project's own detector says of them.

use image::imageops::FilterType;
use image::imageops::resize;

use crate::photo::Picture;
use crate::photo::ScaleCard;
use crate::photo::scale_card::find::What;
use crate::photo::scale_card::find::markers;
use crate::photo::scale_card::measure::measured;

const PHOTO: &[u8] =
    include_bytes!("../../../tests/photo_samples/printed_markers/34139872896_defdb2f8d9_c.jpg");
const CORNERS: &str =
    include_str!("../../../tests/photo_samples/printed_markers/34139872896_defdb2f8d9_c.txt");
/// The markers are 20 to 45 px wide in the photo; a card may not be smaller than 40.
const ENLARGED: u32 = 2;

/// Corners of each marker in the photo, px, in no order that matters.
fn by_the_other_detector() -> Vec<[[f64; 2]; 4]> {
    let line = |line: &str| {
        let numbers: Vec<f64> =
            line.split(['(', ')', ',', ' ']).filter_map(|number| number.parse().ok()).skip(1).collect();
        std::array::from_fn(|corner| [numbers[2 * corner], numbers[2 * corner + 1]])
    };
    CORNERS.lines().filter(|line| line.contains('(')).map(line).collect()
}

fn enlarged() -> Picture {
    let photo = image::load_from_memory(PHOTO).unwrap().into_rgb8();
    let larger = resize(&photo, photo.width() * ENLARGED, photo.height() * ENLARGED, FilterType::CatmullRom);
    Picture::new(larger.width() as usize, larger.height() as usize, larger.into_raw()).unwrap()
}

/// Root mean square of the distances to the nearest corners, px of the photo.
fn off_px(card: &ScaleCard, corners: &[[f64; 2]; 4]) -> f64 {
    let nearest = card.corners_px.map(|at| {
        let (x, y) = (at.x_px / f64::from(ENLARGED), at.y_px / f64::from(ENLARGED));
        corners.iter().map(|[u, v]| (x - u).powi(2) + (y - v).powi(2)).fold(f64::INFINITY, f64::min)
    });
    (nearest.iter().sum::<f64>() / 4.0).sqrt()
}

#[test]
fn printed_markers_in_a_photo_are_found_where_another_detector_finds_them() {
    let picture = enlarged();
    let seen: Vec<_> =
        markers(&picture, &(0..=0)).into_iter().filter(|sighting| sighting.what == What::Marker).collect();
    assert!(seen.iter().all(|sighting| sighting.id == 0), "every marker in the photo is number 0");
    let cards: Vec<ScaleCard> =
        seen.iter().filter_map(|sighting| measured(&picture, sighting, 20.0, None).ok()).collect();
    let others = by_the_other_detector();
    let found: Vec<f64> = others
        .iter()
        .map(|corners| cards.iter().map(|card| off_px(card, corners)).fold(f64::INFINITY, f64::min))
        .filter(|off| *off < 2.0)
        .collect();
    assert!(found.len() >= 9, "{} of {}", found.len(), others.len());
    // The other detector reads stored levels and so sees markers of 45 px some 0.5 px smaller.
    assert!(found.iter().all(|off| *off < 0.75), "{found:?}");
}

/// Inside and border of a marker are printed in the ratio of 1 to 8: where the plane says an inner edge lies, one is.
#[test]
fn the_cells_of_a_photographed_marker_are_an_eighth_of_it() {
    let picture = enlarged();
    let facing: Vec<ScaleCard> = markers(&picture, &(0..=0))
        .iter()
        .filter(|sighting| sighting.what == What::Marker)
        .filter_map(|sighting| measured(&picture, sighting, 20.0, None).ok())
        .filter(|card| card.tilt_deg < 20.0 && card.tag_edge_px > 80.0)
        .collect();
    assert!(facing.len() >= 4, "{}", facing.len());
    for card in facing {
        assert!(card.misfit_px < 0.005 * card.tag_edge_px, "{} of {}", card.misfit_px, card.tag_edge_px);
    }
}
