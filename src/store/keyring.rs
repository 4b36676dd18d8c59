//! Sealing what lies at rest: XChaCha20-Poly1305 with a key of its own for each object, which is wrapped by a key of the
//! practice's key file. Rotating means a new key for what comes, and the old wraps made anew; nothing is sealed again.

use std::collections::BTreeMap;
use std::fmt;

use chacha20poly1305::Key;
use chacha20poly1305::XChaCha20Poly1305;
use chacha20poly1305::XNonce;
use chacha20poly1305::aead::Aead;
use chacha20poly1305::aead::KeyInit;
use chacha20poly1305::aead::Payload;
use data_encoding::BASE64;

use crate::ids::Chance;

const KEY_BYTES: usize = 32;
const NONCE_BYTES: usize = 24;
const TAG_BYTES: usize = 16;
/// Version of the key, nonce, and the sealed data key.
const WRAP_BYTES: usize = 4 + NONCE_BYTES + KEY_BYTES + TAG_BYTES;
/// How the rest is laid out; another layout begins with another letter.
const LAYOUT: u8 = 1;
/// What sealing adds to an object's length.
pub const SEAL_BYTES: usize = 1 + WRAP_BYTES + NONCE_BYTES + TAG_BYTES;
/// The same where the wrapped key is kept apart.
pub const OBJECT_SEAL_BYTES: usize = NONCE_BYTES + TAG_BYTES;

/// Why something sealed cannot be opened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SealFault {
    /// The key file lacks the key it was sealed with: an older key is missing, or the file is another practice's.
    #[error("it was sealed with key {version}, which the key file does not hold")]
    UnknownKey { version: u32 },
    /// Changed, cut off, moved from another object, or never sealed.
    #[error("it was changed since it was sealed")]
    Broken,
    /// Nothing can be sealed or opened here.
    #[error("there are no keys here")]
    NoKeys,
}

/// An object sealed, and the key that opens it, wrapped.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SealedApart {
    pub wrapped_key: Vec<u8>,
    pub object: Vec<u8>,
}

/// The keys of the key file, by version; the newest seals.
#[derive(Clone)]
pub struct KeyRing {
    keys: BTreeMap<u32, XChaCha20Poly1305>,
    newest: u32,
}

impl KeyRing {
    /// A line for each key: its version and 32 bytes in base64. Lines that begin with `#` say what the file is.
    pub fn from_text(text: &str) -> Result<KeyRing, String> {
        let mut keys = BTreeMap::new();
        let lines = text.lines().map(str::trim).enumerate();
        for (place, line) in lines.filter(|(_, line)| !line.is_empty() && !line.starts_with('#')) {
            let told = |why: &str| format!("line {}: {why}", place + 1);
            let (version, key) = line
                .split_once(' ')
                .ok_or_else(|| told("a version and a key are expected, with a space between them"))?;
            let version: u32 = version.parse().map_err(|_| told("the version is no whole number"))?;
            let bytes = BASE64.decode(key.trim().as_bytes()).map_err(|_| told("the key is no base64"))?;
            let key: [u8; KEY_BYTES] = bytes.try_into().map_err(|_| told("a key has 32 bytes"))?;
            if keys.insert(version, XChaCha20Poly1305::new(&Key::from(key))).is_some() {
                return Err(told("this version stands there twice"));
            }
        }
        let newest = *keys.keys().max().ok_or("it holds no key")?;
        Ok(KeyRing { keys, newest })
    }

    /// A line for the key file: the first key, or the next after the version `before`.
    pub fn new_line(before: Option<u32>, chance: &Chance) -> String {
        let version = before.map_or(1, |before| before.saturating_add(1));
        format!("{version} {}\n", BASE64.encode(&chance.bytes::<KEY_BYTES>()))
    }

    pub fn holds(&self, version: u32) -> bool {
        self.keys.contains_key(&version)
    }

