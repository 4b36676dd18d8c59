//! The skin around the wound: redness and its reach, mottling, hair, freckles, a pen line.

use super::camera::Camera;
use super::chance::Chance;
use super::chance::Tile;
use super::chance::smooth_step;
use super::field::Grid;
use super::shape::Mm;
use super::strokes::Cover;
use super::wish::Pen;
use super::wish::Wish;

/// Channels of the coarse grid: distance to the wound, redness 0–1, blood mottling, melanin mottling (spread 1).
pub type CoarseGrid = Grid<4>;

const DIRECTIONS: usize = 720;

/// How far something reaches beyond the wound's edge, by direction from the wound's middle.
pub struct Reach(Vec<f64>);

impl Reach {
    /// `most_mm` in one direction, in others down to `uneven` less of it.
    pub fn new(chance: &mut Chance, most_mm: f64, uneven: f64) -> Reach {
        let waves: Vec<[f64; 3]> = (1..6)
            .map(|count| [f64::from(count), chance.normal() / f64::from(count), chance.between(0.0, 6.3)])
            .collect();
        let angle = |step: usize| std::f64::consts::TAU * step as f64 / DIRECTIONS as f64;
        let raw: Vec<f64> = (0..DIRECTIONS)
            .map(|step| {
                waves.iter().map(|[count, size, phase]| size * (count * angle(step) + phase).cos()).sum()
            })
            .collect();
        let low = raw.iter().copied().fold(f64::INFINITY, f64::min);
        let high = raw.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Reach(
            raw.iter()
                .map(|wave| most_mm * (1.0 - uneven * (high - wave) / (high - low).max(1e-9)))
                .collect(),
        )
    }

    pub fn toward(&self, [x, y]: Mm) -> f64 {
        let turn = y.atan2(x).rem_euclid(std::f64::consts::TAU) / std::f64::consts::TAU * DIRECTIONS as f64;
        let (whole, part) = (turn as usize % DIRECTIONS, turn.fract());
        self.0[whole] + (self.0[(whole + 1) % DIRECTIONS] - self.0[whole]) * part
    }

    /// The border: in each direction the farthest place whose distance from the edge is the reach.
    pub fn border(&self, distance_mm: impl Fn(Mm) -> f64, farthest_mm: f64) -> Vec<Mm> {
        (0..DIRECTIONS)
            .map(|step| {
                let (sin, cos) = (std::f64::consts::TAU * step as f64 / DIRECTIONS as f64).sin_cos();
                let reach = self.toward([cos, sin]);
                let mut away = farthest_mm;
                // A place is never nearer to the edge than the way to it was shortened: steps of the surplus cannot
                // jump over the border.
                for _ in 0..60 {
                    let surplus = distance_mm([away * cos, away * sin]) - reach;
                    away = (away - surplus).max(0.0);
                    if surplus < 1e-4 {
                        break;
                    }
                }
                [away * cos, away * sin]
            })
            .collect()
    }
}

/// Fills redness and mottling; distances must be filled.
pub fn fill(wish: &Wish, reach: &Reach, coarse: &mut CoarseGrid) {
    let chance = &mut Chance::new(wish.seed, "mottle");
    // One tile is 240 mm: blotches of 40 mm, 17 mm and 6 mm.
    let mottles = [(); 2].map(|()| Tile::new(chance, 128, &[(6, 1.0), (14, 0.6), (40, 0.35)]));
    const CELLS_PER_MM: f32 = 128.0 / 240.0;
    let (soft, fade) = (wish.ery_soft_mm, wish.ery_fade);
    for row in 0..coarse.rows {
        for column in 0..coarse.columns {
            let [x, y] = coarse.knot(column, row);
            let value = &mut coarse.values[row * coarse.columns + column];
            let beyond = f64::from(value[0]);
            if wish.ery_mm > 0.0 {
                let far = reach.toward([f64::from(x), f64::from(y)]);
                let left = 1.0 - fade * (beyond / far).clamp(0.0, 1.0);
                let half = soft.min(far * 1.6) / 2.0;
                value[1] =
                    left as f32 * (1.0 - smooth_step(-half as f32, half as f32, (beyond - far) as f32));
            }
            let (u, v) = (x * CELLS_PER_MM + 300.0, y * CELLS_PER_MM + 300.0);
            value[2] = mottles[0].at(u, v);
            value[3] = mottles[1].at(u, v);
        }
    }
}

/// Hair over the picture; it grows beside the wound and may hang over its edge.
pub fn hair(wish: &Wish, camera: &Camera, in_wound: impl Fn(Mm) -> bool) -> Option<Cover> {
    (wish.hair > 0.0).then(|| {
        let chance = &mut Chance::new(wish.seed, "hair");
        let mut cover = Cover::new(camera);
        let lie = chance.between(0.0, 6.3);
        for _ in 0..(wish.hair * 420.0) as usize {
            let root =
                camera.mm([chance.share() * camera.width as f64, chance.share() * camera.height as f64]);
            let (mut angle, bend) = (lie + 0.45 * chance.normal(), 0.05 * chance.normal());
            let (length, width) = (chance.between(4.0, 16.0), chance.between(0.04, 0.09));
            if in_wound(root) {
                continue;
            }
            let mut places = vec![root];
            for _ in 0..(length as usize) {
                let last = places[places.len() - 1];
                places.push([last[0] + angle.cos(), last[1] + angle.sin()]);
                angle += bend;
            }
            cover.line(camera, &places, width, 0.9);
        }
        cover
    })
}

pub fn freckles(wish: &Wish, camera: &Camera) -> Option<Cover> {
    (wish.freckles > 0.0).then(|| {
        let chance = &mut Chance::new(wish.seed, "freckles");
        let mut cover = Cover::new(camera);
        for _ in 0..(wish.freckles * 90.0) as usize {
            let at = camera.mm([chance.share() * camera.width as f64, chance.share() * camera.height as f64]);
            let radius = 0.4 + 0.5 * chance.normal().abs();
            cover.spot(camera, at, radius, chance.between(0.2, 0.9));
        }
        cover
    })
}

/// A pen line drawn round the wound some days ago: the redness may have passed it or drawn back from it.
pub fn pen_line(wish: &Wish, distance_mm: impl Fn(Mm) -> f64) -> Option<Vec<Mm>> {
    if wish.pen == Pen::None {
        return None;
    }
    let chance = &mut Chance::new(wish.seed, "pen");
    let off = (wish.ery_mm.min(40.0) + chance.between(-6.0, 8.0)).max(3.5);
    let wobble = chance.between(0.1, 0.3);
    let around = Reach::new(chance, off, wobble).border(distance_mm, 150.0);
    match wish.pen {
        Pen::None => None,
        Pen::Line => {
            let mut closed = around;
            closed.push(closed[0]);
            Some(closed)
        }
        Pen::Arc => {
            let start = chance.below(DIRECTIONS);
            let steps = DIRECTIONS / 5 + chance.below(DIRECTIONS / 3);
            Some((0..steps).map(|step| around[(start + step) % DIRECTIONS]).collect())
        }
    }
}
