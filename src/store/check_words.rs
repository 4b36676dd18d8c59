//! The patient's own words in a check: sealed apart from the answers, so that everything else in them stays readable whatever
//! becomes of the keys.

use sqlx::any::AnyRow;

use crate::ids::WoundCheckId;
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::checks::WoundCheck;
use crate::store::free_text::CANNOT_BE_READ;
use crate::store::free_text::SealedText;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::row::to_json;
use crate::store::text_columns::CHECK_WORDS;
use crate::triage::Answers;

impl WoundCheck {
    /// The answers as staff read them: with words that say so where the patient's own cannot be opened.
    pub fn answers_shown(&self) -> Answers {
        match self.words {
            WordsKept::Unreadable(_) if self.answers.words.is_empty() => {
                Answers { words: CANNOT_BE_READ.to_owned(), ..self.answers.clone() }
            }
            WordsKept::Unreadable(_) | WordsKept::Readable => self.answers.clone(),
        }
    }
}

/// How the patient's own words are kept. They are opened into the answers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum WordsKept {
    /// They stand in the answers, or nothing was typed.
    #[default]
    Readable,
    /// They cannot be opened, and the answers hold none: as they lie in the books. Until the patient types others they stay so.
    Unreadable(FreeText),
}

/// The answers, with the patient's words opened into them.
pub(in crate::store) fn answers(
    row: &AnyRow,
    texts: &Texts,
    id: WoundCheckId,
) -> Stored<(Answers, WordsKept)> {
    let mut answers: Answers = row.json("answers")?;
    let plain = std::mem::take(&mut answers.words);
    let words = texts.opened(row.bytes_maybe("words_sealed")?, plain, &CHECK_WORDS, id);
    match words.read() {
        Some(words) => answers.words = words.to_owned(),
        None => return Ok((answers, WordsKept::Unreadable(words))),
    }
    Ok((answers, WordsKept::Readable))
}

/// The words apart, as they are kept, and the answers without them, but for such as lay there unsealed.
pub(in crate::store) fn words_apart(
    check: &WoundCheck,
    texts: &Texts,
) -> Stored<(Option<SealedText>, String)> {
    let (words, left) = match &check.words {
        WordsKept::Unreadable(kept) if check.answers.words.is_empty() => {
            (kept.shut(), kept.strange().unwrap_or_default())
        }
        WordsKept::Unreadable(_) | WordsKept::Readable => {
            (texts.seal_words(&check.answers.words, &CHECK_WORDS, check.id)?, "")
        }
    };
    Ok((words, to_json(&Answers { words: left.to_owned(), ..check.answers.clone() })?))
}
