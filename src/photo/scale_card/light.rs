//! How bright a picture is at any place, between its pixels too.

use crate::photo::Picture;
use crate::photo::linear_light;

/// What is read off a pixel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Light {
    /// Linear light, weighted over red, green and blue; the weights sum to 1.
    Linear([f32; 3]),
    /// The levels as stored, 0 to 1: about as even to the eye.
    Encoded,
}

/// Luminance weights of sRGB (IEC 61966-2-1).
pub(super) const LUMINANCE: [f32; 3] = [0.2126, 0.7152, 0.0722];

/// Reads brightness off a picture.
#[derive(Clone, Copy)]
pub(super) struct Meter<'a> {
    picture: &'a Picture,
    light: Light,
    table: &'static [f32; 256],
}

impl<'a> Meter<'a> {
    pub fn new(picture: &'a Picture, light: Light) -> Meter<'a> {
        Meter { picture, light, table: linear_light() }
    }

    /// `None` outside the picture, and for a place that is no number.
    pub fn at(&self, [x_px, y_px]: [f64; 2]) -> Option<f64> {
        let (x, y) = (x_px - 0.5, y_px - 0.5);
        let (width, height) = (self.picture.width(), self.picture.height());
        if !(x >= 0.0 && y >= 0.0 && x < (width - 1) as f64 && y < (height - 1) as f64) {
            return None;
        }
        let (column, line) = (x as usize, y as usize);
        let (fx, fy) = ((x - column as f64) as f32, (y - line as f64) as f32);
        let start = (line * width + column) * 3;
        let rgb = self.picture.rgb();
        let upper = self.pixel(rgb, start) * (1.0 - fx) + self.pixel(rgb, start + 3) * fx;
        let lower =
            self.pixel(rgb, start + 3 * width) * (1.0 - fx) + self.pixel(rgb, start + 3 * width + 3) * fx;
        Some(f64::from(upper * (1.0 - fy) + lower * fy))
    }

    fn pixel(&self, rgb: &[u8], start: usize) -> f32 {
        let [r, g, b] = [rgb[start], rgb[start + 1], rgb[start + 2]];
        match self.light {
            Light::Linear(weights) => {
                weights[0] * self.table[usize::from(r)]
                    + weights[1] * self.table[usize::from(g)]
                    + weights[2] * self.table[usize::from(b)]
            }
            Light::Encoded => {
                (LUMINANCE[0] * f32::from(r) + LUMINANCE[1] * f32::from(g) + LUMINANCE[2] * f32::from(b))
                    / 255.0
            }
        }
    }
}
