//! Pictures with one thing set on purpose: awkward cases, and sweeps of one factor.

use serde::Serialize;

use super::colour::Tone;
use super::wish::CardState;
use super::wish::Pen;
use super::wish::Profile;
use super::wish::Rim;
use super::wish::Wish;

/// What is out of the ordinary.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Case {
    Plain,
    TwoWounds,
    /// The wound runs out of the picture; the card is all there.
    CutOff,
    /// Nothing but wound bed.
    AllBed,
    /// Lamp so red that everything is.
    RedLight,
    Monochrome,
    /// Faint redness wider than the view.
    FaintWide,
    /// Redness on dark skin that hardly shows.
    DarkFaint,
    NoWound,
    /// A piece of skin stands in the wound.
    Island,
    /// A lamp mirrors itself in the wet bed.
    GlareOnBed,
    Macerated,
    /// Smears of dressing over the edge.
    Residue,
}

impl Case {
    pub const AWKWARD: [Case; 12] = [
        Case::TwoWounds,
        Case::CutOff,
        Case::AllBed,
        Case::RedLight,
        Case::Monochrome,
        Case::FaintWide,
        Case::DarkFaint,
        Case::NoWound,
        Case::Island,
        Case::GlareOnBed,
        Case::Macerated,
        Case::Residue,
    ];
}

/// An otherwise typical picture, card in full view where there is one, with this case in it.
pub fn awkward(case: Case, seed: u64) -> Wish {
    let mut wish = Wish::draw(Profile::Typical, seed);
    wish.case = case;
    wish.card = CardState::Full;
    wish.area_cm2 = wish.area_cm2.clamp(3.0, 20.0);
    match case {
        Case::Plain | Case::RedLight | Case::Monochrome | Case::Residue => {}
        Case::TwoWounds => (wish.area_cm2, wish.bend) = (wish.area_cm2.min(10.0), 0.0),
        Case::CutOff => wish.area_cm2 = wish.area_cm2.max(10.0),
        Case::AllBed => {
            (wish.area_cm2, wish.elong, wish.bend, wish.tilt) = (1_500.0, 1.1, 0.0, 3.0);
            (wish.distance_mm, wish.ery_mm, wish.card) = (140.0, 0.0, CardState::Missing);
        }
        Case::FaintWide => {
            (wish.ery_mm, wish.ery_contrast, wish.ery_soft_mm) = (150.0, 0.2, 20.0);
            (wish.ery_fade, wish.distance_mm) = (0.15, 170.0);
        }
        Case::DarkFaint => {
            (wish.ita_class, wish.ita) = (Tone::Dark, -50.0 + (seed % 4) as f64 * 4.0);
            (wish.ery_mm, wish.ery_contrast) = (12.0 + (seed % 5) as f64 * 4.0, 0.12);
        }
        Case::NoWound => (wish.ery_mm, wish.pen) = (0.0, Pen::None),
        Case::Island => (wish.area_cm2, wish.bend) = (wish.area_cm2.max(6.0), 0.0),
        Case::GlareOnBed => wish.glare = 1.0,
        Case::Macerated => (wish.rim, wish.rim_mm) = (Rim::Macerated, 2.5 + (seed % 4) as f64 * 0.7),
    }
    wish
}

/// Names of the sweeps.
pub const SWEEPS: [&str; 8] =
    ["tilt", "defocus", "motion", "exposure", "tone", "area", "redness", "distance"];

/// The wishes of a sweep: each level several times, otherwise as plain as can be. `None`: no sweep of that name.
///
/// The same seeds serve every level, so that the levels show the same wounds.
pub fn sweep(name: &str, seed: u64, each: u64) -> Option<Vec<(String, Wish)>> {
    let levels: Vec<Change> = match name {
        "tilt" => levels(&[0.0, 10.0, 20.0, 30.0, 35.0, 40.0, 50.0], |wish, level| wish.tilt = level),
        "defocus" => levels(&[0.7, 2.0, 4.0, 6.0, 9.0, 12.0], |wish, level| wish.defocus_px = level),
        "motion" => levels(&[0.0, 5.0, 10.0, 20.0, 40.0], |wish, level| wish.motion_px = level),
        "exposure" => levels(&[-2.5, -1.5, -0.7, 0.0, 0.7, 1.4, 2.1], |wish, level| wish.exposure_ev = level),
        "tone" => levels(&[60.0, 48.0, 35.0, 19.0, -10.0, -30.0, -50.0], |wish, level| {
            (wish.ita, wish.ita_class) = (level, Tone::of(level));
        }),
        "area" => levels(&[0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 40.0], |wish, level| wish.area_cm2 = level),
        "distance" => levels(&[130.0, 180.0, 250.0, 350.0, 450.0], |wish, level| wish.distance_mm = level),
        "redness" => redness_levels(),
        _ => return None,
    };
    let wishes = levels.iter().flat_map(|(label, change)| {
        (0..each).map(move |number| {
            let mut wish = Wish::draw(Profile::Clean, seed + number);
            wish.area_cm2 = wish.area_cm2.clamp(4.0, 16.0);
            wish.distance_mm = wish.distance_mm.clamp(180.0, 240.0);
            change(&mut wish);
            (label.clone(), wish)
        })
    });
    Some(wishes.collect())
}

type Change = (String, Box<dyn Fn(&mut Wish)>);

fn levels(levels: &[f64], change: impl Fn(&mut Wish, f64) + Copy + 'static) -> Vec<Change> {
    let one = |level: f64| -> Change { (format!("{level}"), Box::new(move |wish| change(wish, level))) };
    levels.iter().map(|level| one(*level)).collect()
}

fn redness_levels() -> Vec<Change> {
    let mut all: Vec<Change> = Vec::new();
    for reach in [0.0, 4.0, 10.0, 20.0, 40.0, 70.0] {
        for contrast in [0.1, 0.2, 0.35, 0.5] {
            all.push((
                format!("{reach} mm, {contrast}"),
                Box::new(move |wish| {
                    (wish.ery_mm, wish.ery_contrast) = (reach, contrast);
                    wish.ery_soft_mm = wish.ery_soft_mm.min(reach * 0.8);
                }),
            ));
        }
    }
    all
}
