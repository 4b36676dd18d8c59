//! The printed scale card in a photo: where it lies, how large a millimetre is there, how it is lit.

mod border;
#[cfg(test)]
mod camera_tests;
mod cells;
mod choose;
mod dark;
#[cfg(test)]
mod drawn;
#[cfg(test)]
mod drawn_tests;
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
use crate::photo::scale_card::find::Sighting;
use crate::photo::scale_card::find::What;

pub use choose::TOO_BLURRED_ABOVE_MM;
pub use choose::TOO_SMALL_BELOW_PX;
pub use choose::TOO_TILTED_ABOVE_DEG;
pub use family::TAG_CELLS;
pub use family::TAG_IDS;
pub use family::marker_cells;
pub use geometry::CARD_HEIGHT_MM;
pub use geometry::CARD_WIDTH_MM;
pub use geometry::GROUND_REFLECTANCE;
pub use geometry::PATCH_HEIGHT_MM;
pub use geometry::PATCH_LEFT_MM;
pub use geometry::PATCH_REFLECTANCE;
pub use geometry::PATCH_TOP_MM;
pub use geometry::PATCH_WIDTH_MM;
pub use geometry::TAG_CELL_MM;
pub use geometry::TAG_EDGE_MM;
pub use geometry::TAG_LEFT_MM;
pub use geometry::TAG_TOP_MM;

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

impl ScaleCard {
    /// Edge of the black square that the plane was made with, mm: as printed, not as designed.
    pub fn tag_edge_mm(&self) -> f64 {
        let places = self.corners_px.map(|corner| self.plane.to_mm(corner));
        (0..4).map(|at| places[at].distance_mm(places[(at + 1) % 4])).sum::<f64>() / 4.0
    }
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
    let outcomes = find::markers(picture, &issue.ids)
        .iter()
        .map(|sighting| looked_at(picture, sighting, issue, focal_35mm))
        .collect();
    choose::card(outcomes, near)
}

fn looked_at(
    picture: &Picture,
    sighting: &Sighting,
    issue: &CardIssue,
    focal_35mm: Option<f64>,
) -> Result<ScaleCard, CardFault> {
    match sighting.what {
        What::Marker | What::MirrorImage if !issue.ids.contains(&sighting.id) => Err(CardFault::OtherCard),
        What::MirrorImage => Err(CardFault::Mirrored),
        What::PartOfOwn => Err(measure::why_not_read(picture, sighting, issue.tag_edge_mm)),
        What::Marker => choose::gated(measure::measured(picture, sighting, issue.tag_edge_mm, focal_35mm)?),
    }
}
