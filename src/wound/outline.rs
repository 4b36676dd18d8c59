//! A traced edge: closed polygons in millimetres of skin, and what a ruler would find on them.

use serde::Deserialize;
use serde::Serialize;

use crate::photo::MmPoint;

/// The most points one ring keeps. A hand-drawn ring has some dozens, an automatic one some hundreds.
pub const MOST_POINTS: usize = 2_000;
/// The most pieces, and the most islands in one piece.
pub const MOST_RINGS: usize = 20;
/// No wound is farther from its card than this: the card must lie beside it.
pub const FARTHEST_MM: f64 = 1_000.0;

/// One piece of a wound: its edge, and the islands of skin in it. Points in order, the last joined to the first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Piece {
    pub edge: Vec<MmPoint>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub islands: Vec<Vec<MmPoint>>,
}

/// A traced edge on the skin plane.
///
/// Invariant: at least one piece; every ring has 3 to `MOST_POINTS` finite points, encloses some area and does not
/// cross itself. The largest piece comes first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Vec<Piece>", into = "Vec<Piece>")]
pub struct Outline(Vec<Piece>);

/// Why rings are no outline.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoOutline {
    #[error("an outline needs at least three points")]
    TooFewPoints,
    #[error("an outline may have at most {MOST_POINTS} points")]
    TooManyPoints,
    #[error("an outline may have at most {MOST_RINGS} pieces")]
    TooManyPieces,
    #[error("a point of the outline is not a place near the scale card")]
    NotAPlace,
    #[error("the outline crosses itself")]
    CrossesItself,
    #[error("the outline encloses nothing")]
    NoArea,
}

/// Longest length and the extent at right angles to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extent {
    /// Largest distance between two points of the edge, mm.
    pub length_mm: f64,
    /// Extent at right angles to the length, mm.
    pub width_mm: f64,
    /// The two ends of the length.
    pub ends: (MmPoint, MmPoint),
}

impl Outline {
    pub fn new(mut pieces: Vec<Piece>) -> Result<Outline, NoOutline> {
        if pieces.is_empty() {
            return Err(NoOutline::TooFewPoints);
        }
        if pieces.len() > MOST_RINGS || pieces.iter().any(|piece| piece.islands.len() > MOST_RINGS) {
            return Err(NoOutline::TooManyPieces);
        }
        for piece in &pieces {
            check_ring(&piece.edge)?;
            for island in &piece.islands {
                check_ring(island)?;
            }
        }
        pieces.sort_by(|a, b| ring_area_mm2(&b.edge).total_cmp(&ring_area_mm2(&a.edge)));
        Ok(Outline(pieces))
    }

    /// One ring without islands.
    pub fn of_ring(edge: Vec<MmPoint>) -> Result<Outline, NoOutline> {
        Outline::new(vec![Piece { edge, islands: Vec::new() }])
    }

    /// Largest first.
    pub fn pieces(&self) -> &[Piece] {
        &self.0
    }

    /// Area of all pieces without their islands, mm² (shoelace formula).
    pub fn area_mm2(&self) -> f64 {
        let net = |piece: &Piece| {
            ring_area_mm2(&piece.edge) - piece.islands.iter().map(|ring| ring_area_mm2(ring)).sum::<f64>()
        };
        self.0.iter().map(net).sum::<f64>().max(0.0)
    }

    /// Length of the outer edge of all pieces, mm; islands are left out.
    pub fn perimeter_mm(&self) -> f64 {
        self.0.iter().map(|piece| ring_length_mm(&piece.edge)).sum()
    }

