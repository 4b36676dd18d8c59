//! The edge drawn to where the light is half wound and half skin.

use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::SkinPlane;
use crate::wound::tint::median;
use crate::wound::view::sample;

/// How far to either side the light is looked at, mm.
const REACH_MM: f64 = 1.6;
const STEP_MM: f64 = 0.08;
/// Wound and skin are taken from here to `REACH_MM`, mm.
const CLEAR_MM: f64 = 0.7;
/// Share of wound in the light at the edge. Half is where it would be by geometry alone. Calibrated on two sets of drawn
/// pictures from different painters: at 0.5 one reads 2 % of area too much and the other nothing; this lies between.
const LEVEL: f32 = 0.6;
/// The edge is moved this much at most, mm.
const MOST_MM: f32 = 0.6;

/// The ring moved so that it runs through the half-way point between the light inside and outside.
pub(in crate::wound) fn snapped(
    picture: &Picture,
    plane: &SkinPlane,
    ring: &[MmPoint],
    outer: bool,
) -> Vec<MmPoint> {
    let ring = even(ring, 0.4);
    let count = ring.len();
    let clockwise = signed(&ring) > 0.0;
    let normal = |at: usize| {
        let (a, b) = (ring[(at + count - 2) % count], ring[(at + 2) % count]);
        let (dx, dy) = (b.x_mm - a.x_mm, b.y_mm - a.y_mm);
        let length = dx.hypot(dy).max(1e-9);
        // Outwards from the wound: into an island.
        if clockwise == outer { (dy / length, -dx / length) } else { (-dy / length, dx / length) }
    };
    let steps = (REACH_MM / STEP_MM) as i32;
    let profiles: Vec<Option<Vec<[f32; 3]>>> = (0..count)
        .map(|at| {
            let (nx, ny) = normal(at);
            (-steps..=steps)
                .map(|step| {
                    let off = f64::from(step) * STEP_MM;
                    let place = MmPoint { x_mm: ring[at].x_mm + nx * off, y_mm: ring[at].y_mm + ny * off };
                    sample(picture, plane.to_px(place))
                })
                .collect()
        })
        .collect();
    let clear = (CLEAR_MM / STEP_MM) as i32;
    let mean = |profile: &[[f32; 3]], from: i32, to: i32| {
        let part = &profile[(from + steps) as usize..=(to + steps) as usize];
        [0, 1, 2].map(|c: usize| part.iter().map(|light| light[c]).sum::<f32>() / part.len() as f32)
    };
    let ends: Vec<Option<([f32; 3], [f32; 3])>> = profiles
        .iter()
        .map(|p| p.as_ref().map(|p| (mean(p, -steps, -clear), mean(p, clear, steps))))
        .collect();
    let offsets: Vec<Option<f32>> = (0..count)
        .map(|at| {
            let profile = profiles[at].as_ref()?;
            // References averaged along the edge: the bed is grainy.
            let near: Vec<&([f32; 3], [f32; 3])> =
                (0..5).filter_map(|k| ends[(at + count + k - 2) % count].as_ref()).collect();
            let share = 1.0 / near.len() as f32;
            let inside = [0, 1, 2].map(|c: usize| near.iter().map(|e| e.0[c] * share).sum::<f32>());
            let outside = [0, 1, 2].map(|c: usize| near.iter().map(|e| e.1[c] * share).sum::<f32>());
            let d = [0, 1, 2].map(|c: usize| inside[c] - outside[c]);
            let squared: f32 = d.iter().map(|v| v * v).sum();
            if squared < 1e-5 {
                return None;
            }
            let share_at = |step: i32| {
                let light = profile[(step + steps) as usize];
                (0..3).map(|c| (light[c] - outside[c]) * d[c]).sum::<f32>() / squared
            };
            let most = (MOST_MM / STEP_MM as f32) as i32;
            let mut best: Option<f32> = None;
            for step in -most..most {
                let (a, b) = (share_at(step), share_at(step + 1));
                if a >= LEVEL && b < LEVEL {
                    let off = (step as f32 + (a - LEVEL) / (a - b)) * STEP_MM as f32;
                    if best.is_none_or(|best| off.abs() < best.abs()) {
                        best = Some(off);
                    }
                }
            }
            best
        })
        .collect();
    let all: Vec<f32> = offsets.iter().flatten().copied().collect();
    let usual = median(all);
    let local = |at: usize| {
        let half = 4;
        let near: Vec<f32> =
            (0..=2 * half).filter_map(|k| offsets[(at + count + k - half) % count]).collect();
        if near.len() < 4 { usual } else { median(near) }
    };
    (0..count)
        .map(|at| {
            let (nx, ny) = normal(at);
            let by = f64::from(local(at));
            MmPoint { x_mm: ring[at].x_mm + nx * by, y_mm: ring[at].y_mm + ny * by }
        })
        .collect()
}

fn signed(ring: &[MmPoint]) -> f64 {
    crate::wound::outline::sides(ring).map(|(a, b)| a.x_mm * b.y_mm - b.x_mm * a.y_mm).sum()
}

/// The ring with points at even distances.
pub(in crate::wound) fn even(ring: &[MmPoint], apart_mm: f64) -> Vec<MmPoint> {
    let mut out = Vec::new();
    let mut left = 0.0;
    for (a, b) in crate::wound::outline::sides(ring) {
        let length = a.distance_mm(b);
        let mut along = left;
        while along < length {
            let share = along / length;
            out.push(MmPoint {
                x_mm: a.x_mm + share * (b.x_mm - a.x_mm),
                y_mm: a.y_mm + share * (b.y_mm - a.y_mm),
            });
            along += apart_mm;
        }
        left = along - length;
    }
    out
}
