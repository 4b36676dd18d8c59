//! What people type freely: sealed for its own place in the books, opened nowhere else, and never taken for another text.

use std::fmt;
use std::ops::Deref;

use sqlx::any::AnyRow;

use crate::store::Stored;
use crate::store::keyring::KeyRing;
use crate::store::keyring::SealFault;
use crate::store::row::Columns;
use crate::store::seals::Seals;
use crate::store::text_columns::TextColumn;

/// What staff read where words cannot be opened. Patients read theirs in their own language.
pub const CANNOT_BE_READ: &str =
    "These words cannot be read. Tell whoever runs the server: a back-up may still have them.";

/// A text as the books keep it: opaque, and of use only with the keys and the place it belongs to.
///
/// Invariant: it was sealed here or came out of a column of sealed texts. Nobody can spell one from plain words.
#[derive(Clone, PartialEq, Eq, sqlx::Type)]
#[sqlx(transparent)]
pub struct SealedText(Vec<u8>);

impl SealedText {
    pub(in crate::store) fn of_column(bytes: Vec<u8>) -> SealedText {
        SealedText(bytes)
    }

    /// The version of the key that its own key is wrapped with; `None`: it is no sealed text any more.
    pub fn key_version(&self) -> Option<u32> {
        KeyRing::version_of(&self.0).ok()
    }

    /// The words, if it was sealed for this place and nothing in it was changed since.
    pub fn open(&self, seals: &Seals, column: &TextColumn, row_id: &str) -> Result<String, SealFault> {
        let plain = seals.open(&self.0, &column.about(row_id))?;
        String::from_utf8(plain).map_err(|_| SealFault::Broken)
    }

    /// The same text with its key wrapped by the newest key; `None`: it is already.
    pub fn rewrapped(
        &self,
        seals: &Seals,
        column: &TextColumn,
        row_id: &str,
    ) -> Result<Option<SealedText>, SealFault> {
        let again = seals.ring().rewrapped(&self.0, &column.about(row_id), seals.chance())?;
        Ok(again.map(SealedText))
    }
}

impl fmt::Debug for SealedText {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "SealedText({} bytes)", self.0.len())
    }
}

/// Something typed, on its way into the books or out of them. Shown where it cannot be opened, it reads
/// [`CANNOT_BE_READ`]; written back, it stays as it lies there. Its `Debug` shows no letter.
#[derive(Clone, PartialEq, Eq)]
pub struct FreeText(Held);

#[derive(Clone, PartialEq, Eq)]
enum Held {
    Open(String),
    /// It cannot be opened.
    Shut(SealedText),
    /// It lay there unsealed when everything is sealed: nobody is shown it, and it is not written over either.
    Strange(String),
}

impl FreeText {
    /// The words; `None`: they cannot be opened.
    pub fn read(&self) -> Option<&str> {
        match &self.0 {
            Held::Open(words) => Some(words),
            Held::Shut(_) | Held::Strange(_) => None,
        }
    }

    /// The words, or that they cannot be read.
    pub fn as_str(&self) -> &str {
        self.read().unwrap_or(CANNOT_BE_READ)
    }

    /// As it lies in the books, where it cannot be opened.
    pub(in crate::store) fn shut(&self) -> Option<SealedText> {
        match &self.0 {
            Held::Open(_) | Held::Strange(_) => None,
            Held::Shut(sealed) => Some(sealed.clone()),
        }
    }

    /// As it lies in the books where nobody may have put it: unsealed. Only for putting it back there.
    pub(in crate::store) fn strange(&self) -> Option<&str> {
        match &self.0 {
            Held::Open(_) | Held::Shut(_) => None,
            Held::Strange(words) => Some(words),
        }
    }
}

impl Default for FreeText {
    fn default() -> FreeText {
        FreeText(Held::Open(String::new()))
    }
}

impl From<String> for FreeText {
    fn from(words: String) -> FreeText {
        FreeText(Held::Open(words))
    }
}