    /// Longest length over all pieces and the extent at right angles to it.
    pub fn extent(&self) -> Extent {
        let points: Vec<MmPoint> = self.0.iter().flat_map(|piece| hull(&piece.edge)).collect();
        let points = hull(&points);
        let mut ends = (points[0], points[0]);
        let mut length_mm = 0.0;
        for (at, a) in points.iter().enumerate() {
            for b in &points[at + 1..] {
                let apart = a.distance_mm(*b);
                if apart > length_mm {
                    (length_mm, ends) = (apart, (*a, *b));
                }
            }
        }
        let across = [-(ends.1.y_mm - ends.0.y_mm) / length_mm, (ends.1.x_mm - ends.0.x_mm) / length_mm];
        let along = |point: &MmPoint| point.x_mm * across[0] + point.y_mm * across[1];
        let low = points.iter().map(along).fold(f64::INFINITY, f64::min);
        let high = points.iter().map(along).fold(f64::NEG_INFINITY, f64::max);
        Extent { length_mm, width_mm: high - low, ends }
    }

    /// The centre of area of the largest piece, islands ignored.
    pub fn middle(&self) -> MmPoint {
        let ring = &self.0[0].edge;
        let origin = ring[0];
        let (mut twice, mut x, mut y) = (0.0, 0.0, 0.0);
        for (a, b) in sides(ring) {
            // Relative to the first point: far from the card the products would swallow each other.
            let (ax, ay) = (a.x_mm - origin.x_mm, a.y_mm - origin.y_mm);
            let (bx, by) = (b.x_mm - origin.x_mm, b.y_mm - origin.y_mm);
            let cross = ax * by - bx * ay;
            twice += cross;
            x += (ax + bx) * cross;
            y += (ay + by) * cross;
        }
        MmPoint { x_mm: origin.x_mm + x / (3.0 * twice), y_mm: origin.y_mm + y / (3.0 * twice) }
    }

    /// Whether a place lies in one of the pieces and on none of their islands.
    pub fn holds(&self, at: MmPoint) -> bool {
        self.0.iter().any(|piece| {
            ring_holds(&piece.edge, at) && !piece.islands.iter().any(|island| ring_holds(island, at))
        })
    }

    /// Distance from a place to the nearest outer edge, mm; never negative.
    pub fn distance_to_edge_mm(&self, at: MmPoint) -> f64 {
        self.0
            .iter()
            .flat_map(|piece| sides(&piece.edge))
            .map(|(a, b)| distance_to_side_mm(at, a, b))
            .fold(f64::INFINITY, f64::min)
    }
}

impl TryFrom<Vec<Piece>> for Outline {
    type Error = NoOutline;

    fn try_from(pieces: Vec<Piece>) -> Result<Outline, NoOutline> {
        Outline::new(pieces)
    }
}

impl From<Outline> for Vec<Piece> {
    fn from(outline: Outline) -> Vec<Piece> {
        outline.0
    }
}

/// A ring's sides, the closing one too.
pub(in crate::wound) fn sides(ring: &[MmPoint]) -> impl Iterator<Item = (MmPoint, MmPoint)> + '_ {
    ring.iter().zip(ring.iter().cycle().skip(1)).map(|(a, b)| (*a, *b))
}

/// Area of a ring, mm², by the shoelace formula; either direction.
pub(in crate::wound) fn ring_area_mm2(ring: &[MmPoint]) -> f64 {
    let Some(origin) = ring.first() else { return 0.0 };
    let cross = |(a, b): (MmPoint, MmPoint)| {
        (a.x_mm - origin.x_mm) * (b.y_mm - origin.y_mm) - (b.x_mm - origin.x_mm) * (a.y_mm - origin.y_mm)
    };
    (sides(ring).map(cross).sum::<f64>() / 2.0).abs()
}

fn ring_length_mm(ring: &[MmPoint]) -> f64 {
    sides(ring).map(|(a, b)| a.distance_mm(b)).sum()
}

