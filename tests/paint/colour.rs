//! Colours of skin, wound bed and light, as linear red, green and blue under neutral light.

use serde::Serialize;

pub type Rgb = [f32; 3];

/// Skin tone by individual typology angle (class limits: Chardon, Cretois and Hourseau 1991; del Bino 2006).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Tone {
    VeryLight,
    Light,
    Intermediate,
    Tan,
    Brown,
    Dark,
}

impl Tone {
    pub const ALL: [Tone; 6] =
        [Tone::VeryLight, Tone::Light, Tone::Intermediate, Tone::Tan, Tone::Brown, Tone::Dark];

    /// Typology angles of the class, degrees; the outer classes end where people are still found.
    pub fn angles_deg(self) -> (f64, f64) {
        match self {
            Tone::VeryLight => (55.0, 66.0),
            Tone::Light => (41.0, 55.0),
            Tone::Intermediate => (28.0, 41.0),
            Tone::Tan => (10.0, 28.0),
            Tone::Brown => (-30.0, 10.0),
            Tone::Dark => (-62.0, -30.0),
        }
    }

    pub fn of(ita_deg: f64) -> Tone {
        let found = Tone::ALL.into_iter().find(|tone| ita_deg > tone.angles_deg().0);
        found.unwrap_or(Tone::Dark)
    }

    pub fn name(self) -> &'static str {
        match self {
            Tone::VeryLight => "very_light",
            Tone::Light => "light",
            Tone::Intermediate => "intermediate",
            Tone::Tan => "tan",
            Tone::Brown => "brown",
            Tone::Dark => "dark",
        }
    }
}

/// Wavelengths that stand for a camera's red, green and blue, nm.
const WAVES_NM: [f64; 3] = [610.0, 545.0, 460.0];
/// Whole blood, mostly oxygenated, over each channel's width, per cm (rounded after the published spectra of
/// haemoglobin; from memory).
const BLOOD_PER_CM: [f64; 3] = [15.0, 180.0, 220.0];
/// Reduced scattering of dermis, per cm (rounded; from memory).
const SCATTER_PER_CM: [f64; 3] = [22.0, 27.0, 38.0];
/// What dermis absorbs without blood, per cm; blue is also taken by carotene and bilirubin.
const TISSUE_PER_CM: [f64; 3] = [0.30, 0.40, 1.0];
/// Melanosomes, per cm (it falls as λ^−3.3 or so, from memory; blue is set lower than the formula's, for a camera's blue
/// is wide: with 900 dark skin comes out orange).
const MELANIN_PER_CM: [f64; 3] = [350.0, 500.0, 690.0];
/// Way of light through the epidermis, there and back, askew: 60 µm three times.
const EPIDERMIS_CM: f64 = 0.018;
/// Light that the surface itself throws back in all directions.
const SURFACE: f64 = 0.018;
/// Light that is not lost sideways.
const KEPT: f64 = 0.85;

/// Colours of one person's skin by melanin and blood.
pub struct SkinColours {
    melanin_lut: Vec<Rgb>,
    blood_lut: Vec<Rgb>,
    pub melanin: f64,
    pub blood: f64,
}

const LUT: usize = 1024;
const MOST_MELANIN: f64 = 0.9;
const MOST_BLOOD: f64 = 0.12;

/// Light left by this volume share of melanosomes in the epidermis.
fn through_melanin(share: f64) -> [f64; 3] {
    MELANIN_PER_CM.map(|absorbed| (-share * absorbed * EPIDERMIS_CM).exp())
}

/// Endless diffuse layer after Kubelka and Munk.
fn dermis(blood: f64) -> [f64; 3] {
    std::array::from_fn(|c| {
        let ratio = 2.0 * (TISSUE_PER_CM[c] + blood * BLOOD_PER_CM[c]) / (0.75 * SCATTER_PER_CM[c]);
        1.0 + ratio - (ratio * ratio + 2.0 * ratio).sqrt()
    })
}

