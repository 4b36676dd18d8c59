//! Alarm words in the patient's own words. They can only raise: finding none says nothing.
//!
//! Own list, English and Spanish, to be tuned. It knows no "not": "no chest pain" is read by a person all the same.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use crate::plan::Site;

/// What each word or phrase sets. Written in small letters without accents; a match may begin inside no word.
const ALARM_WORDS: &[(&str, &[&str])] = &[
    (
        "chest_pain",
        &[
            "chest pain",
            "chest hurts",
            "chest is tight",
            "tight chest",
            "pain in my chest",
            "pain in his chest",
            "pain in her chest",
            "pecho",
        ],
    ),
    (
        "breath_hard",
        &[
            "can't breathe",
            "cant breathe",
            "cannot breathe",
            "can not breathe",
            "hard to breathe",
            "trouble breathing",
            "short of breath",
            "ahogo",
            "ahoga",
            "no puedo respirar",
            "no puede respirar",
            "falta el aire",
            "falta de aire",
        ],
    ),
    (
        "self_harm",
        &[
            "kill myself",
            "killing myself",
            "end my life",
            "want to die",
            "hurt myself",
            "suicid",
            "quitarme la vida",
            "matarme",
            "quiero morir",
            "me quiero morir",
            "hacerme dano",
        ],
    ),
    (
        "fainted",
        &["faint", "passed out", "pass out", "passing out", "blacked out", "desmay", "perdi el conocimiento"],
    ),
    (
        "dead_skin",
        &[
            "black skin",
            "skin is black",
            "skin turned black",
            "skin is turning black",
            "turning black",
            "turned black",
            "went black",
            "negr",
        ],
    ),
];

/// The facts raised by what was written, each with the phrase that raised it.
pub(super) fn alarms(words: &str, site: Site) -> Vec<(&'static str, &'static str)> {
    let plain = plain(words);
    let mut alarms = Vec::new();
    for (fact, phrases) in ALARM_WORDS {
        let found = phrases.iter().find(|phrase| starts_a_word(&plain, phrase));
        if let Some(phrase) = found {
            // The Spanish for chest is also that for breast: there it is where the wound is.
            let breast = *phrase == "pecho" && site == Site::Breast;
            alarms.push((if breast { "worried" } else { *fact }, *phrase));
        }
    }
    alarms
}

/// Whether somebody's own words name a danger, whatever wound they are about. False says nothing.
pub fn names_danger(words: &str) -> bool {
    let plain = plain(words);
    ALARM_WORDS.iter().any(|(_, phrases)| phrases.iter().any(|phrase| starts_a_word(&plain, phrase)))
}

/// Small letters without accents, one kind of apostrophe, single spaces.
fn plain(words: &str) -> String {
    let unaccented: String = words
        .nfkd()
        .filter(|letter| !is_combining_mark(*letter))
        .flat_map(char::to_lowercase)
        .map(|letter| if matches!(letter, '’' | '‘' | '`' | '´') { '\'' } else { letter })
        .collect();
    unaccented.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn starts_a_word(plain: &str, phrase: &str) -> bool {
    plain
        .match_indices(phrase)
        .any(|(place, _)| !plain[..place].chars().next_back().is_some_and(char::is_alphanumeric))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn facts(words: &str) -> Vec<&'static str> {
        alarms(words, Site::Thigh).into_iter().map(|(fact, _)| fact).collect()
    }

    #[test]
    fn alarm_words_are_found_in_both_languages_whatever_their_letters() {
        assert_eq!(facts("I have CHEST  pain"), vec!["chest_pain"]);
        assert_eq!(facts("I can’t breathe and I fainted"), vec!["breath_hard", "fainted"]);
        assert_eq!(facts("Me desmayé. Me falta el aire"), vec!["breath_hard", "fainted"]);
        assert_eq!(facts("la piel se puso negra"), vec!["dead_skin"]);
        assert_eq!(facts("pienso en el suicidio"), vec!["self_harm"]);
        assert_eq!(facts("me duele el pecho"), vec!["chest_pain"]);
    }

    #[test]
    fn a_wound_on_the_breast_makes_the_spanish_word_a_worry_only() {
        assert_eq!(alarms("me duele el pecho", Site::Breast), vec![("worried", "pecho")]);
        assert_eq!(alarms("chest pain", Site::Breast), vec![("chest_pain", "chest pain")]);
    }

    #[test]
    fn ordinary_words_raise_nothing() {
        assert_eq!(facts("It looks better. I changed the gauze twice."), Vec::<&str>::new());
        assert_eq!(facts("Se ve mejor, gracias"), Vec::<&str>::new());
        assert_eq!(facts(""), Vec::<&str>::new());
    }
}
