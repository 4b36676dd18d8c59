//! How much a figure would change if the same photo were measured again: other taps, other corners, another edge.

use crate::photo::Matrix;
use crate::photo::MmPoint;
use crate::photo::PxPoint;
use crate::photo::ScaleCard;
use crate::photo::SkinPlane;
use crate::wound::Figure;
use crate::wound::Outline;
use crate::wound::Piece;
use crate::wound::Size;

/// 19 of 20 repetitions of a normally spread value lie within this many standard deviations.
const NINETEEN_OF_TWENTY: f64 = 1.96;
/// A corner of the marker is off by at least this, standard deviation in px (drawn pictures: 0.06).
const CORNER_PX: f64 = 0.06;
/// The edge lies off by this, standard deviation in mm, all around together; plus the share of the blur below.
const EDGE_MM: f64 = 0.12;
const EDGE_OF_BLUR: f64 = 0.25;
/// Scale of a card whose paper is burnt out, 95 % of area (own measurement on drawn pictures: up to 4.3 %).
const BURNT_OUT_AREA: f64 = 0.05;

/// A card lies this far off the skin's plane, standard deviation in radians (4°, own choice: a dressing's edge, a limb).
/// Seen aslant, that much turn changes the area by its product with the tangent of the tilt.
const LIES_OFF_RAD: f64 = 0.07;

/// What is not certain about one measurement.
pub(in crate::wound) struct Doubt {
    /// Areas of the edge as other first guesses found it, as shares of the chosen one's.
    pub(in crate::wound) other_areas: Vec<f64>,
    /// Standard deviation of a person's or the program's edge all around, mm.
    pub(in crate::wound) edge_mm: f64,
}

impl Doubt {
    pub(in crate::wound) fn automatic(card: &ScaleCard, areas_mm2: Vec<f64>, chosen_mm2: f64) -> Doubt {
        let other_areas = areas_mm2.iter().map(|area| area / chosen_mm2).collect();
        Doubt { other_areas, edge_mm: EDGE_MM + EDGE_OF_BLUR * card.edge_rise_mm }
    }
}

/// The size of an outline with its intervals.
pub(in crate::wound) fn size(outline: &Outline, card: &ScaleCard, doubt: &Doubt) -> Size {
    let (area, perimeter) = (outline.area_mm2(), outline.perimeter_mm());
    let extent = outline.extent();
    let scale = scale_spread(outline, card);
    let taps = spread(&doubt.other_areas);
    let edge = doubt.edge_mm * perimeter / area;
    let area_share = scale.area.hypot(taps).hypot(edge);
    // Two edges move, each by itself.
    let across = |length: f64, scale: f64| {
        scale.hypot(std::f64::consts::SQRT_2 * doubt.edge_mm / length).hypot(taps / 2.0)
    };
    Size {
        area_mm2: within(area, area_share),
        perimeter_mm: within(
            perimeter,
            scale.length.hypot(taps / 2.0).hypot(std::f64::consts::TAU * doubt.edge_mm / perimeter),
        ),
        length_mm: within(extent.length_mm, across(extent.length_mm, scale.length)),
        width_mm: within(extent.width_mm, across(extent.width_mm, scale.length)),
    }
}

/// A figure within 1.96 times its relative standard deviation.
pub(in crate::wound) fn within(value: f64, share: f64) -> Figure {
    let half = NINETEEN_OF_TWENTY * share * value;
    Figure::new(value, (value - half).max(0.0), value + half)
}

/// Relative standard deviation of areas that all mean the same edge.
fn spread(areas: &[f64]) -> f64 {
    let near: Vec<f64> = areas.iter().map(|area| area - 1.0).filter(|off| off.abs() < 0.35).collect();
    let count = near.len().max(1) as f64;
    (near.iter().map(|off| off * off).sum::<f64>() / count).sqrt()
}

struct ScaleSpread {
    area: f64,
    length: f64,
}

