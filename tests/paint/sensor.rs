//! The phone's own work: exposure, noise, clipping, tone curve, colour, sharpening, eight bits.

use super::cases::Case;
use super::chance::Chance;
use super::frame::Frame;
use super::wish::Wish;

/// Mean light a phone aims at (a little above the photographers' 18 %; common practice, no source).
const AIM: f64 = 0.20;
const TONE_STEPS: usize = 4096;

/// Factor that brings the picture's middle-weighted mean to the aim, and `ev` stops beyond.
pub fn exposure_gain(frame: &Frame, ev: f64) -> f64 {
    let (mut sum, mut weights) = (0.0, 0.0);
    for y in (0..frame.height).step_by(8) {
        for x in (0..frame.width).step_by(8) {
            let u = x as f64 / frame.width as f64 - 0.5;
            let v = y as f64 / frame.height as f64 - 0.5;
            let weight = 1.3 - 2.0 * (u * u + v * v);
            let at = (y * frame.width + x) * 3;
            let [r, g, b] = [0, 1, 2].map(|c| f64::from(frame.light[at + c]).min(1.5));
            sum += weight * (0.2126 * r + 0.7152 * g + 0.0722 * b);
            weights += weight;
        }
    }
    AIM * 2.0_f64.powf(ev) / (sum / weights).max(1e-6)
}

/// From linear light to the bytes of an sRGB picture.
pub fn develop(frame: &Frame, wish: &Wish) -> Vec<u8> {
    let tone: &[f32] = &tone_curve(wish.contrast_s);
    let saturation = match wish.case {
        Case::Monochrome => 0.0,
        _ => wish.saturation as f32,
    };
    let noise = Noise::new(wish);
    let mut shown = vec![0.0_f32; frame.light.len()];
    let mut bits = Chance::new(wish.seed, "noise");
    let row_len = frame.width * 3;
    // Colour noise is coarser than brightness noise: phones smooth it.
    let mut chroma = vec![[0.0_f32; 3]; frame.width.div_ceil(2)];
    for (y, (from, to)) in frame.light.chunks_exact(row_len).zip(shown.chunks_exact_mut(row_len)).enumerate()
    {
        if y % 2 == 0 {
            chroma.iter_mut().for_each(|cell| *cell = noise.three(bits.bits()));
        }
        for x in 0..frame.width {
            let (light, out) = (&from[x * 3..x * 3 + 3], &mut to[x * 3..x * 3 + 3]);
            let (grain, coarse) = (noise.three(bits.bits()), chroma[x / 2]);
            let mut c = 0;
            while c < 3 {
                let value = light[c] + noise.size(light[c]) * (0.8 * grain[c] + 0.6 * coarse[c]);
                out[c] = shown_level(tone, value);
                c += 1;
            }
            let grey = 0.299 * out[0] + 0.587 * out[1] + 0.114 * out[2];
            let coloured = |value: f32| grey + (value - grey) * saturation;
            (out[0], out[1], out[2]) = (coloured(out[0]), coloured(out[1]), coloured(out[2]));
        }
    }
    if wish.sharpen > 0.0 {
        sharpen(&mut shown, frame.width, frame.height, wish.sharpen as f32);
    }
    shown.iter().map(|value| (value.clamp(0.0, 1.0) * 255.0 + 0.5) as u8).collect()
}

#[inline]
fn shown_level(tone: &[f32], light: f32) -> f32 {
    let at = light.clamp(0.0, 1.0) * (TONE_STEPS - 2) as f32;
    let whole = at as usize;
    tone[whole] + (tone[whole + 1] - tone[whole]) * (at - whole as f32)
}

/// sRGB (IEC 61966-2-1) bent toward an S by `bend` (0–1).
fn tone_curve(bend: f64) -> Vec<f32> {
    (0..TONE_STEPS)
        .map(|step| {
            let linear = step as f64 / (TONE_STEPS - 2) as f64;
            let encoded =
                if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 };
            let bent = encoded * encoded * (3.0 - 2.0 * encoded);
            (encoded + bend * (bent - encoded)) as f32
        })
        .collect()
}

struct Noise {
    normals: Vec<f32>,
    strength: f32,
}

impl Noise {
    fn new(wish: &Wish) -> Noise {
        let mut chance = Chance::new(wish.seed, "normals");
        let normals = (0..1 << 14).map(|_| chance.normal() as f32).collect();
        Noise { normals, strength: wish.noise as f32 }
    }

    fn three(&self, bits: u64) -> [f32; 3] {
        let normals: &[f32] = &self.normals;
        let at = |shift: u32| normals[(bits >> shift) as usize & 0x3fff];
        [at(0), at(14), at(28)]
    }

    /// Shot noise grows with the root of the light; some noise is there in the dark.
    #[inline]
    fn size(&self, light: f32) -> f32 {
        self.strength * (light.clamp(0.0, 1.0) + 0.02).sqrt()
    }
}

/// Adds back what a 3 × 3 mean takes from the brightness.
fn sharpen(shown: &mut [f32], width: usize, height: usize, strength: f32) {
    let grey: Vec<f32> =
        shown.chunks_exact(3).map(|rgb| 0.299 * rgb[0] + 0.587 * rgb[1] + 0.114 * rgb[2]).collect();
    for y in 1..height - 1 {
        for x in 1..width - 1 {
            let at = y * width + x;
            let three = |middle: usize| grey[middle - 1] + grey[middle] + grey[middle + 1];
            let mean = (three(at - width) + three(at) + three(at + width)) / 9.0;
            let more = strength * (grey[at] - mean);
            shown[at * 3..at * 3 + 3].iter_mut().for_each(|value| *value += more);
        }
    }
}
