//! The light on the scene: its colour, its gradient, its shadow.

use super::camera::Camera;
use super::cases::Case;
use super::chance::Chance;
use super::chance::smooth_step;
use super::colour::Rgb;
use super::colour::light_of;
use super::colour::mix;
use super::colour::scaled;
use super::wish::Wish;

pub struct Light {
    middle: [f32; 2],
    half_diagonal: f32,
    /// What is left of the light's colour after the phone's white balance.
    pub colour: Rgb,
    other_colour: Option<Rgb>,
    toward: [f32; 2],
    uneven: f32,
    vignette: f32,
    shadow: Option<Shadow>,
    sheen: f32,
    sheen_at: [f32; 2],
}

struct Shadow {
    normal: [f32; 2],
    offset: f32,
    half_shade: f32,
    left: f32,
    wave: [f32; 3],
}

fn residual(wish: &Wish, kelvin: f64) -> Rgb {
    let mut left = light_of(kelvin).map(|value| value.powf(1.0 - wish.awb as f32));
    left[1] *= 1.0 + wish.cast_tint as f32;
    if wish.case == Case::RedLight {
        left = [left[0] * 1.9, left[1] * 0.4, left[2] * 0.36];
    }
    left
}

impl Light {
    pub fn of(wish: &Wish, camera: &Camera) -> Light {
        let chance = &mut Chance::new(wish.seed, "light");
        let mut direction = || {
            let (sin, cos) = chance.between(0.0, std::f64::consts::TAU).sin_cos();
            [cos as f32, sin as f32]
        };
        let (toward, normal) = (direction(), direction());
        let other_kelvin = if wish.cct > 4_500.0 { wish.cct * 0.6 } else { wish.cct * 1.6 };
        let shadow = Shadow {
            normal,
            offset: chance.between(0.05, 0.6) as f32,
            half_shade: chance.between(0.01, 0.12) as f32,
            left: chance.between(0.4, 0.7) as f32,
            wave: [0.06, chance.between(2.0, 6.0) as f32, chance.between(0.0, 6.0) as f32],
        };
        let sheen_at = [chance.between(-0.6, 0.6) as f32, chance.between(-0.6, 0.6) as f32];
        let (w, h) = (camera.width as f32, camera.height as f32);
        Light {
            middle: [w / 2.0, h / 2.0],
            half_diagonal: w.hypot(h) / 2.0,
            colour: residual(wish, wish.cct),
            other_colour: wish.mixed_light.then(|| residual(wish, other_kelvin)),
            toward,
            uneven: wish.uneven as f32,
            vignette: wish.vignette as f32,
            shadow: wish.shadow.then_some(shadow),
            sheen: wish.sheen as f32,
            sheen_at,
        }
    }

    /// Where the light comes from, in the picture.
    pub fn toward(&self) -> [f32; 2] {
        self.toward
    }

    /// Light on a matt surface at a place in the picture, and how much of the lamp a glossy one mirrors there.
    #[inline]
    pub fn at(&self, x_px: f32, y_px: f32) -> (Rgb, f32) {
        let x = (x_px - self.middle[0]) / self.half_diagonal;
        let y = (y_px - self.middle[1]) / self.half_diagonal;
        let along = x * self.toward[0] + y * self.toward[1];
        let mut strength = (self.uneven * along).exp() * (1.0 - self.vignette * (x * x + y * y));
        if let Some(shadow) = &self.shadow {
            let beside = -x * shadow.normal[1] + y * shadow.normal[0];
            let wave = shadow.wave[0] * (beside * shadow.wave[1] + shadow.wave[2]).sin();
            let deep = x * shadow.normal[0] + y * shadow.normal[1] - shadow.offset + wave;
            let shade = smooth_step(-shadow.half_shade, shadow.half_shade, deep);
            strength *= 1.0 - (1.0 - shadow.left) * shade;
        }
        let colour = match self.other_colour {
            Some(other) => mix(self.colour, other, smooth_step(-0.8, 0.8, along)),
            None => self.colour,
        };
        let (sx, sy) = (x - self.sheen_at[0], y - self.sheen_at[1]);
        let mirrored = self.sheen * 0.22 * (-(sx * sx + sy * sy) / 0.1).exp();
        (scaled(colour, strength), mirrored)
    }
}