    /// The oldest first.
    pub fn versions(&self) -> impl Iterator<Item = u32> + '_ {
        self.keys.keys().copied()
    }

    /// The version that seals now.
    pub fn newest(&self) -> u32 {
        self.newest
    }

    /// Seals an object. `about` names it: opened under any other name it is broken.
    pub fn seal(&self, plain: &[u8], about: &str, chance: &Chance) -> Vec<u8> {
        let SealedApart { wrapped_key, object } = self.seal_apart(plain, about, chance);
        [&[LAYOUT], wrapped_key.as_slice(), object.as_slice()].concat()
    }

    pub fn open(&self, sealed: &[u8], about: &str) -> Result<Vec<u8>, SealFault> {
        let (wrapped_key, object) = halves(sealed)?;
        self.open_apart(wrapped_key, object, about)
    }

    /// The version of the key that an object's own key is wrapped with.
    pub fn version_of(sealed: &[u8]) -> Result<u32, SealFault> {
        version_of_wrap(halves(sealed)?.0)
    }

    /// Seals an object and gives its wrapped key apart: what lies in a file never changes, and the key beside it can be
    /// wrapped anew, or destroyed.
    pub fn seal_apart(&self, plain: &[u8], about: &str, chance: &Chance) -> SealedApart {
        let data_key = chance.bytes::<KEY_BYTES>();
        SealedApart {
            wrapped_key: self.wrap(&data_key, about, chance),
            object: closed(&XChaCha20Poly1305::new(&Key::from(data_key)), plain, about, chance),
        }
    }

    pub fn open_apart(&self, wrapped_key: &[u8], object: &[u8], about: &str) -> Result<Vec<u8>, SealFault> {
        let data_key = self.unwrap(wrapped_key, about)?;
        opened(&XChaCha20Poly1305::new(&Key::from(data_key)), object, about)
    }

    /// Whether a wrapped key can be unwrapped.
    pub fn unwraps(&self, wrapped_key: &[u8], about: &str) -> bool {
        self.unwrap(wrapped_key, about).is_ok()
    }

    /// A wrapped key, wrapped by the newest key; `None`: it is already.
    pub fn rewrap(
        &self,
        wrapped_key: &[u8],
        about: &str,
        chance: &Chance,
    ) -> Result<Option<Vec<u8>>, SealFault> {
        if version_of_wrap(wrapped_key)? == self.newest {
            return Ok(None);
        }
        let data_key = self.unwrap(wrapped_key, about)?;
        Ok(Some(self.wrap(&data_key, about, chance)))
    }

    /// The same object with its key wrapped by the newest key; `None`: it is already.
    pub fn rewrapped(
        &self,
        sealed: &[u8],
        about: &str,
        chance: &Chance,
    ) -> Result<Option<Vec<u8>>, SealFault> {
        let (wrap, object) = halves(sealed)?;
        let wrapped = self.rewrap(wrap, about, chance)?;
        Ok(wrapped.map(|wrap| [&[LAYOUT], wrap.as_slice(), object].concat()))
    }

    fn wrap(&self, data_key: &[u8; KEY_BYTES], about: &str, chance: &Chance) -> Vec<u8> {
        let mut wrap = self.newest.to_be_bytes().to_vec();
        wrap.extend(closed(&self.keys[&self.newest], data_key, &about_key(about, self.newest), chance));
        wrap
    }

    fn unwrap(&self, wrap: &[u8], about: &str) -> Result<[u8; KEY_BYTES], SealFault> {
        let version = version_of_wrap(wrap)?;
        let key = self.keys.get(&version).ok_or(SealFault::UnknownKey { version })?;
        let data_key = opened(key, &wrap[4..], &about_key(about, version))?;
        data_key.try_into().map_err(|_| SealFault::Broken)
    }
}

impl fmt::Debug for KeyRing {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "KeyRing of {} keys", self.keys.len())
    }
}

/// A wrapped key is never taken for an object, nor for one wrapped by another version.
fn about_key(about: &str, version: u32) -> String {
    format!("key {version} of {about}")
}

/// The wrapped key, and the object it opens.
fn halves(sealed: &[u8]) -> Result<(&[u8], &[u8]), SealFault> {
    match sealed.split_first() {
        Some((&LAYOUT, rest)) if rest.len() >= SEAL_BYTES - 1 => Ok(rest.split_at(WRAP_BYTES)),
        Some(_) | None => Err(SealFault::Broken),
    }
}

fn version_of_wrap(wrap: &[u8]) -> Result<u32, SealFault> {
    let bytes = wrap.first_chunk::<4>().ok_or(SealFault::Broken)?;
    Ok(u32::from_be_bytes(*bytes))
}

/// Nonce and ciphertext. A random nonce of 24 bytes does not come twice in any practice's life.
fn closed(key: &XChaCha20Poly1305, plain: &[u8], about: &str, chance: &Chance) -> Vec<u8> {
    let nonce = chance.bytes::<NONCE_BYTES>();
    let payload = Payload { msg: plain, aad: about.as_bytes() };
    let sealed = key.encrypt(&XNonce::from(nonce), payload);
    // Only an object of 256 GiB is refused, and none comes near.
    [nonce.to_vec(), sealed.unwrap_or_default()].concat()
}

fn opened(key: &XChaCha20Poly1305, sealed: &[u8], about: &str) -> Result<Vec<u8>, SealFault> {
    let (nonce, sealed) = sealed.split_first_chunk::<NONCE_BYTES>().ok_or(SealFault::Broken)?;
    let payload = Payload { msg: sealed, aad: about.as_bytes() };
    key.decrypt(&XNonce::from(*nonce), payload).map_err(|_| SealFault::Broken)
}

#[cfg(test)]
mod tests {
    use data_encoding::HEXLOWER;
    use proptest::prelude::*;

    use super::*;

    fn ring(keys: usize) -> (KeyRing, String) {
        let (chance, mut text) = (Chance::seeded(5), "# the practice's keys\n".to_owned());
        for _ in 0..keys {
            let before = KeyRing::from_text(&text).ok().map(|ring| ring.newest());
            text.push_str(&KeyRing::new_line(before, &chance));
        }
        (KeyRing::from_text(&text).unwrap(), text)
    }

