//! Where the marker's dark and light meet, to a few hundredths of a pixel.
//!
//! Blur mixes light, not stored levels: half-way between dark and light in linear light lies on the printed edge, half-way in
//! stored levels lies inside the black.

use crate::photo::MmPoint;
use crate::photo::SkinPlane;
use crate::photo::scale_card::family::DATA_CELLS;
use crate::photo::scale_card::geometry::TAG_CELL_MM;
use crate::photo::scale_card::geometry::TAG_EDGE_MM;
use crate::photo::scale_card::light::Meter;

/// Places looked at on each of the four sides.
const PLACES_A_SIDE: usize = 40;
/// How far to both sides of an edge the light is followed, mm: half a cell.
const REACH_MM: f64 = TAG_CELL_MM / 2.0;

/// A place on a printed edge, and which way it gets light there.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    pub on_card: MmPoint,
    /// Unit step from dark to light, along x or y.
    towards_light: [f64; 2],
    /// Side of the black square (top, right, bottom, left); `None` inside it.
    pub side: Option<usize>,
    /// How far along its side, 0 to 1, clockwise.
    pub along: f64,
}

impl Edge {
    /// 0: it gets light along x; 1: along y.
    pub fn direction(&self) -> usize {
        usize::from(self.towards_light[0] == 0.0)
    }
}

/// An edge found in the picture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Crossing {
    pub edge: Edge,
    pub px: [f64; 2],
    /// Unit step from dark to light across the edge, px.
    pub normal: [f64; 2],
    /// From 20 % to 80 % of the step, mm on the card.
    pub rise_mm: Option<f64>,
    /// Light of the bright side.
    pub bright: f64,
}

/// Places around the outside of the black square.
pub(super) fn outer_edges() -> Vec<Edge> {
    let half = TAG_EDGE_MM / 2.0;
    let mut edges = Vec::with_capacity(4 * PLACES_A_SIDE);
    for side in 0..4 {
        for place in 0..PLACES_A_SIDE {
            let along = (place as f64 + 0.5) / PLACES_A_SIDE as f64;
            let s = (along - 0.5) * TAG_EDGE_MM;
            let (x_mm, y_mm, towards_light) = match side {
                0 => (s, -half, [0.0, -1.0]),
                1 => (half, s, [1.0, 0.0]),
                2 => (-s, half, [0.0, 1.0]),
                _ => (-half, -s, [-1.0, 0.0]),
            };
            edges.push(Edge { on_card: MmPoint { x_mm, y_mm }, towards_light, side: Some(side), along });
        }
    }
    edges
}

/// Places between a dark and a light cell inside the black square, for the marker with these data cells.
pub(super) fn inner_edges(codeword: u64) -> Vec<Edge> {
    let light = |row: i32, column: i32| {
        let inside = 0..DATA_CELLS as i32;
        inside.contains(&row)
            && inside.contains(&column)
            && codeword >> (row * DATA_CELLS as i32 + column) & 1 == 1
    };
    let corner_mm = |cell: i32| (f64::from(cell) - DATA_CELLS as f64 / 2.0) * TAG_CELL_MM;
    let mut edges = Vec::new();
    for row in -1..=DATA_CELLS as i32 {
        for column in -1..=DATA_CELLS as i32 {
            for (down, across) in [(0, 1), (1, 0)] {
                let (here, there) = (light(row, column), light(row + down, column + across));
                if here == there {
                    continue;
                }
                let sign = if there { 1.0 } else { -1.0 };
                for along in [0.3, 0.5, 0.7] {
                    let (x_mm, y_mm) = match down {
                        0 => (corner_mm(column + 1), corner_mm(row) + along * TAG_CELL_MM),
                        _ => (corner_mm(column) + along * TAG_CELL_MM, corner_mm(row + 1)),
                    };
                    let towards_light = [sign * f64::from(across), sign * f64::from(down)];
                    edges.push(Edge { on_card: MmPoint { x_mm, y_mm }, towards_light, side: None, along });
                }
            }
        }
    }
    edges
}

