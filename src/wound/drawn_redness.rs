//! How far a redness edge reaches that a person drew.

use crate::photo::MmPoint;
use crate::photo::SkinPlane;
use crate::wound::Figure;
use crate::wound::Outline;
use crate::wound::Redness;
use crate::wound::RednessReach;
use crate::wound::clock::Clock;
use crate::wound::redness::quantile;
use crate::wound::snap;

/// Standard deviation of a redness edge drawn by hand, mm (assumed).
const HAND_SPREAD_MM: f64 = 1.0;

/// Reach of a redness edge a person drew.
pub(in crate::wound) fn reach(outline: &Outline, plane: &SkinPlane, ring: Vec<MmPoint>) -> Redness {
    let ring = snap::even(&ring, 1.0);
    let middle = outline.middle();
    let clock = Clock::around(plane, middle);
    let far = |at: &MmPoint| if outline.holds(*at) { 0.0 } else { outline.distance_to_edge_mm(*at) };
    let mut far_each: Vec<f32> = ring.iter().map(|at| far(at) as f32).collect();
    let mut by_clock_mm: [Option<f64>; 12] = [None; 12];
    for at in &ring {
        let hour = clock.hour(at.x_mm - middle.x_mm, at.y_mm - middle.y_mm);
        let most = by_clock_mm[hour].unwrap_or(0.0).max(far(at));
        by_clock_mm[hour] = Some(most);
    }
    if far_each.is_empty() {
        far_each.push(0.0);
    }
    let figure = |value: f32| {
        let value = f64::from(value);
        Figure::new(value, (value - 1.96 * HAND_SPREAD_MM).max(0.0), value + 1.96 * HAND_SPREAD_MM)
    };
    Redness::Reach(RednessReach {
        p95_mm: figure(quantile(far_each.clone(), 0.95)),
        max_mm: figure(quantile(far_each, 1.0)),
        by_clock_mm,
        edge: ring,
        contrast_to_noise: 0.0,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(radius_mm: f64, x_mm: f64) -> Vec<MmPoint> {
        let at = |degree: usize| (degree as f64).to_radians();
        (0..360)
            .map(|degree| MmPoint {
                x_mm: x_mm + radius_mm * at(degree).cos(),
                y_mm: radius_mm * at(degree).sin(),
            })
            .collect()
    }

    fn reached(ring: Vec<MmPoint>) -> RednessReach {
        let wound = Outline::of_ring(circle(10.0, 0.0)).unwrap();
        let plane =
            SkinPlane::from_px_to_mm([[0.2, 0.0, -50.0], [0.0, 0.2, -50.0], [0.0, 0.0, 1.0]]).unwrap();
        match reach(&wound, &plane, ring) {
            Redness::Reach(reach) => reach,
            Redness::CannotTell | Redness::NoContrast { .. } | Redness::NotGiven { .. } => {
                panic!("a drawn edge reaches")
            }
        }
    }

    #[test]
    fn an_even_ring_reaches_as_far_all_around() {
        let found = reached(circle(25.0, 0.0));
        assert!((found.p95_mm.value - 15.0).abs() < 0.05 && (found.max_mm.value - 15.0).abs() < 0.05);
        assert!(found.by_clock_mm.iter().all(|reach| (reach.unwrap() - 15.0).abs() < 0.1));
        assert!(found.p95_mm.low < 15.0 && found.p95_mm.high > 15.0);
    }

    #[test]
    fn a_ring_to_the_right_reaches_farthest_at_three_oclock() {
        let found = reached(circle(25.0, 8.0));
        assert!((found.by_clock_mm[3].unwrap() - 23.0).abs() < 0.2, "{:?}", found.by_clock_mm);
        assert!((found.by_clock_mm[9].unwrap() - 7.0).abs() < 0.4, "{:?}", found.by_clock_mm);
    }

    #[test]
    fn an_edge_on_the_wounds_own_says_no_redness() {
        let found = reached(circle(10.0, 0.0));
        assert!(found.max_mm.value < 0.05, "{found:?}");
        assert_eq!(reached(Vec::new()).max_mm.value, 0.0);
    }
}
