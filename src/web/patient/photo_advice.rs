//! What a patient can do so that a photo can be measured: each reason as one piece of advice, or none.

use crate::care::measuring::Said;
use crate::words::patient_scale::ScaleWords;
use crate::wound::Because;
use crate::wound::Standing;

/// More advice than this at once is read by nobody.
const MOST_LINES: usize = 2;

/// What is said about one photo.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Advice {
    /// Nothing to do.
    Fine,
    /// It waits to be measured.
    NotYet,
    /// It was measured; this would have made it better.
    NextTime(Vec<String>),
    /// It could not be measured: another photo would help.
    Again(Vec<String>),
}

/// What the patient is told about a photo.
pub fn advice(said: &Said, words: ScaleWords) -> Advice {
    let (standing, because) = match said {
        Said::NotYet => return Advice::NotYet,
        Said::SwitchedOff | Said::NoPicture | Said::NotAsked => return Advice::Fine,
        Said::Measured { standing, because } => (standing, because),
    };
    let mut lines: Vec<String> = Vec::new();
    for line in because.iter().filter_map(|why| what_to_do(*why, words)) {
        if lines.len() < MOST_LINES && !lines.contains(&line) {
            lines.push(line);
        }
    }
    match standing {
        _ if lines.is_empty() => Advice::Fine,
        Standing::Ok => Advice::NextTime(lines),
        // The program is not sure of its outline: that alone is no fault of the picture.
        Standing::LowConfidence => Advice::NextTime(lines),
        Standing::Refused => Advice::Again(lines),
    }
}

/// `None`: nothing a patient could do about it.
fn what_to_do(because: Because, words: ScaleWords) -> Option<String> {
    Some(match because {
        Because::CardNotSeen => words.card_not_seen(),
        Because::CardCovered => words.card_covered(),
        Because::CardTooSmall => words.card_too_small(),
        Because::CardTooTilted => words.card_too_tilted(),
        Because::Mirrored => words.mirrored(),
        Because::OtherCard => words.other_card(),
        Because::TwoCards => words.two_cards(),
        Because::Blurred => words.blurred(),
        Because::TooDark => words.too_dark(),
        Because::TooBright => words.too_bright(),
        Because::Glare => words.glare(),
        Because::ColourCast => words.colour_cast(),
        Because::Monochrome => words.monochrome(),
        Because::CutOff => words.cut_off(),
        Because::TooClose => words.too_close(),
        Because::TapOutside | Because::TapOnCard => words.tap_it(),
        Because::NotTapped => words.not_tapped(),
        Because::NoWound => words.not_found(),
        Because::TwoOutlines
        | Because::NotSkinAround
        | Because::FaintEdge
        | Because::SmallWound
        | Because::TookTooLong
        | Because::Failed
        | Because::SwitchedOff => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::Language;

    fn about(standing: Standing, because: &[Because]) -> Advice {
        advice(&Said::Measured { standing, because: because.to_vec() }, ScaleWords(Language::English))
    }

    #[test]
    fn a_photo_without_the_card_is_asked_for_again() {
        let words = ScaleWords(Language::English);
        let again = about(Standing::Refused, &[Because::CardNotSeen]);
        assert_eq!(again, Advice::Again(vec![words.card_not_seen()]));
        assert!(words.card_not_seen().contains("Lay the card flat beside the wound and try again."));
    }

    #[test]
    fn what_a_patient_cannot_change_is_not_laid_on_them() {
        for because in [Because::TwoOutlines, Because::Failed, Because::TookTooLong, Because::SmallWound] {
            assert_eq!(about(Standing::Refused, &[because]), Advice::Fine);
        }
        for said in [Said::SwitchedOff, Said::NoPicture, Said::NotAsked] {
            assert_eq!(advice(&said, ScaleWords(Language::Spanish)), Advice::Fine);
        }
    }

    #[test]
    fn a_measured_photo_gets_advice_only_for_next_time() {
        assert_eq!(about(Standing::Ok, &[]), Advice::Fine);
        assert!(matches!(about(Standing::Ok, &[Because::ColourCast]), Advice::NextTime(_)));
        assert!(matches!(about(Standing::LowConfidence, &[Because::NotTapped]), Advice::NextTime(_)));
    }

    #[test]
    fn at_most_two_things_are_said_and_none_twice() {
        let all = [Because::TapOutside, Because::TapOnCard, Because::TooDark, Because::Blurred];
        let Advice::Again(lines) = about(Standing::Refused, &all) else { panic!("not asked again") };
        let words = ScaleWords(Language::English);
        assert_eq!(lines, [words.tap_it(), words.too_dark()]);
    }
}
