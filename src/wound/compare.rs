//! This photo and an earlier one, turned and scaled to the same millimetres around the wound.

use crate::photo::Matrix;
use crate::photo::MmPoint;
use crate::photo::PxPoint;
use crate::photo::SkinPlane;
use crate::wound::Measurement;
use crate::wound::Redness;
use crate::wound::course::Change;
use crate::wound::course::Surface;
use crate::wound::course::area_change;
use crate::wound::course::length_change;
use crate::wound::course::reach_change;
use crate::wound::overlap::Cells;
use crate::wound::overlap::Turn;
use crate::wound::overlap::best_turn;

/// Skin shown beyond the wounds and the redness, mm (ours).
const AROUND_MM: f64 = 12.0;
/// The frame's side, mm: not so small that a pixel grows to a tile, not so large that the wound is lost.
const SIDE_MM: std::ops::RangeInclusive<f64> = 40.0..=240.0;
/// Two photos in one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct SideBySide {
    /// Side of the square frame, mm; the wounds' middles lie in its middle.
    pub side_mm: f64,
    pub now: Warp,
    pub before: Warp,
    /// How far the earlier photo is turned against this one beyond what their upright sides say, degrees, −180 to 180.
    pub turned_deg: f64,
    /// Overlap of the outlines, grown to the same area, over what both cover together: 0–1. Low: they may not be the same
    /// wound.
    pub overlap: f64,
    /// The earlier wound's edges, each a ring in this photo, px.
    pub wound_before_px: Vec<Vec<PxPoint>>,
    /// The earlier redness edge in this photo, px; empty when it had none.
    pub redness_before_px: Vec<PxPoint>,
    /// `None` where the figures do not count, or come from different families.
    pub differences: Option<Differences>,
}

/// How one picture is laid into the frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Warp {
    /// From px of the review rendition to mm in the frame, homogeneous; (0, 0) is the frame's top left corner. Scaled so that
    /// the third coordinate is 1 at the wound's middle.
    pub frame_mm_from_px: Matrix,
}

/// What has changed between two photos.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Differences {
    pub area_mm2: Change,
    pub length_mm: Change,
    pub width_mm: Change,
    /// `None` unless both have a reach.
    pub redness_reach_mm: Option<Change>,
}

impl Warp {
    /// The CSS transform that lays the picture, shown at the review rendition's own size with its origin at the top left,
    /// into a frame of `css_px_per_mm`.
    pub fn css(&self, css_px_per_mm: f64) -> String {
        let [[a, b, c], [d, e, f], [g, h, i]] = self.frame_mm_from_px;
        let s = css_px_per_mm;
        let columns = [a * s, d * s, 0.0, g, b * s, e * s, 0.0, h, 0.0, 0.0, 1.0, 0.0, c * s, f * s, 0.0, i];
        format!("matrix3d({})", columns.map(|cell| format!("{cell:.9}")).join(","))
    }

    /// Where a place of the picture lies in the frame, mm.
    pub fn to_frame(&self, at: PxPoint) -> MmPoint {
        let [u, v, w] = self.frame_mm_from_px.map(|row| row[0] * at.x_px + row[1] * at.y_px + row[2]);
        MmPoint { x_mm: u / w, y_mm: v / w }
    }
}

/// Lays an earlier photo beside this one. `None` unless both have a plane and an outline.
pub fn side_by_side(now: &Measurement, before: &Measurement, surface: Surface) -> Option<SideBySide> {
    let (plane_now, outline_now) = (now.plane.as_ref()?, now.outline.as_ref()?);
    let (plane_before, outline_before) = (before.plane.as_ref()?, before.outline.as_ref()?);
    let (middle_now, middle_before) = (outline_now.middle(), outline_before.middle());
    let upright_now = upright_rad(plane_now, middle_now)?;
    let upright_before = upright_rad(plane_before, middle_before)?;
    let fit = best_turn(
        &Cells::of(outline_now, &Turn { about: middle_now, by_rad: upright_now }),
        &Cells::of(outline_before, &Turn { about: middle_before, by_rad: upright_before }),
    );
    let turn_now = Turn { about: middle_now, by_rad: upright_now };
    let turn_before = Turn { about: middle_before, by_rad: upright_before + fit.turned_deg.to_radians() };
    let side_mm = side_mm([(now, &turn_now), (before, &turn_before)]);
    let to_px_now = |at: &MmPoint| plane_now.to_px(turn_now.undone(turn_before.applied(*at)));
    let ring = |ring: &[MmPoint]| ring.iter().map(to_px_now).collect::<Vec<PxPoint>>();
    Some(SideBySide {
        side_mm,
        now: warp(plane_now, &turn_now, side_mm)?,
        before: warp(plane_before, &turn_before, side_mm)?,
        turned_deg: fit.turned_deg,
        overlap: fit.overlap,
        wound_before_px: outline_before.pieces().iter().map(|piece| ring(&piece.edge)).collect(),
        redness_before_px: ring(redness_edge(before)),
        differences: differences(now, before, surface),
    })
}

