//! What stands against a figure: in the picture as a whole, and at the edge that was found.

use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::ScaleCard;
use crate::wound::Because;
use crate::wound::Outline;
use crate::wound::edge::Edge;
use crate::wound::judge::Candidate;
use crate::wound::survey::Survey;
use crate::wound::tint::tint;

/// A region whose pixels mostly look like skin is no wound: share that must not.
pub(in crate::wound) const NO_WOUND_BELOW: f32 = 0.3;
/// The marker's border rises over more than this, mm: warned (drawn pictures: from 0.75 mm areas get worse).
const BLURRED_ABOVE_MM: f64 = 0.6;
/// A marker smaller than this in the picture, px: one gross error in six came unflagged at 51 px.
const SMALL_CARD_BELOW_PX: f64 = 60.0;
/// Seen more aslant than this, degrees: warned.
const TILTED_ABOVE_DEG: f64 = 30.0;
/// The grey patch (reflectance 0.18) is darker or brighter than this in linear light: warned.
const DARK_BELOW: f64 = 0.04;
const BRIGHT_ABOVE: f64 = 0.30;
/// And so dark or bright that no number is given (beyond what was tried on drawn pictures).
const FAR_TOO_DARK_BELOW: f64 = 0.015;
const FAR_TOO_BRIGHT_ABOVE: f64 = 0.5;
/// The outside must look like the patient's skin in at least this share of the rim.
const SKIN_AROUND_FROM: f32 = 0.7;
/// Where much of the inside looks like skin, the step must be the clearer: share that does not, times the step.
const CLEAR_BED_FROM: f32 = 0.4;
/// A fainter step from wound to skin is not trusted, natural-log units.
const STEP_FROM: f32 = 0.45;
/// Two edges with areas farther apart than this are two outlines.
const SAME_WITHIN: f32 = 0.35;
/// A second outline counts from this step with as much skin around it as is asked of the first, or from less skin with a
/// clearer step than the first has; and from this share of un-skin-like inside, relative to the best.
const SECOND_SKIN_FROM: f32 = 0.55;
const SECOND_SCORE_FROM: f32 = 0.5;
const SECOND_STEP_FROM: f32 = 0.3;
const SECOND_BED_FROM: f32 = 0.75;
/// Just inside the edge no more than this share may look like skin: a reddened or pale rim was taken in.
const LIP_UP_TO: f32 = 0.5;
const LIP_FROM_MM: f32 = 0.4;
const LIP_TO_MM: f32 = 1.4;
/// Below this the width of the edge itself counts, mm².
const SMALL_BELOW_MM2: f64 = 200.0;
/// The picture must go on beyond the edge by this much, mm.
const CUT_OFF_WITHIN_MM: f64 = 1.5;

/// An area whose interval is wider than this to either side is not counted, share.
pub(in crate::wound) const UNSURE_ABOVE: f64 = 0.25;

/// Reasons that leave a shown outline without a counted number until a person has looked.
pub(in crate::wound) fn forbids_size(because: &Because) -> bool {
    match because {
        Because::TwoOutlines
        | Because::NotSkinAround
        | Because::FaintEdge
        | Because::CutOff
        | Because::Monochrome
        | Because::NoWound
        | Because::CardTooSmall => true,
        Because::CardNotSeen
        | Because::CardCovered
        | Because::CardTooTilted
        | Because::Mirrored
        | Because::OtherCard
        | Because::TwoCards
        | Because::Blurred
        | Because::TooDark
        | Because::TooBright
        | Because::Glare
        | Because::ColourCast
        | Because::TapOutside
        | Because::TapOnCard
        | Because::NotTapped
        | Because::SmallWound
        | Because::TooClose
        | Because::TookTooLong
        | Because::Failed
        | Because::SwitchedOff => false,
    }
}

