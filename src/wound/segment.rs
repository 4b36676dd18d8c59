//! Where the wound ends: from a place in it, by colour, with the patient's own skin as background.

use crate::wound::graph_cut::Grid;
use crate::wound::graph_cut::NEIGHBOURS;
use crate::wound::judge::Candidate;
use crate::wound::judge::judge;
use crate::wound::mask::Mask;
use crate::wound::mask::Part;
use crate::wound::mixture::Mixture;
use crate::wound::survey::Near;
use crate::wound::tint::SkinTint;
use crate::wound::tint::Tint;
use crate::wound::tint::median;
use crate::wound::tint::tints;
use crate::wound::view::View;

/// Scales of the three colour axes for the mixtures: differences between skin and bed come out some tens large.
const AXIS_SCALE: Tint = [80.0, 80.0, 55.0];
/// Radii of the first guesses round the tapped place, mm.
const START_RADII_MM: [f32; 4] = [5.0, 9.0, 14.0, 22.0];
/// Round the tapped place this much is wound for sure, mm.
const SURE_MM: f32 = 1.5;
/// How much a border costs beside the likelihoods (Rother, Kolmogorov and Blake 2004, ACM Trans. Graph. 23:309).
const BORDER_PRICE: f32 = 50.0;
/// Likelihood differences count at most this much for one pixel.
const MOST_LEAN: f32 = 60.0;
/// A label no likelihood overrules.
const FIXED: f32 = 1e6;

/// What the picture's colours are, ready to cut.
pub(in crate::wound) struct Colours {
    pub(in crate::wound) tints: Vec<Tint>,
    scaled: Vec<Tint>,
    pub(in crate::wound) skin: Option<SkinTint>,
    /// Colours of skin beyond what is cut: most of what a wound must stand out from.
    farther: Vec<Tint>,
    /// Middle and spread of reddened and of pale skin, scaled.
    pub(in crate::wound) expected: Vec<(Tint, Tint)>,
}

/// Reddened skin differs from the patient's own skin by this much (natural-log units): more blood takes away green and
/// blue alike, and some of the light.
const REDNESS: Tint = [0.25, 0.0, -0.15];
const REDNESS_SPREAD: Tint = [0.15, 0.08, 0.2];
const PALE_SPREAD: Tint = [0.15, 0.12, 0.35];
/// Share of the skin side that is expected to be of either kind although none was learnt.
const EXPECTED_SHARE: f32 = 0.05;

impl Colours {
    pub(in crate::wound) fn of(view: &View, skin: Option<SkinTint>) -> Colours {
        let tints = tints(view);
        let seen = |axis: usize| {
            let values = tints.iter().zip(&view.skin).filter(|(_, skin)| **skin).map(|(tint, _)| tint[axis]);
            median(values.collect())
        };
        let middle = [seen(0), seen(1), seen(2)];
        let scale = |tint: &Tint| [0, 1, 2].map(|axis: usize| (tint[axis] - middle[axis]) * AXIS_SCALE[axis]);
        let scaled = tints.iter().map(scale).collect();
        let part = |skin: &SkinTint, off: Tint, spread: Tint| {
            let mean = [0, 1, 2].map(|axis: usize| skin.mode[axis] + off[axis]);
            (scale(&mean), [0, 1, 2].map(|axis: usize| spread[axis] * AXIS_SCALE[axis]))
        };
        let expected = skin
            .iter()
            .flat_map(|skin| [part(skin, REDNESS, REDNESS_SPREAD), part(skin, skin.pale(), PALE_SPREAD)]);
        let expected = expected.collect();
        Colours { tints, scaled, skin, farther: Vec::new(), expected }
    }

    /// The colours of a part of the view; the rest is kept as farther skin.
    pub(in crate::wound) fn cropped(&self, view: &View, (x, y): (usize, usize), reach_px: usize) -> Colours {
        let within = |at: usize| {
            (at % view.width).abs_diff(x) <= reach_px && (at / view.width).abs_diff(y) <= reach_px
        };
        let part = |from: &[Tint]| (0..from.len()).filter(|at| within(*at)).map(|at| from[at]).collect();
        let farther =
            (0..self.scaled.len()).filter(|at| view.skin[*at] && !within(*at)).map(|at| self.scaled[at]);
        Colours {
            tints: part(&self.tints),
            scaled: part(&self.scaled),
            skin: self.skin,
            farther: farther.collect(),
            expected: self.expected.clone(),
        }
    }