/// What has changed; `None` where the figures do not count, or come from different families.
pub fn differences(now: &Measurement, before: &Measurement, surface: Surface) -> Option<Differences> {
    if now.family != before.family {
        return None;
    }
    let (size_now, size_before) = (now.counted_size()?, before.counted_size()?);
    let reach = |of: &Measurement| match &of.redness {
        Redness::Reach(reach) => Some(reach.p95_mm),
        Redness::CannotTell | Redness::NoContrast { .. } | Redness::NotGiven { .. } => None,
    };
    Some(Differences {
        area_mm2: area_change(&size_before.area_mm2, &size_now.area_mm2, surface),
        length_mm: length_change(&size_before.length_mm, &size_now.length_mm, surface),
        width_mm: length_change(&size_before.width_mm, &size_now.width_mm, surface),
        redness_reach_mm: reach(before).zip(reach(now)).map(|(before, now)| reach_change(&before, &now)),
    })
}

/// A turn as a matrix, with (0, 0) moved to the middle of the frame.
fn matrix(turn: &Turn, side_mm: f64) -> Matrix {
    let (sin, cos) = turn.by_rad.sin_cos();
    let MmPoint { x_mm, y_mm } = turn.about;
    let half = side_mm / 2.0;
    [[cos, -sin, half - cos * x_mm + sin * y_mm], [sin, cos, half - sin * x_mm - cos * y_mm], [0.0, 0.0, 1.0]]
}

/// The turn that makes the picture's own right run to the right, at the wound, radians. `None` where the plane is seen
/// from its edge.
fn upright_rad(plane: &SkinPlane, middle: MmPoint) -> Option<f64> {
    let at = plane.to_px(middle);
    let right = plane.to_mm(PxPoint { x_px: at.x_px + 1.0, ..at });
    let rad = -(right.y_mm - middle.y_mm).atan2(right.x_mm - middle.x_mm);
    (at.x_px.is_finite() && at.y_px.is_finite() && rad.is_finite()).then_some(rad)
}

/// `None` where the wound's middle lies on the horizon.
fn warp(plane: &SkinPlane, turn: &Turn, side_mm: f64) -> Option<Warp> {
    let matrix = product(&matrix(turn, side_mm), plane.px_to_mm_matrix());
    let middle = plane.to_px(turn.about);
    let w = matrix[2][0] * middle.x_px + matrix[2][1] * middle.y_px + matrix[2][2];
    let frame_mm_from_px = matrix.map(|row| row.map(|cell| cell / w));
    frame_mm_from_px.as_flattened().iter().all(|cell| cell.is_finite()).then_some(Warp { frame_mm_from_px })
}

fn product(one: &Matrix, other: &Matrix) -> Matrix {
    std::array::from_fn(|row| {
        std::array::from_fn(|column| (0..3).map(|at| one[row][at] * other[at][column]).sum())
    })
}

fn redness_edge(of: &Measurement) -> &[MmPoint] {
    match &of.redness {
        Redness::Reach(reach) => &reach.edge,
        Redness::CannotTell | Redness::NoContrast { .. } | Redness::NotGiven { .. } => &[],
    }
}

