//! From a picture and a tapped place to a measurement, or to the reason why there is none.

use crate::photo::CardFault;
use crate::photo::CardIssue;
use crate::photo::DARK_BELOW;
use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::photo::ScaleCard;
use crate::photo::TAG_EDGE_MM;
use crate::photo::TOO_BRIGHT_ABOVE;
use crate::photo::find_card;
use crate::wound::Because;
use crate::wound::Family;
use crate::wound::METHOD;
use crate::wound::Measurement;
use crate::wound::Outline;
use crate::wound::PenLine;
use crate::wound::Probed;
use crate::wound::Standing;
use crate::wound::drawn_redness;
use crate::wound::edge;
use crate::wound::edge::Edge;
use crate::wound::gates;
use crate::wound::readings;
use crate::wound::repeat;
use crate::wound::repeat::Doubt;
use crate::wound::segment;
use crate::wound::survey::CardPlace;
use crate::wound::survey::Survey;

/// What is known of a picture besides its pixels.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// The middle of the wound as the patient tapped it. `None`: nobody tapped, the middle of the picture is taken.
    pub tap: Option<PxPoint>,
    pub issue: CardIssue,
    /// Focal length as if on 35 mm film, mm. `None` when the file did not say.
    pub focal_35mm: Option<f64>,
}

/// What a person drew and typed.
#[derive(Clone, Debug, PartialEq)]
pub struct HandDrawn {
    pub wound: Outline,
    /// Outer edge of the redness; `None`: not drawn. An edge no farther than the wound's own says "no redness".
    pub redness_edge: Option<Vec<MmPoint>>,
    pub probed: Probed,
}

/// Standard deviation of an edge drawn by hand, all around together, mm (assumed; personal habit of drawing in or out).
const HAND_EDGE_MM: f64 = 0.4;
/// Other first guesses count as repetitions when they fit this well, share of the best.
const AS_GOOD_FROM: f32 = 0.7;
/// The wound is looked for this far around the tapped place, mm.
const WOUND_REACH_MM: f32 = 60.0;
/// And this far when it goes on, at half the resolution, mm.
const LONG_REACH_MM: f32 = 100.0;

/// Measures a wound on the review rendition. Never panics; what it cannot say it gives a reason for.
pub fn measure(picture: &Picture, asked: &Asked) -> Measurement {
    let middle = PxPoint { x_px: picture.width() as f64 / 2.0, y_px: picture.height() as f64 / 2.0 };
    let tap = asked.tap.unwrap_or(middle);
    let inside = |at: f64, size: usize| at >= 0.0 && at < size as f64;
    if !(inside(tap.x_px, picture.width()) && inside(tap.y_px, picture.height())) {
        return Measurement::refused(vec![Because::TapOutside]);
    }
    let card = match find_card(picture, &asked.issue, tap, asked.focal_35mm) {
        Ok(card) => card,
        Err(fault) => return Measurement::refused(without_card(picture, fault)),
    };
    let mut because = if asked.tap.is_none() { vec![Because::NotTapped] } else { Vec::new() };
    let place = card.plane.to_mm(tap);
    if let Some(why) = gates::hopeless_light(&card) {
        because.insert(0, why);
        return with_card(card, because);
    }
    let covers = CardPlace::of(asked.issue.tag_edge_mm / TAG_EDGE_MM);
    if covers.covers(place) {
        because.insert(0, Because::TapOnCard);
        return with_card(card, because);
    }
    let survey = Survey::around(picture, &card, &covers, place);
    if survey.colours.is_monochrome(&survey.view) {
        because.insert(0, Because::Monochrome);
        return with_card(card, because);
    }
    let Some(mut near) = survey.near(place, WOUND_REACH_MM) else {
        return with_card(card, vec![Because::NoWound]);
    };
    let mut found = segment::candidates(&near);
    if found.first().is_some_and(|best| best.reaches)
        && let Some(wider) = survey.wider(place, LONG_REACH_MM)
    {
        let again = segment::candidates(&wider);
        if !again.is_empty() {
            (near, found) = (wider, again);
        }
    }
    let Some(best) = found.first() else {
        because.insert(0, Because::NoWound);
        return with_card(card, because);
    };
    if best.bed_share < gates::NO_WOUND_BELOW {
        because.insert(0, Because::NoWound);
        return with_card(card, because);
    }
    let Some(edge) = edge::closer(picture, &card, &near, survey.skin, &best.mask, &covers) else {
        because.insert(0, Because::NoWound);
        return with_card(card, because);
    };
    because.extend(gates::of_picture(&card));
    because.extend(gates::of_edge(picture, &card, &survey, &found, &edge));
    let px_mm2 = f64::from(near.view.px_per_mm).powi(2);
    let areas = found
        .iter()
        .filter(|other| other.score > AS_GOOD_FROM * best.score)
        .map(|candidate| candidate.mask.count() as f64 / px_mm2)
        .collect();
    let doubt = Doubt::automatic(&card, areas, best.mask.count() as f64 / px_mm2);
    complete(card, survey, edge, because, &doubt)
}

