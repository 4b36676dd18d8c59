//! Sugar that is low: what the patient is told at once, on the phone and on every page that follows.

use crate::triage::answers::Answers;
use crate::triage::readings::number;
use crate::triage::special_answers::MeterReading;

/// Below this sugar is low: level 1 of the American Diabetes Association's Standards of Care (70 mg/dL, 3.9 mmol/L).
pub const LOW_SUGAR_MG_DL: u16 = 70;
/// Below this it is very low: level 2 of the same (54 mg/dL, 3.0 mmol/L).
pub const VERY_LOW_SUGAR_MG_DL: u16 = 54;

/// How low a sugar reading is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LowSugar {
    /// Low in one unit and high in the other: the unit must be looked at before anybody eats sugar.
    UnitUnclear,
    Low,
    /// Also when the meter shows LO.
    VeryLow,
}

/// What the sugar of a check calls for; `None`: not low, or not known. Mmol/L were converted and rounded to whole mg/dL
/// when they were read, so 3.9 mmol/L is 70 and not low, and 3.0 mmol/L is 54 and not very low.
pub fn low_sugar(answers: &Answers) -> Option<LowSugar> {
    match &answers.sugar.known()?.reading {
        MeterReading::Low => Some(LowSugar::VeryLow),
        MeterReading::Measured { mg_dl, .. } if *mg_dl < VERY_LOW_SUGAR_MG_DL => Some(LowSugar::VeryLow),
        MeterReading::Measured { mg_dl, .. } if *mg_dl < LOW_SUGAR_MG_DL => Some(LowSugar::Low),
        MeterReading::Measured { .. } | MeterReading::High => None,
        // Low as mg/dL, high as mmol/L. What is 70 or more in either unit is not low.
        MeterReading::Unclear { entered, .. } => {
            let is_small = number(entered).is_some_and(|number| number < f64::from(LOW_SUGAR_MG_DL));
            is_small.then_some(LowSugar::UnitUnclear)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Diabetes;
    use crate::plan::Site;
    use crate::triage::Context;
    use crate::triage::StripKnown;
    use crate::triage::read;

    fn typed(sugar: &str, unit: &str) -> Option<LowSugar> {
        let context = Context {
            site: Site::Thigh,
            diabetes: Some(Diabetes::T2),
            sglt2: None,
            blood_thinner: None,
            antibiotic: None,
            strip: StripKnown::NeverPlaced,
        };
        let fields = [("sugar", sugar), ("sugar_unit", unit)];
        let fields = fields.map(|(name, value)| (name.to_owned(), value.to_owned()));
        low_sugar(&read(&fields, &context).answers)
    }

    #[test]
    fn sugar_is_low_below_70_and_very_low_below_54_in_either_unit() {
        for (sugar, unit, low) in [
            ("70", "mg_dl", None),
            ("69", "mg_dl", Some(LowSugar::Low)),
            ("54", "mg_dl", Some(LowSugar::Low)),
            ("53", "mg_dl", Some(LowSugar::VeryLow)),
            // 3.9 · 18.0156 = 70.3; 3.8 is 68.5, rounded 68; 3.0 is 54.05; 2.9 is 52.2.
            ("3.9", "mmol_l", None),
            ("3,8", "mmol_l", Some(LowSugar::Low)),
            ("3.0", "mmol_l", Some(LowSugar::Low)),
            ("2.9", "mmol_l", Some(LowSugar::VeryLow)),
            ("lo", "mg_dl", Some(LowSugar::VeryLow)),
            ("hi", "mg_dl", None),
            ("", "mg_dl", None),
        ] {
            assert_eq!(typed(sugar, unit), low, "{sugar} {unit}");
        }
    }

    #[test]
    fn a_number_of_an_unclear_unit_is_not_called_low_but_asked_about() {
        for (sugar, unit) in [("25", "mg_dl"), ("25", ""), ("4.5", "mg_dl"), ("55", "mmol_l")] {
            assert_eq!(typed(sugar, unit), Some(LowSugar::UnitUnclear), "{sugar} {unit}");
        }
        for (sugar, unit) in [("180", "mmol_l"), ("601", "mg_dl"), ("sweet", "mg_dl")] {
            assert_eq!(typed(sugar, unit), None, "{sugar} {unit}");
        }
    }
}
