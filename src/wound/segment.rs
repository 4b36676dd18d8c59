//! Where the wound ends: from a place in it, by colour, with the patient's own skin as background.

use crate::wound::graph_cut::Grid;
use crate::wound::graph_cut::NEIGHBOURS;
use crate::wound::mask::Mask;
use crate::wound::mask::Part;
use crate::wound::mixture::Mixture;
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
    pub(in crate::wound) score: f32,
}

/// What the picture's colours are, ready to cut.
pub(in crate::wound) struct Colours {
    pub(in crate::wound) tints: Vec<Tint>,
    scaled: Vec<Tint>,
    pub(in crate::wound) skin: Option<SkinTint>,
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
        Colours { tints, scaled, skin, expected }
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
    let of = |mine: &dyn Fn(usize) -> bool| {
        let chosen = colours.scaled.iter().enumerate().filter(|(at, _)| mine(*at));
        Mixture::fit(&chosen.map(|(_, colour)| *colour).collect::<Vec<Tint>>())
    };
    Some(Learnt { wound: of(&is_wound)?, skin: of(&is_skin)? })
}

/// Cuts wound from skin in rounds: colours of both sides are learnt, the cheapest border is found, and again.
/// `None`: too little of either to learn from.
pub(in crate::wound) fn cut(view: &View, colours: &Colours, prior: &[Prior], rounds: usize) -> Option<Mask> {
    let mut inside: Vec<bool> =
        prior.iter().map(|prior| matches!(prior, Prior::SureWound | Prior::MaybeWound)).collect();
    let borders = Borders::of(view, &colours.scaled);
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
    let borders = Borders::of(view, &colours.scaled);
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
    for (at, prior) in prior.iter().enumerate() {
        let lean = match prior {
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
    borders.put_into(&mut grid, view.width, view.height);
    grid.cut()
}

/// Prices of the borders to the four neighbours right and below.
struct Borders(Vec<[f32; 4]>);

impl Borders {
    fn of(view: &View, scaled: &[Tint]) -> Borders {
        let (width, height) = (view.width, view.height);
        let squared =
            |a: usize, b: usize| (0..3).map(|axis| (scaled[a][axis] - scaled[b][axis]).powi(2)).sum::<f32>();
        let mut apart = vec![[0.0f32; 4]; scaled.len()];
        let (mut sum, mut count) = (0.0f64, 0u32);
        for at in 0..scaled.len() {
            for (direction, apart) in apart[at].iter_mut().enumerate() {
                if let Some(other) = neighbour(at, direction, width, height)
                    && view.skin[at]
                    && view.skin[other]
                {
                    *apart = squared(at, other);
                    sum += f64::from(*apart);
                    count += 1;
                }
            }
        }
        let usual = (sum / f64::from(count.max(1))).max(1e-6) as f32;
        for at in &mut apart {
            for (direction, apart) in at.iter_mut().enumerate() {
                let length = if direction % 2 == 0 { 1.0 } else { std::f32::consts::SQRT_2 };
                *apart = BORDER_PRICE / length * (-*apart / (2.0 * usual)).exp();
            }
        }
        Borders(apart)
    }

    fn put_into(&self, grid: &mut Grid, width: usize, height: usize) {
        for (at, prices) in self.0.iter().enumerate() {
            for (direction, price) in prices.iter().enumerate() {
                if neighbour(at, direction, width, height).is_some() {
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
pub(in crate::wound) fn candidates(
    view: &View,
    colours: &Colours,
    tap: (usize, usize),
    reach_mm: f32,
) -> Vec<Candidate> {
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
    Candidate { mask, skin_share, bed_share, step, score }
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
