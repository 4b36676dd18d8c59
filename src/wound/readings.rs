//! What the colours in and around the outline say: redness, the pen line, the bed, the tone of the skin.

use crate::photo::ScaleCard;
use crate::wound::Because;
use crate::wound::Bed;
use crate::wound::Figure;
use crate::wound::PenLine;
use crate::wound::Redness;
use crate::wound::RednessReach;
use crate::wound::clock::Clock;
use crate::wound::colour;
use crate::wound::edge::Edge;
use crate::wound::pen;
use crate::wound::redness;
use crate::wound::redness::Around;
use crate::wound::redness::SECTORS;
use crate::wound::survey::Survey;
use crate::wound::tissue;
use crate::wound::tissue::Balance;

/// Redness this many times the noise of the far skin has a border that can be told.
const TOLD_FROM: f32 = 2.0;
/// On brown and dark skin a border is told only from here: that redness shows there as it does in drawn pictures is not
/// proven, and heat, hardness and swelling must carry the weight (own choice).
const TOLD_ON_DARK_SKIN_FROM: f32 = 6.0;
/// Brown skin begins here, individual typology angle in degrees (published class limits: brown 10 to −30, dark below).
pub const DARK_SKIN_BELOW_DEG: f64 = 10.0;
/// Below this there is no contrast at all.
const NO_CONTRAST_BELOW: f32 = 0.5;
/// Directions that must end in view, share.
const CLOSED_FROM: f32 = 0.7;
/// Redness that reaches this many times farther in some directions than in most is told only with this much contrast:
/// blotches of the skin itself look so.
const UNEVEN_FROM: f64 = 2.0;
const TOLD_UNEVEN_FROM: f32 = 5.0;
/// A narrower rim is the edge's own, mm.
const SEEN_FROM_MM: f32 = 1.0;
/// Redness goes round at least this share of the directions; blotches of the skin itself do not.
const AROUND_FROM: f32 = 0.5;
/// Skin must be in view this far beyond the edge to be compared with, mm.
const COMPARED_FROM_MM: f32 = 30.0;
/// The light's strongest channel over its weakest on the grey patch; more is no light to tell colours in.
const CAST_UP_TO: f64 = 3.0;
/// More of the bed than this glares.
const GLARE_ABOVE: f64 = 0.25;
/// A bed that glares more than this is not told.
const ALL_GLARE_ABOVE: f64 = 0.6;
/// Repeating the bed's shares on the same photo: standard deviation (own measurement on drawn pictures).
const SHARE_SPREAD: f64 = 0.03;

/// Everything colours say.
pub(in crate::wound) struct Readings {
    pub(in crate::wound) redness: Redness,
    pub(in crate::wound) pen: PenLine,
    pub(in crate::wound) bed: Option<Bed>,
    pub(in crate::wound) ita_deg: Option<f64>,
    pub(in crate::wound) because: Vec<Because>,
}

pub(in crate::wound) fn colours(card: &ScaleCard, survey: &Survey, edge: &Edge) -> Readings {
    let mut because = Vec::new();
    let (bed, why_no_bed) = bed(card, edge);
    because.extend(why_no_bed);
    let monochrome = survey.colours.is_monochrome(&survey.view);
    let around = survey.skin.filter(|_| !monochrome).and_then(|skin| {
        let wound = survey.mask_of(&edge.outline);
        let middle = survey.view.px_of(edge.outline.middle());
        redness::around(&survey.view, &survey.colours.tints, &skin, &wound, middle, &survey.ink)
    });
    let tone_deg = around.as_ref().zip(card.grey_linear).and_then(|(around, grey)| {
        colour::ita_deg(colour::lab(Balance::from_grey(grey).of(around.far_light)))
    });
    let redness = match &around {
        None => {
            let why = if monochrome { Because::Monochrome } else { Because::TooClose };
            because.push(why);
            Redness::NotGiven { because: why }
        }
        Some(around) => {
            let clock = Clock::around(&card.plane, edge.outline.middle());
            let redness = told(around, survey, tone_deg, &clock);
            if matches!(redness, Redness::NotGiven { because: Because::TooClose }) {
                because.push(Because::TooClose);
            }
            redness
        }
    };
    let told = matches!(redness, Redness::Reach(_));
    let pen = pen::line(survey, &edge.outline, told.then_some(()).and(around.as_ref()));
    Readings { redness, pen, bed, ita_deg: tone_deg, because }
}

