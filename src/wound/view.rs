//! The skin seen straight from above: a picture laid flat by its card's plane, in equal pixels per millimetre.

use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::photo::SkinPlane;
use crate::photo::linear_light;

/// Linear light (0–1), red, green, blue.
pub(in crate::wound) type Light = [f32; 3];

/// A square piece of skin from above.
#[derive(Clone)]
pub(in crate::wound) struct View {
    pub(in crate::wound) width: usize,
    pub(in crate::wound) height: usize,
    pub(in crate::wound) px_per_mm: f32,
    /// Place of the upper left corner.
    pub(in crate::wound) corner: MmPoint,
    pub(in crate::wound) light: Vec<Light>,
    /// False where the picture ends or the card lies.
    pub(in crate::wound) skin: Vec<bool>,
    /// False where the picture ends.
    pub(in crate::wound) pictured: Vec<bool>,
}

impl View {
    /// Lays flat what lies within `reach_mm` of a middle. `covers` says where the card lies.
    pub(in crate::wound) fn flat(
        picture: &Picture,
        plane: &SkinPlane,
        middle: MmPoint,
        reach_mm: f64,
        px_per_mm: f64,
        covers: impl Fn(MmPoint) -> bool,
    ) -> View {
        let side = (2.0 * reach_mm * px_per_mm).ceil().max(1.0) as usize;
        let corner = MmPoint { x_mm: middle.x_mm - reach_mm, y_mm: middle.y_mm - reach_mm };
        let mut view = View {
            width: side,
            height: side,
            px_per_mm: px_per_mm as f32,
            corner,
            light: Vec::with_capacity(side * side),
            skin: Vec::with_capacity(side * side),
            pictured: Vec::with_capacity(side * side),
        };
        let m = plane.mm_to_px_matrix();
        let step = 1.0 / px_per_mm;
        for row in 0..side {
            let y_mm = corner.y_mm + (row as f64 + 0.5) * step;
            let start = corner.x_mm + 0.5 * step;
            let mut at = [0, 1, 2].map(|r: usize| m[r][0] * start + m[r][1] * y_mm + m[r][2]);
            let along = [0, 1, 2].map(|r: usize| m[r][0] * step);
            for column in 0..side {
                let found = (at[2] != 0.0)
                    .then(|| sample(picture, PxPoint { x_px: at[0] / at[2], y_px: at[1] / at[2] }))
                    .flatten();
                let place = MmPoint { x_mm: start + column as f64 * step, y_mm };
                view.light.push(found.unwrap_or([0.0; 3]));
                view.pictured.push(found.is_some());
                view.skin.push(found.is_some() && !covers(place));
                for (value, more) in at.iter_mut().zip(along) {
                    *value += more;
                }
            }
        }
        view
    }

    /// Half as many pixels each way, light averaged. A pixel is skin where all four are.
    pub(in crate::wound) fn halved(&self) -> View {
        let (width, height) = (self.width / 2, self.height / 2);
        let mut light = Vec::with_capacity(width * height);
        let mut skin = Vec::with_capacity(width * height);
        let mut pictured = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                let at = 2 * y * self.width + 2 * x;
                let four = [at, at + 1, at + self.width, at + self.width + 1];
                light.push(
                    [0, 1, 2].map(|c: usize| four.iter().map(|at| self.light[*at][c]).sum::<f32>() / 4.0),
                );
                skin.push(four.iter().all(|at| self.skin[*at]));
                pictured.push(four.iter().all(|at| self.pictured[*at]));
            }
        }
        View { width, height, px_per_mm: self.px_per_mm / 2.0, corner: self.corner, light, skin, pictured }
    }

    /// The part within a distance of a pixel, px.
    pub(in crate::wound) fn cropped(&self, (x, y): (usize, usize), reach_px: usize) -> View {
        let (left, top) = (x.saturating_sub(reach_px), y.saturating_sub(reach_px));
        let (right, bottom) = ((x + reach_px + 1).min(self.width), (y + reach_px + 1).min(self.height));
        let rows = || (top..bottom).map(|row| row * self.width + left..row * self.width + right);
        let step = 1.0 / f64::from(self.px_per_mm);
        View {
            width: right - left,
            height: bottom - top,
            px_per_mm: self.px_per_mm,
            corner: MmPoint {
                x_mm: self.corner.x_mm + left as f64 * step,
                y_mm: self.corner.y_mm + top as f64 * step,
            },
            light: rows().flat_map(|row| self.light[row].iter().copied()).collect(),
            skin: rows().flat_map(|row| self.skin[row].iter().copied()).collect(),
            pictured: rows().flat_map(|row| self.pictured[row].iter().copied()).collect(),
        }
    }

    /// The view's pixels for a place, as (right, down) from the middle of the first pixel.
    pub(in crate::wound) fn px_of(&self, at: MmPoint) -> (f32, f32) {
        let along = |mm: f64| (mm * f64::from(self.px_per_mm)) as f32 - 0.5;
        (along(at.x_mm - self.corner.x_mm), along(at.y_mm - self.corner.y_mm))
    }

    /// The place of a view pixel; fractions lie between the middles of pixels.
    pub(in crate::wound) fn mm_of(&self, x: f32, y: f32) -> MmPoint {
        let along = |px: f32| f64::from(px + 0.5) / f64::from(self.px_per_mm);
        MmPoint { x_mm: self.corner.x_mm + along(x), y_mm: self.corner.y_mm + along(y) }
    }
}

/// Light at a place between pixels; `None` outside the picture.
pub(in crate::wound) fn sample(picture: &Picture, at: PxPoint) -> Option<Light> {
    let (x, y) = (at.x_px - 0.5, at.y_px - 0.5);
    let (last_x, last_y) = (picture.width() - 1, picture.height() - 1);
    if !(x >= -0.5 && y >= -0.5 && x <= last_x as f64 + 0.5 && y <= last_y as f64 + 0.5) {
        return None;
    }
    let (x, y) = (x.clamp(0.0, last_x as f64), y.clamp(0.0, last_y as f64));
    let (left, top) = (x as usize, y as usize);
    let (right, below) = ((left + 1).min(last_x), (top + 1).min(last_y));
    let (fx, fy) = ((x - left as f64) as f32, (y - top as f64) as f32);
    let table = linear_light();
    let rgb = picture.rgb();
    let pixel = |x: usize, y: usize| {
        let at = 3 * (y * picture.width() + x);
        [table[usize::from(rgb[at])], table[usize::from(rgb[at + 1])], table[usize::from(rgb[at + 2])]]
    };
    let (a, b, c, d) = (pixel(left, top), pixel(right, top), pixel(left, below), pixel(right, below));
    Some([0, 1, 2].map(|k: usize| {
        let upper = a[k] + (b[k] - a[k]) * fx;
        let lower = c[k] + (d[k] - c[k]) * fx;
        upper + (lower - upper) * fy
    }))
}
