//! How far the redness goes beyond the wound's edge, against this patient's own farther skin.

use std::f32::consts::TAU;

use crate::wound::contour;
use crate::wound::mask::Mask;
use crate::wound::tint::SkinTint;
use crate::wound::tint::Tint;
use crate::wound::tint::median;
use crate::wound::view::View;

/// Directions looked in.
pub(in crate::wound) const SECTORS: usize = 64;
/// Farthest distance from the edge looked at, mm.
const FARTHEST_MM: usize = 85;
/// Redness ends where it stays this long below its limit, mm.
const STAYS_MM: usize = 3;
/// Redness is more than this many times the noise of the far skin.
const OVER_NOISE: f32 = 2.0;
/// And more than this share of the redness near the edge in the same direction.
const OF_PLATEAU: f32 = 0.5;
/// The reach is judged by these shares too, to see how sharp the border is.
const OTHER_SHARES: [f32; 2] = [0.35, 0.65];
/// No reach is surer than this, standard deviation in mm: rings are 1 mm wide.
const LEAST_SPREAD_MM: f32 = 0.5;
/// Share of the visible skin, the farthest, that the first comparison is made with.
const FAR_SHARE: f32 = 0.2;
/// Later comparisons use all skin farther than this beyond the border found, mm.
const BEYOND_MM: f32 = 6.0;
/// The nearest skin is left out: the edge's own shadow and blur, mm.
const LIP_MM: f32 = 1.0;

/// What was seen around the wound.
#[derive(Clone, Debug)]
pub(in crate::wound) struct Around {
    /// mm beyond the edge by direction, counted from the right and turning downwards. `None`: the view ends first.
    pub(in crate::wound) reach_mm: Vec<Option<f32>>,
    /// Redness near the edge over the noise of the far skin.
    pub(in crate::wound) contrast_to_noise: f32,
    /// Nearest distance of the skin compared with, mm beyond the edge.
    pub(in crate::wound) compared_at_mm: f32,
    /// Distance that the farthest skin in view has from the edge, mm.
    pub(in crate::wound) far_to_mm: f32,
    /// How much the reach changes with the limit it is judged by, standard deviation, mm.
    pub(in crate::wound) spread_mm: f32,
    /// The outer edge of the redness, in view pixels; empty where nothing is red.
    pub(in crate::wound) rim: Vec<[f32; 2]>,
    /// Share of directions with an end in view, 0–1.
    pub(in crate::wound) closed: f32,
    /// Middle of the far skin's light.
    pub(in crate::wound) far_light: [f32; 3],
}

/// Skin around the wound, ready to be compared.
struct Skin {
    /// Pixels of the view that are skin around the wound.
    at: Vec<usize>,
    /// mm beyond the edge.
    far_mm: Vec<f32>,
    sector: Vec<usize>,
    red: Vec<f32>,
    /// Place in the view, −1 to 1, for the plane of the light's own colour change.
    place: Vec<[f32; 2]>,
}

/// Looks around a wound. `ink` is left out. `None`: too little skin is in view to compare with.
pub(in crate::wound) fn around(
    view: &View,
    tints: &[Tint],
    skin: &SkinTint,
    wound: &Mask,
    middle: (f32, f32),
    ink: &Mask,
) -> Option<Around> {
    let around = skin_around(view, tints, skin, wound, middle, ink);
    if around.at.len() < 500 {
        return None;
    }
    let mut far_sorted = around.far_mm.clone();
    let nth = ((far_sorted.len() as f32 * (1.0 - FAR_SHARE)) as usize).min(far_sorted.len() - 1);
    let mut limit = vec![*far_sorted.select_nth_unstable_by(nth, f32::total_cmp).1; SECTORS];
    let mut result = None;
    for _ in 0..3 {
        let reference: Vec<usize> =
            (0..around.at.len()).filter(|k| around.far_mm[*k] >= limit[around.sector[*k]]).collect();
        if reference.len() < 200 {
            break;
        }
        let plane = Plane::fit(&around, &reference);
        let rest: Vec<f32> =
            reference.iter().map(|k| (around.red[*k] - plane.at(around.place[*k])).abs()).collect();
        let noise = (1.4826 * median(rest)).max(0.004);
        let found = borders(&around, &plane, noise, OF_PLATEAU);
        let compared_at_mm = reference.iter().map(|k| around.far_mm[*k]).fold(f32::INFINITY, f32::min);
        let closed: Vec<f32> = found.reach.iter().flatten().copied().collect();
        let usual = median(closed.clone());
        limit = found
            .reach
            .iter()
            .map(|reach| reach.unwrap_or(usual.max(FARTHEST_MM as f32 / 2.0)) + BEYOND_MM)
            .collect();
        let p95 = |found: &Found| quantile(found.reach.iter().flatten().copied().collect(), 0.95);
        let [low, high] = OTHER_SHARES.map(|share| p95(&borders(&around, &plane, noise, share)));
        let far_light = [0, 1, 2]
            .map(|c: usize| median(reference.iter().map(|k| view.light[around.at[*k]][c]).collect()));
        result = Some(Around {
            closed: closed.len() as f32 / SECTORS as f32,
            far_to_mm: quantile(around.far_mm.clone(), 0.98),
            spread_mm: ((low - high).abs() / 2.0).max(LEAST_SPREAD_MM),
            rim: rim(view, wound, middle, &found.reach),
            contrast_to_noise: found.plateau / noise,
            reach_mm: found.reach,
            compared_at_mm,
            far_light,
        });
    }
    result
}

