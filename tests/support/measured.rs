//! Invented measurements: what a photo of known scale would be found to say.

use std::sync::Arc;

use closewatch::care::measuring;
use closewatch::care::measuring::Method;
use closewatch::ids::PhotoId;
use closewatch::ids::WoundCheckId;
use closewatch::jobs;
use closewatch::jobs::measuring::Tally;
use closewatch::photo::MmPoint;
use closewatch::photo::PxPoint;
use closewatch::photo::ScaleCard;
use closewatch::photo::SkinPlane;
use closewatch::store::photos;
use closewatch::wound::Because;
use closewatch::wound::Bed;
use closewatch::wound::Figure;
use closewatch::wound::Measurement;
use closewatch::wound::Outline;
use closewatch::wound::Redness;
use closewatch::wound::RednessReach;
use closewatch::wound::Size;
use closewatch::wound::Standing;

use super::Practice;

/// The plane of a photo of 1600 × 1200 px taken straight from above: ten px a millimetre, the card in the middle.
pub fn plane() -> SkinPlane {
    SkinPlane::from_px_to_mm([[0.1, 0.0, -80.0], [0.0, 0.1, -60.0], [0.0, 0.0, 1.0]]).unwrap()
}

/// A card of 20 mm at the left of that photo.
pub fn card() -> ScaleCard {
    let corner = |x_px, y_px| PxPoint { x_px, y_px };
    ScaleCard {
        tag_id: 0,
        corners_px: [corner(100.0, 100.0), corner(300.0, 100.0), corner(300.0, 300.0), corner(100.0, 300.0)],
        plane: plane(),
        tilt_deg: 0.0,
        tag_edge_px: 200.0,
        misfit_px: 0.1,
        edge_rise_mm: 0.3,
        grey_linear: Some([0.18; 3]),
        burnt_out: false,
    }
}

fn square(half_mm: f64) -> Vec<MmPoint> {
    [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]
        .map(|[x, y]| MmPoint { x_mm: half_mm * x, y_mm: half_mm * y })
        .to_vec()
}

/// A square wound of this edge in the middle of the photo, red to `reach_mm` beyond it.
pub fn square_wound(edge_mm: f64, reach_mm: f64) -> Measurement {
    let near = |value: f64| Figure::new(value, value * 0.95, value * 1.05);
    let diagonal = edge_mm * 2.0_f64.sqrt();
    Measurement {
        standing: Standing::Ok,
        because: Vec::new(),
        card: Some(card()),
        plane: Some(plane()),
        outline: Some(Outline::of_ring(square(edge_mm / 2.0)).unwrap()),
        size: Some(Size {
            area_mm2: near(edge_mm * edge_mm),
            perimeter_mm: near(4.0 * edge_mm),
            length_mm: near(diagonal),
            width_mm: near(diagonal),
        }),
        redness: Redness::Reach(RednessReach {
            p95_mm: near(reach_mm),
            max_mm: near(reach_mm + 2.0),
            by_clock_mm: [Some(reach_mm); 12],
            edge: square(edge_mm / 2.0 + reach_mm),
            contrast_to_noise: 4.0,
        }),
        bed: Some(Bed { granulation: near(0.7), yellow: near(0.2), dark: near(0.1) }),
        ita_deg: Some(35.0),
        ..Measurement::refused(Vec::new())
    }
}

/// A measurement that found this to stand in its way.
pub fn not_measured(because: Because) -> Measurement {
    Measurement::refused(vec![because])
}

impl Practice {
    /// Measures every photo that waits, and finds the same in each.
    pub async fn finds(&self, found: Measurement) -> Tally {
        let method =
            Method { measure: Arc::new(move |_, _| found.clone()), time_limit: measuring::TIME_LIMIT };
        jobs::measuring::until_idle(self.desk(), &method, &|| self.moment(), 2).await.unwrap()
    }

    /// The first photo of a check.
    pub async fn photo_of(&self, check: WoundCheckId) -> PhotoId {
        photos::of_check(&mut *self.books().await, self.id, check).await.unwrap()[0].id
    }
}
