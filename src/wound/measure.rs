//! From a picture and a tapped place to a measurement, or to the reason why there is none.

use crate::photo::CardIssue;
use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::PxPoint;
use crate::photo::ScaleCard;
use crate::wound::Because;
use crate::wound::Measurement;
use crate::wound::Outline;
use crate::wound::Probed;

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

/// Measures a wound on the review rendition. Never panics; what it cannot say it gives a reason for.
pub fn measure(picture: &Picture, asked: &Asked) -> Measurement {
    let _ = (picture, asked);
    Measurement::refused(vec![Because::Failed])
}

/// The figures of an outline a person drew on a picture with a readable card.
pub fn measure_by_hand(picture: &Picture, card: &ScaleCard, drawn: HandDrawn) -> Measurement {
    let _ = (picture, card, drawn);
    Measurement::refused(vec![Because::Failed])
}
