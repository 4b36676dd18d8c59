//! A second, closer look at the edge: the border cut again at the picture's own resolution, in a narrow band.

use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::SkinPlane;
use crate::wound::contour;
use crate::wound::mask::Mask;
use crate::wound::pen;
use crate::wound::segment;
use crate::wound::segment::Colours;
use crate::wound::segment::Prior;
use crate::wound::tint::SkinTint;
use crate::wound::tint::tints;
use crate::wound::view::View;

/// Skin taken in around the wound, mm.
const AROUND_MM: f64 = 8.0;
/// More than this beyond the first edge is skin for sure, mm.
const SURE_SKIN_MM: f32 = 3.5;
/// More than this inside the first edge is wound for sure, mm.
const SURE_WOUND_MM: f32 = 3.0;
/// Most view pixels looked at.
const MOST_PX: f64 = 260_000.0;
/// View pixels for one picture pixel.
const FINER: f64 = 1.2;
/// Blur of the cut's staircase before its half-way line is taken, mm.
const SMOOTH_MM: f32 = 0.3;

/// Blur of the light before colours are compared, mm: sensor noise and grain.
const SOFT_MM: f32 = 0.25;

/// A wound edge at the picture's own resolution.
pub(in crate::wound) struct FineEdge {
    pub(in crate::wound) view: View,
    pub(in crate::wound) colours: Colours,
    pub(in crate::wound) mask: Mask,
    /// Closed lines around the mask, in view pixels.
    pub(in crate::wound) lines: Vec<Vec<contour::Place>>,
}

/// Looks again at an edge found in a coarser view.
pub(in crate::wound) fn look(
    picture: &Picture,
    plane: &SkinPlane,
    coarse: &View,
    found: &Mask,
    skin: Option<SkinTint>,
    covers: impl Fn(MmPoint) -> bool,
) -> Option<FineEdge> {
    let (middle, reach_mm) = span(coarse, found)?;
    let reach_mm = reach_mm + AROUND_MM;
    let native = 1.0 / plane.mm_per_px_at(middle);
    let affordable = MOST_PX.sqrt() / (2.0 * reach_mm);
    let px_per_mm = (FINER * native).min(affordable);
    let view = View::flat(picture, plane, middle, reach_mm, px_per_mm, covers);
    let view = match &skin {
        Some(skin) => {
            let ink = pen::pen(&view, &tints(&view), skin);
            if ink.count() == 0 { view } else { pen::without(&view, &ink) }
        }
        None => view,
    };
    let soft = softened(&view, SOFT_MM * view.px_per_mm);
    let colours = Colours::of(&soft, skin);
    let (outside, inside) = (found.distances(), found.inverted().distances());
    let beyond: Vec<f32> = (0..view.light.len())
        .map(|at| {
            let place = view.mm_of((at % view.width) as f32, (at / view.width) as f32);
            let (x, y) = coarse.px_of(place);
            signed(found, &outside, &inside, x, y) / coarse.px_per_mm
        })
        .collect();
    let prior: Vec<Prior> = beyond
        .iter()
        .zip(&view.skin)
        .map(|(beyond, skin)| match *beyond {
            _ if !skin => Prior::SureSkin,
            far if far > par("SS", SURE_SKIN_MM) => Prior::SureSkin,
            far if far > 0.0 => Prior::MaybeSkin,
            far if far > -par("SW", SURE_WOUND_MM) => Prior::MaybeWound,
            _ => Prior::SureWound,
        })
        .collect();
    let gap = par("GAP", 0.6);
    let learnt = segment::learn(
        &colours,
        |at| soft.skin[at] && beyond[at] < -gap,
        |at| soft.skin[at] && beyond[at] > gap,
    )?;
    let mask = segment::cut_by(&soft, &colours, &prior, &learnt);
    let opened = mask.shrunk(0.4 * view.px_per_mm).grown(0.4 * view.px_per_mm);
    let (_, part) = opened.parts().into_iter().next()?;
    let closed = part.grown(0.6 * view.px_per_mm).shrunk(0.6 * view.px_per_mm);
    let mask = closed.with(&closed.holes());
    let field = blurred(&mask, SMOOTH_MM * view.px_per_mm);
    let lines = contour::closed_lines(&field, view.width, view.height, 0.5);
    Some(FineEdge { view, colours, mask, lines })
}

/// The middle of a mask and how far it reaches from there, mm.
fn span(view: &View, mask: &Mask) -> Option<(MmPoint, f64)> {
    let (mut low, mut high) = ([f32::INFINITY; 2], [f32::NEG_INFINITY; 2]);
    for (at, inside) in mask.cells.iter().enumerate() {
        if *inside {
            let place = [(at % mask.width) as f32, (at / mask.width) as f32];
            for axis in 0..2 {
                low[axis] = low[axis].min(place[axis]);
                high[axis] = high[axis].max(place[axis]);
            }
        }
    }
    let reach_px = (high[0] - low[0]).max(high[1] - low[1]) / 2.0;
    reach_px.is_finite().then(|| {
        let middle = view.mm_of((low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0);
        (middle, f64::from(reach_px / view.px_per_mm))
    })
}

/// Distance beyond a mask's edge at a place, px, negative inside; interpolated between pixels.
fn signed(mask: &Mask, outside: &[f32], inside: &[f32], x: f32, y: f32) -> f32 {
    let at = |x: f32, y: f32| {
        let column = x.clamp(0.0, mask.width as f32 - 1.0) as usize;
        let row = y.clamp(0.0, mask.height as f32 - 1.0) as usize;
        let at = row * mask.width + column;
        if mask.cells[at] { 0.5 - inside[at] } else { outside[at] - 0.5 }
    };
    let (left, top) = (x.floor(), y.floor());
    let (fx, fy) = (x - left, y - top);
    let upper = at(left, top) * (1.0 - fx) + at(left + 1.0, top) * fx;
    let lower = at(left, top + 1.0) * (1.0 - fx) + at(left + 1.0, top + 1.0) * fx;
    upper * (1.0 - fy) + lower * fy
}

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

pub(in crate::wound) fn par(name: &str, usual: f32) -> f32 {
    std::env::var(name).ok().and_then(|s| s.parse().ok()).unwrap_or(usual)
}

/// The view with its light blurred.
fn softened(view: &View, sigma_px: f32) -> View {
    let sigma_px = par("SOFT", 0.25) / 0.25 * sigma_px;
    let channels = [0, 1, 2].map(|c: usize| {
        let field: Vec<f32> = view.light.iter().map(|light| light[c]).collect();
        blur(&field, view.width, view.height, sigma_px)
    });
    let light = (0..view.light.len()).map(|at| [channels[0][at], channels[1][at], channels[2][at]]).collect();
    View { light, ..view.clone() }
}
