//! Colour as ratios of light: a lamp's colour shifts every value by the same amount and a shadow only the last one.

use crate::wound::view::Light;
use crate::wound::view::View;

/// ln R − ln G, ln G − ln B, ln of the luminance, each in linear light.
pub(in crate::wound) type Tint = [f32; 3];

/// Light below this (0–1) is sensor noise and would give any ratio; half a level of an 8-bit sRGB picture is 0.00015.
const DARKEST: f32 = 0.001;

pub(in crate::wound) fn tint(light: Light) -> Tint {
    let [r, g, b] = light.map(|value| (value + DARKEST).ln());
    let luminance = 0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2];
    [r - g, g - b, (luminance + DARKEST).ln()]
}

pub(in crate::wound) fn tints(view: &View) -> Vec<Tint> {
    view.light.iter().map(|light| tint(*light)).collect()
}

/// The colour most of the skin far from the wound has.
#[derive(Clone, Copy, Debug)]
pub(in crate::wound) struct SkinTint {
    pub(in crate::wound) mode: Tint,
}

const BINS: usize = 48;
/// Width of the histogram on each axis; skin under any lamp lies within.
const SPAN: f32 = 2.4;

impl SkinTint {
    /// From tints of places that are mostly skin. `None` when there are fewer than 50.
    pub(in crate::wound) fn of(samples: &[Tint]) -> Option<SkinTint> {
        if samples.len() < 50 {
            return None;
        }
        let middle = [0, 1].map(|axis: usize| median(samples.iter().map(|tint| tint[axis]).collect()));
        let mut count = vec![0u32; BINS * BINS];
        let bin = |tint: &Tint, axis: usize| {
            let at = (tint[axis] - middle[axis]) / SPAN + 0.5;
            (at * BINS as f32).clamp(0.0, BINS as f32 - 1.0) as usize
        };
        for tint in samples {
            count[bin(tint, 1) * BINS + bin(tint, 0)] += 1;
        }
        let smooth = |x: usize, y: usize| {
            let mut sum = 0;
            for v in y.saturating_sub(1)..=(y + 1).min(BINS - 1) {
                for u in x.saturating_sub(1)..=(x + 1).min(BINS - 1) {
                    sum += count[v * BINS + u];
                }
            }
            sum
        };
        let peak = (0..BINS * BINS).max_by_key(|at| smooth(at % BINS, at / BINS))?;
        let width = SPAN / BINS as f32;
        let centre = [0, 1].map(|axis: usize| {
            let at = if axis == 0 { peak % BINS } else { peak / BINS };
            middle[axis] + (at as f32 + 0.5) * width - SPAN / 2.0
        });
        // The mean of what lies near the peak: bins alone are coarser than the differences that matter.
        let near: Vec<&Tint> = samples
            .iter()
            .filter(|tint| {
                (tint[0] - centre[0]).abs() < 2.0 * width && (tint[1] - centre[1]).abs() < 2.0 * width
            })
            .collect();
        let share = 1.0 / near.len().max(1) as f32;
        let mean = |axis: usize| near.iter().map(|tint| tint[axis] * share).sum::<f32>();
        let brightness = median(near.iter().map(|tint| tint[2]).collect());
        Some(SkinTint { mode: [mean(0), mean(1), brightness] })
    }

    /// How skin differs that stayed wet under a dressing: less blood shows and less pigment, and more light comes back,
    /// part of the way to white.
    pub(in crate::wound) fn pale(&self) -> Tint {
        let [red, yellow, bright] = self.mode;
        [-0.6 * red, -0.7 * yellow, -0.65 * bright]
    }

    /// Skin or redness of this patient: redder is allowed, another yellow is not; pale from wetness is allowed.
    pub(in crate::wound) fn passes(&self, tint: &Tint) -> bool {
        let [red, yellow, bright] = [0, 1, 2].map(|axis: usize| tint[axis] - self.mode[axis]);
        // Slough and fat are yellower and less red than skin at once.
        let like_slough = yellow - red > 0.4;
        let plain = red > -0.3
            && red < 0.6
            && yellow < 0.35
            && yellow > -0.35 - 0.3 * red.max(0.0)
            && bright.abs() < 1.0
            && !like_slough;
        let off = self.pale();
        let pale = (red - off[0]).abs() < 0.35
            && (yellow - off[1]).abs() < 0.4
            && yellow < -0.02
            && bright > 0.15
            && bright < off[2] + 0.8;
        plain || pale
    }
}

/// The middle value; 0 of nothing.
pub(in crate::wound) fn median(mut values: Vec<f32>) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f32::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wound::scene;

    #[test]
    fn a_lamps_colour_and_a_shadow_shift_every_tint_alike() {
        let lit = |light: Light| tint([0, 1, 2].map(|c: usize| light[c] * [1.3, 1.0, 0.6][c] * 0.5));
        let off = |light: Light| [0, 1].map(|axis: usize| lit(light)[axis] - tint(light)[axis]);
        let (skin, bed) = (off(scene::SKIN), off(scene::RED));
        assert!((skin[0] - bed[0]).abs() < 0.01 && (skin[1] - bed[1]).abs() < 0.01, "{skin:?} {bed:?}");
    }

    #[test]
    fn the_skins_own_colour_is_found_beside_wound_and_redness() {
        let view = scene::wound(15.0, 10.0);
        let skin = SkinTint::of(&tints(&view)).unwrap();
        let plain = tint(scene::SKIN);
        assert!((0..3).all(|axis| (skin.mode[axis] - plain[axis]).abs() < 0.04), "{:?} {plain:?}", skin.mode);
        assert!(skin.passes(&plain) && skin.passes(&tint(scene::RED)));
        assert!(!skin.passes(&tint(scene::BED)) && !skin.passes(&tint(scene::INK)));
    }

    #[test]
    fn pale_wet_skin_passes_and_slough_does_not() {
        let skin = SkinTint { mode: tint(scene::SKIN) };
        let pale = skin.pale();
        let off = |by: Tint| [0, 1, 2].map(|axis: usize| skin.mode[axis] + by[axis]);
        assert!(skin.passes(&off(pale)));
        assert!(!skin.passes(&off([pale[0], 0.5, pale[2]])));
    }

    #[test]
    fn a_handful_of_places_is_no_skin() {
        assert!(SkinTint::of(&[tint(scene::SKIN); 49]).is_none());
        assert!(SkinTint::of(&[tint(scene::SKIN); 50]).is_some());
    }

    #[test]
    fn the_middle_value_of_nothing_is_nothing() {
        assert_eq!((median(vec![]), median(vec![3.0, 1.0, 2.0])), (0.0, 2.0));
    }
}
