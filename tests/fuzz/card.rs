//! The scale card: whatever a picture shows, a card that is found has a place in it and a believable scale.

use std::time::Duration;

use closewatch::photo;
use closewatch::photo::CardIssue;
use closewatch::photo::Limits;
use closewatch::photo::Picture;
use closewatch::photo::PxPoint;
use closewatch::photo::TAG_EDGE_MM;
use closewatch::photo::find_card;

use crate::Came;
use crate::Target;
use crate::photo_samples::opened;

/// Pixels, as two bytes of width, two of height, then red, green, blue; whatever is missing is black.
fn picture(bytes: &[u8]) -> Option<Picture> {
    let size: [u8; 4] = bytes.get(..4)?.try_into().unwrap();
    let [width, height] = [0, 2].map(|at| usize::from(u16::from_be_bytes([size[at], size[at + 1]])));
    if width * height > 600_000 {
        return None;
    }
    let mut rgb = bytes[4..].to_vec();
    rgb.resize(3 * width * height, 0);
    Picture::new(width, height, rgb)
}

fn bytes_of(picture: &image::RgbImage) -> Vec<u8> {
    let side = |side: u32| u16::try_from(side).unwrap().to_be_bytes();
    [&side(picture.width())[..], &side(picture.height()), picture.as_raw()].concat()
}

/// Two drawn photos cut down to the card and what lies close around it, as they are and turned.
fn samples() -> Vec<Vec<u8>> {
    let mut samples = Vec::new();
    for name in ["typ-0001", "typ-0008"] {
        let path = format!("{}/tests/phantoms/{name}.jpg", env!("CARGO_MANIFEST_DIR"));
        let clean = photo::clean(&std::fs::read(path).unwrap(), &Limits::default()).unwrap();
        let whole = opened(clean.review());
        let picture = Picture::from_rendition(&clean.review().jpeg).unwrap();
        let corners =
            find_card(&picture, &issue(), middle(&picture), None).expect("the card is found").corners_px;
        let margin = 0.6 * (corners[0].x_px - corners[2].x_px).hypot(corners[0].y_px - corners[2].y_px);
        let span = |of: fn(&PxPoint) -> f64, longest: u32| {
            let low = corners.iter().map(of).fold(f64::INFINITY, f64::min) - margin;
            let high = corners.iter().map(of).fold(0.0, f64::max) + margin;
            let start = low.max(0.0) as u32;
            (start, (high as u32).min(longest) - start)
        };
        let ((x, width), (y, height)) =
            (span(|at| at.x_px, whole.width()), span(|at| at.y_px, whole.height()));
        let close = image::imageops::crop_imm(&whole, x, y, width, height).to_image();
        samples.extend([bytes_of(&close), bytes_of(&image::imageops::rotate90(&close))]);
    }
    samples
}

fn issue() -> CardIssue {
    CardIssue { ids: 0..=9, tag_edge_mm: TAG_EDGE_MM }
}

fn middle(picture: &Picture) -> PxPoint {
    PxPoint { x_px: picture.width() as f64 / 2.0, y_px: picture.height() as f64 / 2.0 }
}

fn look(bytes: &[u8]) -> Came {
    let Some(picture) = picture(bytes) else { return Came::Refused };
    let (width, height) = (picture.width() as f64, picture.height() as f64);
    let Ok(card) = find_card(&picture, &issue(), middle(&picture), None) else { return Came::Refused };
    assert!(issue().ids.contains(&card.tag_id), "{}", card.tag_id);
    for corner in card.corners_px {
        // A fitted edge may run a little over the picture's own.
        let inside =
            (-4.0..=width + 4.0).contains(&corner.x_px) && (-4.0..=height + 4.0).contains(&corner.y_px);
        assert!(inside, "{corner:?} in {width} × {height}");
    }
    let sure = card.tag_edge_px.is_finite() && card.misfit_px.is_finite() && card.edge_rise_mm.is_finite();
    assert!(sure && card.tag_edge_px > 0.0 && (0.0..90.0).contains(&card.tilt_deg), "{card:?}");
    assert!((card.tag_edge_mm() / TAG_EDGE_MM - 1.0).abs() < 0.2, "{} mm", card.tag_edge_mm());
    if let Some(grey) = card.grey_linear {
        assert!(grey.iter().all(|light| (0.0..=1.0).contains(light)), "{grey:?}");
    }
    Came::Taken
}

#[test]
fn scale_cards() {
    let samples = samples();
    assert!(!samples.is_empty(), "the card of the sample is found");
    let target =
        Target { name: "card", samples, pieces: &[], within: Duration::from_secs(10), most_kib: 128 * 1024 };
    target.run(look);
}
