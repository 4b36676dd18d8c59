//! Chance from a seed: numbers, and smooth random surfaces.

use rand::Rng;
use rand::SeedableRng;
use rand::rngs::Xoshiro256PlusPlus;

/// A stream of random numbers. Each part of a picture draws from a stream of its own name, so that a change to one part
/// leaves the others as they were.
///
/// Not `StdRng`: that one may change between versions, and a seed should name the same picture next year.
pub struct Chance(Xoshiro256PlusPlus);

impl Chance {
    pub fn new(seed: u64, part: &str) -> Chance {
        // FNV-1a, 64 bits.
        let name = part.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01b3)
        });
        Chance(Xoshiro256PlusPlus::seed_from_u64(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ name))
    }

    pub fn bits(&mut self) -> u64 {
        self.0.next_u64()
    }

    /// Even between 0 and 1.
    pub fn share(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    pub fn yes(&mut self, share: f64) -> bool {
        self.share() < share
    }

    pub fn below(&mut self, count: usize) -> usize {
        ((self.share() * count as f64) as usize).min(count - 1)
    }

    pub fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[self.below(from.len())]
    }

    /// Standard normal (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.share()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.share()).cos()
    }

    /// One of the choices, by weight.
    pub fn weighted<T: Copy>(&mut self, from: &[(T, f64)]) -> T {
        let total: f64 = from.iter().map(|(_, weight)| weight).sum();
        let mut left = self.share() * total;
        for (choice, weight) in from {
            left -= weight;
            if left < 0.0 {
                return *choice;
            }
        }
        from[from.len() - 1].0
    }
}

/// A square of smooth noise that repeats: mean 0, standard deviation 1.
pub struct Tile {
    edge: usize,
    heights: Vec<f32>,
}

impl Tile {
    /// `octaves`: pairs of lattice cells along the edge and weight. `edge` is a power of two.
    pub fn new(chance: &mut Chance, edge: usize, octaves: &[(usize, f32)]) -> Tile {
        let mut heights = vec![0.0_f32; edge * edge];
        for (cells, weight) in octaves {
            let lattice: Vec<f32> = (0..cells * cells).map(|_| chance.normal() as f32).collect();
            add_octave(&mut heights, edge, &lattice, *cells, *weight);
        }
        let count = heights.len() as f32;
        let mean = heights.iter().sum::<f32>() / count;
        let spread = (heights.iter().map(|height| (height - mean).powi(2)).sum::<f32>() / count).sqrt();
        heights.iter_mut().for_each(|height| *height = (*height - mean) / spread);
        Tile { edge, heights }
    }

    /// The noise at a place in cells of the tile, in between linearly.
    #[inline]
    pub fn at(&self, x: f32, y: f32) -> f32 {
        let (x0, y0) = (x.floor(), y.floor());
        let (fx, fy) = (x - x0, y - y0);
        let mask = self.edge - 1;
        let (left, top) = (x0 as i32 as usize & mask, y0 as i32 as usize & mask);
        let (right, under) = ((left + 1) & mask, (top + 1) & mask);
        let (upper, lower) = (top * self.edge, under * self.edge);
        let heights: &[f32] = &self.heights;
        let a = heights[upper + left] + (heights[upper + right] - heights[upper + left]) * fx;
        let b = heights[lower + left] + (heights[lower + right] - heights[lower + left]) * fx;
        a + (b - a) * fy
    }
}

fn add_octave(heights: &mut [f32], edge: usize, lattice: &[f32], cells: usize, weight: f32) {
    let ease = |t: f32| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
    let step = cells as f32 / edge as f32;
    for (y, row) in heights.chunks_exact_mut(edge).enumerate() {
        let v = y as f32 * step;
        let (v0, fv) = (v as usize, ease(v.fract()));
        for (x, height) in row.iter_mut().enumerate() {
            let u = x as f32 * step;
            let (u0, fu) = (u as usize, ease(u.fract()));
            let knot = |dx: usize, dy: usize| lattice[(v0 + dy) % cells * cells + (u0 + dx) % cells];
            let a = knot(0, 0) + (knot(1, 0) - knot(0, 0)) * fu;
            let b = knot(0, 1) + (knot(1, 1) - knot(0, 1)) * fu;
            *height += weight * (a + (b - a) * fv);
        }
    }
}

/// 0 below the first place, 1 beyond the second, smooth between.
#[inline]
pub fn smooth_step(low: f32, high: f32, at: f32) -> f32 {
    let t = ((at - low) / (high - low)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}
