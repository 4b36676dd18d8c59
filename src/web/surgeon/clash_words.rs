//! Answers that do not fit together, in a surgeon's English: what stands, and what speaks against it.

use crate::triage::Answers;
use crate::triage::Context;
use crate::triage::Contradiction;
use crate::triage::contradictions;
use crate::web::surgeon::answer_words;

/// One contradiction.
pub struct ClashView {
    /// The answer that counts, with its question.
    pub stands: String,
    pub against: &'static str,
}

/// Everything in these answers that does not fit together.
pub fn clashes(answers: &Answers, context: &Context) -> Vec<ClashView> {
    let view = |clash: Contradiction| {
        let question = clash.stands();
        let answer = answer_words::answer(answers, question).unwrap_or_default();
        ClashView { stands: format!("{}: {answer}", answer_words::label(question)), against: against(clash) }
    };
    contradictions(answers, context).into_iter().map(view).collect()
}

fn against(clash: Contradiction) -> &'static str {
    match clash {
        Contradiction::NoDangerButTicked => "“none of these” is ticked too",
        Contradiction::NoBleedingButDanger => "the bleeding question says none, or spots",
        Contradiction::NoBleedingButTwice => "the bleeding question says none",
        Contradiction::PictureAndRuler => "the picture and the ruler differ; the wider counts",
        Contradiction::NoRednessButGrowing | Contradiction::NoRednessButStreaks => {
            "the redness question says there is none; its reach counts as not known"
        }
        Contradiction::NotBiggerButMoved => "the redness is said not to be bigger; it counts as bigger",
        Contradiction::NothingHotButTicked => "“none of these” is ticked too",
        Contradiction::NothingHotButGrowing => "nothing is said to be hot, hard or swollen",
        Contradiction::NoThermometerButReading => {
            "“no thermometer” or “not sure” is ticked too; a normal reading counts as not known"
        }
        Contradiction::NoPainButWorse => "pain now is said to be 0",
        Contradiction::LittlePainButDanger => "pain now is said to be little",
        Contradiction::NothingComesButMore => "nothing is said to come out; what comes counts as not known",
        Contradiction::NeverHadStripButPlaced => {
            "a strip was put in at the operation; it counts as not known to be out"
        }
        Contradiction::StripButNonePlaced => "no strip was entered at enrolment",
        Contradiction::StripInAfterOut => "an earlier check said that all of it was out",
        Contradiction::NotSickButTicked | Contradiction::PeesWellButTicked => "“none of these” is ticked too",
        Contradiction::NoLooseStoolsButBlood => "no loose stools are said to have come",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Site;
    use crate::triage::Amount;
    use crate::triage::Drainage;
    use crate::triage::Said;
    use crate::triage::StripKnown;

    #[test]
    fn what_stands_is_said_with_its_question_and_what_speaks_against_it() {
        let context = Context {
            site: Site::Thigh,
            diabetes: None,
            sglt2: None,
            blood_thinner: None,
            antibiotic: None,
            strip: StripKnown::NeverPlaced,
        };
        let answers = Answers {
            drain: Said::Is(Drainage::None),
            drain_amount: Said::Is(Amount::More),
            ..Answers::default()
        };
        let found = clashes(&answers, &context);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].stands, "Amount since yesterday: more");
        assert!(found[0].against.starts_with("nothing is said to come out"));
    }
}
