//! What a password of staff must be: NIST SP 800-63B-4, section 3.1.1.2. Long, compared against what others try first, and no
//! other rule of what it is made of; it never runs out.

use zxcvbn::Score;
use zxcvbn::feedback::Warning;
use zxcvbn::zxcvbn;

use crate::store::patients::fold_name;

/// Characters; the standard's least where a password is one of two factors is 8, without a second one 15.
pub const SHORTEST: usize = 15;
/// The standard asks for at least 64 to be taken.
pub const LONGEST: usize = 256;
/// Words shorter than this are found in too many good passwords.
const SHORTEST_OWN_WORD: usize = 4;

/// What is wrong with a password, to be told to whoever chose it; `None`: nothing.
///
/// `own`: names a stranger knows — of the person, of the practice. The library holds the 30,000 passwords and some 90,000 words and
/// names that are used most, and knows rows of keys, dates, repeats and letters written as numbers; what it takes fewer
/// than a hundred million tries for is refused (its own mark for "safely unguessable" behind a slow hash).
pub fn fault(password: &str, own: &[&str]) -> Option<String> {
    let letters = password.chars().count();
    if letters < SHORTEST {
        return Some(format!(
            "Use at least {SHORTEST} characters. Four or five words in a row are easy to remember."
        ));
    }
    if letters > LONGEST {
        return Some(format!("Use at most {LONGEST} characters."));
    }
    let folded = fold_name(password);
    let words: Vec<String> = own
        .iter()
        .flat_map(|name| {
            fold_name(name).split(|sign: char| !sign.is_alphanumeric()).map(str::to_owned).collect::<Vec<_>>()
        })
        .chain(["closewatch".to_owned()])
        .filter(|word| word.chars().count() >= SHORTEST_OWN_WORD)
        .collect();
    if let Some(word) = words.iter().find(|word| folded.contains(word.as_str())) {
        return Some(format!(
            "Leave “{word}” out of the password: your own name, the practice’s and the program’s are tried first."
        ));
    }
    let known: Vec<&str> = words.iter().map(String::as_str).collect();
    let guessed = zxcvbn(password, &known);
    if guessed.score() >= Score::Three {
        return None;
    }
    let why = guessed
        .feedback()
        .and_then(|feedback| feedback.warning())
        .map_or("It is among what is tried first.", why);
    Some(format!("{why} Choose something else: four or five words that do not belong together."))
}

/// The library's reason, in our words.
fn why(warning: Warning) -> &'static str {
    match warning {
        Warning::StraightRowsOfKeysAreEasyToGuess | Warning::ShortKeyboardPatternsAreEasyToGuess => {
            "Rows of keys are tried early."
        }
        Warning::RepeatsLikeAaaAreEasyToGuess | Warning::RepeatsLikeAbcAbcAreOnlySlightlyHarderToGuess => {
            "Repeats are tried early."
        }
        Warning::SequencesLikeAbcAreEasyToGuess => "Letters or numbers in their order are tried early.",
        Warning::RecentYearsAreEasyToGuess | Warning::DatesAreOftenEasyToGuess => "Dates are tried early.",
        Warning::ThisIsATop10Password | Warning::ThisIsATop100Password | Warning::ThisIsACommonPassword => {
            "It is one of the passwords used most."
        }
        Warning::ThisIsSimilarToACommonlyUsedPassword => "It is close to one of the passwords used most.",
        Warning::AWordByItselfIsEasyToGuess => "One word by itself is tried early.",
        Warning::NamesAndSurnamesByThemselvesAreEasyToGuess
        | Warning::CommonNamesAndSurnamesAreEasyToGuess => "Names are tried early.",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OWN: &[&str] = &["Quillmere Surgical Practice", "Rosa Lindqvist", "rosa"];

    #[test]
    fn fifteen_characters_are_enough_of_any_kind_and_256_are_not_too_many() {
        assert!(fault("kestrel-mopweek", OWN).is_none());
        assert!(fault("kestrel-mopwee", OWN).unwrap().contains("at least 15"));
        for fine in ["paraguas lento cobre nueve", "🦊🍋⛵🪁🧊🧷🪵🎻🧭🍄🪣🧵🪞🛶🥕", "ünïcödé wörds änd möre"]
        {
            assert_eq!(fault(fine, OWN), None, "{fine}");
        }
        let long: String = "vapor lumen crayfish ".chars().cycle().take(LONGEST).collect();
        assert_eq!(fault(&format!("{}x", &long[..127]), OWN), None);
        assert_eq!(fault(&long, OWN), None);
        assert!(fault(&format!("{long}x"), OWN).unwrap().contains("at most 256"));
    }

    #[test]
    fn own_names_and_the_programs_are_found_inside_whatever_their_letters() {
        for (password, word) in [
            ("vapor quillmere crayfish", "quillmere"),
            ("SURGICAL lumen crayfish", "surgical"),
            ("vaporLindqvistcrayfish", "lindqvist"),
            ("lumen CloseWatch crayfish", "closewatch"),
            ("r̈osa lumen crayfish vapor", "rosa"),
        ] {
            assert!(fault(password, OWN).unwrap().contains(word), "{password}");
        }
    }

    /// What people make long passwords of, from memory of published lists of the passwords used most: one of them repeated, joined, with
    /// numbers behind it, rows of keys, and letters written as numbers.
    #[test]
    fn a_hundred_long_passwords_that_are_tried_first_are_refused_with_a_reason() {
        let most_used = [
            "password", "123456", "qwerty", "iloveyou", "dragon", "monkey", "letmein", "football",
            "baseball", "sunshine", "princess", "welcome", "shadow", "superman", "michael", "master",
            "jennifer", "jordan", "trustno1", "abc123",
        ];
        let mut hundred: Vec<String> = Vec::new();
        for word in most_used {
            let repeated: String = word.repeat(15_usize.div_ceil(word.len()));
            hundred.push(repeated.clone());
            hundred.push(repeated.to_uppercase());
            hundred.push(format!("{word}{}", &"123456789012345"[..15 - word.len().min(14)]));
            hundred.push(format!("{}{word}", "1".repeat(15 - word.len().min(14))));
        }
        for row in [
            "qwertyuiopasdfg",
            "asdfghjklasdfghjkl",
            "1qaz2wsx3edc4rfv",
            "zxcvbnmzxcvbnm1",
            "qwertyqwerty123",
            "123456789123456789",
            "111111111111111",
            "aaaaaaaaaaaaaaaaaaaa",
            "abcdefghijklmnop",
            "abcabcabcabcabc",
            "987654321098765",
            "p@ssw0rdp@ssw0rd",
            "passwordpassword1",
            "iloveyouiloveyou",
            "1234567890qwerty",
            "qazwsxedcqazwsxedc",
            "000000000000000",
            "letmeinletmein123",
            "password123456789",
            "welcomewelcome12",
        ] {
            hundred.push(row.to_owned());
        }
        assert_eq!(hundred.len(), 100);
        for password in hundred {
            let told = fault(&password, OWN).unwrap_or_else(|| panic!("{password} was taken"));
            assert!(
                password.chars().count() >= SHORTEST && told.contains("Choose something else"),
                "{password}: {told}"
            );
        }
    }
}