fn check_ring(ring: &[MmPoint]) -> Result<(), NoOutline> {
    if ring.len() > MOST_POINTS {
        return Err(NoOutline::TooManyPoints);
    }
    let is_place = |point: &MmPoint| point.x_mm.abs() <= FARTHEST_MM && point.y_mm.abs() <= FARTHEST_MM;
    if !ring.iter().all(is_place) {
        return Err(NoOutline::NotAPlace);
    }
    if ring.len() < 3 {
        return Err(NoOutline::TooFewPoints);
    }
    if crosses_itself(ring) {
        return Err(NoOutline::CrossesItself);
    }
    // A hundredth of a square millimetre is less than any wound, and less than one picture pixel.
    if ring_area_mm2(ring) < 0.01 {
        return Err(NoOutline::NoArea);
    }
    Ok(())
}

/// Two sides that are no neighbours and meet. Compares every pair whose spans overlap: at most two million for the
/// longest ring taken.
fn crosses_itself(ring: &[MmPoint]) -> bool {
    let all: Vec<(MmPoint, MmPoint)> = sides(ring).collect();
    let last = all.len() - 1;
    for (at, one) in all.iter().enumerate() {
        for (other_at, other) in all.iter().enumerate().skip(at + 2) {
            let neighbours = at == 0 && other_at == last;
            if !neighbours && overlap(one, other) && cross(one, other) {
                return true;
            }
        }
    }
    false
}

fn overlap(a: &(MmPoint, MmPoint), b: &(MmPoint, MmPoint)) -> bool {
    let apart = |a0: f64, a1: f64, b0: f64, b1: f64| a0.max(a1) < b0.min(b1) || b0.max(b1) < a0.min(a1);
    !apart(a.0.x_mm, a.1.x_mm, b.0.x_mm, b.1.x_mm) && !apart(a.0.y_mm, a.1.y_mm, b.0.y_mm, b.1.y_mm)
}

fn cross(a: &(MmPoint, MmPoint), b: &(MmPoint, MmPoint)) -> bool {
    let (b0, b1) = (turn(a.0, a.1, b.0), turn(a.0, a.1, b.1));
    let (a0, a1) = (turn(b.0, b.1, a.0), turn(b.0, b.1, a.1));
    b0 * b1 < 0.0 && a0 * a1 < 0.0
}

/// Positive when c lies to one side of the line from a to b, negative on the other.
fn turn(a: MmPoint, b: MmPoint, c: MmPoint) -> f64 {
    (b.x_mm - a.x_mm) * (c.y_mm - a.y_mm) - (b.y_mm - a.y_mm) * (c.x_mm - a.x_mm)
}

/// Convex hull (Andrew's monotone chain, 1979); at least one point.
fn hull(points: &[MmPoint]) -> Vec<MmPoint> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.x_mm.total_cmp(&b.x_mm).then(a.y_mm.total_cmp(&b.y_mm)));
    sorted.dedup();
    if sorted.len() < 3 {
        return sorted;
    }
    let half = |points: &mut dyn Iterator<Item = MmPoint>| {
        let mut chain: Vec<MmPoint> = Vec::new();
        for point in points {
            while chain.len() >= 2 && turn(chain[chain.len() - 2], chain[chain.len() - 1], point) <= 0.0 {
                chain.pop();
            }
            chain.push(point);
        }
        chain.pop();
        chain
    };
    let mut hull = half(&mut sorted.iter().copied());
    hull.extend(half(&mut sorted.iter().rev().copied()));
    hull
}

pub(in crate::wound) fn ring_holds(ring: &[MmPoint], at: MmPoint) -> bool {
    let mut inside = false;
    for (a, b) in sides(ring) {
        let straddles = (a.y_mm > at.y_mm) != (b.y_mm > at.y_mm);
        if straddles && at.x_mm < (b.x_mm - a.x_mm) * (at.y_mm - a.y_mm) / (b.y_mm - a.y_mm) + a.x_mm {
            inside = !inside;
        }
    }
    inside
}

