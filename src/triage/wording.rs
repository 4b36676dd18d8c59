//! A protocol's sentence in both languages, with its limits filled in.

use serde::Deserialize;
use serde::Serialize;

/// One sentence, in the words of the practice. A limit is named in braces, as in `over {fever_c}`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wording {
    /// Missing in the file reads as blank, and blank is refused by the check, with the rule's name.
    #[serde(default)]
    pub en: String,
    #[serde(default)]
    pub es: String,
}

/// A piece of a sentence: words, or the name of a limit.
enum Piece<'a> {
    Words(&'a str),
    Limit(&'a str),
}

impl Wording {
    /// The languages it is missing in, by their codes.
    pub(super) fn missing(&self) -> Vec<&'static str> {
        let blank = |(code, text): &(&'static str, &String)| text.trim().is_empty().then_some(*code);
        [("en", &self.en), ("es", &self.es)].iter().filter_map(blank).collect()
    }

    /// Every limit named in either language.
    pub(super) fn limits_named(&self) -> Vec<&str> {
        let limit = |piece| match piece {
            Piece::Limit(name) => Some(name),
            Piece::Words(_) => None,
        };
        pieces(&self.en).into_iter().chain(pieces(&self.es)).filter_map(limit).collect()
    }

    /// The sentence with each limit's name replaced by what `text_of` says of it.
    pub(super) fn filled(&self, text_of: impl Fn(&str) -> String) -> Wording {
        let fill = |text: &str| {
            let piece = |piece| match piece {
                Piece::Words(words) => words.to_owned(),
                Piece::Limit(name) => text_of(name),
            };
            pieces(text).into_iter().map(piece).collect()
        };
        Wording { en: fill(&self.en), es: fill(&self.es) }
    }
}

fn pieces(text: &str) -> Vec<Piece<'_>> {
    let mut pieces = Vec::new();
    let mut rest = text;
    while let Some((words, after)) = rest.split_once('{') {
        pieces.push(Piece::Words(words));
        match after.split_once('}') {
            Some((name, after)) => {
                pieces.push(Piece::Limit(name));
                rest = after;
            }
            // An open brace without its end is a limit nobody can have named: the check refuses it.
            None => {
                pieces.push(Piece::Limit(after));
                rest = "";
            }
        }
    }
    pieces.push(Piece::Words(rest));
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_in_braces_is_filled_in_both_languages() {
        let written = Wording { en: "over {a}, under {b}.".to_owned(), es: "más de {a}.".to_owned() };
        assert_eq!(written.limits_named(), vec!["a", "b", "a"]);
        let filled = written.filled(|name| format!("<{name}>"));
        assert_eq!(filled.en, "over <a>, under <b>.");
        assert_eq!(filled.es, "más de <a>.");
        let open = Wording { en: "over {a".to_owned(), es: " ".to_owned() };
        assert_eq!((open.limits_named(), open.missing()), (vec!["a"], vec!["es"]));
    }
}