fn skin_around(
    view: &View,
    tints: &[Tint],
    skin: &SkinTint,
    wound: &Mask,
    middle: (f32, f32),
    ink: &Mask,
) -> Skin {
    let like_skin = |at: usize| {
        let [red, yellow, bright] = [0, 1, 2].map(|axis: usize| tints[at][axis] - skin.mode[axis]);
        red > -0.35 && red < 0.75 && yellow.abs() < 0.4 && bright > -1.3 && bright < 1.0
    };
    let beyond = wound.distances();
    let visible = |at: usize| view.skin[at] && !ink.cells[at] && beyond[at] > 0.0 && like_skin(at);
    let shown = Mask::new(view.width, view.height, (0..tints.len()).map(visible).collect());
    let red = smoothed(view, tints, &shown, 0.9 * view.px_per_mm);
    let mut all = Skin { at: vec![], far_mm: vec![], sector: vec![], red: vec![], place: vec![] };
    for at in 0..tints.len() {
        let far_mm = (beyond[at] - 0.5) / view.px_per_mm;
        if !shown.cells[at] || far_mm < LIP_MM || far_mm > FARTHEST_MM as f32 {
            continue;
        }
        let (x, y) = ((at % view.width) as f32, (at / view.width) as f32);
        all.at.push(at);
        all.far_mm.push(far_mm);
        all.sector.push(sector(x - middle.0, y - middle.1));
        all.red.push(red[at]);
        all.place.push([x / view.width as f32 * 2.0 - 1.0, y / view.height as f32 * 2.0 - 1.0]);
    }
    all
}

pub(in crate::wound) fn sector(right: f32, down: f32) -> usize {
    let turn = down.atan2(right).rem_euclid(TAU) / TAU;
    ((turn * SECTORS as f32) as usize).min(SECTORS - 1)
}

/// ln R − ln G, blurred over skin only.
fn smoothed(view: &View, tints: &[Tint], shown: &Mask, sigma_px: f32) -> Vec<f32> {
    let weight: Vec<f32> = shown.cells.iter().map(|shown| if *shown { 1.0 } else { 0.0 }).collect();
    let value: Vec<f32> = tints.iter().zip(&weight).map(|(tint, weight)| tint[0] * weight).collect();
    let weight = crate::wound::blur::blur(&weight, view.width, view.height, sigma_px);
    let value = crate::wound::blur::blur(&value, view.width, view.height, sigma_px);
    value.iter().zip(&weight).map(|(value, weight)| value / weight.max(1e-6)).collect()
}

/// The far skin's redness as a plane: a lamp to one side tints the skin a little more there.
struct Plane([f32; 3]);

impl Plane {
    fn at(&self, place: [f32; 2]) -> f32 {
        self.0[0] + self.0[1] * place[0] + self.0[2] * place[1]
    }

    /// Robust: redder skin than two deviations is left out, other outliers lose weight (Tukey's biweight).
    fn fit(skin: &Skin, chosen: &[usize]) -> Plane {
        let mut plane = Plane([median(chosen.iter().map(|k| skin.red[*k]).collect()), 0.0, 0.0]);
        for _ in 0..5 {
            let off: Vec<f32> = chosen.iter().map(|k| skin.red[*k] - plane.at(skin.place[*k])).collect();
            let spread = (1.4826 * median(off.iter().map(|off| off.abs()).collect())).max(1e-4);
            let weight = |off: f32| {
                let scaled = off / (4.685 * spread);
                let inside = off < 2.0 * spread && scaled.abs() < 1.0;
                if inside { (1.0 - scaled * scaled).powi(2) } else { 0.0 }
            };
            let mut sums = [[0.0f64; 4]; 3];
            for (k, off) in chosen.iter().zip(&off) {
                let [x, y] = skin.place[*k].map(f64::from);
                let row = [1.0, x, y];
                let w = f64::from(weight(*off));
                for (a, sums) in sums.iter_mut().enumerate() {
                    for (b, value) in row.iter().enumerate() {
                        sums[b] += w * row[a] * value;
                    }
                    sums[3] += w * row[a] * f64::from(skin.red[*k]);
                }
            }
            let Some(solved) = solve(sums) else { break };
            plane = Plane(solved.map(|value| value as f32));
        }
        plane
    }
}