    /// draft-irtf-cfrg-xchacha-03, appendix A.3.1.
    #[test]
    fn the_cipher_is_the_one_of_the_published_draft() {
        let bytes = |hex: &str| HEXLOWER.decode(hex.as_bytes()).unwrap();
        let plain =
            b"Ladies and Gentlemen of the class of '99: If I could offer you only one tip for the future, \
                      sunscreen would be it.";
        let key: [u8; 32] =
            bytes("808182838485868788898a8b8c8d8e8f909192939495969798999a9b9c9d9e9f").try_into().unwrap();
        let nonce: [u8; 24] = bytes("404142434445464748494a4b4c4d4e4f5051525354555657").try_into().unwrap();
        let aad = bytes("50515253c0c1c2c3c4c5c6c7");
        let sealed = XChaCha20Poly1305::new(&Key::from(key))
            .encrypt(&XNonce::from(nonce), Payload { msg: plain, aad: &aad })
            .unwrap();
        let expected = "bd6d179d3e83d43b9576579493c0e939572a1700252bfaccbed2902c21396cbb731c7f1b0b4aa6440bf3a82f4eda7e39\
                        ae64c6708c54c216cb96b72e1213b4522f8c9ba40db5d945b11b69b982c1bb9e3f3fac2bc369488f76b2383565d3fff9\
                        21f9664c97637da9768812f615c68b13b52ec0875924c1c7987947deafd8780acf49";
        assert_eq!(HEXLOWER.encode(&sealed), expected.replace(' ', ""));
    }

    #[test]
    fn what_is_sealed_twice_looks_different_and_comes_back_alike() {
        let (ring, chance) = (ring(1).0, Chance::seeded(6));
        let (one, other) =
            (ring.seal(b"a photo", "photo:1", &chance), ring.seal(b"a photo", "photo:1", &chance));
        assert_ne!(one, other);
        assert_eq!(one.len(), b"a photo".len() + SEAL_BYTES);
        assert_eq!(ring.open(&one, "photo:1").unwrap(), b"a photo");
        assert_eq!(ring.open(&other, "photo:1").unwrap(), b"a photo");
        assert!(!one.windows(7).any(|window| window == b"a photo"));
    }

    #[test]
    fn a_rotated_key_opens_the_old_and_is_needed_no_more_once_all_is_wrapped_anew() {
        let (_, one_key) = ring(1);
        let (both, two_keys) = ring(2);
        let first = KeyRing::from_text(&one_key).unwrap();
        let chance = Chance::seeded(7);
        let old = first.seal(b"a photo", "photo:1", &chance);
        assert_eq!((both.newest(), KeyRing::version_of(&old)), (2, Ok(1)));
        assert_eq!(both.open(&old, "photo:1").unwrap(), b"a photo");
        let again = both.rewrapped(&old, "photo:1", &chance).unwrap().unwrap();
        assert_eq!(both.rewrapped(&again, "photo:1", &chance), Ok(None));
        let second_alone: String = two_keys.lines().filter(|line| !line.starts_with("1 ")).collect();
        let second_alone = KeyRing::from_text(&second_alone.replace("# the practice's keys", "")).unwrap();
        assert_eq!(second_alone.open(&again, "photo:1").unwrap(), b"a photo");
        assert_eq!(second_alone.open(&old, "photo:1"), Err(SealFault::UnknownKey { version: 1 }));
    }

    #[test]
    fn a_key_file_that_cannot_be_used_says_where_and_why() {
        let key = BASE64.encode(&[1; 32]);
        for (text, why) in [
            (String::new(), "it holds no key"),
            ("1".to_owned(), "line 1: a version and a key are expected"),
            (format!("one {key}"), "line 1: the version is no whole number"),
            ("\n1 ???".to_owned(), "line 2: the key is no base64"),
            ("1 AAAA".to_owned(), "line 1: a key has 32 bytes"),
            (format!("1 {key}\n1 {key}"), "line 2: this version stands there twice"),
        ] {
            let told = KeyRing::from_text(&text).expect_err(&text);
            assert!(told.starts_with(why), "{told}");
        }
        assert_eq!(format!("{:?}", ring(2).0), "KeyRing of 2 keys");
    }

    proptest! {
        #[test]
        fn any_object_comes_back_and_no_flipped_bit_or_other_name_does(
            plain in prop::collection::vec(any::<u8>(), 0..300),
            at in any::<prop::sample::Index>(),
            bit in 0u8..8,
            seed in any::<u64>(),
        ) {
            let ring = ring(3).0;
            let mut sealed = ring.seal(&plain, "photo:1", &Chance::seeded(seed));
            prop_assert_eq!(ring.open(&sealed, "photo:1").unwrap(), plain);
            prop_assert_eq!(ring.open(&sealed, "photo:2"), Err(SealFault::Broken));
            let place = at.index(sealed.len());
            prop_assert!(ring.open(&sealed[..place], "photo:1").is_err());
            sealed[place] ^= 1 << bit;
            prop_assert!(ring.open(&sealed, "photo:1").is_err());
        }
    }
}
