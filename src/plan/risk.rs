//! What makes a patient more fragile than the usual limits allow for; set once, at enrolment.

use serde::Deserialize;
use serde::Serialize;

use crate::plan::coded;

coded! {
    /// Kind of diabetes. `T1` matters by itself: ketones can rise at ordinary sugar.
    pub enum Diabetes { None = "none", T1 = "t1", T2 = "t2", Other = "other" }
}

coded! {
    /// Weak immunity, as grouped by the protocol.
    pub enum Immunity {
        None = "none",
        /// Steroids, transplant, a biologic, HIV not controlled, dialysis, cirrhosis.
        Moderate = "moderate",
        /// Chemotherapy or low white cells.
        Chemo = "chemo",
        /// No spleen, or one that does not work.
        Asplenia = "asplenia",
    }
}

/// An antibiotic the patient was sent home with.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Antibiotic {
    pub drug: String,
    /// First dose; `None` when the office did not know it.
    pub started: Option<jiff::Timestamp>,
}

/// Risk factors as the office entered them. `None` on any of them means nobody asked: unknown, never "no".
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct RiskFactors {
    pub diabetes: Option<Diabetes>,
    /// Takes an SGLT2 drug: ketones can rise at near-normal sugar.
    pub sglt2: Option<bool>,
    pub ketone_strips: Option<bool>,
    pub immunity: Option<Immunity>,
    pub blood_thinner: Option<bool>,
    pub pregnant: Option<bool>,
    pub heart_valve: Option<bool>,
    pub poor_circulation: Option<bool>,
    pub mrsa_before: Option<bool>,
    pub injects_drugs: Option<bool>,
    /// Hides a fast pulse.
    pub beta_blocker: Option<bool>,
    pub opioid_pain_pill: Option<bool>,
    /// The patient says redness is hard to see on their skin: heat, hardness and pain carry the weight.
    pub redness_hard_to_see: Option<bool>,
    pub lives_alone: Option<bool>,
    /// `None`: not asked, or takes none; the two are told apart by `takes_antibiotic`.
    pub antibiotic: Option<Antibiotic>,
    pub takes_antibiotic: Option<bool>,
    /// Free text: drug allergies.
    pub allergies: Option<String>,
}
