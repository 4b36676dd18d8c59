//! What lies on the skin and the card: cloth, a finger on the marker, smears of a dressing.

use super::card::Card;
use super::chance::Chance;
use super::chance::Tile;
use super::chance::smooth_step;
use super::colour::Rgb;
use super::colour::scaled;
use super::shape::Mm;
use super::shape::reach;
use super::wish::Wish;

/// Cloth beyond a line.
pub struct Cloth {
    normal: [f32; 2],
    offset: f32,
    colour: Rgb,
    folds: Tile,
}

impl Cloth {
    /// Beyond everything that must stay in view.
    pub fn lay(wish: &Wish, keep: &[Mm]) -> Cloth {
        let chance = &mut Chance::new(wish.seed, "cloth");
        let (sin, cos) = chance.between(0.0, std::f64::consts::TAU).sin_cos();
        let (_, high) = reach(keep, [cos, sin]);
        let colours =
            [[0.1, 0.25, 0.5], [0.1, 0.5, 0.35], [0.75, 0.74, 0.7], [0.45, 0.36, 0.25], [0.05, 0.16, 0.19]];
        let colour = chance.pick(&colours);
        let offset = high + chance.between(10.0, 45.0);
        let folds = Tile::new(chance, 128, &[(5, 1.0), (11, 0.6)]);
        Cloth { normal: [cos as f32, sin as f32], offset: offset as f32, colour, folds }
    }

    /// Colour and cover at a place on the skin, mm.
    #[inline]
    pub fn at(&self, x: f32, y: f32, mm_per_px: f32, weave: f32) -> Option<(Rgb, f32)> {
        let beside = -x * self.normal[1] + y * self.normal[0];
        let deep = x * self.normal[0] + y * self.normal[1] - self.offset + 2.0 * (beside * 0.05).sin();
        if deep < -mm_per_px {
            return None;
        }
        let fold = 1.0 + 0.16 * self.folds.at(x * 0.7 + 900.0, y * 0.7 + 900.0) + 0.05 * weave;
        Some((scaled(self.colour, fold), (0.5 + deep / mm_per_px).clamp(0.0, 1.0)))
    }

    pub fn polygon_mm(&self) -> Vec<Mm> {
        let far = 400.0;
        let [nx, ny] = self.normal.map(f64::from);
        let at = |beside: f64, deep: f64| [nx * deep - ny * beside, ny * deep + nx * beside];
        let edge = (-80..=80).map(|step| {
            let beside = f64::from(step) * 5.0;
            at(beside, f64::from(self.offset) - 2.0 * (beside * 0.05).sin())
        });
        edge.chain([at(far, far), at(-far, far)]).collect()
    }
}

/// A finger, swab or glove from outside the picture onto a corner of the marker.
pub struct Occluder {
    pub tip: Mm,
    pub toward: Mm,
    pub half_mm: f64,
    colour: Rgb,
}

impl Occluder {
    pub fn lay(wish: &Wish, card: &Card, skin: Rgb) -> Occluder {
        let chance = &mut Chance::new(wish.seed, "occluder");
        let corners = card.tag_mm();
        let away = (card.middle[1]).atan2(card.middle[0]) + 0.5 * chance.normal().clamp(-1.2, 1.2);
        let (sin, cos) = away.sin_cos();
        // The corner farthest along: what comes from outside reaches it first and covers the least.
        let along = |at: &Mm| at[0] * cos + at[1] * sin;
        let farthest = corners.iter().copied().max_by(|a, b| along(a).total_cmp(&along(b)));
        let corner = farthest.expect("a square has corners");
        let (half_mm, colour) = match chance.below(4) {
            0 => (4.0, [0.7, 0.68, 0.62]),
            1 => (8.0, [0.12, 0.3, 0.55]),
            _ => (8.0, skin),
        };
        let over = chance.between(1.0, 5.0);
        Occluder {
            tip: [corner[0] - cos * over, corner[1] - sin * over],
            toward: [cos, sin],
            half_mm,
            colour,
        }
    }

    #[inline]
    pub fn at(&self, x: f32, y: f32, mm_per_px: f32) -> Option<(Rgb, f32)> {
        let (dx, dy) = (x - self.tip[0] as f32, y - self.tip[1] as f32);
        let (tx, ty) = (self.toward[0] as f32, self.toward[1] as f32);
        let along = (dx * tx + dy * ty).max(0.0);
        let apart = ((dx - along * tx).powi(2) + (dy - along * ty).powi(2)).sqrt();
        let half = self.half_mm as f32;
        let cover = (0.5 + (half - apart) / mm_per_px).clamp(0.0, 1.0);
        // A round thing is darker toward its sides.
        let round = (1.0 - (apart / half).powi(2) * 0.55).max(0.3);
        (cover > 0.0).then(|| (scaled(self.colour, round), cover))
    }

    pub fn polygon_mm(&self) -> Vec<Mm> {
        let ([tx, ty], half) = (self.toward, self.half_mm);
        let at = |along: f64, beside: f64| {
            [self.tip[0] + tx * along - ty * beside, self.tip[1] + ty * along + tx * beside]
        };
        let round = (0..=32).map(|step| {
            let (sin, cos) = (std::f64::consts::PI * (f64::from(step) / 32.0 + 0.5)).sin_cos();
            at(half * cos, half * sin)
        });
        [at(500.0, half)].into_iter().chain(round).chain([at(500.0, -half)]).collect()
    }
}

/// Blurred smears of paste or fibrin across the wound's edge.
pub struct Residue {
    spots: Vec<[f32; 4]>,
    colour: Rgb,
    ragged: Tile,
}

impl Residue {
    pub fn smear(wish: &Wish, edge: &[Mm]) -> Residue {
        let chance = &mut Chance::new(wish.seed, "residue");
        let count = 3 + chance.below(3);
        let size = (wish.area_cm2.sqrt() * 10.0 * 0.22).clamp(2.5, 9.0);
        let spots = (0..count).map(|_| {
            let [x, y] = edge[chance.below(edge.len())];
            let radius = size * chance.between(0.6, 1.3);
            [
                x + 0.4 * size * chance.normal(),
                y + 0.4 * size * chance.normal(),
                radius,
                chance.between(0.35, 0.75),
            ]
        });
        let spots = spots.map(|spot| spot.map(|value| value as f32)).collect();
        let colour = chance.pick(&[[0.8, 0.78, 0.7], [0.74, 0.66, 0.42], [0.62, 0.55, 0.45]]);
        Residue { spots, colour, ragged: Tile::new(chance, 128, &[(20, 1.0), (48, 0.6)]) }
    }

    #[inline]
    pub fn at(&self, x: f32, y: f32) -> (Rgb, f32) {
        let ragged = 0.22 * self.ragged.at(x * 2.0 + 700.0, y * 2.0 + 700.0);
        let cover = self.spots.iter().fold(0.0_f32, |most, [sx, sy, radius, strength]| {
            let apart = ((x - sx).powi(2) + (y - sy).powi(2)).sqrt() / radius + ragged;
            most.max(strength * (1.0 - smooth_step(0.65, 1.1, apart)))
        });
        (self.colour, cover)
    }
}
