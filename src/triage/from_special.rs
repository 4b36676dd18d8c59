//! From the questions only some patients meet to facts: sugar, antibiotic, bladder and bowel, finger, pulse.

use std::collections::BTreeSet;

use crate::triage::answers::Answers;
use crate::triage::facts::Facts;
use crate::triage::special_answers::Ketones;
use crate::triage::special_answers::MeterReading;
use crate::triage::special_answers::PeeSign;
use crate::triage::special_answers::SUGAR_STALE_AFTER_H;
use crate::triage::special_answers::Sugar;
use crate::triage::special_answers::SugarSick;

/// From this many doses thrown up on, the antibiotic does not stay down. Common practice, no source; the 12 hours that
/// stand beside it there are not asked.
const VOMITED_DOSES: u8 = 2;

pub(super) fn sugar(facts: &mut Facts, answers: &Answers) {
    if let Some(Sugar { reading, hours_ago }) = answers.sugar.known()
        && hours_ago.is_none_or(|hours| hours <= SUGAR_STALE_AFTER_H)
    {
        match reading {
            // Meters show LO below what they can measure; 20 mg/dL is the lowest taken.
            MeterReading::Low => facts.number("glucose", 20.0),
            MeterReading::High => facts.flag("glucose_hi", true),
            MeterReading::Measured { mg_dl, .. } => {
                facts.number("glucose", f64::from(*mg_dl));
                facts.flag("glucose_hi", false);
            }
            MeterReading::Unclear { .. } => {}
        }
    }
    match answers.ketones.known() {
        Some(Ketones::BloodTenthsMmolL(tenths)) => facts.number("ketones", f64::from(*tenths) / 10.0),
        Some(Ketones::Urine(strip)) => facts.word("urine_ketones", strip.code()),
        None => {}
    }
    if let Some(signs) = answers.sugar_sick.known() {
        let counting: BTreeSet<_> = signs.iter().filter(|sign| **sign != SugarSick::Thirsty).collect();
        facts.flag("sugar_sick", !counting.is_empty());
        facts.flag("vomiting", signs.contains(&SugarSick::Vomiting));
    }
}

pub(super) fn antibiotic(facts: &mut Facts, answers: &Answers) {
    if let Some(missed) = answers.pills_missed.known() {
        facts.number("abx_missed", f64::from(*missed));
    }
    match answers.pills_vomited.known() {
        Some(0) => facts.flag("vomit_abx", false),
        Some(VOMITED_DOSES..) => facts.flag("vomit_abx", true),
        // One dose thrown up is neither: the next one decides. It stays unknown, which reassures nobody.
        Some(_) | None => {}
    }
    if let Some(rash) = answers.rash.known() {
        facts.word("rash", rash.code());
    }
    if let Some(stools) = answers.loose_stools.known() {
        facts.number("loose_stools_24h", f64::from(*stools));
    }
    facts.yes_no("stool_blood", answers.stool_blood);
}

pub(super) fn bladder_and_bowel(facts: &mut Facts, answers: &Answers) {
    let Some(signs) = answers.pee_signs.known() else { return };
    facts.flag("deep_pressure", signs.contains(&PeeSign::DeepPressure));
    facts.flag("cant_pass_stool", signs.contains(&PeeSign::CannotPassStool));
    match (signs.contains(&PeeSign::UrgeNothingComes), answers.pee.known()) {
        // Whoever has no urge may well not have had to go.
        (false, _) => facts.number("cant_pee_hours", 0.0),
        (true, Some(hours)) => facts.number("cant_pee_hours", f64::from(*hours)),
        (true, None) => {}
    }
}

pub(super) fn finger_and_pulse(facts: &mut Facts, answers: &Answers) {
    facts.yes_no("finger_bent", answers.finger);
    for (fact, said) in [("hr", answers.pulse), ("rr", answers.breaths), ("sbp", answers.pressure)] {
        if let Some(number) = said.known() {
            facts.number(fact, f64::from(*number));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::facts::Value;
    use crate::triage::said::Said;

    fn number(number: f64) -> Option<Value> {
        Some(Value::Number { low: number, high: number })
    }

    #[test]
    fn two_doses_thrown_up_are_pills_that_do_not_stay_and_one_is_neither() {
        let vomits = |doses| {
            let mut facts = Facts::default();
            antibiotic(&mut facts, &Answers { pills_vomited: doses, ..Answers::default() });
            facts.value("vomit_abx")
        };
        assert_eq!(vomits(Said::Is(0)), Some(Value::Flag(false)));
        assert_eq!(vomits(Said::Is(1)), None);
        assert_eq!(vomits(Said::Is(2)), Some(Value::Flag(true)));
        assert_eq!(vomits(Said::NotSure), None);
    }

    #[test]
    fn hours_without_pee_count_only_with_the_urge_and_nothing_coming() {
        let hours = |hours, signs: &[PeeSign]| {
            let mut facts = Facts::default();
            let pee_signs = Said::Is(signs.iter().copied().collect());
            bladder_and_bowel(&mut facts, &Answers { pee: hours, pee_signs, ..Answers::default() });
            facts.value("cant_pee_hours")
        };
        let urge = [PeeSign::UrgeNothingComes];
        assert_eq!(hours(Said::Is(9), &urge), number(9.0));
        assert_eq!(hours(Said::Is(9), &[PeeSign::DeepPressure]), number(0.0));
        assert_eq!(hours(Said::NotSure, &urge), None);
        let mut facts = Facts::default();
        bladder_and_bowel(&mut facts, &Answers { pee: Said::Is(9), ..Answers::default() });
        assert_eq!(facts, Facts::default());
    }

    #[test]
    fn a_pulse_that_was_not_taken_is_not_a_normal_one() {
        let mut facts = Facts::default();
        finger_and_pulse(&mut facts, &Answers { pulse: Said::NotSure, ..Answers::default() });
        assert_eq!(facts, Facts::default());
        let taken = Answers {
            pulse: Said::Is(112),
            breaths: Said::Is(18),
            pressure: Said::Is(95),
            ..Answers::default()
        };
        finger_and_pulse(&mut facts, &taken);
        let found = ["hr", "rr", "sbp"].map(|name| facts.value(name));
        assert_eq!(found, [number(112.0), number(18.0), number(95.0)]);
    }
}
