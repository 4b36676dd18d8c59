//! Secrets: drawn here, shown once, kept only as hashes.

use data_encoding::BASE64URL_NOPAD;
use data_encoding::HEXLOWER;
use jiff::civil::Date;
use sha2::Digest;
use sha2::Sha256;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::gates::HASHING_AGAIN;
use crate::care::gates::HASHING_TAKES;
use crate::care::gates::Place;
use crate::care::gates::Turn;
use crate::care::hashing;
use crate::ids::Chance;

/// After so many wrong guesses in a row a colleague must help.
pub const MOST_WRONG: i64 = 50;
/// Letters of typed codes: no I, L, O or U, so that they read the same aloud and on paper (Crockford's base 32).
const CODE_LETTERS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const CODE_LENGTH: usize = 16;
/// Of a sealed code: twenty letters, of which four find its row and sixteen (80 bits) are the secret (safety promise H2).
const SEALED_CODE_LENGTH: usize = 20;
/// 20 bytes in letters of six bits.
const LINK_TOKEN_LENGTH: usize = 27;
/// The first letters of a typed code find its row; the other twelve (60 bits) are the secret.
pub(in crate::care) const LOCATOR_LENGTH: usize = 4;

/// A secret in the clear, on its way to its owner. Never printed by `Debug`.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Debug for Secret {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str("Secret(***)")
    }
}

/// SHA-256 as hex. Enough for secrets of 112 bits and more, which nobody can guess their way through.
pub fn sha256_hex(text: &str) -> String {
    HEXLOWER.encode(&Sha256::digest(text.as_bytes()))
}

/// A patient link's token: 160 bits, 27 letters.
pub(in crate::care) fn link_token(chance: &Chance) -> Secret {
    Secret(BASE64URL_NOPAD.encode(&chance.bytes::<20>()))
}

/// Whether this can be a link's token at all: what cannot is looked up nowhere.
pub(in crate::care) fn can_be_link_token(token: &str) -> bool {
    token.len() == LINK_TOKEN_LENGTH
        && token.bytes().all(|sign| sign.is_ascii_alphanumeric() || matches!(sign, b'-' | b'_'))
}

/// A cookie's or set-up address's token: 256 bits, 43 letters.
pub(in crate::care) fn session_token(chance: &Chance) -> Secret {
    Secret(BASE64URL_NOPAD.encode(&chance.bytes::<32>()))
}

/// A code to type from paper: 16 letters.
pub(in crate::care) fn typed_code(chance: &Chance) -> Secret {
    let letters = chance.bytes::<CODE_LENGTH>().map(|byte| char::from(CODE_LETTERS[usize::from(byte % 32)]));
    Secret(letters.iter().collect())
}

/// A code for a sealed envelope: 20 letters.
pub(in crate::care) fn sealed_code(chance: &Chance) -> Secret {
    let letters =
        chance.bytes::<SEALED_CODE_LENGTH>().map(|byte| char::from(CODE_LETTERS[usize::from(byte % 32)]));
    Secret(letters.iter().collect())
}

/// What a person typed as a code, made comparable: upper case, no spaces or dashes, O read as 0, I and L as 1.
/// `None` when it cannot be a code.
pub(in crate::care) fn read_typed_code(typed: &str) -> Option<String> {
    read_letters(typed, CODE_LENGTH)
}

/// The same of a sealed code.
pub(in crate::care) fn read_sealed_code(typed: &str) -> Option<String> {
    read_letters(typed, SEALED_CODE_LENGTH)
}

fn read_letters(typed: &str, length: usize) -> Option<String> {
    let code: String = typed
        .chars()
        .filter(|letter| !letter.is_whitespace() && !matches!(letter, '-' | '‐' | '–'))
        .map(|letter| match letter.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            other => other,
        })
        .collect();
    let right = code.len() == length && code.bytes().all(|byte| CODE_LETTERS.contains(&byte));
    right.then_some(code)
}

/// A code in groups of four, as it is printed.
pub fn grouped(code: &str) -> String {
    let letters: Vec<char> = code.chars().collect();
    letters.chunks(4).map(|group| group.iter().collect::<String>()).collect::<Vec<_>>().join("-")
}

/// What a patient reads out over the phone: eight letters in two groups. It opens nothing.
pub(in crate::care) fn receipt_code(chance: &Chance) -> String {
    let letters = chance.bytes::<8>().map(|byte| char::from(CODE_LETTERS[usize::from(byte % 32)]));
    grouped(&letters.iter().collect::<String>())
}

/// By what a person and the log call one fault: eight letters in two groups. It opens nothing.
pub fn reference(chance: &Chance) -> String {
    receipt_code(chance)
}

