//! What goes out and where to, and what the outside said to it.

use std::fmt;

use jiff::SignedDuration;

use crate::notify::seal;
use crate::plan::coded;

coded! {
    /// A way to the outside.
    pub enum Channel {
        Sms = "sms",
        Voice = "voice",
        Email = "email",
        Push = "push",
        /// Everything lands in a folder: for development and the demo.
        Folder = "folder",
    }
}

/// Where a letter goes. `Debug` shows the channel only: an address is a person's.
#[derive(Clone, PartialEq, Eq)]
pub enum Address {
    /// A phone number, E.164 (`+12025550142`) or as typed; a text is sent to it.
    Sms(String),
    /// A phone number as above; a machine rings it and reads the words out.
    Voice(String),
    Email(String),
    Push(PushSubscription),
}

impl Address {
    /// The channel this address is meant for, whether it is set up or not. Never `Folder`.
    pub fn channel(&self) -> Channel {
        match self {
            Address::Sms(_) => Channel::Sms,
            Address::Voice(_) => Channel::Voice,
            Address::Email(_) => Channel::Email,
            Address::Push(_) => Channel::Push,
        }
    }

    /// Whether something can be sent here at all. `Post::send` asks the same, so a bad address is refused there too.
    pub fn check(&self) -> Result<(), BadAddress> {
        match self {
            Address::Sms(number) | Address::Voice(number) => dialled(number).map(|_| ()),
            Address::Email(address) => {
                address.parse::<lettre::Address>().map(|_| ()).map_err(|_| BadAddress::Email)
            }
            Address::Push(subscription) => subscription.check(),
        }
    }
}

impl fmt::Debug for Address {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "Address({})", self.channel().code())
    }
}

/// An address nothing can be sent to, and what to do about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BadAddress {
    #[error("Enter a phone number of 7 to 15 digits, for example +1 202-555-0143.")]
    Phone,
    #[error("Enter an e-mail address, for example name@practice.example.")]
    Email,
    #[error("This browser's push address cannot be used. Switch messages off and on again in the browser.")]
    Push,
}

/// The number as a provider wants it: digits, with `+` in front if it was typed. 15 digits at most (E.164, clause 6),
/// 7 at least (ours: the shortest local number that is no short code).
pub(crate) fn dialled(number: &str) -> Result<String, BadAddress> {
    let number = number.trim();
    let (plus, rest) = match number.strip_prefix('+') {
        Some(rest) => ("+", rest),
        None => ("", number),
    };
    let between = |letter: char| letter.is_whitespace() || "-().\u{2011}".contains(letter);
    let digits: String = rest.chars().filter(|letter| !between(*letter)).collect();
    let only_digits = digits.chars().all(|digit| digit.is_ascii_digit());
    if only_digits && (7..=15).contains(&digits.len()) {
        Ok(format!("{plus}{digits}"))
    } else {
        Err(BadAddress::Phone)
    }
}

/// Where a browser's push service takes messages for one browser, and the keys they are sealed with (RFC 8291).
/// Serialised in the shape browsers give it: `{"endpoint": …, "keys": {"p256dh": …, "auth": …}}`.
#[derive(Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct PushSubscription {
    /// A secret address: whoever holds it and the keys can write to this browser.
    pub endpoint: String,
    pub keys: PushKeys,
}

#[derive(Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct PushKeys {
    /// The browser's public key on P-256, uncompressed (65 bytes), in base64url.
    pub p256dh: String,
    /// 16 bytes in base64url.
    pub auth: String,
}

impl PushSubscription {
    /// Reads what a browser's `PushSubscription.toJSON()` posted; refuses what nothing could be sealed for.
    pub fn read(json: &str) -> Result<PushSubscription, BadAddress> {
        // A real one has some 400 bytes.
        if json.len() > 4_096 {
            return Err(BadAddress::Push);
        }
        let subscription: PushSubscription = serde_json::from_str(json).map_err(|_| BadAddress::Push)?;
        subscription.check()?;
        Ok(subscription)
    }

    fn check(&self) -> Result<(), BadAddress> {
        let address = reqwest::Url::parse(&self.endpoint).map_err(|_| BadAddress::Push)?;
        if !["https", "http"].contains(&address.scheme()) {
            return Err(BadAddress::Push);
        }
        seal::Browser::read(self).map(|_| ()).ok_or(BadAddress::Push)
    }
}

impl fmt::Debug for PushSubscription {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("PushSubscription")
    }
}

