//! The line drawn round the redness with a blue or violet pen: found, and taken out before colours are compared.

use crate::wound::mask::Mask;
use crate::wound::tint::SkinTint;
use crate::wound::tint::Tint;
use crate::wound::view::View;

/// Blue and violet ink is bluer than skin by this much (ln G − ln B), and less red than a bed.
const BLUER: f32 = 0.3;
const LESS_RED_THAN: f32 = 1.25;
/// Black ink, and hair, is darker than skin by this much and has about its colour (natural-log units).
const DARKER: f32 = 0.6;
const SAME_COLOUR: f32 = 0.4;
/// A line is no wider than this, mm.
const WIDEST_MM: f32 = 3.0;
/// A piece of line is no shorter than this, mm.
const SHORTEST_MM: f32 = 5.0;
/// How far a line's blurred rim reaches, mm.
const RIM_MM: f32 = 0.7;

/// Where thin lines of ink, or hair, lie on the skin; all false where there are none. What lies mostly within a region
/// taken for the wound is dark tissue and no line.
pub(in crate::wound) fn pen(view: &View, tints: &[Tint], skin: &SkinTint, within: Option<&Mask>) -> Mask {
    let is_ink = |at: usize| {
        let [red, yellow, bright] = [0, 1, 2].map(|axis: usize| tints[at][axis] - skin.mode[axis]);
        let coloured = yellow < -BLUER && red < LESS_RED_THAN;
        let black = bright < -DARKER && red.abs() < SAME_COLOUR && yellow.abs() < SAME_COLOUR;
        view.skin[at] && (coloured || black)
    };
    let ink = Mask::new(view.width, view.height, (0..tints.len()).map(is_ink).collect());
    // What stays after shrinking is no line: a blue cloth, a shadow, dark tissue.
    let half = WIDEST_MM / 2.0 * view.px_per_mm;
    let broad = ink.shrunk(half).grown(half + 2.0);
    let cells = ink.cells.iter().zip(&broad.cells).map(|(ink, broad)| *ink && !broad).collect();
    let mut lines = Mask { cells, ..ink };
    lines.keep_parts(|part| {
        part.extent_px() >= SHORTEST_MM * view.px_per_mm
            && !within.is_some_and(|wound| part.inside(wound) > 0.3)
    });
    lines
}

/// The view with the pen and its rim replaced by the nearest skin beside it.
pub(in crate::wound) fn without(view: &View, ink: &Mask) -> View {
    let covered = ink.grown(RIM_MM * view.px_per_mm);
    let mut view = view.clone();
    fill(&mut view.light, &covered);
    view
}

/// Fills a region from its border inwards, each pixel with the mean of its filled neighbours.
fn fill(light: &mut [[f32; 3]], covered: &Mask) {
    let (width, height) = (covered.width, covered.height);
    let depth = covered.inverted().distances();
    let mut order: Vec<usize> = (0..light.len()).filter(|at| covered.cells[*at]).collect();
    if order.len() == light.len() {
        return;
    }
    order.sort_by(|a, b| depth[*a].total_cmp(&depth[*b]));
    let mut done: Vec<bool> = covered.cells.iter().map(|covered| !covered).collect();
    for at in order {
        let (x, y) = (at % width, at / width);
        let (mut sum, mut count) = ([0.0f32; 3], 0.0f32);
        for v in y.saturating_sub(1)..=(y + 1).min(height - 1) {
            for u in x.saturating_sub(1)..=(x + 1).min(width - 1) {
                let other = v * width + u;
                if done[other] {
                    (0..3).for_each(|c| sum[c] += light[other][c]);
                    count += 1.0;
                }
            }
        }
        if count > 0.0 {
            light[at] = sum.map(|value| value / count);
        }
        done[at] = true;
    }
}
