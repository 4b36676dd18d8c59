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
use crate::photo_samples::sample;

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

/// A painted photo with its card, at two sizes, and turned.
fn samples() -> Vec<Vec<u8>> {
    let clean = photo::clean(&sample("drawn-sharp.jpg"), &Limits::default()).unwrap();
    let whole = opened(clean.review());
    let half = image::imageops::thumbnail(&whole, whole.width() / 2, whole.height() / 2);
    let mut samples = vec![bytes_of(&half), bytes_of(&image::imageops::rotate90(&half))];
    samples.retain(|bytes| look(bytes) == Came::Taken);
    samples
}

fn look(bytes: &[u8]) -> Came {
    let Some(picture) = picture(bytes) else { return Came::Refused };
    let (width, height) = (picture.width() as f64, picture.height() as f64);
    let issue = CardIssue { ids: 0..=9, tag_edge_mm: TAG_EDGE_MM };
    let middle = PxPoint { x_px: width / 2.0, y_px: height / 2.0 };
    let Ok(card) = find_card(&picture, &issue, middle, None) else { return Came::Refused };
    assert!(issue.ids.contains(&card.tag_id), "{}", card.tag_id);
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