fn distance_to_side_mm(at: MmPoint, a: MmPoint, b: MmPoint) -> f64 {
    let (dx, dy) = (b.x_mm - a.x_mm, b.y_mm - a.y_mm);
    let squared = dx * dx + dy * dy;
    let along =
        if squared > 0.0 { ((at.x_mm - a.x_mm) * dx + (at.y_mm - a.y_mm) * dy) / squared } else { 0.0 };
    let along = along.clamp(0.0, 1.0);
    at.distance_mm(MmPoint { x_mm: a.x_mm + along * dx, y_mm: a.y_mm + along * dy })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ring(points: &[[f64; 2]]) -> Vec<MmPoint> {
        points.iter().map(|point| MmPoint::from(*point)).collect()
    }

    fn outline(points: &[[f64; 2]]) -> Outline {
        Outline::of_ring(ring(points)).unwrap()
    }

    const HEXAGON: [[f64; 2]; 6] =
        [[10.0, 5.0], [32.0, 2.0], [45.0, 18.0], [39.0, 34.0], [21.0, 39.0], [6.0, 24.0]];

    /// Worked by hand: the terms of the shoelace formula written out (−1.40, 4.86, 8.28, 8.07, 2.70, −2.10 cm²).
    #[test]
    fn a_hexagon_has_the_area_and_extent_worked_by_hand() {
        let hexagon = outline(&HEXAGON);
        assert!((hexagon.area_mm2() - 1_020.5).abs() < 1e-9);
        assert!((hexagon.perimeter_mm() - 119.218).abs() < 0.001);
        let extent = hexagon.extent();
        assert!((extent.length_mm - 41.012).abs() < 0.001, "{extent:?}");
        assert!((extent.width_mm - 33.941).abs() < 0.001, "{extent:?}");
        let mut backwards = HEXAGON;
        backwards.reverse();
        assert!((outline(&backwards).area_mm2() - 1_020.5).abs() < 1e-9);
    }

    #[test]
    fn a_rectangles_length_is_its_diagonal() {
        let rectangle = outline(&[[0.0, 0.0], [40.0, 0.0], [40.0, 20.0], [0.0, 20.0]]);
        assert_eq!((rectangle.area_mm2(), rectangle.perimeter_mm()), (800.0, 120.0));
        let extent = rectangle.extent();
        assert!((extent.length_mm - 44.721).abs() < 0.001);
        assert!((extent.width_mm - 35.777).abs() < 0.001);
        assert_eq!(rectangle.middle(), MmPoint { x_mm: 20.0, y_mm: 10.0 });
    }

    #[test]
    fn a_corner_cut_out_is_not_counted() {
        let l_shape =
            outline(&[[0.0, 0.0], [30.0, 0.0], [30.0, 10.0], [10.0, 10.0], [10.0, 30.0], [0.0, 30.0]]);
        assert_eq!(l_shape.area_mm2(), 500.0);
        assert!(l_shape.holds(MmPoint { x_mm: 5.0, y_mm: 25.0 }));
        assert!(!l_shape.holds(MmPoint { x_mm: 25.0, y_mm: 25.0 }));
        assert!((l_shape.distance_to_edge_mm(MmPoint { x_mm: 25.0, y_mm: 25.0 }) - 15.0).abs() < 1e-9);
    }

    #[test]
    fn islands_are_taken_off_and_pieces_are_added() {
        let square = |x: f64, edge: f64| ring(&[[x, 0.0], [x + edge, 0.0], [x + edge, edge], [x, edge]]);
        let island = ring(&[[2.0, 2.0], [4.0, 2.0], [4.0, 4.0], [2.0, 4.0]]);
        let small = Piece { edge: square(30.0, 5.0), islands: Vec::new() };
        let large = Piece { edge: square(0.0, 10.0), islands: vec![island] };
        let both = Outline::new(vec![small, large.clone()]).unwrap();
        assert_eq!(both.area_mm2(), 100.0 - 4.0 + 25.0);
        assert_eq!(both.perimeter_mm(), 60.0);
        assert_eq!(both.pieces()[0], large);
        assert!(!both.holds(MmPoint { x_mm: 3.0, y_mm: 3.0 }));
    }

    #[test]
    fn what_is_no_outline_is_refused_with_its_reason() {
        let refused = |points: &[[f64; 2]]| Outline::of_ring(ring(points)).unwrap_err();
        assert_eq!(refused(&[]), NoOutline::TooFewPoints);
        assert_eq!(refused(&[[0.0, 0.0], [1.0, 1.0]]), NoOutline::TooFewPoints);
        assert_eq!(refused(&[[0.0, 0.0], [9.0, 9.0], [9.0, 0.0], [0.0, 8.0]]), NoOutline::CrossesItself);
        assert_eq!(refused(&[[0.0, 0.0], [9.0, 0.0], [18.0, 0.0]]), NoOutline::NoArea);
        assert_eq!(refused(&[[0.0, 0.0], [f64::NAN, 0.0], [1.0, 9.0]]), NoOutline::NotAPlace);
        assert_eq!(refused(&[[0.0, 0.0], [1_000.1, 0.0], [1.0, 9.0]]), NoOutline::NotAPlace);
        assert!(Outline::of_ring(ring(&[[0.0, 0.0], [1_000.0, 0.0], [1.0, 9.0]])).is_ok());
        assert_eq!(Outline::new(Vec::new()), Err(NoOutline::TooFewPoints));
        let round = |count: usize| {
            let at = |step: usize| std::f64::consts::TAU * step as f64 / count as f64;
            ring(&(0..count).map(|step| [30.0 * at(step).cos(), 30.0 * at(step).sin()]).collect::<Vec<_>>())
        };
        assert!(Outline::of_ring(round(MOST_POINTS)).is_ok());
        assert_eq!(Outline::of_ring(round(MOST_POINTS + 1)), Err(NoOutline::TooManyPoints));
        let piece = Piece { edge: ring(&HEXAGON), islands: Vec::new() };
        assert_eq!(Outline::new(vec![piece; MOST_RINGS + 1]), Err(NoOutline::TooManyPieces));
    }

    #[test]
    fn an_outline_reads_back_from_what_is_kept() {
        let kept = serde_json::to_string(&outline(&HEXAGON)).unwrap();
        assert_eq!(serde_json::from_str::<Outline>(&kept).unwrap(), outline(&HEXAGON));
        assert!(serde_json::from_str::<Outline>(r#"[{"edge":[[0,0],[1,1]]}]"#).is_err());
    }

    proptest! {
        #[test]
        fn area_scales_with_the_square_of_the_scale(factor in 0.1..20.0f64) {
            let larger = HEXAGON.map(|[x, y]| [x * factor, y * factor]);
            let grown = outline(&larger);
            prop_assert!((grown.area_mm2() / (1_020.5 * factor * factor) - 1.0).abs() < 1e-9);
            prop_assert!((grown.extent().length_mm / (outline(&HEXAGON).extent().length_mm * factor) - 1.0).abs() < 1e-9);
        }

        #[test]
        fn turning_changes_no_figure(degrees in 0.0..360.0f64, x in -500.0..500.0f64) {
            let (sin, cos) = degrees.to_radians().sin_cos();
            let turned = outline(&HEXAGON.map(|[a, b]| [a * cos - b * sin + x, a * sin + b * cos]));
            let (before, after) = (outline(&HEXAGON).extent(), turned.extent());
            prop_assert!((turned.area_mm2() - 1_020.5).abs() < 1e-6);
            prop_assert!((before.length_mm - after.length_mm).abs() < 1e-6);
            prop_assert!((before.width_mm - after.width_mm).abs() < 1e-6);
        }

        #[test]
        fn any_points_give_an_outline_or_a_reason(points in proptest::collection::vec(proptest::array::uniform2(proptest::num::f64::ANY), 0..30)) {
            if let Ok(outline) = Outline::of_ring(ring(&points)) {
                prop_assert!(outline.area_mm2() > 0.0);
                prop_assert!(outline.extent().length_mm.is_finite() && outline.middle().x_mm.is_finite());
            }
        }
    }
}
