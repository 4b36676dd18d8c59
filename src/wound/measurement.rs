//! What one photo says about a wound, in millimetres, with how sure that is, or why it says nothing.

use serde::Deserialize;
use serde::Serialize;

use crate::photo::MmPoint;
use crate::photo::ScaleCard;
use crate::photo::SkinPlane;
use crate::wound::Outline;

/// Version of the automatic method; kept with every measurement. Raised by each change that changes figures.
pub const METHOD: &str = "1";

/// A number with the interval that repeating the measurement on the same photo would fall into 19 times of 20. Its
/// unit is in the name of the field that holds it. Invariant: `low` ≤ `value` ≤ `high`, all finite.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    pub value: f64,
    pub low: f64,
    pub high: f64,
}

impl Figure {
    /// Widens the interval to hold the value; what is not finite becomes 0.
    pub fn new(value: f64, low: f64, high: f64) -> Figure {
        let finite = |number: f64| if number.is_finite() { number } else { 0.0 };
        let value = finite(value);
        Figure { value, low: finite(low).min(value), high: finite(high).max(value) }
    }

    /// Half the interval as a share of the value; 0 for a value of 0.
    pub fn relative_error(&self) -> f64 {
        if self.value == 0.0 { 0.0 } else { (self.high - self.low) / 2.0 / self.value.abs() }
    }
}

/// Who drew the outline the figures rest on. Figures of one family only are compared over time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Family {
    /// Found in the picture by the program.
    Automatic,
    /// Drawn or corrected by a person.
    ByHand,
}

/// How far the figures may be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// The figures count.
    Ok,
    /// An outline is shown, and no number counts until a person has confirmed or drawn it.
    LowConfidence,
    /// Nothing was measured.
    Refused,
}

/// Why a figure is not given, or why it is not sure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Because {
    CardNotSeen,
    CardCovered,
    CardTooSmall,
    CardTooTilted,
    /// The picture is a mirror image: its marker reads only backwards.
    Mirrored,
    /// The marker in the picture is none of this practice's.
    OtherCard,
    /// Two cards give two scales.
    TwoCards,
    Blurred,
    TooDark,
    TooBright,
    /// Glare on the bed of the wound.
    Glare,
    /// The light is too coloured, or no grey patch tells its colour: nothing is said about colours.
    ColourCast,
    /// No colour in the picture.
    Monochrome,
    /// The wound reaches the edge of the picture.
    CutOff,
    /// The tapped place lies outside the picture, or is none.
    TapOutside,
    /// The tapped place is on the scale card.
    TapOnCard,
    /// Nobody tapped: the middle of the picture was taken.
    NotTapped,
    /// No edge around the tapped place stands out from the skin.
    NoWound,
    /// Two different outlines fit the picture.
    TwoOutlines,
    /// What lies outside the outline does not look like the patient's skin.
    NotSkinAround,
    /// The step from wound to skin is faint.
    FaintEdge,
    /// The wound is so small that the width of its edge counts.
    SmallWound,
    /// The view is too close: too little skin around the wound.
    TooClose,
    /// The measurement took too long.
    TookTooLong,
    /// The measurement failed.
    Failed,
    /// The practice has switched measuring off.
    SwitchedOff,
}

/// Size of the wound in its outline.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Size {
    /// Area without islands, mm².
    pub area_mm2: Figure,
    /// Length of the outer edge, mm.
    pub perimeter_mm: Figure,
    /// Largest distance between two points of the edge, mm.
    pub length_mm: Figure,
    /// Extent at right angles to the length, mm.
    pub width_mm: Figure,
}

/// How far the redness goes beyond the wound's edge.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "says")]
#[expect(clippy::large_enum_variant, reason = "there is one in a measurement, and most say how far it goes")]
pub enum Redness {
    Reach(RednessReach),
    /// Something is there and its border is not clear.
    CannotTell,
    /// The skin around the wound looks like the farther skin of this picture. Redness that fills the whole view would
    /// look the same: this is not "none".
    NoContrast {
        /// Distance of the skin it was compared with from the wound's edge, mm.
        compared_at_mm: f64,
    },
    NotGiven {
        because: Because,
    },
}

/// Redness with a visible border.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RednessReach {
    /// 95th percentile over directions, mm beyond the edge. This is what is compared and told.
    pub p95_mm: Figure,
    /// Greatest reach in any direction, mm beyond the edge.
    pub max_mm: Figure,
    /// Reach by clock direction as seen in the picture, 12 o'clock first; `None` where the view ends before the border.
    pub by_clock_mm: [Option<f64>; 12],
    /// The outer edge of the redness.
    pub edge: Vec<MmPoint>,
    /// Contrast of the redness over the noise of the far skin.
    pub contrast_to_noise: f64,
}

/// The line drawn around the redness with a pen at the operation.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "pen")]
pub enum PenLine {
    NotSeen,
    /// `beyond_mm`: how far the redness goes past the line at most; negative when it stays inside. `None`: the redness
    /// has no clear border.
    Seen {
        beyond_mm: Option<f64>,
    },
}

/// Shares of the bed by colour, 0–1, together 1. They say what it looks like, not what it is: slough, fat and pus are
/// one yellow.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bed {
    pub granulation: Figure,
    /// Slough or fat.
    pub yellow: Figure,
    /// Dark tissue, or old blood.
    pub dark: Figure,
}

/// What was typed in after a visit. A photo cannot see either.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Probed {
    /// Greatest depth, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub depth_mm: Option<f64>,
    /// Greatest undermining, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub undermining_mm: Option<f64>,
}

/// What one photo says about the wound.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Measurement {
    /// `METHOD` of the program that made it.
    pub method: String,
    pub family: Family,
    pub standing: Standing,
    /// Why a figure is missing or unsure, the gravest first; empty when nothing is in doubt.
    pub because: Vec<Because>,
    pub card: Option<ScaleCard>,
    /// The skin plane of the review rendition. `None` without a readable card.
    pub plane: Option<SkinPlane>,
    /// Wound edge. `None` where none was found.
    pub outline: Option<Outline>,
    /// `None` where a gate forbids it; see `because`.
    pub size: Option<Size>,
    pub redness: Redness,
    pub pen: PenLine,
    /// `None` where the colours cannot be trusted; see `because`.
    pub bed: Option<Bed>,
    /// Individual typology angle of the far skin, degrees. `None` without a grey patch.
    pub ita_deg: Option<f64>,
    #[serde(default)]
    pub probed: Probed,
}

impl Measurement {
    /// A measurement that says nothing, and why.
    pub fn refused(because: Vec<Because>) -> Measurement {
        let first = because.first().copied().unwrap_or(Because::Failed);
        Measurement {
            method: METHOD.to_owned(),
            family: Family::Automatic,
            standing: Standing::Refused,
            because,
            card: None,
            plane: None,
            outline: None,
            size: None,
            redness: Redness::NotGiven { because: first },
            pen: PenLine::NotSeen,
            bed: None,
            ita_deg: None,
            probed: Probed::default(),
        }
    }

    /// The size, where it counts: `None` while it waits for a person's confirmation.
    pub fn counted_size(&self) -> Option<&Size> {
        match self.standing {
            Standing::Ok => self.size.as_ref(),
            Standing::LowConfidence | Standing::Refused => None,
        }
    }
}
