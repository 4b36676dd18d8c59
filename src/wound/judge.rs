//! How well an edge fits: skin outside, no skin inside, a clear step between.

use crate::wound::mask::Mask;
use crate::wound::segment::Colours;
use crate::wound::tint::median;
use crate::wound::view::View;

/// One way to see the wound.
#[derive(Clone)]
pub(in crate::wound) struct Candidate {
    pub(in crate::wound) mask: Mask,
    /// Share of the rim just outside that looks like this patient's skin, 0–1.
    pub(in crate::wound) skin_share: f32,
    /// Share of the inside that does not look like skin, 0–1.
    pub(in crate::wound) bed_share: f32,
    /// Colour step from just inside to just outside, median over the edge, in natural-log units.
    pub(in crate::wound) step: f32,
    /// Goes as far as was looked.
    pub(in crate::wound) reaches: bool,
    pub(in crate::wound) score: f32,
}

/// How well what lies just outside looks like skin, and how clear the step is.
pub(in crate::wound) fn judge(
    view: &View,
    colours: &Colours,
    mask: Mask,
    tap: (usize, usize),
    reach_mm: f32,
) -> Candidate {
    let per_mm = view.px_per_mm;
    let outside = mask.distances();
    let inside = mask.inverted().distances();
    let ring = |far: &[f32], from: f32, to: f32| -> Vec<usize> {
        (0..far.len())
            .filter(|at| view.skin[*at] && far[*at] > from * per_mm && far[*at] <= to * per_mm)
            .collect()
    };
    let rim = ring(&outside, 1.4, 2.4);
    let bed = ring(&inside, 0.8, 2.2);
    let skin_share = match &colours.skin {
        Some(skin) if !rim.is_empty() => {
            rim.iter().filter(|at| skin.passes(&colours.tints[**at])).count() as f32 / rim.len() as f32
        }
        Some(_) | None => 0.0,
    };
    let step = step(view, colours, &rim, &bed);
    let width = view.width;
    let reaches = mask.cells.iter().enumerate().any(|(at, inside)| {
        let (x, y) = ((at % width) as f32 - tap.0 as f32, (at / width) as f32 - tap.1 as f32);
        *inside && x.hypot(y) / per_mm > reach_mm - 2.0
    });
    let bed_share = match &colours.skin {
        Some(skin) => {
            let mine = |at: &usize| mask.cells[*at] && view.skin[*at];
            let all: Vec<usize> = (0..mask.cells.len()).filter(mine).collect();
            let like_skin = all.iter().filter(|at| skin.passes(&colours.tints[**at])).count();
            1.0 - like_skin as f32 / all.len().max(1) as f32
        }
        None => 0.0,
    };
    let score = bed_share.powi(2).max(0.05)
        * skin_share.powf(1.5)
        * step.min(2.0).sqrt()
        * if reaches { 0.3 } else { 1.0 };
    Candidate { mask, skin_share, bed_share, step, reaches, score }
}

/// Median over the rim of the colour distance to the nearest part of the bed.
fn step(view: &View, colours: &Colours, rim: &[usize], bed: &[usize]) -> f32 {
    if rim.is_empty() || bed.is_empty() {
        return 0.0;
    }
    let place = |at: usize| ((at % view.width) as f32, (at / view.width) as f32);
    let stride = (rim.len() / 200).max(1);
    let steps = rim.iter().step_by(stride).map(|at| {
        let (x, y) = place(*at);
        let near = bed.iter().min_by(|a, b| {
            let far = |at: usize| (place(at).0 - x).powi(2) + (place(at).1 - y).powi(2);
            far(**a).total_cmp(&far(**b))
        });
        let (here, there) = (&colours.tints[*at], &colours.tints[*near.unwrap_or(at)]);
        (0..3).map(|axis| (here[axis] - there[axis]).powi(2)).sum::<f32>().sqrt()
    });
    median(steps.collect())
}