    /// No colour anywhere: a black and white picture.
    pub(in crate::wound) fn is_monochrome(&self, view: &View) -> bool {
        let grey = |tint: &Tint| tint[0].abs() < 0.06 && tint[1].abs() < 0.06;
        let seen = || self.tints.iter().zip(&view.skin).filter(|(_, skin)| **skin);
        seen().filter(|(tint, _)| grey(tint)).count() * 100 > seen().count() * 98
    }
}

/// What a pixel is before the colours are asked.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(in crate::wound) enum Prior {
    SureWound,
    MaybeWound,
    MaybeSkin,
    SureSkin,
}

impl Prior {
    /// Not decided yet.
    fn is_open(self) -> bool {
        match self {
            Prior::MaybeWound | Prior::MaybeSkin => true,
            Prior::SureWound | Prior::SureSkin => false,
        }
    }
}

/// The colours of both sides.
pub(in crate::wound) struct Learnt {
    wound: Mixture,
    skin: Mixture,
}

/// Learns the colours of wound and skin from marked pixels. `None`: too few of either.
pub(in crate::wound) fn learn(
    colours: &Colours,
    is_wound: impl Fn(usize) -> bool,
    is_skin: impl Fn(usize) -> bool,
) -> Option<Learnt> {
    let of = |mine: &dyn Fn(usize) -> bool, more: &[Tint]| {
        let chosen = colours.scaled.iter().enumerate().filter(|(at, _)| mine(*at)).map(|(_, colour)| *colour);
        Mixture::fit(&chosen.chain(more.iter().copied()).collect::<Vec<Tint>>())
    };
    Some(Learnt { wound: of(&is_wound, &[])?, skin: of(&is_skin, &colours.farther)? })
}

/// Cuts wound from skin in rounds: colours of both sides are learnt, the cheapest border is found, and again.
/// `None`: too little of either to learn from.
pub(in crate::wound) fn cut(view: &View, colours: &Colours, prior: &[Prior], rounds: usize) -> Option<Mask> {
    let mut inside: Vec<bool> =
        prior.iter().map(|prior| matches!(prior, Prior::SureWound | Prior::MaybeWound)).collect();
    let borders = Borders::of(view, &colours.scaled, prior);
    for _ in 0..rounds {
        let mut learnt = learn(colours, |at| view.skin[at] && inside[at], |at| view.skin[at] && !inside[at])?;
        for (mean, spread) in &colours.expected {
            learnt.skin = learnt.skin.and(*mean, *spread, EXPECTED_SHARE);
        }
        let now = cut_once(view, colours, prior, &borders, &learnt);
        let same = now == inside;
        inside = now;
        if same {
            break;
        }
    }
    Some(Mask::new(view.width, view.height, inside))
}

/// The cheapest border with colours already learnt.
pub(in crate::wound) fn cut_by(view: &View, colours: &Colours, prior: &[Prior], learnt: &Learnt) -> Mask {
    let borders = Borders::of(view, &colours.scaled, prior);
    Mask::new(view.width, view.height, cut_once(view, colours, prior, &borders, learnt))
}

fn cut_once(
    view: &View,
    colours: &Colours,
    prior: &[Prior],
    borders: &Borders,
    learnt: &Learnt,
) -> Vec<bool> {
    let mut grid = Grid::new(view.width, view.height);
    for (at, kind) in prior.iter().enumerate() {
        // Decided pixels without an undecided neighbour change nothing, and take no part.
        let takes_part = kind.is_open()
            || (0..8).any(|direction| {
                neighbour(at, direction, view.width, view.height).is_some_and(|other| prior[other].is_open())
            });
        if !takes_part {
            continue;
        }
        let lean = match kind {
            Prior::SureWound => FIXED,
            Prior::SureSkin => -FIXED,
            Prior::MaybeWound | Prior::MaybeSkin if view.skin[at] => {
                let colour = &colours.scaled[at];
                (learnt.skin.surprise(colour) - learnt.wound.surprise(colour)).clamp(-MOST_LEAN, MOST_LEAN)
            }
            Prior::MaybeWound | Prior::MaybeSkin => -FIXED,
        };
        grid.lean(at % view.width, at / view.width, lean);
    }
    borders.put_into(&mut grid, view.width);
    let inside = grid.cut();
    inside.into_iter().zip(prior).map(|(inside, prior)| inside || *prior == Prior::SureWound).collect()
}

/// Prices of the borders to the four neighbours right and below; 0 between pixels that are both decided.
struct Borders(Vec<[f32; 4]>);