/// Follows the light across each edge from where the plane says it lies. Edges that show no step are left out.
pub(super) fn crossings(meter: &Meter<'_>, plane: &SkinPlane, edges: &[Edge]) -> Vec<Crossing> {
    let mut profile = Vec::new();
    edges.iter().filter_map(|edge| crossing(meter, plane, edge, &mut profile)).collect()
}

fn crossing(meter: &Meter<'_>, plane: &SkinPlane, edge: &Edge, profile: &mut Vec<f64>) -> Option<Crossing> {
    let at = |step_mm: f64, aside_mm: f64| {
        let [dx, dy] = edge.towards_light;
        let point = plane.to_px(MmPoint {
            x_mm: edge.on_card.x_mm + dx * step_mm - dy * aside_mm,
            y_mm: edge.on_card.y_mm + dy * step_mm + dx * aside_mm,
        });
        [point.x_px, point.y_px]
    };
    let reach_px = distance(at(-REACH_MM, 0.0), at(REACH_MM, 0.0)) / 2.0;
    if !(reach_px > 1.0 && reach_px < 1_000.0) {
        return None;
    }
    // Three samples a pixel, at least twelve and at most 120 to each side.
    let half = ((reach_px * 3.0) as usize).clamp(8, 120);
    let step_mm = REACH_MM / half as f64;
    let offset_mm = |sample: f64| (sample - half as f64) * step_mm;
    profile.clear();
    for sample in 0..=2 * half {
        profile.push(meter.at(at(offset_mm(sample as f64), 0.0))?);
    }
    let third = half / 3 + 1;
    let dark = middle_of(&profile[..third]);
    let bright = middle_of(&profile[2 * half + 1 - third..]);
    let step = bright - dark;
    if step < 0.02 {
        return None;
    }
    let level = |share: f64| dark + share * step;
    let half_way = rising_through(profile, level(0.5), half as f64)?;
    let low = falling_back_to(profile, level(0.2), half_way);
    let high = rising_on_to(profile, level(0.8), half_way);
    let rise_mm = low.zip(high).map(|(low, high)| (high - low) * step_mm);
    let px = at(offset_mm(half_way), 0.0);
    let (before, after) = (at(offset_mm(half_way), -0.1), at(offset_mm(half_way), 0.1));
    let length = distance(before, after);
    let mut normal = [(after[1] - before[1]) / length, (before[0] - after[0]) / length];
    let (inside, outside) = (at(-0.1, 0.0), at(0.1, 0.0));
    if normal[0] * (outside[0] - inside[0]) + normal[1] * (outside[1] - inside[1]) < 0.0 {
        normal = normal.map(|part| -part);
    }
    Some(Crossing { edge: *edge, px, normal, rise_mm, bright })
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// The median; of nothing, 0.
pub(super) fn middle_of(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(0.0)
}

/// The place nearest to `near` where the profile rises through a level, in samples.
fn rising_through(profile: &[f64], level: f64, near: f64) -> Option<f64> {
    (1..profile.len())
        .filter(|at| profile[at - 1] < level && profile[*at] >= level)
        .map(|at| (at - 1) as f64 + (level - profile[at - 1]) / (profile[at] - profile[at - 1]))
        .min_by(|a, b| (a - near).abs().total_cmp(&(b - near).abs()))
}

fn falling_back_to(profile: &[f64], level: f64, from: f64) -> Option<f64> {
    let start = from.floor() as usize;
    (0..=start.min(profile.len() - 2))
        .rev()
        .find(|at| profile[*at] <= level && profile[at + 1] > level)
        .map(|at| at as f64 + (level - profile[at]) / (profile[at + 1] - profile[at]))
}

fn rising_on_to(profile: &[f64], level: f64, from: f64) -> Option<f64> {
    let start = from.floor() as usize;
    (start..profile.len() - 1)
        .find(|at| profile[*at] < level && profile[at + 1] >= level)
        .map(|at| at as f64 + (level - profile[at]) / (profile[at + 1] - profile[at]))
}
