//! Answers to the questions only some patients meet: sugar and ketones, antibiotic, bladder and bowel, telephone.

use serde::Deserialize;
use serde::Serialize;

use crate::plan::coded;

coded! {
    pub enum SugarUnit { MgDl = "mg_dl", MmolL = "mmol_l" }
}

/// What the meter showed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MeterReading {
    /// The meter showed LO.
    Low,
    /// The meter showed HI.
    High,
    Measured {
        /// As typed.
        entered: String,
        unit: SugarUnit,
        /// 20–600, whole, rounded once: 3.9 mmol/L is 70.
        mg_dl: u16,
    },
    /// A number that does not go with its unit: kept for the surgeon's eye, unknown to the rules.
    Unclear { entered: String, unit: Option<SugarUnit> },
}

/// The last sugar reading.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sugar {
    pub reading: MeterReading,
    /// Whole hours ago, 0–720. `None`: not said; the reading is then taken as fresh, since it can only raise.
    pub hours_ago: Option<u16>,
}

/// A reading older than this says nothing about now.
pub const SUGAR_STALE_AFTER_H: u16 = 24;

coded! {
    /// What goes with dangerous sugar. Thirst alone does not count.
    pub enum SugarSick {
        Vomiting = "vomiting", BellyPain = "belly_pain", FastBreathing = "fast_breathing",
        FruityBreath = "fruity_breath", Drowsy = "drowsy", Thirsty = "thirsty",
    }
}

coded! {
    /// A urine ketone strip.
    pub enum UrineKetones {
        None = "none", Trace = "trace", Small = "small", Moderate = "moderate", Large = "large",
    }
}

/// A ketone test, by blood or by urine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ketones {
    /// Tenths of a mmol/L, 0–80.
    BloodTenthsMmolL(u16),
    Urine(UrineKetones),
}

coded! {
    /// A new rash on an antibiotic.
    pub enum Rash {
        None = "none",
        Mild = "mild",
        /// Raised, itchy, coming and going.
        Hives = "hives",
        /// Blisters, or skin that peels.
        Blister = "blister",
    }
}

coded! {
    /// What goes with a bladder or a bowel that is pressed on.
    pub enum PeeSign {
        /// The urge to pee is there and nothing comes.
        UrgeNothingComes = "urge",
        DeepPressure = "pressure",
        CannotPassStool = "no_stool",
    }
}

/// Where the patient can be reached in the next two hours. Its `Debug` shows no digit: a number must not reach a log.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BestPhone {
    /// As typed.
    pub entered: String,
    /// In the international form of E.164, such as `+12025550143`; `None`: what was typed is no whole number, and is
    /// kept for the eye of whoever rings.
    pub number: Option<String>,
}

impl std::fmt::Debug for BestPhone {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str("BestPhone(not shown)")
    }
}

coded! {
    /// A question where "none of these", or "no thermometer", stood beside an answer that says otherwise.
    pub enum NoneBeside { Danger = "danger", Temp = "temp", WarmHard = "warm_hard", SugarSick = "sugar_sick", PeeSigns = "pee_signs" }
}