/// Three linear equations, by elimination; `None` when they do not determine anything.
fn solve(mut m: [[f64; 4]; 3]) -> Option<[f64; 3]> {
    for pivot in 0..3 {
        let best = (pivot..3).max_by(|a, b| m[*a][pivot].abs().total_cmp(&m[*b][pivot].abs()))?;
        m.swap(pivot, best);
        if m[pivot][pivot].abs() < 1e-9 {
            return None;
        }
        for row in 0..3 {
            if row != pivot {
                let factor = m[row][pivot] / m[pivot][pivot];
                let upper = m[pivot];
                m[row].iter_mut().zip(upper).for_each(|(value, above)| *value -= factor * above);
            }
        }
    }
    Some([0, 1, 2].map(|at: usize| m[at][3] / m[at][at]))
}

struct Found {
    reach: Vec<Option<f32>>,
    plateau: f32,
}

fn borders(skin: &Skin, plane: &Plane, noise: f32, of_plateau: f32) -> Found {
    let mut sums = vec![[(0.0f32, 0u32); FARTHEST_MM + 1]; SECTORS];
    for k in 0..skin.at.len() {
        let cell = &mut sums[skin.sector[k]][skin.far_mm[k] as usize];
        cell.0 += skin.red[k] - plane.at(skin.place[k]);
        cell.1 += 1;
    }
    // Each direction together with its two neighbours; a ring needs some skin to say anything.
    let contrast = |sector: usize, ring: usize| {
        let (mut sum, mut count) = (0.0, 0);
        for near in [SECTORS - 1, 0, 1] {
            let (s, n) = sums[(sector + near) % SECTORS][ring];
            sum += s;
            count += n;
        }
        (count >= 2).then(|| sum / count as f32)
    };
    let profiles: Vec<Vec<Option<f32>>> =
        (0..SECTORS).map(|sector| (0..=FARTHEST_MM).map(|ring| contrast(sector, ring)).collect()).collect();
    let plateaus: Vec<f32> = profiles.iter().filter_map(|profile| mean(&profile[1..5])).collect();
    let plateau = quantile(plateaus, 0.75);
    let raw: Vec<Option<f32>> = profiles
        .iter()
        .map(|profile| {
            let own = near_edge(profile).unwrap_or(0.0);
            border(profile, (OVER_NOISE * noise).max(of_plateau * own))
        })
        .collect();
    let reach = (0..SECTORS)
        .map(|sector| {
            let near: Vec<f32> = (0..5).filter_map(|k| raw[(sector + SECTORS + k - 2) % SECTORS]).collect();
            (near.len() >= 3).then(|| median(near))
        })
        .collect();
    Found { reach, plateau }
}

/// The most redness that two neighbouring rings near the edge show together.
fn near_edge(profile: &[Option<f32>]) -> Option<f32> {
    (1..7).filter_map(|ring| mean(&profile[ring..ring + 2])).max_by(f32::total_cmp)
}

fn mean(values: &[Option<f32>]) -> Option<f32> {
    let known: Vec<f32> = values.iter().flatten().copied().collect();
    (!known.is_empty()).then(|| known.iter().sum::<f32>() / known.len() as f32)
}

/// Where a profile falls below the limit and stays there; 0 where it never rises above. `None`: the skin ends first.
fn border(profile: &[Option<f32>], limit: f32) -> Option<f32> {
    let mut last_above: Option<(usize, f32)> = None;
    let mut below = 0;
    for (ring, value) in profile.iter().enumerate().skip(LIP_MM as usize) {
        let Some(value) = *value else {
            // A hair or a glint is passed over; where the skin has ended for good nothing is known.
            if below == 0 && profile[ring..].iter().take(2 * STAYS_MM).all(Option::is_none) {
                return None;
            }
            continue;
        };
        if value >= limit {
            last_above = Some((ring, value));
            below = 0;
        } else {
            below += 1;
            if below >= STAYS_MM {
                let Some((above_ring, above)) = last_above else { return Some(0.0) };
                let next = profile[above_ring + 1..].iter().flatten().next().copied().unwrap_or(0.0);
                let part = ((above - limit) / (above - next).max(1e-6)).clamp(0.0, 1.0);
                return Some(above_ring as f32 + 0.5 + part);
            }
        }
    }
    None
}

pub(in crate::wound) fn quantile(mut values: Vec<f32>, share: f32) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    values.sort_by(f32::total_cmp);
    let at = share * (values.len() - 1) as f32;
    let (low, high) = (values[at.floor() as usize], values[at.ceil() as usize]);
    low + (high - low) * at.fract()
}