impl SkinColours {
    /// Skin of this typology angle with this share of blood in its dermis.
    pub fn new(ita_deg: f64, blood: f64) -> SkinColours {
        let at = |share: f64| share * MOST_MELANIN / (LUT - 1) as f64;
        let melanin_lut =
            (0..LUT).map(|n| through_melanin(at(n as f64)).map(|value| (value * KEPT) as f32)).collect();
        let blood_at = |n: usize| n as f64 * MOST_BLOOD / (LUT - 1) as f64;
        let blood_lut = (0..LUT).map(|n| dermis(blood_at(n)).map(|value| value as f32)).collect();
        let mut skin = SkinColours { melanin_lut, blood_lut, melanin: 0.0, blood };
        let (mut low, mut high) = (0.0005, 0.85);
        for _ in 0..40 {
            skin.melanin = (low + high) / 2.0;
            if ita_deg_of(lab(skin.plain())) > ita_deg { low = skin.melanin } else { high = skin.melanin }
        }
        skin
    }

    #[inline]
    pub fn of(&self, melanin: f32, blood: f32) -> Rgb {
        let through = look_up(&self.melanin_lut, melanin * ((LUT - 1) as f64 / MOST_MELANIN) as f32);
        let back = look_up(&self.blood_lut, blood * ((LUT - 1) as f64 / MOST_BLOOD) as f32);
        const OFF: f32 = SURFACE as f32;
        [OFF + through[0] * back[0], OFF + through[1] * back[1], OFF + through[2] * back[2]]
    }

    pub fn plain(&self) -> Rgb {
        self.of(self.melanin as f32, self.blood as f32)
    }

    /// The blood that must come on top for ln R − ln G to rise by `contrast` in skin without melanin.
    pub fn blood_for(&self, contrast: f64) -> f64 {
        let redness = |blood: f64| dermis(blood)[0].ln() - dermis(blood)[1].ln();
        let (mut low, mut high) = (0.0, MOST_BLOOD - self.blood);
        for _ in 0..40 {
            let middle = (low + high) / 2.0;
            if redness(self.blood + middle) - redness(self.blood) < contrast {
                low = middle
            } else {
                high = middle
            }
        }
        low
    }
}

#[inline]
fn look_up(lut: &[Rgb], at: f32) -> Rgb {
    let at = at.clamp(0.0, (LUT - 1) as f32 - 0.01);
    let (whole, part) = (at as usize, at - at.floor());
    mix(lut[whole], lut[whole + 1], part)
}

/// CIE L*a*b* (D65) of linear sRGB: IEC 61966-2-1, CIE 15.
pub fn lab(rgb: Rgb) -> [f64; 3] {
    let [r, g, b] = rgb.map(f64::from);
    let x = (0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.95047;
    let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    let z = (0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.08883;
    let f = |t: f64| if t > 216.0 / 24_389.0 { t.cbrt() } else { (24_389.0 / 27.0 * t + 16.0) / 116.0 };
    [116.0 * f(y) - 16.0, 500.0 * (f(x) - f(y)), 200.0 * (f(y) - f(z))]
}

pub fn ita_deg_of([l, _, b]: [f64; 3]) -> f64 {
    (l - 50.0).atan2(b).to_degrees()
}

/// Colour of a glowing body's light against that of 6500 K (Planck), green kept at 1.
pub fn light_of(kelvin: f64) -> Rgb {
    let planck = |kelvin: f64| WAVES_NM.map(|wave| 1.0 / ((1.438_8e7 / (wave * kelvin)).exp() - 1.0));
    let (own, day) = (planck(kelvin), planck(6_500.0));
    std::array::from_fn(|c| ((own[c] / own[1]) / (day[c] / day[1])) as f32)
}

/// Written out, as all that is done for every pixel is: a test build does not see through closures.
#[inline]
pub fn scaled(a: Rgb, factor: f32) -> Rgb {
    [a[0] * factor, a[1] * factor, a[2] * factor]
}

#[inline]
pub fn mix(a: Rgb, b: Rgb, share_of_b: f32) -> Rgb {
    [a[0] + (b[0] - a[0]) * share_of_b, a[1] + (b[1] - a[1]) * share_of_b, a[2] + (b[2] - a[2]) * share_of_b]
}