impl From<&str> for FreeText {
    fn from(words: &str) -> FreeText {
        FreeText(Held::Open(words.to_owned()))
    }
}

impl Deref for FreeText {
    type Target = str;
    fn deref(&self) -> &str {
        self.as_str()
    }
}

impl fmt::Display for FreeText {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.as_str())
    }
}

impl fmt::Debug for FreeText {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.0 {
            Held::Open(words) => write!(out, "FreeText({} characters)", words.chars().count()),
            Held::Shut(_) | Held::Strange(_) => out.write_str("FreeText(cannot be read)"),
        }
    }
}

impl PartialEq<str> for FreeText {
    fn eq(&self, other: &str) -> bool {
        self.read() == Some(other)
    }
}

impl PartialEq<&str> for FreeText {
    fn eq(&self, other: &&str) -> bool {
        self.read() == Some(*other)
    }
}

/// The keys of the texts, as a connection carries them. Without keys nothing is written, and nothing sealed is read.
#[derive(Clone, Debug, Default)]
pub struct Texts(Option<Seals>);

impl Texts {
    pub(in crate::store) fn by(seals: Option<Seals>) -> Texts {
        Texts(seals)
    }

    pub fn seals(&self) -> Option<&Seals> {
        self.0.as_ref()
    }

    /// Seals a text for its row. `None`: nothing was typed, or it lies there unsealed, where the query must leave it. One that
    /// could not be opened stays as it was.
    pub(in crate::store) fn seal(
        &self,
        text: &FreeText,
        column: &TextColumn,
        row_id: impl fmt::Display,
    ) -> Stored<Option<SealedText>> {
        match &text.0 {
            Held::Open(words) => self.seal_words(words, column, row_id),
            Held::Shut(sealed) => Ok(Some(sealed.clone())),
            Held::Strange(_) => Ok(None),
        }
    }

    pub(in crate::store) fn seal_words(
        &self,
        words: &str,
        column: &TextColumn,
        row_id: impl fmt::Display,
    ) -> Stored<Option<SealedText>> {
        if words.is_empty() {
            return Ok(None);
        }
        let seals = self.0.as_ref().ok_or(SealFault::NoKeys)?;
        let about = column.about(&row_id.to_string());
        Ok(Some(SealedText(seals.seal(words.as_bytes(), &about))))
    }

    /// The text of one column of a row.
    pub(in crate::store) fn open(
        &self,
        row: &AnyRow,
        column: &TextColumn,
        row_id: impl fmt::Display,
    ) -> Stored<FreeText> {
        let sealed = row.bytes_maybe(column.sealed)?;
        Ok(self.opened(sealed, row.text(column.plain)?, column, row_id))
    }