/// The line at each direction's reach beyond the edge.
fn rim(view: &View, wound: &Mask, middle: (f32, f32), reach: &[Option<f32>]) -> Vec<[f32; 2]> {
    let usual = median(reach.iter().flatten().copied().collect());
    let beyond = wound.distances();
    let field: Vec<f32> = (0..beyond.len())
        .map(|at| {
            let (x, y) = ((at % view.width) as f32 - middle.0, (at / view.width) as f32 - middle.1);
            let turn = y.atan2(x).rem_euclid(TAU) / TAU * SECTORS as f32 - 0.5;
            let (low, part) = (turn.floor(), turn - turn.floor());
            let of =
                |sector: f32| reach[sector.rem_euclid(SECTORS as f32) as usize % SECTORS].unwrap_or(usual);
            let limit = of(low) * (1.0 - part) + of(low + 1.0) * part;
            limit - (beyond[at] - 0.5) / view.px_per_mm
        })
        .collect();
    let lines = contour::closed_lines(&field, view.width, view.height, 0.0);
    lines
        .into_iter()
        .max_by(|a, b| contour::twice_area(a).abs().total_cmp(&contour::twice_area(b).abs()))
        .map(|line| contour::thinned(&line, 0.2 * view.px_per_mm))
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wound::scene;
    use crate::wound::scene::far_mm;
    use crate::wound::tint::tints;

    fn around_disc(view: &View, radius_mm: f64) -> Around {
        let tints = tints(view);
        let inside =
            |at: usize| far_mm(view.mm_of((at % view.width) as f32, (at / view.width) as f32)) <= radius_mm;
        let wound = Mask::new(view.width, view.height, (0..tints.len()).map(inside).collect());
        let nothing = Mask::new(view.width, view.height, vec![false; tints.len()]);
        let skin = SkinTint::of(&tints).unwrap();
        around(view, &tints, &skin, &wound, (149.5, 149.5), &nothing).unwrap()
    }

    #[test]
    fn the_reach_is_where_the_redness_ends() {
        for reach_mm in [5.0f32, 12.0, 30.0] {
            let found = around_disc(&scene::wound(10.0, f64::from(reach_mm)), 10.0);
            assert!(found.contrast_to_noise > 5.0 && found.closed > 0.95);
            let p95 = quantile(found.reach_mm.iter().flatten().copied().collect(), 0.95);
            assert!((p95 - reach_mm).abs() < 1.0, "{reach_mm}: {p95}");
            assert!(found.compared_at_mm > reach_mm);
        }
    }

    #[test]
    fn plain_skin_has_no_contrast() {
        let found = around_disc(&scene::wound(10.0, 0.0), 10.0);
        assert!(found.contrast_to_noise < 0.5, "{}", found.contrast_to_noise);
    }

    #[test]
    fn redness_to_one_side_reaches_there_only() {
        let view = scene::view(|at| match far_mm(at) {
            far if far <= 10.0 => scene::BED,
            far if far <= 30.0 && at.x_mm > 0.0 => scene::RED,
            _ => scene::SKIN,
        });
        let found = around_disc(&view, 10.0);
        let of = |right: f32, down: f32| found.reach_mm[sector(right, down)].unwrap();
        assert!((of(1.0, 0.1) - 20.0).abs() < 1.5 && of(-1.0, 0.1) < 1.0, "{:?}", found.reach_mm);
    }

    #[test]
    fn a_side_without_a_border_in_view_is_open() {
        let view = scene::view(|at| match far_mm(at) {
            far if far <= 10.0 => scene::BED,
            _ if at.x_mm > 0.0 => scene::RED,
            _ => scene::SKIN,
        });
        let found = around_disc(&view, 10.0);
        assert_eq!(found.reach_mm[sector(1.0, 0.1)], None);
        assert!(found.closed < 0.7, "{}", found.closed);
    }

    #[test]
    fn too_little_skin_in_view_is_no_answer() {
        let mut view = scene::wound(10.0, 5.0);
        for at in 0..view.skin.len() {
            view.skin[at] = far_mm(view.mm_of((at % 300) as f32, (at / 300) as f32)) < 11.0;
        }
        let tints = tints(&view);
        let nothing = Mask::new(300, 300, vec![false; tints.len()]);
        let wound = Mask::new(300, 300, view.skin.clone());
        let skin = SkinTint { mode: crate::wound::tint::tint(scene::SKIN) };
        assert!(around(&view, &tints, &skin, &wound, (149.5, 149.5), &nothing).is_none());
    }

    #[test]
    fn a_share_of_a_list_lies_between_its_neighbours() {
        assert_eq!(quantile(vec![4.0, 1.0, 2.0, 3.0], 0.5), 2.5);
        assert_eq!((quantile(vec![], 0.5), quantile(vec![7.0], 0.95)), (0.0, 7.0));
    }
}
