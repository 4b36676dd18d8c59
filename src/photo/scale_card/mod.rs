//! The printed scale card in a photo: where it lies, how large a millimetre is there, how it is lit.

mod border;
mod cells;
mod dark;
mod family;
mod find;
mod geometry;
mod light;
mod measure;
mod perspective;
mod quad;
mod solve;

use std::ops::RangeInclusive;

use serde::Deserialize;
use serde::Serialize;

use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::photo::SkinPlane;
use crate::photo::scale_card::find::What;

/// Which cards are this practice's, and how large they came out of its printer.
#[derive(Clone, Debug, PartialEq)]
pub struct CardIssue {
    /// Ids of the markers this practice prints; any other marker is ignored.
    pub ids: RangeInclusive<u32>,
    /// Edge of the marker's black square as printed, mm.
    pub tag_edge_mm: f64,
}

/// A readable scale card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ScaleCard {
    pub tag_id: u32,
    /// Corners of the marker's black square: top left, top right, bottom right, bottom left as printed.
    pub corners_px: [PxPoint; 4],
    /// The skin around it, as far as it lies in the card's plane.
    pub plane: SkinPlane,
    /// Angle between the line of sight and the card's normal, degrees; 0 is straight from above.
    pub tilt_deg: f64,
    /// Mean edge of the black square in the picture, px.
    pub tag_edge_px: f64,
    /// How far the fitted border lies from a perfect square seen in perspective, rms px.
    pub misfit_px: f64,
    /// From 20 % to 80 % of the step at the marker's border, mm on the card: how blurred the picture is.
    pub edge_rise_mm: f64,
    /// Mean linear light (0–1) of the grey patch, red, green, blue. `None`: hidden, cut off or unevenly covered.
    pub grey_linear: Option<[f64; 3]>,
    /// The paper around the marker is burnt out (linear light above 0.9): its scale is less certain.
    pub burnt_out: bool,
}

/// Why no card can be measured by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CardFault {
    NotSeen,
    /// Something of the card is there, a corner of the marker is not.
    Covered,
    TooSmall,
    TooTilted,
    /// The picture is a mirror image.
    Mirrored,
    /// A marker is there, and it is none of this practice's.
    OtherCard,
    /// Two cards are there and give different scales.
    TwoCards,
    Blurred,
}

/// Finds the scale card. `near` says where the wound is: of two cards that agree the nearer one is taken.
/// `focal_35mm`: focal length as if on 35 mm film, mm; `None` when the file did not say.
pub fn find_card(
    picture: &Picture,
    issue: &CardIssue,
    near: PxPoint,
    focal_35mm: Option<f64>,
) -> Result<ScaleCard, CardFault> {
    let seen = find::markers(picture, &issue.ids);
    let (mut cards, mut fault) = (Vec::new(), CardFault::NotSeen);
    for sighting in &seen {
        let outcome = match sighting.what {
            What::Marker | What::MirrorImage if !issue.ids.contains(&sighting.id) => {
                Err(CardFault::OtherCard)
            }
            What::MirrorImage => Err(CardFault::Mirrored),
            What::PartOfOwn => Err(CardFault::Covered),
            What::Marker => {
                measure::measured(picture, sighting, issue.tag_edge_mm, focal_35mm).and_then(gated)
            }
        };
        match outcome {
            Ok(card) => cards.push(card),
            Err(why) => fault = nearer_to_readable(fault, why),
        }
    }
    one_of(cards, near).unwrap_or(Err(fault))
}

const TOO_BLURRED_ABOVE_MM: f64 = 0.9;
const TOO_SMALL_BELOW_PX: f64 = 40.0;
const TOO_TILTED_ABOVE_DEG: f64 = 40.0;

fn gated(card: ScaleCard) -> Result<ScaleCard, CardFault> {
    if card.tag_edge_px < TOO_SMALL_BELOW_PX {
        return Err(CardFault::TooSmall);
    }
    if card.edge_rise_mm > TOO_BLURRED_ABOVE_MM {
        return Err(CardFault::Blurred);
    }
    if card.tilt_deg > TOO_TILTED_ABOVE_DEG {
        return Err(CardFault::TooTilted);
    }
    Ok(card)
}

fn nearer_to_readable(a: CardFault, b: CardFault) -> CardFault {
    let rank = |fault: CardFault| match fault {
        CardFault::NotSeen => 0,
        CardFault::OtherCard => 1,
        CardFault::Covered => 2,
        CardFault::Mirrored => 3,
        CardFault::TwoCards => 4,
        CardFault::TooSmall => 5,
        CardFault::Blurred => 6,
        CardFault::TooTilted => 7,
    };
    if rank(b) > rank(a) { b } else { a }
}

fn one_of(mut cards: Vec<ScaleCard>, near: PxPoint) -> Option<Result<ScaleCard, CardFault>> {
    let away_px = |card: &ScaleCard| {
        let middle = card.plane.to_px(crate::photo::MmPoint { x_mm: 0.0, y_mm: 0.0 });
        (middle.x_px - near.x_px).hypot(middle.y_px - near.y_px)
    };
    cards.sort_by(|a, b| away_px(a).total_cmp(&away_px(b)));
    let mut cards = cards.into_iter();
    let first = cards.next()?;
    let scale = |card: &ScaleCard| card.plane.mm_per_px_at(card.plane.to_mm(near));
    let agree = |other: ScaleCard| (scale(&other) / scale(&first) - 1.0).abs() <= 0.1;
    Some(if cards.all(agree) { Ok(first) } else { Err(CardFault::TwoCards) })
}
