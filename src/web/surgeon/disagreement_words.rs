//! Where a photo and the patient's answers differ, in a surgeon's English: what each says, and which of the two counts.

use crate::triage::Disagreement;
use crate::triage::Stands;
use crate::triage::Trend;
use crate::web::surgeon::course_words;

/// One disagreement, as two halves of a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DisagreementView {
    /// Such as "The patient says the redness is the same".
    pub said: String,
    /// Such as "the photo shows 16 mm more in 1 day".
    pub seen: String,
    /// Which of the two counts.
    pub stands: &'static str,
}

/// In words.
pub fn disagreement(one: &Disagreement) -> DisagreementView {
    let (said, seen) = match one {
        Disagreement::WiderInPhoto { said_mm: 0, seen_mm } => {
            ("The patient says there is no redness".to_owned(), reaches(seen_mm.value))
        }
        Disagreement::WiderInPhoto { said_mm, seen_mm } => {
            (format!("The patient says the redness reaches {said_mm} mm at most"), reaches(seen_mm.value))
        }
        Disagreement::NarrowerInPhoto { said_mm, seen_mm } => {
            (format!("The patient says the redness reaches {said_mm} mm or more"), reaches(seen_mm.value))
        }
        Disagreement::GrewInPhoto { said, before_mm, now_mm, days } => (
            format!("The patient says the redness is {}", trend(*said)),
            format!("the photo shows {:.0} mm more in {}", now_mm - before_mm, course_words::span(*days)),
        ),
        Disagreement::ShrankInPhoto { before_mm, now_mm, days } => (
            "The patient says the redness is bigger".to_owned(),
            format!("the photo shows {:.0} mm less in {}", before_mm - now_mm, course_words::span(*days)),
        ),
        Disagreement::ClosedButOpen { area_mm2 } => (
            "The patient says it has closed over".to_owned(),
            format!("the photo shows {} cm² of open wound", course_words::cm2(*area_mm2)),
        ),
    };
    let stands = match one.stands() {
        Stands::Photo => "The photo counts.",
        Stands::Answer => "The answer counts.",
    };
    DisagreementView { said, seen, stands }
}

fn reaches(mm: f64) -> String {
    format!("the photo shows {mm:.0} mm")
}

fn trend(said: Trend) -> &'static str {
    match said {
        Trend::Smaller => "smaller",
        Trend::Same => "the same",
        Trend::Bigger => "bigger",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_halves_of_the_sentence_and_what_counts_are_said() {
        let grew = Disagreement::GrewInPhoto { said: Trend::Same, before_mm: 17.0, now_mm: 33.0, days: 1.0 };
        let view = disagreement(&grew);
        assert_eq!(
            format!("{}; {}. {}", view.said, view.seen, view.stands),
            "The patient says the redness is the same; the photo shows 16 mm more in 1 day. The photo counts."
        );
        let closed = disagreement(&Disagreement::ClosedButOpen { area_mm2: 320.0 });
        assert_eq!(
            (closed.seen.as_str(), closed.stands),
            ("the photo shows 3.2 cm² of open wound", "The answer counts.")
        );
    }
}