/// One thing to say to one address.
#[derive(Clone, PartialEq, Eq)]
pub struct Letter {
    pub to: Address,
    /// One line; for mail and push. At most 200 characters.
    pub subject: String,
    /// Plain text; for a call, what is read out. At most 2,000 characters.
    pub body: String,
    /// Opaque, 1 to 100 of `A-Z a-z 0-9 . _ -`. The provider gives it back in status calls and knows by it that a
    /// letter came twice: the same for every try of one letter, and never used again.
    pub reference: String,
    /// BCP 47: `en` or `es`.
    pub language: &'static str,
}

impl Letter {
    /// Why no channel would take this, if so.
    pub(crate) fn fault(&self) -> Option<String> {
        let plain = |letter: char| letter.is_ascii_alphanumeric() || "._-".contains(letter);
        if !(1..=100).contains(&self.reference.len()) || !self.reference.chars().all(plain) {
            return Some("the reference is not one of ours".to_owned());
        }
        if self.subject.chars().count() > 200 || self.subject.chars().any(char::is_control) {
            return Some("the subject is not one line".to_owned());
        }
        if self.body.trim().is_empty() || self.body.chars().count() > 2_000 {
            return Some("the text is empty or longer than 2,000 characters".to_owned());
        }
        self.to.check().err().map(|fault| fault.to_string())
    }
}

impl fmt::Debug for Letter {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "Letter({} {})", self.to.channel().code(), self.reference)
    }
}

/// The outside took it. That it arrived, or that a person read it, is another matter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Accepted {
    /// The provider's own id, at most 200 characters, when it gave one.
    pub provider_id: Option<String>,
}

/// The outside did not take it. `why` holds no person: no number, no address, nothing the provider wrote.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refused {
    /// Worth trying again, here or on another channel. It may have been taken all the same: the answer may be what
    /// was lost. `after` is how long the provider wants to be left alone, at most an hour.
    Later { why: String, after: Option<SignedDuration> },
    /// This letter will never go to this address this way.
    Never { why: String },
    /// The address is no more: a browser that took its subscription back, or lost it.
    Gone { why: String },
}

impl Refused {
    pub(crate) fn later(why: impl Into<String>) -> Refused {
        Refused::Later { why: why.into(), after: None }
    }

    pub(crate) fn never(why: impl Into<String>) -> Refused {
        Refused::Never { why: why.into() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn letter(reference: &str) -> Letter {
        Letter {
            to: Address::Sms("202-555-0142".to_owned()),
            subject: "1 new message".to_owned(),
            body: "You have a new message.".to_owned(),
            reference: reference.to_owned(),
            language: "en",
        }
    }

    #[test]
    fn a_number_is_dialled_as_typed_without_what_stands_between_digits() {
        assert_eq!(dialled(" +1 (202) 555-0142 ").unwrap(), "+12025550142");
        assert_eq!(dialled("202.555.0142").unwrap(), "2025550142");
    }

    #[test]
    fn a_number_has_seven_to_fifteen_digits_and_no_letters() {
        assert_eq!(dialled("555014"), Err(BadAddress::Phone));
        assert_eq!(dialled("5550142").unwrap(), "5550142");
        assert_eq!(dialled("+123456789012345").unwrap(), "+123456789012345");
        assert_eq!(dialled("+1234567890123456"), Err(BadAddress::Phone));
        assert_eq!(dialled("202-555-0142 ext 7"), Err(BadAddress::Phone));
        assert_eq!(dialled("1+2025550142"), Err(BadAddress::Phone));
        assert_eq!(dialled(""), Err(BadAddress::Phone));
    }

    #[test]
    fn a_reference_is_short_and_plain_so_that_it_fits_headers_and_file_names() {
        assert_eq!(letter("0190-a.b_c").fault(), None);
        assert_eq!(letter(&"a".repeat(100)).fault(), None);
        for bad in ["", "a b", "a/b", "a\r\nb", "ä", &"a".repeat(101)] {
            assert!(letter(bad).fault().is_some(), "{bad:?}");
        }
    }

    #[test]
    fn a_subject_of_two_lines_and_an_empty_text_go_nowhere() {
        let two_lines = Letter { subject: "a\r\nBcc: b@c.example".to_owned(), ..letter("1") };
        assert!(two_lines.fault().is_some());
        assert!(Letter { body: " \n".to_owned(), ..letter("1") }.fault().is_some());
        assert!(Letter { body: "x".repeat(2_000), ..letter("1") }.fault().is_none());
        assert!(Letter { body: "x".repeat(2_001), ..letter("1") }.fault().is_some());
    }

    #[test]
    fn a_letter_in_a_log_shows_no_person() {
        let shown = format!("{:?}", letter("r1"));
        assert_eq!(shown, "Letter(sms r1)");
        assert!(!format!("{:?}", letter("r1").to).contains("202"));
    }
}