    /// A text as it is kept: sealed, or still as it was typed before anything was sealed.
    pub(in crate::store) fn opened(
        &self,
        sealed: Option<Vec<u8>>,
        plain: String,
        column: &TextColumn,
        row_id: impl fmt::Display,
    ) -> FreeText {
        let Some(sealed) = sealed.map(SealedText) else {
            let is_strange = !plain.is_empty() && self.0.as_ref().is_some_and(Seals::is_all_sealed);
            return FreeText(if is_strange { Held::Strange(plain) } else { Held::Open(plain) });
        };
        let seals = self.0.as_ref().ok_or(SealFault::NoKeys);
        match seals.and_then(|seals| sealed.open(seals, column, &row_id.to_string())) {
            Ok(words) => FreeText(Held::Open(words)),
            Err(_) => FreeText(Held::Shut(sealed)),
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::ids::Chance;
    use crate::store::text_columns::MESSAGE_BODY;
    use crate::store::text_columns::REVIEW_NOTE;

    fn texts() -> Texts {
        let ring = KeyRing::from_text(&KeyRing::new_line(None, &Chance::seeded(1))).unwrap();
        Texts::by(Some(Seals::new(ring, Chance::seeded(2), None)))
    }

    fn sealed(texts: &Texts, words: &str, row_id: &str) -> Vec<u8> {
        texts.seal(&FreeText::from(words), &MESSAGE_BODY, row_id).unwrap().unwrap().0
    }

    #[test]
    fn two_sealings_of_one_text_differ_and_neither_shows_a_word() {
        let texts = texts();
        let (one, other) = (sealed(&texts, "it smells", "1"), sealed(&texts, "it smells", "1"));
        assert_ne!(one, other);
        for kept in [one, other] {
            assert!(!kept.windows(6).any(|window| window == b"smells"));
            assert_eq!(texts.opened(Some(kept), String::new(), &MESSAGE_BODY, "1"), "it smells");
        }
        assert_eq!(texts.seal(&FreeText::default(), &MESSAGE_BODY, "1").unwrap(), None);
    }

    #[test]
    fn a_text_opens_in_its_own_row_and_column_alone() {
        let texts = texts();
        let kept = sealed(&texts, "it smells", "1");
        let open = |column, row_id: &str| texts.opened(Some(kept.clone()), String::new(), column, row_id);
        assert_eq!(open(&MESSAGE_BODY, "1").read(), Some("it smells"));
        for moved in [open(&MESSAGE_BODY, "2"), open(&REVIEW_NOTE, "1")] {
            assert_eq!((moved.read(), moved.as_str()), (None, CANNOT_BE_READ));
            // Written back it is what it was: a key that turns up later opens it.
            let again = texts.seal(&moved, &MESSAGE_BODY, "1").unwrap().unwrap();
            assert_eq!(again.0, kept);
        }
    }

    #[test]
    fn what_was_typed_before_is_read_until_everything_is_sealed_and_believed_no_longer() {
        let texts = texts();
        let plain = || texts.opened(None, "typed long ago".to_owned(), &MESSAGE_BODY, "1");
        assert_eq!(plain(), "typed long ago");
        texts.seals().unwrap().note_all_sealed();
        assert_eq!(plain().read(), None);
        assert_eq!((plain().strange(), plain().as_str()), (Some("typed long ago"), CANNOT_BE_READ));
        assert!(!format!("{:?}", plain()).contains("long ago"));
        assert_eq!(texts.opened(None, String::new(), &MESSAGE_BODY, "1"), "");
    }

    #[test]
    fn without_keys_nothing_is_written_and_nothing_sealed_is_read() {
        let kept = sealed(&texts(), "it smells", "1");
        let keyless = Texts::default();
        assert!(keyless.seal(&FreeText::from("it smells"), &MESSAGE_BODY, "1").is_err());
        assert_eq!(keyless.opened(Some(kept), String::new(), &MESSAGE_BODY, "1").read(), None);
    }

    #[test]
    fn no_debug_shows_a_letter() {
        let texts = texts();
        let kept = texts.seal(&FreeText::from("it smells"), &MESSAGE_BODY, "1").unwrap();
        let shown = format!("{:?} {kept:?} {texts:?}", FreeText::from("it smells"));
        assert!(shown.contains("FreeText(9 characters)") && !shown.contains("smells"), "{shown}");
    }

    proptest! {
        #[test]
        fn any_text_comes_back_and_no_flipped_bit_is_ever_another_text(
            letters in prop::collection::vec(any::<char>(), 1..200),
            at in any::<prop::sample::Index>(),
            bit in 0u8..8,
        ) {
            let (texts, words) = (texts(), letters.into_iter().collect::<String>());
            let mut kept = sealed(&texts, &words, "1");
            let opened = texts.opened(Some(kept.clone()), String::new(), &MESSAGE_BODY, "1");
            prop_assert_eq!(opened.read(), Some(words.as_str()));
            let place = at.index(kept.len());
            let cut = texts.opened(Some(kept[..place].to_vec()), String::new(), &MESSAGE_BODY, "1");
            prop_assert_eq!(cut.read(), None);
            kept[place] ^= 1 << bit;
            let flipped = texts.opened(Some(kept), String::new(), &MESSAGE_BODY, "1");
            prop_assert_eq!(flipped.read(), None);
        }
    }
}