/// The figures of an outline a person drew on a picture with a readable card.
pub fn measure_by_hand(picture: &Picture, card: &ScaleCard, drawn: HandDrawn) -> Measurement {
    let covers = CardPlace::of(card.tag_edge_mm() / TAG_EDGE_MM);
    let survey = Survey::around(picture, card, &covers, drawn.wound.middle());
    let edge = edge::drawn(picture, card, &survey, drawn.wound, &covers);
    let doubt = Doubt { other_areas: Vec::new(), edge_mm: HAND_EDGE_MM };
    let because = gates::of_picture(card);
    let mut measurement = complete(card.clone(), survey, edge, because, &doubt);
    measurement.family = Family::ByHand;
    // A person vouches for the edge; what colours can say is still up to the light.
    measurement.standing = Standing::Ok;
    measurement.probed = drawn.probed;
    if let (Some(ring), Some(outline)) = (drawn.redness_edge, &measurement.outline) {
        measurement.redness = drawn_redness::reach(outline, &card.plane, ring);
    }
    measurement
}

fn complete(
    card: ScaleCard,
    survey: Survey,
    edge: Edge,
    mut because: Vec<Because>,
    doubt: &Doubt,
) -> Measurement {
    let size = repeat::size(&edge.outline, &card, doubt);
    let colours = readings::colours(&card, &survey, &edge);
    because.extend(colours.because);
    if size.area_mm2.relative_error() > gates::UNSURE_ABOVE {
        because.push(Because::TwoOutlines);
    }
    because.sort();
    because.dedup();
    let standing =
        if because.iter().any(gates::forbids_size) { Standing::LowConfidence } else { Standing::Ok };
    Measurement {
        method: METHOD.to_owned(),
        family: Family::Automatic,
        standing,
        plane: Some(card.plane),
        outline: Some(edge.outline),
        size: Some(size),
        redness: colours.redness,
        pen: colours.pen,
        bed: colours.bed,
        ita_deg: colours.ita_deg,
        probed: Probed::default(),
        card: Some(card),
        because,
    }
}

/// Why there is no card: in a picture that is dark or burnt out as a whole, that comes first.
fn without_card(picture: &Picture, fault: CardFault) -> Vec<Because> {
    let light = match picture.mean_luminance() {
        light if light < DARK_BELOW => Some(Because::TooDark),
        light if light > TOO_BRIGHT_ABOVE => Some(Because::TooBright),
        _ => None,
    };
    light.into_iter().chain([fault.into()]).collect()
}

/// A readable card and nothing to measure.
fn with_card(card: ScaleCard, because: Vec<Because>) -> Measurement {
    let refused = Measurement::refused(because);
    Measurement { plane: Some(card.plane), card: Some(card), pen: PenLine::NotSeen, ..refused }
}

impl From<CardFault> for Because {
    fn from(fault: CardFault) -> Because {
        match fault {
            CardFault::NotSeen => Because::CardNotSeen,
            CardFault::Covered => Because::CardCovered,
            CardFault::TooSmall => Because::CardTooSmall,
            CardFault::TooTilted => Because::CardTooTilted,
            CardFault::Mirrored => Because::Mirrored,
            CardFault::OtherCard => Because::OtherCard,
            CardFault::TwoCards => Because::TwoCards,
            CardFault::Blurred => Because::Blurred,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wound::Redness;
    use proptest::prelude::*;

    fn asked(tap: Option<PxPoint>) -> Asked {
        Asked { tap, issue: CardIssue { ids: 0..=0, tag_edge_mm: TAG_EDGE_MM }, focal_35mm: None }
    }

    #[test]
    fn a_tap_outside_the_picture_is_refused_before_anything_else() {
        let picture = Picture::new(40, 30, vec![120; 3_600]).unwrap();
        for (x_px, y_px) in [(-0.1, 5.0), (40.0, 5.0), (5.0, 30.0), (f64::NAN, 5.0)] {
            let found = measure(&picture, &asked(Some(PxPoint { x_px, y_px })));
            assert_eq!((found.standing, found.because), (Standing::Refused, vec![Because::TapOutside]));
        }
    }

    #[test]
    fn without_a_card_nothing_is_measured() {
        let picture = Picture::new(40, 30, vec![120; 3_600]).unwrap();
        let found = measure(&picture, &asked(None));
        assert_eq!((found.standing, found.because), (Standing::Refused, vec![Because::CardNotSeen]));
        assert_eq!(found.redness, Redness::NotGiven { because: Because::CardNotSeen });
        assert!(found.size.is_none() && found.outline.is_none() && found.bed.is_none());
    }

    #[test]
    fn a_picture_dark_or_burnt_out_as_a_whole_is_told_so_before_its_missing_card() {
        let told =
            |level: u8| measure(&Picture::new(40, 30, vec![level; 3_600]).unwrap(), &asked(None)).because;
        assert_eq!(told(4), vec![Because::TooDark, Because::CardNotSeen]);
        assert_eq!(told(255), vec![Because::TooBright, Because::CardNotSeen]);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]
        #[test]
        fn any_pixels_give_an_answer(
            width in 1usize..90,
            height in 1usize..90,
            seed in any::<u64>(),
            tap in proptest::option::of((-10.0..100.0f64, -10.0..100.0f64)),
        ) {
            let mut state = seed | 1;
            let rgb = (0..3 * width * height).map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 56) as u8
            });
            let picture = Picture::new(width, height, rgb.collect()).unwrap();
            let found = measure(&picture, &asked(tap.map(|(x_px, y_px)| PxPoint { x_px, y_px })));
            prop_assert_ne!(found.standing, Standing::Ok);
        }
    }
}
