//! A secret shared with a provider, and the signature made with it: HMAC-SHA256 over `timestamp.body`.

use std::fmt;
use std::path::Path;

use data_encoding::HEXLOWER;
use hmac::Hmac;
use hmac::KeyInit;
use hmac::Mac;
use jiff::Timestamp;
use sha2::Sha256;

/// The shortest secret taken: as long as the hash (RFC 2104, section 3, discourages shorter keys strongly).
const SHORTEST_BYTES: usize = 32;

/// How far a signed message's time may be from ours. Common practice for signed webhooks, no source.
const FRESH_SECONDS: i64 = 300;

/// A shared secret. Never shown.
#[derive(Clone)]
pub struct Secret(Vec<u8>);

impl Secret {
    /// `None` when it is too short to keep anything safe.
    pub fn new(bytes: &[u8]) -> Option<Secret> {
        (bytes.len() >= SHORTEST_BYTES).then(|| Secret(bytes.to_vec()))
    }

    /// The file's text, white space around it set aside.
    pub fn from_file(path: &Path) -> Result<Secret, String> {
        let text = text_of(path)?;
        Secret::new(text.as_bytes())
            .ok_or_else(|| format!("{}: a secret needs at least {SHORTEST_BYTES} characters", path.display()))
    }

    /// `v1=` and 64 hexadecimal digits.
    pub(crate) fn sign(&self, timestamp: &str, body: &[u8]) -> String {
        format!("v1={}", HEXLOWER.encode(&self.mac(timestamp, body).finalize().into_bytes()))
    }

    /// Whether the signature is of this timestamp and body; takes as long for a wrong one as for a right one.
    pub(crate) fn has_signed(&self, timestamp: &str, body: &[u8], signature: &str) -> bool {
        let Some(hex) = signature.trim().strip_prefix("v1=") else { return false };
        match HEXLOWER.decode(hex.as_bytes()) {
            Ok(tag) => self.mac(timestamp, body).verify_slice(&tag).is_ok(),
            Err(_) => false,
        }
    }

    fn mac(&self, timestamp: &str, body: &[u8]) -> Hmac<Sha256> {
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.0).expect("HMAC takes a key of any length");
        mac.update(timestamp.as_bytes());
        mac.update(b".");
        mac.update(body);
        mac
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("Secret")
    }
}

/// Whether a signed time, in whole seconds since 1970, is within five minutes of now, either way.
pub(crate) fn is_fresh(timestamp: &str, now: Timestamp) -> bool {
    let seconds: Result<i64, _> = timestamp.trim().parse();
    seconds.is_ok_and(|then| now.as_second().abs_diff(then) <= FRESH_SECONDS as u64)
}

/// A small text file of the settings, white space around it set aside.
pub(crate) fn text_of(path: &Path) -> Result<String, String> {
    let text = std::fs::read_to_string(path).map_err(|fault| format!("{}: {fault}", path.display()))?;
    Ok(text.trim().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4231, test cases 1 to 4, 6 and 7 (5 is cut short): key, data, HMAC-SHA-256.
    #[test]
    fn the_signature_is_the_one_of_rfc_4231() {
        let cases: [(Vec<u8>, Vec<u8>, &str); 6] = [
            (vec![0x0b; 20], b"Hi There".to_vec(), "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
            (
                b"Jefe".to_vec(),
                b"what do ya want for nothing?".to_vec(),
                "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
            ),
            (vec![0xaa; 20], vec![0xdd; 50], "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
            (
                (1..=25).collect(),
                vec![0xcd; 50],
                "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b",
            ),
            (
                vec![0xaa; 131],
                b"Test Using Larger Than Block-Size Key - Hash Key First".to_vec(),
                "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
            ),
            (
                vec![0xaa; 131],
                b"This is a test using a larger than block-size key and a larger than block-size data. The key \
                  needs to be hashed before being used by the HMAC algorithm."
                    .to_vec(),
                "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2",
            ),
        ];
        for (key, data, expected) in cases {
            let mut mac = Hmac::<Sha256>::new_from_slice(&key).unwrap();
            mac.update(&data);
            assert_eq!(HEXLOWER.encode(&mac.finalize().into_bytes()), expected);
        }
    }

    /// The same hash by the house's own way: data with a full stop in it is a timestamp and a body.
    #[test]
    fn timestamp_and_body_are_signed_with_a_full_stop_between_them() {
        let secret = Secret::new(&[0xaa; 131]).unwrap();
        let body = b" The key needs to be hashed before being used by the HMAC algorithm.";
        let before = "This is a test using a larger than block-size key and a larger than block-size data";
        let signature = "v1=9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2";
        assert_eq!(secret.sign(before, body), signature);
        assert!(secret.has_signed(before, body, signature));
        assert!(!secret.has_signed(before, b" another body", signature));
        assert!(!secret.has_signed("1", body, signature));
        assert!(!secret.has_signed(before, body, &signature[3..]), "without its version");
        assert!(!secret.has_signed(before, body, &signature[..30]), "cut short");
        assert!(!secret.has_signed(before, body, "v1="));
        assert!(!Secret::new(&[0xab; 131]).unwrap().has_signed(before, body, signature));
    }

    #[test]
    fn a_secret_has_at_least_32_characters_and_is_never_shown() {
        assert!(Secret::new(&[b'a'; 31]).is_none());
        let secret = Secret::new(&[b'a'; 32]).unwrap();
        assert_eq!(format!("{secret:?}"), "Secret");
    }

    #[test]
    fn a_signed_time_counts_for_five_minutes_either_way() {
        let now = Timestamp::from_second(1_000_000).unwrap();
        assert!(is_fresh("999700", now) && is_fresh("1000300", now));
        assert!(!is_fresh("999699", now) && !is_fresh("1000301", now));
        assert!(!is_fresh("", now) && !is_fresh("now", now) && !is_fresh("-9223372036854775808", now));
    }
}