impl Borders {
    fn of(view: &View, scaled: &[Tint], prior: &[Prior]) -> Borders {
        let (width, height) = (view.width, view.height);
        let squared =
            |a: usize, b: usize| (0..3).map(|axis| (scaled[a][axis] - scaled[b][axis]).powi(2)).sum::<f32>();
        let mut apart = vec![[f32::INFINITY; 4]; scaled.len()];
        let (mut sum, mut count) = (0.0f64, 0u32);
        for at in 0..scaled.len() {
            for (direction, apart) in apart[at].iter_mut().enumerate() {
                let Some(other) = neighbour(at, direction, width, height) else { continue };
                if prior[at].is_open() || prior[other].is_open() {
                    *apart = if view.skin[at] && view.skin[other] { squared(at, other) } else { 0.0 };
                }
                // The usual step is that of all the skin in view, not that of the disputed band alone.
                if direction % 2 == 0 && view.skin[at] && view.skin[other] {
                    sum += f64::from(squared(at, other));
                    count += 1;
                }
            }
        }
        let usual = (sum / f64::from(count.max(1))).max(1e-6) as f32;
        for at in &mut apart {
            for (direction, apart) in at.iter_mut().enumerate() {
                let length = if direction % 2 == 0 { 1.0 } else { std::f32::consts::SQRT_2 };
                *apart = if apart.is_finite() {
                    BORDER_PRICE / length * (-*apart / (2.0 * usual)).exp()
                } else {
                    0.0
                };
            }
        }
        Borders(apart)
    }

    fn put_into(&self, grid: &mut Grid, width: usize) {
        for (at, prices) in self.0.iter().enumerate() {
            for (direction, price) in prices.iter().enumerate() {
                if *price > 0.0 {
                    grid.border(at % width, at / width, direction, *price);
                }
            }
        }
    }
}

fn neighbour(at: usize, direction: usize, width: usize, height: usize) -> Option<usize> {
    let (right, down) = NEIGHBOURS[direction];
    let x = (at % width).checked_add_signed(right)?;
    let y = (at / width).checked_add_signed(down)?;
    (x < width && y < height).then_some(y * width + x)
}

/// The ways the wound at a view pixel can be seen, the best first.
pub(in crate::wound) fn candidates(near: &Near) -> Vec<Candidate> {
    let Near { view, colours, tap, reach_mm } = near;
    let (tap, reach_mm) = (*tap, *reach_mm);
    let from_tap = |at: usize| {
        let (x, y) = ((at % view.width) as f32 - tap.0 as f32, (at / view.width) as f32 - tap.1 as f32);
        x.hypot(y) / view.px_per_mm
    };
    let mut found: Vec<Candidate> = Vec::new();
    for radius_mm in START_RADII_MM {
        let prior: Vec<Prior> = (0..view.light.len())
            .map(|at| match from_tap(at) {
                _ if !view.skin[at] => Prior::SureSkin,
                near if near <= SURE_MM => Prior::SureWound,
                near if near <= radius_mm => Prior::MaybeWound,
                near if near <= reach_mm => Prior::MaybeSkin,
                _ => Prior::SureSkin,
            })
            .collect();
        let Some(mask) = cut(view, colours, &prior, 4) else { continue };
        let mask = tidy(&mask, colours, tap, view.px_per_mm);
        if mask.count() > 0 {
            found.push(judge(view, colours, mask, tap, reach_mm));
        }
    }
    let fattest = found.iter().max_by(|a, b| a.score.total_cmp(&b.score)).map(|best| best.mask.clone());
    if let Some(mask) = fattest.and_then(|mask| peeled(view, colours, &mask, tap, &from_tap, reach_mm)) {
        found.push(judge(view, colours, mask, tap, reach_mm));
    }
    for at in 0..found.len() {
        let agree = (0..found.len())
            .filter(|other| *other != at && found[*other].mask.overlap(&found[at].mask) > 0.85);
        let bonus = 1.0 + 0.1 * agree.count() as f32;
        found[at].score *= bonus;
    }
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    found
}

/// A mask cut again from what of it does not look like skin: a reddened or pale rim falls off. `None`: nothing to peel.
fn peeled(
    view: &View,
    colours: &Colours,
    mask: &Mask,
    tap: (usize, usize),
    from_tap: &impl Fn(usize) -> f32,
    reach_mm: f32,
) -> Option<Mask> {
    let skin = colours.skin?;
    let bed: Vec<bool> =
        mask.cells.iter().zip(&colours.tints).map(|(inside, tint)| *inside && !skin.passes(tint)).collect();
    let prior: Vec<Prior> = (0..bed.len())
        .map(|at| match from_tap(at) {
            _ if !view.skin[at] => Prior::SureSkin,
            near if near <= SURE_MM => Prior::SureWound,
            _ if bed[at] => Prior::MaybeWound,
            near if near <= reach_mm => Prior::MaybeSkin,
            _ => Prior::SureSkin,
        })
        .collect();
    let mask = tidy(&cut(view, colours, &prior, 3)?, colours, tap, view.px_per_mm);
    (mask.count() > 0).then_some(mask)
}

