//! Blur of the lens and of the hand, in linear light, where it happens.

use super::chance::Chance;
use super::frame::Frame;
use super::wish::Wish;

/// The longest side that blur lengths of a wish refer to, px.
pub const BLUR_SIDE_PX: f64 = 4_032.0;
/// Even a sharp lens spreads a point over its pixel's neighbours.
const SHARPEST_PX: f64 = 0.42;

/// Standard deviation of the defocus in px of this picture.
pub fn defocus_sigma_px(wish: &Wish, longest_px: usize) -> f64 {
    (wish.defocus_px * longest_px as f64 / BLUR_SIDE_PX).hypot(SHARPEST_PX)
}

/// Length of the shake in px of this picture.
pub fn motion_px(wish: &Wish, longest_px: usize) -> f64 {
    wish.motion_px * longest_px as f64 / BLUR_SIDE_PX
}

pub fn blur(frame: &mut Frame, wish: &Wish, longest_px: usize) {
    gaussian(frame, defocus_sigma_px(wish, longest_px));
    let length = motion_px(wish, longest_px);
    if length > 0.3 {
        let angle = Chance::new(wish.seed, "shake").between(0.0, std::f64::consts::PI);
        shake(frame, [length * angle.cos(), length * angle.sin()]);
    }
}

fn gaussian(frame: &mut Frame, sigma: f64) {
    let reach = (3.2 * sigma).ceil() as i64;
    let raw: Vec<f64> = (-reach..=reach).map(|at| (-0.5 * (at as f64 / sigma).powi(2)).exp()).collect();
    let sum: f64 = raw.iter().sum();
    let taps: Vec<[f64; 3]> =
        raw.iter().enumerate().map(|(at, weight)| [at as f64 - reach as f64, 0.0, weight / sum]).collect();
    spread(frame, &taps);
    let turned: Vec<[f64; 3]> = taps.iter().map(|[x, y, weight]| [*y, *x, *weight]).collect();
    spread(frame, &turned);
}

/// An even line, sampled every half pixel and shared among the four pixels around each sample.
fn shake(frame: &mut Frame, [dx, dy]: [f64; 2]) {
    let samples = (dx.hypot(dy) * 2.0).ceil() as usize + 1;
    let mut taps: Vec<[f64; 3]> = Vec::new();
    for step in 0..samples {
        let along = (step as f64 + 0.5) / samples as f64 - 0.5;
        let (x, y) = (dx * along, dy * along);
        let (x0, y0) = (x.floor(), y.floor());
        for (ox, oy) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
            let weight = (1.0 - (x - x0 - ox).abs()) * (1.0 - (y - y0 - oy).abs()) / samples as f64;
            match taps.iter_mut().find(|tap| tap[0] == x0 + ox && tap[1] == y0 + oy) {
                Some(tap) => tap[2] += weight,
                None => taps.push([x0 + ox, y0 + oy, weight]),
            }
        }
    }
    taps.retain(|tap| tap[2] > 1e-6);
    spread(frame, &taps);
}

/// Each pixel becomes the weighted sum of its neighbours at whole offsets (x, y, weight); the border is continued.
fn spread(frame: &mut Frame, taps: &[[f64; 3]]) {
    let height = frame.height as i64;
    let row_len = frame.width * 3;
    let margin = taps.iter().map(|tap| tap[0].abs() as usize).max().unwrap_or(0);
    let padded_len = row_len + 6 * margin;
    // Rows are continued left and right so that the inner loop runs without asking.
    let mut padded = vec![0.0_f32; padded_len * frame.height];
    for (row, out) in frame.light.chunks_exact(row_len).zip(padded.chunks_exact_mut(padded_len)) {
        out[3 * margin..3 * margin + row_len].copy_from_slice(row);
        for at in 0..margin {
            out.copy_within(3 * margin..3 * margin + 3, 3 * at);
            let last = 3 * margin + row_len;
            out.copy_within(last - 3..last, last + 3 * at);
        }
    }
    for (y, row) in frame.light.chunks_exact_mut(row_len).enumerate() {
        row.fill(0.0);
        for [dx, dy, weight] in taps {
            let from = (y as i64 + *dy as i64).clamp(0, height - 1) as usize;
            let start = from * padded_len + (margin as i64 + *dx as i64) as usize * 3;
            let weight = *weight as f32;
            let (from, mut at) = (&padded[start..start + row_len], 0);
            while at < row_len {
                row[at] += weight * from[at];
                at += 1;
            }
        }
    }
}
