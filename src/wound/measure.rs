//! From a picture and a tapped place to a measurement, or to the reason why there is none.

use crate::photo::CardIssue;
use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::photo::ScaleCard;
use crate::photo::SkinPlane;
use crate::wound::Because;
use crate::wound::Measurement;
use crate::wound::Outline;
use crate::wound::Piece;
use crate::wound::Probed;
use crate::wound::contour;
use crate::wound::fine;
use crate::wound::segment;
use crate::wound::segment::Colours;
use crate::wound::tint;
use crate::wound::tint::SkinTint;
use crate::wound::view::View;

/// What is known of a picture besides its pixels.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// The middle of the wound as the patient tapped it. `None`: nobody tapped, the middle of the picture is taken.
    pub tap: Option<PxPoint>,
    pub issue: CardIssue,
    /// Focal length as if on 35 mm film, mm. `None` when the file did not say.
    pub focal_35mm: Option<f64>,
}

/// What a person drew and typed.
#[derive(Clone, Debug, PartialEq)]
pub struct HandDrawn {
    pub wound: Outline,
    /// Outer edge of the redness; `None`: not drawn. An edge no farther than the wound's own says "no redness".
    pub redness_edge: Option<Vec<MmPoint>>,
    pub probed: Probed,
}

/// Measures a wound on the review rendition. Never panics; what it cannot say it gives a reason for.
pub fn measure(picture: &Picture, asked: &Asked) -> Measurement {
    let _ = (picture, asked);
    Measurement::refused(vec![Because::Failed])
}

/// The figures of an outline a person drew on a picture with a readable card.
pub fn measure_by_hand(picture: &Picture, card: &ScaleCard, drawn: HandDrawn) -> Measurement {
    let _ = (picture, card, drawn);
    Measurement::refused(vec![Because::Failed])
}

pub struct Trial {
    pub outline: Option<Outline>,
    pub areas: Vec<(f32, f32, f32, f32)>,
    pub ms: [f64; 4],
    pub red: Option<Vec<MmPoint>>,
}

pub fn trial(picture: &Picture, plane: &SkinPlane, tap: MmPoint, card: [MmPoint; 4]) -> Trial {
    let t0 = std::time::Instant::now();
    let covers = |at: MmPoint| crate::wound::outline::ring_holds(&card, at);
    let base = View::flat(picture, plane, tap, 110.0, 3.0, covers);
    let t1 = std::time::Instant::now();
    let coarse = base.halved();
    let tints = tint::tints(&coarse);
    let ring: Vec<_> = (0..tints.len())
        .filter(|at| {
            coarse.skin[*at] && {
                let (x, y) = (
                    (at % coarse.width) as f32 - coarse.width as f32 / 2.0,
                    (at / coarse.width) as f32 - coarse.height as f32 / 2.0,
                );
                let far = x.hypot(y) / coarse.px_per_mm;
                far > 15.0 && far < 75.0
            }
        })
        .map(|at| tints[at])
        .collect();
    let skin = SkinTint::of(&ring);
    let coarse = match &skin {
        Some(skin) => {
            let ink = crate::wound::pen::pen(&coarse, &tints, skin);
            crate::wound::pen::without(&coarse, &ink)
        }
        None => coarse,
    };
    let colours = Colours::of(&coarse, skin);
    let (x, y) = coarse.px_of(tap);
    let at = (x.round() as usize, y.round() as usize);
    let found = segment::candidates(&coarse, &colours, at, 60.0);
    let t2 = std::time::Instant::now();
    let per2 = coarse.px_per_mm * coarse.px_per_mm;
    let areas = found.iter().map(|c| (c.mask.count() as f32 / per2, c.skin_share, c.step, c.score)).collect();
    let fine = found.first().and_then(|best| fine::look(picture, plane, &coarse, &best.mask, skin, covers));
    let outline = fine.and_then(|fine| {
        let line = fine
            .lines
            .iter()
            .max_by(|a, b| contour::twice_area(a).abs().total_cmp(&contour::twice_area(b).abs()))?;
        let ring: Vec<MmPoint> = line.iter().map(|p| fine.view.mm_of(p[0], p[1])).collect();
        let mode = std::env::var("SNAP").ok().and_then(|s| s.parse().ok()).unwrap_or(2);
        let ring = crate::wound::snap::snapped(picture, plane, &ring, mode);
        Outline::new(vec![Piece { edge: ring, islands: vec![] }]).ok()
    });
    let t3 = std::time::Instant::now();
    Trial {
        outline,
        areas,
        ms: [
            (t1 - t0).as_secs_f64() * 1e3,
            (t2 - t1).as_secs_f64() * 1e3,
            (t3 - t2).as_secs_f64() * 1e3,
            0.0,
        ],
        red: None,
    }
}