/// A PIN of six digits that is not among the first anyone would try.
pub(in crate::care) fn pin(chance: &Chance, born: Date) -> Secret {
    loop {
        let pin = format!("{:06}", chance.below(1_000_000));
        if !is_easy_pin(&pin, born) {
            return Secret(pin);
        }
    }
}

/// All digits alike, a straight run, a repeated pair or triple, or a way to write the birth date.
fn is_easy_pin(pin: &str, born: Date) -> bool {
    let digits: Vec<i8> = pin.bytes().map(|byte| (byte - b'0') as i8).collect();
    let steps: Vec<i8> = digits.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let straight = [0, 1, -1].iter().any(|step| steps.iter().all(|seen| seen == step));
    let repeated = digits[..2] == digits[2..4] && digits[2..4] == digits[4..] || digits[..3] == digits[3..];
    let (day, month, year) = (born.day(), born.month(), born.year().rem_euclid(100));
    let dates = [
        format!("{day:02}{month:02}{year:02}"),
        format!("{month:02}{day:02}{year:02}"),
        format!("{year:02}{month:02}{day:02}"),
        format!("{day:02}{month:02}{:04}", born.year())[2..].to_owned(),
        format!("{:04}{month:02}", born.year()),
        format!("{month:02}{:04}", born.year()),
    ];
    straight || repeated || dates.iter().any(|date| date == pin)
}

/// A place among those whose secret is to be compared; an error when too many wait already.
pub(in crate::care) fn place(desk: &Desk) -> Done<Place> {
    desk.gates.hashing.enter().ok_or(CareError::TooMany { again: HASHING_AGAIN })
}

/// Hashes, at most two at once. Whoever gives a secret out, or is inside already, waits and is never sent away.
pub(in crate::care) async fn hash(desk: &Desk, secret: &str, chance: &Chance) -> Done<String> {
    let turn = desk.gates.hashing.turn().await?;
    desk.gates.photos_go_first().await;
    let (secret, salt) = (secret.to_owned(), chance.bytes::<16>());
    let hashed = hashing::apart(turn, HASHING_TAKES, move || hashing::hash(&secret, &salt));
    hashed.await?.map_err(|fault| CareError::Work(fault.to_string()))
}

/// Whether `secret` is the one behind `phc`. A hash that cannot be read matches nothing. Waits for its turn, however long.
pub(in crate::care) async fn matches(desk: &Desk, secret: &str, phc: &str) -> Done<bool> {
    let turn = desk.gates.hashing.turn().await?;
    compare(desk, turn, secret, phc).await
}

/// As [`matches`], from a place in the waiting room.
pub(in crate::care) async fn matches_at(desk: &Desk, place: Place, secret: &str, phc: &str) -> Done<bool> {
    let turn = place.turn().await?;
    compare(desk, turn, secret, phc).await
}

async fn compare(desk: &Desk, turn: Turn, secret: &str, phc: &str) -> Done<bool> {
    desk.gates.photos_go_first().await;
    let (secret, phc) = (secret.to_owned(), phc.to_owned());
    hashing::apart(turn, HASHING_TAKES, move || hashing::is_behind(&secret, &phc)).await
}

/// Whether a hash was made with the costs that are used today: one that was not is made anew when its password comes by.
pub(in crate::care) fn is_as_today(phc: &str) -> bool {
    let today = argon2::Params::default();
    let costs = format!("m={},t={},p={}", today.m_cost(), today.t_cost(), today.p_cost());
    phc.split('$').nth(1) == Some("argon2id") && phc.split('$').nth(3) == Some(costs.as_str())
}

/// A recovery code: its place among the ten, then fifteen letters, 75 bits.
pub(in crate::care) fn recovery_code(place: usize, chance: &Chance) -> Secret {
    let letters =
        chance.bytes::<{ CODE_LENGTH - 1 }>().map(|byte| char::from(CODE_LETTERS[usize::from(byte % 32)]));
    Secret(std::iter::once(char::from(CODE_LETTERS[place % 32])).chain(letters).collect())
}

/// The place of a recovery code, by its first letter.
pub(in crate::care) fn place_of(code: &str) -> i64 {
    let first = code.bytes().next();
    let place = CODE_LETTERS.iter().position(|letter| Some(*letter) == first);
    place.and_then(|place| i64::try_from(place).ok()).unwrap_or(-1)
}