/// What the card tells of the picture.
pub(in crate::wound) fn of_picture(card: &ScaleCard) -> Vec<Because> {
    let mut because = Vec::new();
    if card.tag_edge_px < SMALL_CARD_BELOW_PX {
        because.push(Because::CardTooSmall);
    }
    if card.tilt_deg > TILTED_ABOVE_DEG {
        because.push(Because::CardTooTilted);
    }
    if card.edge_rise_mm > BLURRED_ABOVE_MM {
        because.push(Because::Blurred);
    }
    let grey = card.grey_linear.map(|grey| grey.iter().sum::<f64>() / 3.0);
    if grey.is_some_and(|grey| grey < DARK_BELOW) {
        because.push(Because::TooDark);
    }
    if grey.is_some_and(|grey| grey > BRIGHT_ABOVE) {
        because.push(Because::TooBright);
    }
    because
}

/// So dark or so bright that no figure is given.
pub(in crate::wound) fn hopeless_light(card: &ScaleCard) -> Option<Because> {
    let grey = card.grey_linear.map(|grey| grey.iter().sum::<f64>() / 3.0)?;
    if grey < FAR_TOO_DARK_BELOW {
        Some(Because::TooDark)
    } else if grey > FAR_TOO_BRIGHT_ABOVE {
        Some(Because::TooBright)
    } else {
        None
    }
}

/// What the edge that was found tells; `found` has the best first.
pub(in crate::wound) fn of_edge(
    picture: &Picture,
    card: &ScaleCard,
    survey: &Survey,
    found: &[Candidate],
    edge: &Edge,
) -> Vec<Because> {
    let outline = &edge.outline;
    let mut because = Vec::new();
    let Some(best) = found.first() else { return because };
    let area = |candidate: &Candidate| candidate.mask.count() as f32;
    let second = found.iter().any(|other| {
        let apart = (area(other) / area(best)).ln().abs() > (1.0 + SAME_WITHIN).ln();
        apart
            && (other.skin_share >= SKIN_AROUND_FROM && other.step >= SECOND_STEP_FROM
                || other.skin_share >= SECOND_SKIN_FROM
                    && other.step > best.step
                    && other.score > SECOND_SCORE_FROM * best.score)
            && other.bed_share >= SECOND_BED_FROM * best.bed_share
    });
    if second {
        because.push(Because::TwoOutlines);
    }
    if best.skin_share < SKIN_AROUND_FROM {
        because.push(Because::NotSkinAround);
    }
    if best.step < STEP_FROM
        || best.bed_share * best.step < CLEAR_BED_FROM
        || skin_like_lip(survey, edge) > LIP_UP_TO
    {
        because.push(Because::FaintEdge);
    }
    if cut_off(picture, card, outline) || best.mask.touches_border() {
        because.push(Because::CutOff);
    }
    if outline.area_mm2() < SMALL_BELOW_MM2 {
        because.push(Because::SmallWound);
    }
    because
}

/// Whether the outline reaches the edge of the picture.
fn cut_off(picture: &Picture, card: &ScaleCard, outline: &Outline) -> bool {
    let (width, height) = (picture.width() as f64, picture.height() as f64);
    let near = |place: &MmPoint| {
        let margin = CUT_OFF_WITHIN_MM / card.plane.mm_per_px_at(*place);
        let at = card.plane.to_px(*place);
        !(at.x_px > margin && at.y_px > margin && at.x_px < width - margin && at.y_px < height - margin)
    };
    outline.pieces().iter().flat_map(|piece| &piece.edge).any(near)
}

/// Share of the lip just inside the edge that looks like this patient's skin.
fn skin_like_lip(survey: &Survey, edge: &Edge) -> f32 {
    let Some(skin) = survey.skin else { return 0.0 };
    let inside = edge.mask.inverted().distances();
    let on_lip = |far: f32| far > LIP_FROM_MM * edge.view.px_per_mm && far < LIP_TO_MM * edge.view.px_per_mm;
    let lip: Vec<usize> = (0..inside.len()).filter(|at| edge.view.skin[*at] && on_lip(inside[*at])).collect();
    let like = lip.iter().filter(|at| skin.passes(&tint(edge.view.light[**at]))).count();
    like as f32 / lip.len().max(1) as f32
}
