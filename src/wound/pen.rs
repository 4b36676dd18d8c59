//! The line drawn round the redness with a blue or violet pen: found, and taken out before colours are compared.

use crate::wound::Outline;
use crate::wound::PenLine;
use crate::wound::mask::Mask;
use crate::wound::redness;
use crate::wound::redness::Around;
use crate::wound::survey::Survey;
use crate::wound::tint::SkinTint;
use crate::wound::tint::Tint;
use crate::wound::tint::median;
use crate::wound::view::View;

/// Blue and violet ink is bluer than skin by this much (ln G − ln B); more so where it is redder as well, as redness and the
/// bed are a little bluer too.
const BLUER: f32 = 0.3;
const BLUER_PER_RED: f32 = 0.4;
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
        let coloured = yellow < -BLUER - BLUER_PER_RED * red.max(0.0);
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

/// Nobody draws a line round redness nearer to the wound than this, mm.
const NEAREST_MM: f32 = 2.0;
/// Directions a line must be seen in to be the one drawn round the redness.
const PEN_SECTORS: usize = 12;

/// Where the pen line lies against the redness.
pub(in crate::wound) fn line(survey: &Survey, outline: &Outline, around: Option<&Around>) -> PenLine {
    let view = &survey.view;
    let middle = view.px_of(outline.middle());
    let beyond = survey.mask_of(outline).distances();
    let mut far: Vec<Vec<f32>> = vec![Vec::new(); redness::SECTORS];
    // Dark tissue and the shadow of the wound's own edge are no line.
    let mut lines = survey.ink.clone();
    for (cell, beyond) in lines.cells.iter_mut().zip(&beyond) {
        *cell &= *beyond > NEAREST_MM * view.px_per_mm;
    }
    lines.keep_parts(|part| {
        let mut seen = [false; redness::SECTORS];
        for at in &part.cells {
            seen[redness::sector((at % view.width) as f32 - middle.0, (at / view.width) as f32 - middle.1)] =
                true;
        }
        seen.iter().filter(|seen| **seen).count() >= PEN_SECTORS
    });
    for at in (0..lines.cells.len()).filter(|at| lines.cells[*at]) {
        let direction =
            redness::sector((at % view.width) as f32 - middle.0, (at / view.width) as f32 - middle.1);
        far[direction].push(beyond[at] / view.px_per_mm);
    }
    if far.iter().all(Vec::is_empty) {
        return PenLine::NotSeen;
    }
    let past = around.into_iter().flat_map(|around| {
        far.iter().zip(&around.reach_mm).filter_map(|(line, reach)| {
            let reach = (*reach)?;
            (!line.is_empty()).then(|| f64::from(reach - median(line.clone())))
        })
    });
    PenLine::Seen { beyond_mm: past.max_by(f64::total_cmp) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wound::scene;
    use crate::wound::scene::far_mm;
    use crate::wound::tint::tints;

    fn ink_of(view: &View) -> Mask {
        let tints = tints(view);
        pen(view, &tints, &SkinTint::of(&tints).unwrap(), None)
    }

    #[test]
    fn a_drawn_ring_is_a_line_and_a_blue_cloth_is_none() {
        let ring = scene::view(|at| if (far_mm(at) - 30.0).abs() < 1.0 { scene::INK } else { scene::SKIN });
        let found = ink_of(&ring).count() as f32 / 1.5f32.powi(2);
        // 2 mm wide and 188 mm long.
        assert!((300.0..=440.0).contains(&found), "{found}");
        let cloth = scene::view(|at| if at.x_mm > 60.0 { scene::INK } else { scene::SKIN });
        assert_eq!(ink_of(&cloth).count(), 0);
    }

    #[test]
    fn the_line_is_gone_from_the_view_without_it() {
        let ring = scene::view(|at| if (far_mm(at) - 30.0).abs() < 1.0 { scene::INK } else { scene::SKIN });
        let clear = without(&ring, &ink_of(&ring));
        assert_eq!(ink_of(&clear).count(), 0);
        let bluest = clear.light.iter().map(|light| light[2] / light[0]).fold(0.0, f32::max);
        assert!(bluest < 0.6, "{bluest}");
    }

    #[test]
    fn what_lies_in_the_wound_is_no_line() {
        let view = scene::view(|at| match far_mm(at) {
            far if far < 20.0 && at.x_mm.abs() < 0.8 => scene::INK,
            far if far < 20.0 => scene::BED,
            _ => scene::SKIN,
        });
        let tints = tints(&view);
        let cells = (0..tints.len())
            .map(|at| far_mm(view.mm_of((at % 300) as f32, (at / 300) as f32)) < 20.0)
            .collect();
        let wound = Mask::new(300, 300, cells);
        let skin = SkinTint::of(&tints).unwrap();
        assert!(pen(&view, &tints, &skin, None).count() > 0);
        assert_eq!(pen(&view, &tints, &skin, Some(&wound)).count(), 0);
    }
}