/// What moving each corner of the marker by its uncertainty does to the outline's figures.
fn scale_spread(outline: &Outline, card: &ScaleCard) -> ScaleSpread {
    let tag_edge_mm = card.tag_edge_mm();
    let corner_px = CORNER_PX.hypot(card.misfit_px);
    let (area, length) = (outline.area_mm2(), outline.extent().length_mm);
    let mut squares = (0.0, 0.0);
    for corner in 0..4 {
        for axis in 0..2 {
            let mut corners = card.corners_px;
            let moved = &mut corners[corner];
            if axis == 0 {
                moved.x_px += corner_px
            } else {
                moved.y_px += corner_px
            }
            let before = square_plane(&card.corners_px, tag_edge_mm);
            let Some(other) =
                before.and_then(|before| seen_by(outline, &before, &square_plane(&corners, tag_edge_mm)?))
            else {
                continue;
            };
            squares.0 += (other.area_mm2() / area - 1.0).powi(2);
            squares.1 += (other.extent().length_mm / length - 1.0).powi(2);
        }
    }
    let burnt_out = if card.burnt_out { BURNT_OUT_AREA / NINETEEN_OF_TWENTY } else { 0.0 };
    let lies_off = LIES_OFF_RAD * card.tilt_deg.clamp(0.0, 60.0).to_radians().tan();
    ScaleSpread {
        area: squares.0.sqrt().hypot(burnt_out).hypot(lies_off),
        length: squares.1.sqrt().hypot(burnt_out / 2.0).hypot(lies_off),
    }
}

/// The outline as another plane would have placed the same pixels.
fn seen_by(outline: &Outline, plane: &SkinPlane, other: &SkinPlane) -> Option<Outline> {
    let ring = |ring: &Vec<MmPoint>| {
        ring.iter().step_by(1 + ring.len() / 200).map(|at| other.to_mm(plane.to_px(*at))).collect()
    };
    let pieces = outline
        .pieces()
        .iter()
        .map(|piece| Piece { edge: ring(&piece.edge), islands: piece.islands.iter().map(ring).collect() })
        .collect();
    Outline::new(pieces).ok()
}

/// The plane of a square seen at four corners (Heckbert 1989, Fundamentals of Texture Mapping and Image Warping, 2.2.3).
fn square_plane(corners: &[PxPoint; 4], edge_mm: f64) -> Option<SkinPlane> {
    let [a, b, c, d] = corners.map(|corner| (corner.x_px, corner.y_px));
    let (dx1, dx2, sx) = (b.0 - c.0, d.0 - c.0, a.0 - b.0 + c.0 - d.0);
    let (dy1, dy2, sy) = (b.1 - c.1, d.1 - c.1, a.1 - b.1 + c.1 - d.1);
    let determinant = dx1 * dy2 - dx2 * dy1;
    let (g, h) = ((sx * dy2 - dx2 * sy) / determinant, (dx1 * sy - sx * dy1) / determinant);
    let unit: Matrix = [
        [b.0 - a.0 + g * b.0, d.0 - a.0 + h * d.0, a.0],
        [b.1 - a.1 + g * b.1, d.1 - a.1 + h * d.1, a.1],
        [g, h, 1.0],
    ];
    // From mm round the middle to the unit square.
    let half = 0.5;
    let from_mm =
        |row: [f64; 3]| [row[0] / edge_mm, row[1] / edge_mm, row[0] * half + row[1] * half + row[2]];
    SkinPlane::from_mm_to_px(unit.map(from_mm)).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_square_seen_at_its_corners_is_a_square() {
        let at = |x_px: f64, y_px: f64| PxPoint { x_px, y_px };
        let corners = [at(100.0, 120.0), at(210.0, 110.0), at(220.0, 230.0), at(95.0, 215.0)];
        let plane = square_plane(&corners, 20.0).unwrap();
        let expected = [(-10.0, -10.0), (10.0, -10.0), (10.0, 10.0), (-10.0, 10.0)];
        for (corner, (x_mm, y_mm)) in corners.into_iter().zip(expected) {
            assert!(plane.to_mm(corner).distance_mm(MmPoint { x_mm, y_mm }) < 1e-9);
        }
    }
}
