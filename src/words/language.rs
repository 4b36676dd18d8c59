//! The two languages of the patient pages.

use std::str::FromStr;

use serde::Deserialize;
use serde::Serialize;

/// A language a patient can be written to in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Language {
    #[default]
    #[serde(rename = "en")]
    English,
    #[serde(rename = "es")]
    Spanish,
}

impl Language {
    pub const ALL: [Language; 2] = [Language::English, Language::Spanish];

    /// The BCP 47 code, as in `<html lang>` and in the database.
    pub fn code(self) -> &'static str {
        match self {
            Language::English => "en",
            Language::Spanish => "es",
        }
    }

    /// The language's name in itself.
    pub fn own_name(self) -> &'static str {
        match self {
            Language::English => "English",
            Language::Spanish => "Español",
        }
    }

    /// The first of our languages that a browser's `Accept-Language` header asks for; English when none is.
    /// Weights are ignored: browsers list in order of preference.
    pub fn from_accept_language(header: &str) -> Language {
        header
            .split(',')
            .filter_map(|part| part.trim().split(['-', ';', '_']).next()?.parse().ok())
            .next()
            .unwrap_or_default()
    }
}

/// The text is no language code of ours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("not a language of the patient pages")]
pub struct UnknownLanguage;

impl FromStr for Language {
    type Err = UnknownLanguage;

    fn from_str(code: &str) -> Result<Language, UnknownLanguage> {
        Language::ALL
            .into_iter()
            .find(|language| language.code().eq_ignore_ascii_case(code))
            .ok_or(UnknownLanguage)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_language_we_speak_is_taken() {
        assert_eq!(Language::from_accept_language("es-MX,es;q=0.9,en;q=0.8"), Language::Spanish);
        assert_eq!(Language::from_accept_language("de-CH, en;q=0.5"), Language::English);
        assert_eq!(Language::from_accept_language(""), Language::English);
        assert_eq!(Language::from_accept_language("zh"), Language::English);
    }
}
