//! What the bed looks like, by colour: red granulation, yellow slough or fat, dark tissue.

use crate::wound::colour::lab;
use crate::wound::mask::Mask;
use crate::wound::view::Light;
use crate::wound::view::View;

/// The grey patch sends back this share of the light.
const PATCH_REFLECTANCE: f64 = 0.18;
/// Dark tissue is darker than this L*, with less colour than this C*.
const DARK_BELOW_L: f64 = 36.0;
const DARK_BELOW_C: f64 = 32.0;
/// Yellower than this hue, degrees, is slough or fat.
const YELLOW_ABOVE_HUE: f64 = 50.0;

/// Shares of the bed, 0–1, together 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::wound) struct Shares {
    pub(in crate::wound) granulation: f64,
    pub(in crate::wound) yellow: f64,
    pub(in crate::wound) dark: f64,
    /// Share of the bed that glares and was left out.
    pub(in crate::wound) glare: f64,
}

/// What turns the light of the picture into the light under the white that shows the card's grey as grey.
#[derive(Clone, Copy, Debug)]
pub(in crate::wound) struct Balance([f64; 3]);

impl Balance {
    pub(in crate::wound) fn from_grey(grey: [f64; 3]) -> Balance {
        Balance(grey.map(|light| PATCH_REFLECTANCE / light.max(1e-3)))
    }

    pub(in crate::wound) fn of(&self, light: Light) -> [f64; 3] {
        [0, 1, 2].map(|c: usize| f64::from(light[c]) * self.0[c])
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Looks {
    Granulation,
    Yellow,
    Dark,
}

fn looks(light: [f64; 3]) -> Looks {
    let [l, a, b] = lab(light);
    if l < DARK_BELOW_L && a.hypot(b) < DARK_BELOW_C {
        Looks::Dark
    } else if b.atan2(a).to_degrees() > YELLOW_ABOVE_HUE {
        Looks::Yellow
    } else {
        Looks::Granulation
    }
}

/// Shares of what the mask holds. `None`: nothing but glare.
pub(in crate::wound) fn shares(view: &View, bed: &Mask, balance: &Balance) -> Option<Shares> {
    let (mut counts, mut glare) = ([0u32; 3], 0u32);
    for (at, light) in view.light.iter().enumerate() {
        if !bed.cells[at] || !view.skin[at] {
            continue;
        }
        let is_glint = light.iter().all(|channel| *channel > 0.8) || {
            let [r, g, b] = balance.of(*light);
            let top = r.max(g).max(b);
            r.min(g).min(b) > 0.62 * top && top > 0.3
        };
        if is_glint {
            glare += 1;
            continue;
        }
        counts[match looks(balance.of(*light)) {
            Looks::Granulation => 0,
            Looks::Yellow => 1,
            Looks::Dark => 2,
        }] += 1;
    }
    let seen = counts.iter().sum::<u32>();
    if seen == 0 {
        return None;
    }
    let [granulation, yellow, dark] = counts.map(|count| f64::from(count) / f64::from(seen));
    Some(Shares { granulation, yellow, dark, glare: f64::from(glare) / f64::from(seen + glare) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::MmPoint;

    /// Linear light of 8-bit sRGB levels.
    fn srgb(levels: [u8; 3]) -> Light {
        levels.map(|level| crate::photo::linear_light()[usize::from(level)])
    }

    fn strip(lights: &[Light]) -> (View, Mask) {
        let view = View {
            width: lights.len(),
            height: 1,
            px_per_mm: 1.0,
            corner: MmPoint { x_mm: 0.0, y_mm: 0.0 },
            light: lights.to_vec(),
            skin: vec![true; lights.len()],
            pictured: vec![true; lights.len()],
        };
        (view, Mask::new(lights.len(), 1, vec![true; lights.len()]))
    }

    const NEUTRAL: [f64; 3] = [0.18, 0.18, 0.18];

    #[test]
    fn red_yellow_and_dark_are_told_apart() {
        let (red, yellow, dark) = (srgb([178, 34, 34]), srgb([230, 210, 120]), srgb([60, 60, 50]));
        let (view, bed) = strip(&[red, red, yellow, dark]);
        let found = shares(&view, &bed, &Balance::from_grey(NEUTRAL)).unwrap();
        assert_eq!((found.granulation, found.yellow, found.dark, found.glare), (0.5, 0.25, 0.25, 0.0));
    }

    #[test]
    fn the_grey_patch_takes_the_lamps_colour_out() {
        let lamp = [1.2f32, 1.0, 0.7];
        let under = |light: Light| [0, 1, 2].map(|c: usize| light[c] * lamp[c]);
        let (view, bed) = strip(&[under(srgb([178, 34, 34])), under(srgb([230, 210, 120]))]);
        let grey = [0, 1, 2].map(|c: usize| 0.18 * f64::from(lamp[c]));
        let found = shares(&view, &bed, &Balance::from_grey(grey)).unwrap();
        assert_eq!((found.granulation, found.yellow), (0.5, 0.5));
    }

    #[test]
    fn glints_are_left_out_and_counted() {
        let (view, bed) = strip(&[srgb([178, 34, 34]), srgb([255, 250, 248])]);
        let found = shares(&view, &bed, &Balance::from_grey(NEUTRAL)).unwrap();
        assert_eq!((found.granulation, found.glare), (1.0, 0.5));
        let (view, bed) = strip(&[srgb([255, 250, 248])]);
        assert!(shares(&view, &bed, &Balance::from_grey(NEUTRAL)).is_none());
    }
}
