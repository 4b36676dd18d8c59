//! Slips in a wound check as the patient reads them: what to do, and at which question.

use crate::triage::AnswerKind;
use crate::triage::Fault;
use crate::triage::FaultKind;
use crate::triage::QUESTIONS;
use crate::words::Language;
use crate::words::patient_faults::FaultWords;

/// What to do about one slip, in the patient's language.
pub fn about(fault: &Fault, language: Language) -> String {
    let words = FaultWords(language);
    let typed: String = fault.typed.chars().take(40).collect();
    match fault.kind {
        FaultKind::NotANumber => words.not_a_number(&typed),
        FaultKind::OutOfRange => out_of_range(fault.field, words),
        FaultKind::TakeAgain => words.temp_take_again(&typed),
        FaultKind::WhichUnit if fault.field.starts_with("temp") => words.temp_which_unit(&typed),
        FaultKind::WhichUnit => words.sugar_which_unit(&typed),
        FaultKind::NoSuchAnswer => words.no_such_answer(),
        FaultKind::TwoAnswers => words.two_answers(),
        FaultKind::OtherHalf => words.other_half(),
        FaultKind::NotAPhone => words.not_a_phone(&typed),
        FaultKind::TooLong => words.too_long(),
    }
}

fn out_of_range(field: &str, words: FaultWords) -> String {
    match field {
        "temp" | "temp_again" => words.temp_range(),
        "sugar" => words.sugar_range(),
        "edge_mm" => words.ruler_range(),
        "edge_hours" => words.hours_range(),
        "sugar_hours" => words.sugar_hours_range(),
        "edge_cm" => words.cm_range(),
        "ketones" => words.ketones_range(),
        _ => match QUESTIONS.iter().find(|question| question.id == field).map(|question| question.kind) {
            Some(AnswerKind::Whole { lowest, highest }) => words.whole_range(lowest, highest),
            Some(_) | None => words.no_such_answer(),
        },
    }
}

/// The question a form field belongs to.
pub fn question_of(field: &str) -> &'static str {
    QUESTIONS
        .iter()
        .find(|question| question.fields.contains(&field))
        .map_or("danger", |question| question.id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_form_field_belongs_to_a_question_the_form_can_show() {
        for question in QUESTIONS {
            for field in question.fields {
                assert_eq!(question_of(field), question.id, "{field}");
            }
        }
    }

    #[test]
    fn a_number_outside_its_bounds_is_told_the_bounds_of_its_question() {
        let about = |field| {
            let fault = Fault { field, kind: FaultKind::OutOfRange, typed: "999".to_owned() };
            about(&fault, Language::English)
        };
        assert_eq!(about("pulse"), "Type a number from 30 to 220.");
        assert_eq!(about("wash"), "Type a number from 0 to 10.");
    }

    #[test]
    fn every_kind_of_slip_says_something_of_its_own_in_both_languages() {
        let kinds = [
            FaultKind::NotANumber,
            FaultKind::OutOfRange,
            FaultKind::TakeAgain,
            FaultKind::WhichUnit,
            FaultKind::NoSuchAnswer,
            FaultKind::TwoAnswers,
            FaultKind::OtherHalf,
            FaultKind::NotAPhone,
            FaultKind::TooLong,
        ];
        for language in Language::ALL {
            let said: std::collections::BTreeSet<String> = kinds
                .iter()
                .map(|kind| about(&Fault { field: "temp", kind: *kind, typed: "61".to_owned() }, language))
                .collect();
            assert_eq!(said.len(), kinds.len());
        }
    }
}
