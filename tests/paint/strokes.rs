//! Thin things on the skin: hair, a pen line, freckles; each as a cover of the picture's pixels.

use super::camera::Camera;
use super::shape::Mm;

/// How much of each pixel is covered, 0–255.
pub struct Cover {
    width: usize,
    height: usize,
    cover: Vec<u8>,
}

impl Cover {
    pub fn new(camera: &Camera) -> Cover {
        Cover { width: camera.width, height: camera.height, cover: vec![0; camera.width * camera.height] }
    }

    #[inline]
    pub fn at(&self, index: usize) -> f32 {
        f32::from(self.cover[index]) / 255.0
    }

    /// A line of this width along places on the skin; `strength` 0–1.
    pub fn line(&mut self, camera: &Camera, places: &[Mm], width_mm: f64, strength: f64) {
        for pair in places.windows(2) {
            let (a, b) = (camera.px(pair[0]), camera.px(pair[1]));
            let width_px = width_mm / camera.mm_per_px_at(pair[0]);
            if !width_px.is_finite() || a.iter().chain(&b).any(|at| at.abs() > 20_000.0) {
                continue;
            }
            // A line thinner than a pixel covers a part of it.
            let thin = width_px.min(1.0);
            self.segment(a, b, width_px.max(1.0) / 2.0, strength * thin);
        }
    }

    fn segment(&mut self, a: Mm, b: Mm, half_px: f64, strength: f64) {
        let reach = half_px + 1.0;
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let squared = (dx * dx + dy * dy).max(1e-12);
        self.each(
            [a[0].min(b[0]) - reach, a[1].min(b[1]) - reach],
            [a[0].max(b[0]) + reach, a[1].max(b[1]) + reach],
            |x, y| {
                let along = (((x - a[0]) * dx + (y - a[1]) * dy) / squared).clamp(0.0, 1.0);
                let apart = (x - a[0] - along * dx).hypot(y - a[1] - along * dy);
                (half_px + 0.5 - apart).clamp(0.0, 1.0) * strength
            },
        );
    }

    /// A soft round spot.
    pub fn spot(&mut self, camera: &Camera, at: Mm, radius_mm: f64, strength: f64) {
        let middle = camera.px(at);
        let radius = radius_mm / camera.mm_per_px_at(at);
        if !radius.is_finite() || radius > 500.0 {
            return;
        }
        let reach = radius * 1.6 + 1.0;
        self.each([middle[0] - reach, middle[1] - reach], [middle[0] + reach, middle[1] + reach], |x, y| {
            let apart = (x - middle[0]).hypot(y - middle[1]) / radius.max(0.5);
            strength * (1.6 - apart).clamp(0.0, 1.0)
        });
    }

    /// Raises the cover of each pixel between two places to what `wanted` says of its middle.
    fn each(&mut self, low: Mm, high: Mm, wanted: impl Fn(f64, f64) -> f64) {
        let from = |at: f64, size: usize| at.floor().clamp(0.0, size as f64) as usize;
        let until = |at: f64, size: usize| at.ceil().clamp(0.0, size as f64) as usize;
        for y in from(low[1], self.height)..until(high[1], self.height) {
            for x in from(low[0], self.width)..until(high[0], self.width) {
                let cover = (wanted(x as f64 + 0.5, y as f64 + 0.5) * 255.0) as u8;
                let cell = &mut self.cover[y * self.width + x];
                *cell = (*cell).max(cover);
            }
        }
    }
}
