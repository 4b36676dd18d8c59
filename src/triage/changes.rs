//! What is different from the check before: the answers a surgeon looks at first.

use serde_json::Value as Json;

use crate::triage::answers::Answers;
use crate::triage::questions::QUESTIONS;

/// One answer that is not what it was.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    pub question_id: &'static str,
    /// As in the JSON of [`Answers`]; null when blank.
    pub was: Json,
    pub is: Json,
}

/// Every answer that differs, in the order of the questions.
pub fn changes(previous: &Answers, now: &Answers) -> Vec<Change> {
    // Answers are made of names, words and numbers, which JSON can always hold.
    let json = |answers: &Answers| serde_json::to_value(answers).unwrap_or_default();
    let (was, is) = (json(previous), json(now));
    let value = |answers: &Json, id: &str| answers.get(id).cloned().unwrap_or_default();
    let change = |id: &'static str| Change { question_id: id, was: value(&was, id), is: value(&is, id) };
    QUESTIONS.iter().map(|question| change(question.id)).filter(|change| change.was != change.is).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::triage::Said;
    use crate::triage::Trend;

    #[test]
    fn only_what_is_different_is_listed_in_the_order_of_the_questions() {
        let previous = Answers { pain: Said::Is(3), edge_move: Said::NotSure, ..Answers::default() };
        let now = Answers {
            pain: Said::Is(3),
            edge_move: Said::Is(Trend::Bigger),
            words: "help".to_owned(),
            ..Answers::default()
        };
        let found = changes(&previous, &now);
        assert_eq!(
            found.iter().map(|change| change.question_id).collect::<Vec<_>>(),
            vec!["edge_move", "words"]
        );
        assert_eq!((found[0].was.as_str(), found[0].is.as_str()), (Some("not_sure"), Some("bigger")));
        assert_eq!(found[1].was, Json::Null);
        assert_eq!(changes(&now, &now), vec![]);
    }
}
