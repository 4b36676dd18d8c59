//! The wound's bed: where red, yellow and dark tissue lie, and what they look like.

use super::chance::Chance;
use super::chance::Tile;
use super::chance::smooth_step;
use super::colour::Rgb;
use super::colour::mix;
use super::colour::scaled;
use super::field::Grid;
use super::wish::BedKind;
use super::wish::Wish;

/// Channels of the fine grid: distance to the edge, yellow noise, dark noise.
pub type FineGrid = Grid<3>;

pub struct Bed {
    yellow_above: f32,
    dark_above: f32,
    red: Rgb,
    red_other: Rgb,
    yellow: Rgb,
    yellow_other: Rgb,
    dark: Rgb,
    /// Granulation, yellow, dark: shares of the bed by counting its cells.
    pub shares: [f64; 3],
}

impl Bed {
    /// Lays the tissue out in the fine grid, whose distances must be filled.
    pub fn lay(wish: &Wish, fine: &mut FineGrid) -> Bed {
        let chance = &mut Chance::new(wish.seed, "bed");
        // Patches are a good fifth of the wound across, but no tissue comes in pieces below a few millimetres.
        let patch_mm = (wish.area_cm2.sqrt() * 10.0 * 0.24).clamp(2.0, 14.0) as f32;
        let noises = [(); 2].map(|()| Tile::new(chance, 128, &[(16, 1.0), (37, 0.35)]));
        for row in 0..fine.rows {
            for column in 0..fine.columns {
                let at = fine.knot(column, row).map(|mm| mm / patch_mm * 8.0 + 517.0);
                let value = &mut fine.values[row * fine.columns + column];
                value[1] = noises[0].at(at[0], at[1]);
                value[2] = noises[1].at(at[0], at[1]);
            }
        }
        let inside: Vec<[f32; 2]> =
            fine.values.iter().filter(|value| value[0] < 0.0).map(|value| [value[1], value[2]]).collect();
        let dark_above = above_for(inside.iter().map(|value| value[1]).collect(), inside.len(), wish.frac[2]);
        let rest = inside.iter().filter(|value| value[1] <= dark_above).map(|value| value[0]).collect();
        let yellow_above = above_for(rest, inside.len(), wish.frac[1]);
        let count = inside.len().max(1) as f64;
        let dark = inside.iter().filter(|value| value[1] > dark_above).count() as f64 / count;
        let yellow = inside.iter().filter(|value| value[1] <= dark_above && value[0] > yellow_above).count()
            as f64
            / count;
        Bed {
            yellow_above,
            dark_above,
            shares: [1.0 - yellow - dark, yellow, dark],
            ..Bed::colours(wish, chance)
        }
    }

    fn colours(wish: &Wish, chance: &mut Chance) -> Bed {
        let mut tone = |low: Rgb, high: Rgb| {
            let tone = mix(low, high, chance.share() as f32);
            tone.map(|value| value * chance.between(0.92, 1.08) as f32)
        };
        let red = tone([0.30, 0.040, 0.045], [0.44, 0.075, 0.080]);
        let red_other = tone([0.20, 0.022, 0.028], [0.46, 0.14, 0.125]);
        let slough = || ([0.50, 0.37, 0.150], [0.60, 0.47, 0.24]);
        let (low, high) = match wish.bed {
            BedKind::Fat => ([0.66, 0.46, 0.13], [0.78, 0.56, 0.22]),
            BedKind::CleanRed | BedKind::Sloughy | BedKind::Necrotic | BedKind::Mixed => slough(),
        };
        let yellow = tone(low, high);
        let yellow_other = yellow.map(|value| value * 0.8);
        let dark = tone([0.022, 0.018, 0.016], [0.060, 0.042, 0.032]);
        let (yellow_above, dark_above, shares) = (f32::MAX, f32::MAX, [1.0, 0.0, 0.0]);
        Bed { yellow_above, dark_above, red, red_other, yellow, yellow_other, dark, shares }
    }

    /// Colour of the bed at a place; `grain` and `broad` are fine and coarse noise of spread 1.
    #[inline]
    pub fn colour(&self, yellow_noise: f32, dark_noise: f32, grain: f32, broad: f32) -> Rgb {
        // Half a tenth of the noise's spread: about a third of a millimetre from tissue to tissue.
        const SOFT: f32 = 0.06;
        let red = mix(self.red, self.red_other, (0.35 + 0.2 * grain + 0.3 * broad).clamp(0.0, 1.0));
        let yellow = mix(self.yellow, self.yellow_other, (0.5 + 0.25 * grain + 0.35 * broad).clamp(0.0, 1.0));
        let yellow_share = smooth_step(-SOFT, SOFT, yellow_noise - self.yellow_above);
        let dark_share = smooth_step(-SOFT, SOFT, dark_noise - self.dark_above);
        let dark = scaled(self.dark, (1.0 + 0.25 * grain + 0.2 * broad).max(0.4));
        mix(mix(red, yellow, yellow_share), dark, dark_share)
    }
}

/// The value that `share` of `of` cells lie above.
fn above_for(mut values: Vec<f32>, of: usize, share: f64) -> f32 {
    let wanted = (share * of as f64).round() as usize;
    if wanted == 0 || values.is_empty() {
        return f32::MAX;
    }
    values.sort_by(f32::total_cmp);
    let below = values.len().saturating_sub(wanted);
    if below == 0 { f32::MIN } else { values[below - 1] }
}
