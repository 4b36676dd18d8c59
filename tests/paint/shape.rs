//! Outlines of wounds in millimetres, and what a ruler would find on them.

use super::chance::Chance;

/// A place on the skin, mm.
pub type Mm = [f64; 2];

pub const POINTS: usize = 720;

/// What makes an outline.
#[derive(Clone, Copy)]
pub struct Form {
    pub area_mm2: f64,
    /// Long axis over short axis before bending.
    pub elong: f64,
    /// −1 to 1; 0 is straight.
    pub bend: f64,
    /// Standard deviation of the edge as a share of the radius.
    pub irregular: f64,
}

/// An outline of exactly that area around (0, 0), its centre of gravity. It never crosses itself: a star shape,
/// stretched, and sheared along one axis.
pub fn outline(chance: &mut Chance, form: &Form) -> Vec<Mm> {
    let waves: Vec<[f64; 3]> = (2..14)
        .map(|count| {
            let size = form.irregular * chance.normal() * 1.3 / f64::from(count).powf(0.8);
            [f64::from(count), size, chance.between(0.0, std::f64::consts::TAU)]
        })
        .collect();
    let turn = chance.between(0.0, std::f64::consts::TAU);
    let (sin, cos) = turn.sin_cos();
    let stretch = form.elong.sqrt();
    let ring = (0..POINTS).map(|step| {
        let angle = std::f64::consts::TAU * step as f64 / POINTS as f64;
        let wave: f64 = waves.iter().map(|[count, size, phase]| size * (count * angle + phase).cos()).sum();
        let radius = wave.clamp(-0.7, 1.5) + 1.0;
        let x = radius * angle.cos() * stretch;
        let y = radius * angle.sin() / stretch + form.bend * 0.38 * x * x / stretch;
        [x * cos - y * sin, x * sin + y * cos]
    });
    let ring: Vec<Mm> = ring.collect();
    let scale = (form.area_mm2 / area_mm2(&ring)).sqrt();
    let middle = centroid(&ring);
    ring.iter().map(|[x, y]| [(x - middle[0]) * scale, (y - middle[1]) * scale]).collect()
}

pub fn sides(ring: &[Mm]) -> impl Iterator<Item = (Mm, Mm)> + '_ {
    ring.iter().zip(ring.iter().cycle().skip(1)).map(|(a, b)| (*a, *b))
}

fn signed_area(ring: &[Mm]) -> f64 {
    sides(ring).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum::<f64>() / 2.0
}

pub fn area_mm2(ring: &[Mm]) -> f64 {
    signed_area(ring).abs()
}

pub fn perimeter_mm(ring: &[Mm]) -> f64 {
    sides(ring).map(|(a, b)| distance(a, b)).sum()
}

pub fn centroid(ring: &[Mm]) -> Mm {
    let twice = 6.0 * signed_area(ring);
    let (mut x, mut y) = (0.0, 0.0);
    for (a, b) in sides(ring) {
        let cross = a[0] * b[1] - b[0] * a[1];
        x += (a[0] + b[0]) * cross;
        y += (a[1] + b[1]) * cross;
    }
    [x / twice, y / twice]
}

pub fn distance(a: Mm, b: Mm) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Largest distance between two points, the extent at right angles to it, and the two ends.
pub fn extent_mm(ring: &[Mm]) -> (f64, f64, [Mm; 2]) {
    let mut ends = [ring[0], ring[0]];
    for (at, a) in ring.iter().enumerate() {
        for b in &ring[at + 1..] {
            if distance(*a, *b) > distance(ends[0], ends[1]) {
                ends = [*a, *b];
            }
        }
    }
    let length = distance(ends[0], ends[1]);
    let across = [-(ends[1][1] - ends[0][1]) / length, (ends[1][0] - ends[0][0]) / length];
    let (low, high) = reach(ring, across);
    (length, high - low, ends)
}

/// Least and greatest extent along a direction.
pub fn reach(ring: &[Mm], direction: Mm) -> (f64, f64) {
    ring.iter()
        .map(|at| at[0] * direction[0] + at[1] * direction[1])
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), along| (low.min(along), high.max(along)))
}

pub fn moved(ring: &[Mm], by: Mm) -> Vec<Mm> {
    ring.iter().map(|at| [at[0] + by[0], at[1] + by[1]]).collect()
}

pub fn holds(ring: &[Mm], at: Mm) -> bool {
    let mut inside = false;
    for (a, b) in sides(ring) {
        if (a[1] > at[1]) != (b[1] > at[1]) && at[0] < (b[0] - a[0]) * (at[1] - a[1]) / (b[1] - a[1]) + a[0] {
            inside = !inside;
        }
    }
    inside
}

/// The line a person would trace: off by a habit of going wide or narrow, and by a slow wobble.
pub fn traced(chance: &mut Chance, ring: &[Mm], points: usize) -> Vec<Mm> {
    const WOBBLE_MM: f64 = 0.6;
    const HABIT_MM: f64 = 0.4;
    let habit = HABIT_MM * chance.normal();
    let waves: Vec<[f64; 3]> = (1..12)
        .map(|count| [f64::from(count), WOBBLE_MM * chance.normal() * 0.42, chance.between(0.0, 6.3)])
        .collect();
    let outward = if signed_area(ring) > 0.0 { 1.0 } else { -1.0 };
    (0..points)
        .map(|step| {
            let at = step * ring.len() / points;
            let (before, after) = (ring[(at + ring.len() - 3) % ring.len()], ring[(at + 3) % ring.len()]);
            let along = distance(before, after).max(1e-9);
            let normal = [(after[1] - before[1]) / along, -(after[0] - before[0]) / along];
            let angle = std::f64::consts::TAU * step as f64 / points as f64;
            let off = outward
                * (habit
                    + waves
                        .iter()
                        .map(|[count, size, phase]| size * (count * angle + phase).cos())
                        .sum::<f64>());
            [ring[at][0] + normal[0] * off, ring[at][1] + normal[1] * off]
        })
        .collect()
}
