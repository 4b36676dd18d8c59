//! How many parts a text message takes: each is paid for, and a long one may arrive in pieces.

/// Letters that take one place in the alphabet of text messages (3GPP TS 23.038, 6.2.1).
const ONE_PLACE: &str = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?\
                         ¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà";

/// Letters that take two (the same, 6.2.1.1).
const TWO_PLACES: &str = "\u{c}^{}\\[~]|€";

/// How many parts a text of this wording is sent in; 0 for an empty one. One part holds 160 places of the alphabet of
/// text messages, each of several 153; a single other letter, such as á, brings that down to 70 and 67 (3GPP TS
/// 23.040, 9.2.3.24: the rest joins the parts). That a letter of two places is never torn apart is not counted.
pub fn sms_parts(text: &str) -> usize {
    let places: Option<usize> = text.chars().map(places).sum();
    let (length, alone, joined) = match places {
        Some(places) => (places, 160, 153),
        None => (text.encode_utf16().count(), 70, 67),
    };
    if length <= alone { usize::from(length > 0) } else { length.div_ceil(joined) }
}

/// `None` when the letter is not in the alphabet of text messages.
fn places(letter: char) -> Option<usize> {
    if ONE_PLACE.contains(letter) {
        Some(1)
    } else if TWO_PLACES.contains(letter) {
        Some(2)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_alphabet_has_128_places_less_the_way_out() {
        assert_eq!(ONE_PLACE.chars().count(), 127);
        assert_eq!(TWO_PLACES.chars().count(), 10);
    }

    #[test]
    fn a_text_of_160_letters_is_one_part_and_of_161_two() {
        for (letters, parts) in [(0, 0), (1, 1), (160, 1), (161, 2), (306, 2), (307, 3)] {
            assert_eq!(sms_parts(&"ñ".repeat(letters)), parts, "{letters}");
        }
        for (letters, parts) in [(80, 1), (81, 2)] {
            assert_eq!(sms_parts(&"€".repeat(letters)), parts, "{letters} of two places");
        }
    }

    #[test]
    fn one_letter_outside_the_alphabet_halves_what_fits() {
        for (letters, parts) in [(70, 1), (71, 2), (134, 2), (135, 3)] {
            assert_eq!(sms_parts(&"á".repeat(letters)), parts, "{letters}");
        }
        assert_eq!(sms_parts(&format!("{}í", "a".repeat(100))), 2);
        assert_eq!(sms_parts(&"\u{1F98B}".repeat(35)), 1);
        assert_eq!(sms_parts(&"\u{1F98B}".repeat(36)), 2);
    }
}