fn side_mm(both: [(&Measurement, &Turn); 2]) -> f64 {
    let farthest = |(of, turn): (&Measurement, &Turn)| {
        let pieces = of.outline.iter().flat_map(|outline| outline.pieces());
        let points = pieces.flat_map(|piece| &piece.edge).chain(redness_edge(of));
        let off = points.map(|at| turn.applied(*at)).map(|at| at.x_mm.abs().max(at.y_mm.abs()));
        off.filter(|off| off.is_finite()).fold(0.0, f64::max)
    };
    let [now, before] = both.map(farthest);
    (2.0 * (now.max(before) + AROUND_MM)).ceil().clamp(*SIDE_MM.start(), *SIDE_MM.end())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::wound::Because;
    use crate::wound::Family;
    use crate::wound::Figure;
    use crate::wound::Outline;
    use crate::wound::RednessReach;
    use crate::wound::Size;
    use crate::wound::Standing;
    use crate::wound::overlap::DEGREES_A_TURN;

    fn figure(value: f64) -> Figure {
        Figure::new(value, value, value)
    }

    /// A drop, blunt at one end, about 30 mm long, on the skin.
    fn drop_shape(scale: f64) -> Vec<MmPoint> {
        (0..60)
            .map(|step| f64::from(step) / 60.0 * std::f64::consts::TAU)
            .map(|turn| {
                let width = 7.0 * (1.0 + 0.6 * turn.cos());
                MmPoint { x_mm: scale * 16.0 * turn.cos(), y_mm: scale * width * turn.sin() }
            })
            .collect()
    }

    fn moved(points: &[MmPoint], degrees: f64, x: f64, y: f64) -> Vec<MmPoint> {
        let (sin, cos) = degrees.to_radians().sin_cos();
        points
            .iter()
            .map(|at| MmPoint {
                x_mm: cos * at.x_mm - sin * at.y_mm + x,
                y_mm: sin * at.x_mm + cos * at.y_mm + y,
            })
            .collect()
    }

    /// A photo of that skin in which the card lies `card_deg` turned and (x, y) off, seen `tilted`: 5 px a millimetre.
    fn photo(skin: &[MmPoint], card_deg: f64, x: f64, y: f64, tilt: f64) -> Measurement {
        let outline = Outline::of_ring(moved(skin, card_deg, x, y)).unwrap();
        // px = 800 + 5 mm in skin places; the card's own places are turned and moved against those.
        let (sin, cos) = card_deg.to_radians().sin_cos();
        let skin_from_card: Matrix =
            [[cos, sin, -cos * x - sin * y], [-sin, cos, sin * x - cos * y], [0.0, 0.0, 1.0]];
        let px_from_skin: Matrix = [[5.0, 0.0, 800.0], [0.0, 5.0, 600.0], [tilt, 0.0, 1.0]];
        Measurement {
            standing: Standing::Ok,
            plane: Some(SkinPlane::from_mm_to_px(product(&px_from_skin, &skin_from_card)).unwrap()),
            size: Some(Size {
                area_mm2: figure(outline.area_mm2()),
                perimeter_mm: figure(outline.perimeter_mm()),
                length_mm: figure(outline.extent().length_mm),
                width_mm: figure(outline.extent().width_mm),
            }),
            outline: Some(outline),
            ..Measurement::refused(vec![Because::Failed])
        }
    }

    fn apart_mm(one: MmPoint, other: MmPoint) -> f64 {
        one.distance_mm(other)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn the_same_skin_comes_to_the_same_place_wherever_the_card_lay(
            card_deg in -180.0..180.0f64, x in -60.0..60.0f64, y in -60.0..60.0f64,
            tilt in -0.001..0.001f64,
        ) {
            let skin = drop_shape(1.0);
            let now = photo(&skin, 0.0, 40.0, -20.0, 0.0);
            let before = photo(&skin, card_deg, x, y, tilt);
            let pair = side_by_side(&now, &before, Surface::Flat).unwrap();
            prop_assert!(pair.overlap > 0.9, "{pair:?}");
            for at in &skin {
                let px = |of: &Measurement, card: &[MmPoint]| of.plane.as_ref().unwrap().to_px(card[0]);
                let now_px = px(&now, &moved(&[*at], 0.0, 40.0, -20.0));
                let before_px = px(&before, &moved(&[*at], card_deg, x, y));
                let apart = apart_mm(pair.now.to_frame(now_px), pair.before.to_frame(before_px));
                prop_assert!(apart < 1.2, "{apart} {}", pair.turned_deg);
            }
            // The earlier edge, drawn in this photo, lies on this photo's edge.
            let wound = now.outline.as_ref().unwrap();
            for at in &pair.wound_before_px[0] {
                prop_assert!(wound.distance_to_edge_mm(now.plane.as_ref().unwrap().to_mm(*at)) < 1.2);
            }
        }
    }

    #[test]
    fn a_wound_that_shrank_is_laid_into_the_middle_of_the_larger_one() {
        let (now, before) =
            (photo(&drop_shape(0.6), 30.0, 10.0, 5.0, 0.0), photo(&drop_shape(1.0), -70.0, -30.0, 8.0, 0.0));
        let pair = side_by_side(&now, &before, Surface::Flat).unwrap();
        assert!(pair.turned_deg.abs() <= DEGREES_A_TURN, "{}", pair.turned_deg);
        let middle = MmPoint { x_mm: pair.side_mm / 2.0, y_mm: pair.side_mm / 2.0 };
        for (of, warp) in [(&now, &pair.now), (&before, &pair.before)] {
            let at = of.plane.as_ref().unwrap().to_px(of.outline.as_ref().unwrap().middle());
            assert!(apart_mm(warp.to_frame(at), middle) < 1e-6);
        }
        let differences = pair.differences.unwrap();
        assert!((differences.area_mm2.percent.unwrap() + 64.0).abs() < 1e-6);
        assert!((differences.length_mm.percent.unwrap() + 40.0).abs() < 1e-6);
    }

    #[test]
    fn a_round_wound_keeps_its_photo_upright() {
        let round: Vec<MmPoint> = (0..90)
            .map(|step| f64::from(step).to_radians() * 4.0)
            .map(|turn| MmPoint { x_mm: 9.0 * turn.cos(), y_mm: 9.0 * turn.sin() })
            .collect();
        let pair = side_by_side(
            &photo(&round, 0.0, 0.0, 0.0, 0.0),
            &photo(&round, 140.0, 9.0, 3.0, 0.0),
            Surface::Flat,
        )
        .unwrap();
        assert!(pair.turned_deg.abs() <= 2.0 * DEGREES_A_TURN, "{}", pair.turned_deg);
    }

    #[test]
    fn the_css_transform_does_what_the_matrix_does() {
        let pair = side_by_side(
            &photo(&drop_shape(1.0), 12.0, 40.0, -20.0, 0.0004),
            &photo(&drop_shape(1.0), 0.0, 0.0, 0.0, 0.0),
            Surface::Flat,
        )
        .unwrap();
        let css = pair.now.css(4.0);
        let cells: Vec<f64> = css
            .trim_start_matches("matrix3d(")
            .trim_end_matches(')')
            .split(',')
            .map(|cell| cell.parse().unwrap())
            .collect();
        assert_eq!(cells.len(), 16);
        // Column by column, as the transform is defined (CSS Transforms Level 2): x′ = m11 x + m21 y + m41 over w′.
        let at = PxPoint { x_px: 512.0, y_px: 333.0 };
        let row = |first: usize| cells[first] * at.x_px + cells[4 + first] * at.y_px + cells[12 + first];
        let (x, y) = (row(0) / row(3), row(1) / row(3));
        let frame = pair.now.to_frame(at);
        assert!(
            (x - 4.0 * frame.x_mm).abs() < 0.01 && (y - 4.0 * frame.y_mm).abs() < 0.01,
            "{x} {y} {frame:?}"
        );
        assert!(row(3) > 0.0);
    }

    #[test]
    fn differences_need_one_family_and_figures_that_count() {
        let now = photo(&drop_shape(1.0), 0.0, 0.0, 0.0, 0.0);
        let drawn = Measurement { family: Family::ByHand, ..now.clone() };
        let unsure = Measurement { standing: Standing::LowConfidence, ..now.clone() };
        assert!(differences(&now, &now, Surface::Flat).is_some());
        assert!(differences(&now, &drawn, Surface::Flat).is_none());
        assert!(differences(&now, &unsure, Surface::Flat).is_none());
        // Two outlines can be looked at side by side all the same.
        assert!(side_by_side(&now, &unsure, Surface::Flat).is_some());
        assert!(
            side_by_side(&now, &Measurement::refused(vec![Because::CardNotSeen]), Surface::Flat).is_none()
        );
    }

    #[test]
    fn the_earlier_redness_edge_is_drawn_in_this_photo_and_fits_the_frame() {
        let now = photo(&drop_shape(1.0), 0.0, 0.0, 0.0, 0.0);
        let edge = moved(&drop_shape(2.0), 50.0, 5.0, 5.0);
        let reach = |mm: f64| RednessReach {
            p95_mm: figure(mm),
            max_mm: figure(mm),
            by_clock_mm: [None; 12],
            edge: edge.clone(),
            contrast_to_noise: 3.0,
        };
        let before = Measurement {
            redness: Redness::Reach(reach(16.0)),
            ..photo(&drop_shape(1.0), 50.0, 5.0, 5.0, 0.0)
        };
        let pair = side_by_side(&now, &before, Surface::Flat).unwrap();
        let on_now = |at: &PxPoint| now.plane.as_ref().unwrap().to_mm(*at);
        let farthest = pair.redness_before_px.iter().map(|at| on_now(at).x_mm).fold(0.0, f64::max);
        assert!((farthest - 32.0).abs() < 1.0, "{farthest}");
        assert!(pair.side_mm > 64.0 && pair.differences.unwrap().redness_reach_mm.is_none());
        let spread = Measurement { redness: Redness::Reach(reach(33.0)), ..now.clone() };
        let change = differences(&spread, &before, Surface::Flat).unwrap().redness_reach_mm.unwrap();
        assert_eq!(change.by, 17.0);
    }
}