/// Without hair-thin arms, as the one part at the tapped place, with its clefts closed.
fn tidy(mask: &Mask, colours: &Colours, tap: (usize, usize), px_per_mm: f32) -> Mask {
    let opened = mask.shrunk(0.5 * px_per_mm).grown(0.5 * px_per_mm);
    let part = opened.part_at(tap.0, tap.1);
    let part = if part.count() > 0 { part } else { mask.part_at(tap.0, tap.1) };
    let closed = part.grown(px_per_mm).shrunk(px_per_mm);
    let mut holes = closed.holes();
    holes.keep_parts(|hole| !is_island(hole, colours, px_per_mm));
    closed.with(&holes)
}

/// A hole that looks like skin and is at least this large is an island, mm².
const ISLAND_FROM_MM2: f32 = 4.0;
/// Share of a hole that looks like skin from which it is an island.
const ISLAND_SKIN_FROM: f32 = 0.7;

/// Whether a hole in the wound is skin; other holes are glints or dark spots.
pub(in crate::wound) fn is_island(hole: &Part, colours: &Colours, px_per_mm: f32) -> bool {
    let large = hole.cells.len() as f32 >= ISLAND_FROM_MM2 * px_per_mm * px_per_mm;
    let like = |at: &&usize| colours.skin.is_some_and(|skin| skin.passes(&colours.tints[**at]));
    large && hole.cells.iter().filter(like).count() as f32 >= ISLAND_SKIN_FROM * hole.cells.len() as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::MmPoint;
    use crate::wound::scene;
    use crate::wound::scene::far_mm;
    use crate::wound::survey::Near;

    fn found(view: &View, tap: MmPoint) -> Vec<Candidate> {
        let tints = tints(view);
        let colours = Colours::of(view, SkinTint::of(&tints));
        candidates(&Near::of(view, &colours, tap, 60.0).unwrap())
    }

    fn area_mm2(candidate: &Candidate) -> f64 {
        candidate.mask.count() as f64 / 2.25
    }

    const MIDDLE: MmPoint = MmPoint { x_mm: 0.0, y_mm: 0.0 };

    #[test]
    fn the_wound_is_found_and_the_redness_is_left_out() {
        for (radius_mm, redness_mm) in [(6.0, 0.0), (12.0, 10.0), (25.0, 6.0)] {
            let best = &found(&scene::wound(radius_mm, redness_mm), MIDDLE)[0];
            let expected = std::f64::consts::PI * radius_mm * radius_mm;
            assert!(
                (area_mm2(best) / expected - 1.0).abs() < 0.05,
                "{radius_mm}: {} not {expected}",
                area_mm2(best)
            );
            assert!(best.skin_share > 0.95 && best.bed_share > 0.95 && best.step > 0.5, "{radius_mm}");
        }
    }

    #[test]
    fn any_tap_in_the_wound_finds_the_same_one() {
        let view = scene::wound(15.0, 8.0);
        for tap in [[0.0, 0.0], [9.0, 4.0], [-4.0, -11.0]] {
            let area = area_mm2(&found(&view, MmPoint::from(tap))[0]);
            assert!((area / 706.9 - 1.0).abs() < 0.03, "{tap:?}: {area}");
        }
    }

    #[test]
    fn an_island_of_skin_is_not_counted() {
        let view = scene::view(|at| match far_mm(at) {
            _ if (at.x_mm - 6.0).hypot(at.y_mm) < 3.5 => scene::SKIN,
            far if far < 15.0 => scene::BED,
            _ => scene::SKIN,
        });
        let area = area_mm2(&found(&view, MmPoint { x_mm: -6.0, y_mm: 0.0 })[0]);
        assert!((area / (706.9 - 38.5) - 1.0).abs() < 0.04, "{area}");
    }

    #[test]
    fn plain_skin_holds_no_bed() {
        let all = found(&scene::view(|_| scene::SKIN), MIDDLE);
        assert!(all.first().is_none_or(|best| best.bed_share < 0.3));
    }

    #[test]
    fn a_grey_picture_is_monochrome_and_skin_is_not() {
        let grey = scene::view(|at| if far_mm(at) < 15.0 { [0.1; 3] } else { [0.3; 3] });
        assert!(Colours::of(&grey, None).is_monochrome(&grey));
        let skin = scene::wound(15.0, 5.0);
        assert!(!Colours::of(&skin, None).is_monochrome(&skin));
    }
}
