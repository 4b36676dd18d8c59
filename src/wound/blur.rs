//! Gaussian blur of masks, fields and views.

use crate::wound::mask::Mask;
use crate::wound::view::View;

/// Gaussian blur of a mask, by rows then columns.
pub(in crate::wound) fn blurred(mask: &Mask, sigma_px: f32) -> Vec<f32> {
    let field: Vec<f32> = mask.cells.iter().map(|inside| if *inside { 1.0 } else { 0.0 }).collect();
    blur(&field, mask.width, mask.height, sigma_px)
}

pub(in crate::wound) fn blur(field: &[f32], width: usize, height: usize, sigma_px: f32) -> Vec<f32> {
    let reach = (3.0 * sigma_px).ceil() as isize;
    let weights: Vec<f32> =
        (-reach..=reach).map(|step| (-0.5 * (step as f32 / sigma_px).powi(2)).exp()).collect();
    let sum: f32 = weights.iter().sum();
    let mut along = vec![0.0f32; field.len()];
    for (row, out) in field.chunks_exact(width).zip(along.chunks_exact_mut(width)) {
        for (x, out) in out.iter_mut().enumerate() {
            let value = |step: isize| row[(x as isize + step).clamp(0, width as isize - 1) as usize];
            *out =
                (-reach..=reach).zip(&weights).map(|(step, weight)| value(step) * weight).sum::<f32>() / sum;
        }
    }
    let mut out = vec![0.0f32; field.len()];
    for (y, row) in out.chunks_exact_mut(width).enumerate() {
        for (step, weight) in (-reach..=reach).zip(&weights) {
            let from = (y as isize + step).clamp(0, height as isize - 1) as usize * width;
            for (out, value) in row.iter_mut().zip(&along[from..from + width]) {
                *out += value * weight / sum;
            }
        }
    }
    out
}

/// The view with its light blurred.
pub(in crate::wound) fn softened(view: &View, sigma_px: f32) -> View {
    let channels = [0, 1, 2].map(|c: usize| {
        let field: Vec<f32> = view.light.iter().map(|light| light[c]).collect();
        blur(&field, view.width, view.height, sigma_px)
    });
    let light = (0..view.light.len()).map(|at| [channels[0][at], channels[1][at], channels[2][at]]).collect();
    View { light, ..view.clone() }
}