fn told(around: &Around, survey: &Survey, tone_deg: Option<f64>, clock: &Clock) -> Redness {
    let enough_skin = around.compared_at_mm > 0.0 && around.far_to_mm >= COMPARED_FROM_MM;
    if !enough_skin {
        return Redness::NotGiven { because: Because::TooClose };
    }
    if around.contrast_to_noise < NO_CONTRAST_BELOW {
        return Redness::NoContrast { compared_at_mm: f64::from(around.compared_at_mm) };
    }
    let dark_skin = tone_deg.is_some_and(|degrees| degrees < DARK_SKIN_BELOW_DEG);
    if around.contrast_to_noise < if dark_skin { TOLD_ON_DARK_SKIN_FROM } else { TOLD_FROM } {
        return Redness::CannotTell;
    }
    if around.closed < CLOSED_FROM {
        return Redness::CannotTell;
    }
    let known: Vec<f32> = around.reach_mm.iter().flatten().copied().collect();
    let p95 = f64::from(redness::quantile(known.clone(), 0.95));
    let max = f64::from(redness::quantile(known.clone(), 1.0));
    let uneven = p95 > UNEVEN_FROM * f64::from(redness::quantile(known.clone(), 0.5));
    if uneven && around.contrast_to_noise < TOLD_UNEVEN_FROM {
        return Redness::CannotTell;
    }
    let red = around.reach_mm.iter().flatten().filter(|reach| **reach >= SEEN_FROM_MM).count();
    if p95 < f64::from(SEEN_FROM_MM) || (red as f32) < AROUND_FROM * around.closed * SECTORS as f32 {
        return Redness::CannotTell;
    }
    let spread = f64::from(around.spread_mm);
    let figure = |value: f64| Figure::new(value, (value - 1.96 * spread).max(0.0), value + 1.96 * spread);
    Redness::Reach(RednessReach {
        p95_mm: figure(p95),
        max_mm: figure(max),
        by_clock_mm: by_clock(around, clock),
        edge: around.rim.iter().map(|at| survey.view.mm_of(at[0], at[1])).collect(),
        contrast_to_noise: f64::from(around.contrast_to_noise),
    })
}

/// The farthest reach around each hour of the photo's clock.
fn by_clock(around: &Around, clock: &Clock) -> [Option<f64>; 12] {
    std::array::from_fn(|hour| {
        let middle = clock.turn(hour) * SECTORS as f64;
        let near = (-2..=2).filter_map(|off: i32| {
            let at = (middle + f64::from(off)).rem_euclid(SECTORS as f64) as usize % SECTORS;
            around.reach_mm[at]
        });
        near.max_by(f32::total_cmp).map(f64::from)
    })
}

fn bed(card: &ScaleCard, edge: &Edge) -> (Option<Bed>, Option<Because>) {
    let Some(grey) = card.grey_linear else { return (None, Some(Because::ColourCast)) };
    let (low, high) =
        (grey.iter().copied().fold(f64::INFINITY, f64::min), grey.iter().copied().fold(0.0, f64::max));
    if high > CAST_UP_TO * low {
        return (None, Some(Because::ColourCast));
    }
    let Some(shares) = tissue::shares(&edge.view, &edge.mask, &Balance::from_grey(grey)) else {
        return (None, Some(Because::Glare));
    };
    if shares.glare > ALL_GLARE_ABOVE {
        return (None, Some(Because::Glare));
    }
    let share = |value: f64| {
        let half = 1.96 * (SHARE_SPREAD + 0.1 * shares.glare);
        Figure::new(value, (value - half).max(0.0), (value + half).min(1.0))
    };
    let bed = Bed {
        granulation: share(shares.granulation),
        yellow: share(shares.yellow),
        dark: share(shares.dark),
    };
    (Some(bed), (shares.glare > GLARE_ABOVE).then_some(Because::Glare))
}