/// When the next guess is looked at after `wrong_in_a_row` wrong ones: five are free, then the wait doubles from 30
/// seconds to an hour (NIST SP 800-63B-4 allows growing waits), and after fifty a month.
pub(in crate::care) fn wait_after_wrong_s(wrong_in_a_row: i64) -> i64 {
    match wrong_in_a_row {
        ..5 => 0,
        MOST_WRONG.. => 30 * 24 * 3_600,
        more => 30_i64.saturating_mul(1 << (more - 5).min(10)).min(3_600),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::care::knock::PIN_HARD_STOP;
    use jiff::civil::date;

    #[test]
    fn a_link_token_has_160_bits_in_27_letters_and_never_comes_twice() {
        let chance = Chance::OperatingSystem;
        let tokens: std::collections::BTreeSet<String> =
            (0..10_000).map(|_| link_token(&chance).reveal().to_owned()).collect();
        assert_eq!(tokens.len(), 10_000);
        assert!(tokens.iter().all(|token| token.len() == 27 && can_be_link_token(token)));
        assert!(!can_be_link_token("") && !can_be_link_token("AAAAAAAAAAAAAAAAAAAAAAAAAA/"));
    }

    #[test]
    fn a_code_is_read_as_people_type_it() {
        assert_eq!(read_typed_code("k7qm-4t9x 2hrd-pwoi"), Some("K7QM4T9X2HRDPW01".to_owned()));
        assert_eq!(read_typed_code("K7QM"), None);
        assert_eq!(read_typed_code("K7QM-4T9X-2HRD-PW8U"), None);
    }

    #[test]
    fn a_sealed_code_has_a_hundred_bits_of_which_eighty_are_the_secret_and_never_comes_twice() {
        let chance = Chance::OperatingSystem;
        let codes: std::collections::BTreeSet<String> =
            (0..10_000).map(|_| sealed_code(&chance).reveal().to_owned()).collect();
        assert_eq!(codes.len(), 10_000);
        for code in codes {
            assert_eq!(read_sealed_code(&grouped(&code).to_lowercase()), Some(code.clone()));
            assert_eq!(code.len(), LOCATOR_LENGTH + 16, "five bits a letter");
            assert_eq!(read_typed_code(&code), None, "no other code is as long");
        }
    }

    #[test]
    fn easy_pins_are_never_issued() {
        let born = date(1987, 12, 3);
        for easy in ["000000", "123456", "654321", "121212", "123123", "031287", "120387", "871203", "198712"]
        {
            assert!(is_easy_pin(easy, born), "{easy}");
        }
        for fine in ["804213", "112358", "987612"] {
            assert!(!is_easy_pin(fine, born), "{fine}");
        }
        let chance = Chance::seeded(4);
        assert!((0..2_000).all(|_| !is_easy_pin(pin(&chance, born).reveal(), born)));
    }

    #[test]
    fn of_a_million_links_thirty_guesses_at_each_open_no_more_than_the_sum_says() {
        let (chance, born) = (Chance::seeded(9), date(1961, 4, 17));
        let pins = || (0..1_000_000).map(|pin| format!("{pin:06}")).filter(|pin| !is_easy_pin(pin, born));
        let all = pins().count();
        // Every PIN that is given out is as likely as any other: whichever thirty an attacker tries, the chance is the same.
        let most = usize::try_from(PIN_HARD_STOP).unwrap();
        let guesses: Vec<String> = pins().step_by(all / 40).skip(5).take(40).collect();
        assert!(guesses.len() > most, "whoever could would try more");
        let (mut opened, mut tried, mut waited_s) = (0, 0_usize, 0);
        let links = 1_000_000;
        for _ in 0..links {
            let pin = pin(&chance, born);
            (tried, waited_s) = (0, 0);
            // As `knock::try_pin` counts: nothing is looked at after the last of them, nor while a wait runs.
            for (wrong, guess) in (0..).zip(&guesses) {
                if wrong >= PIN_HARD_STOP {
                    break;
                }
                waited_s += wait_after_wrong_s(wrong);
                tried += 1;
                if guess == pin.reveal() {
                    opened += 1;
                    break;
                }
            }
        }
        assert_eq!(tried, most);
        assert!(waited_s > 19 * 3_600, "thirty guesses take most of a day: {waited_s} s");
        let expected = f64::from(links) * most as f64 / all as f64;
        let sigma = expected.sqrt();
        println!("{opened} of {links} opened; expected {expected:.1} ± {sigma:.1}, of {all} PINs");
        assert!((f64::from(opened) - expected).abs() <= 3.0 * sigma, "{opened} and not {expected:.1}");
    }

    #[test]
    fn five_guesses_are_free_then_the_wait_doubles_to_an_hour() {
        assert_eq!(wait_after_wrong_s(4), 0);
        assert_eq!(wait_after_wrong_s(5), 30);
        assert_eq!(wait_after_wrong_s(6), 60);
        assert_eq!(wait_after_wrong_s(12), 3_600);
        assert_eq!(wait_after_wrong_s(49), 3_600);
        assert_eq!(wait_after_wrong_s(50), 30 * 24 * 3_600);
        assert_eq!(wait_after_wrong_s(i64::MAX), 30 * 24 * 3_600);
    }

    #[test]
    fn a_secret_never_shows_in_debug_output() {
        assert_eq!(format!("{:?}", Secret("hidden".to_owned())), "Secret(***)");
    }
}
