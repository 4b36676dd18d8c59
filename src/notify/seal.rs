//! Sealing a push message for one browser: RFC 8291 over RFC 8188 (`aes128gcm`), one record.

use aes_gcm::Aes128Gcm;
use aes_gcm::KeyInit;
use aes_gcm::Nonce;
use aes_gcm::aead::Aead;
use data_encoding::BASE64URL_NOPAD;
use hkdf::Hkdf;
use p256::PublicKey;
use p256::SecretKey;
use p256::elliptic_curve::sec1::ToSec1Point;
use sha2::Sha256;

use crate::ids::Chance;
use crate::notify::letter::PushSubscription;

/// Every push service takes 4,096 bytes of body (RFC 8030, 7.2); less its head (86), tag (16) and end mark (1).
pub(crate) const LONGEST_MESSAGE_BYTES: usize = 4_096 - 86 - 16 - 1;

/// Announced size of a record: ours is the only one and no longer (RFC 8188, 2.1).
const RECORD_BYTES: u32 = 4_096;

/// The keys of the browser that is written to.
pub(crate) struct Browser {
    public: PublicKey,
    /// As it came: 65 bytes, uncompressed.
    public_bytes: Vec<u8>,
    auth: Vec<u8>,
}

impl Browser {
    /// `None` when a key is not what RFC 8291, sections 3.1 and 3.2, ask for.
    pub fn read(subscription: &PushSubscription) -> Option<Browser> {
        let public_bytes = unpadded(&subscription.keys.p256dh)?;
        let auth = unpadded(&subscription.keys.auth)?;
        if public_bytes.len() != 65 || auth.len() != 16 {
            return None;
        }
        let public = PublicKey::from_sec1_bytes(&public_bytes).ok()?;
        Some(Browser { public, public_bytes, auth })
    }

    /// Seals a message with a key and a salt of its own. `None` when it is too long.
    pub fn seal(&self, message: &[u8], chance: &Chance) -> Option<Vec<u8>> {
        if message.len() > LONGEST_MESSAGE_BYTES {
            return None;
        }
        // A draw that is no key (0, or beyond the curve's order) comes up once in 2^32.
        let key = (0..4).find_map(|_| SecretKey::from_slice(&chance.bytes::<32>()).ok())?;
        self.seal_with(message, &key, chance.bytes())
    }

    /// RFC 8291, section 3.4, in its names.
    fn seal_with(&self, message: &[u8], as_private: &SecretKey, salt: [u8; 16]) -> Option<Vec<u8>> {
        let as_public = as_private.public_key().to_sec1_point(false);
        let ecdh_secret = as_private.diffie_hellman(&self.public);
        let key_info = [b"WebPush: info\0", self.public_bytes.as_slice(), as_public.as_bytes()].concat();
        let ikm: [u8; 32] = derived(&self.auth, ecdh_secret.raw_secret_bytes(), &key_info)?;
        let cek: [u8; 16] = derived(&salt, &ikm, b"Content-Encoding: aes128gcm\0")?;
        let nonce: [u8; 12] = derived(&salt, &ikm, b"Content-Encoding: nonce\0")?;

        // The mark 2 ends the last record (RFC 8188, section 2).
        let record = [message, &[2]].concat();
        let cipher = Aes128Gcm::new_from_slice(&cek).ok()?;
        let sealed = cipher.encrypt(&Nonce::from(nonce), record.as_slice()).ok()?;
        let key_length = u8::try_from(as_public.as_bytes().len()).ok()?;
        let head = [&salt[..], &RECORD_BYTES.to_be_bytes(), &[key_length], as_public.as_bytes()].concat();
        Some([head, sealed].concat())
    }
}

/// HKDF with SHA-256: `N` bytes.
fn derived<const N: usize>(salt: &[u8], key: &[u8], info: &[u8]) -> Option<[u8; N]> {
    let mut bytes = [0; N];
    Hkdf::<Sha256>::new(Some(salt), key).expand(info, &mut bytes).ok()?;
    Some(bytes)
}

/// Base64url, with or without padding: some browsers' libraries add it.
fn unpadded(text: &str) -> Option<Vec<u8>> {
    BASE64URL_NOPAD.decode(text.trim_end_matches('=').as_bytes()).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    use proptest::prelude::*;

    use crate::notify::letter::PushKeys;

    // RFC 8291, section 5 and appendix A.
    const UA_PUBLIC: &str =
        "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4";
    const UA_PRIVATE: &str = "q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94";
    const AUTH: &str = "BTBZMqHH6r4Tts7J_aSIgg";
    const AS_PRIVATE: &str = "yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw";
    const SALT: &str = "DGv6ra1nlYgDCS1FRnbzlw";
    const PLAINTEXT: &[u8] = b"When I grow up, I want to be a watermelon";
    const SEALED: &str = "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6Tlz\
                          AC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN";

    fn bytes(text: &str) -> Vec<u8> {
        BASE64URL_NOPAD.decode(text.as_bytes()).unwrap()
    }

    fn subscription(p256dh: &str, auth: &str) -> PushSubscription {
        PushSubscription {
            endpoint: "https://push.example/x".to_owned(),
            keys: PushKeys { p256dh: p256dh.to_owned(), auth: auth.to_owned() },
        }
    }

    fn browser() -> Browser {
        Browser::read(&subscription(UA_PUBLIC, AUTH)).unwrap()
    }

    /// The browser's side of RFC 8291, with its own key.
    fn opened(sealed: &[u8]) -> Option<Vec<u8>> {
        let (salt, rest) = sealed.split_at(16);
        assert_eq!(rest[..5], [0, 0, 16, 0, 65]);
        let (as_public, record) = rest[5..].split_at(65);
        let ua_private = SecretKey::from_slice(&bytes(UA_PRIVATE)).unwrap();
        let secret = ua_private.diffie_hellman(&PublicKey::from_sec1_bytes(as_public).unwrap());
        let info = [b"WebPush: info\0", bytes(UA_PUBLIC).as_slice(), as_public].concat();
        let ikm: [u8; 32] = derived(&bytes(AUTH), secret.raw_secret_bytes(), &info)?;
        let cek: [u8; 16] = derived(salt, &ikm, b"Content-Encoding: aes128gcm\0")?;
        let nonce: [u8; 12] = derived(salt, &ikm, b"Content-Encoding: nonce\0")?;
        let cipher = Aes128Gcm::new_from_slice(&cek).unwrap();
        let mut record = cipher.decrypt(&Nonce::from(nonce), record).ok()?;
        assert_eq!(record.pop(), Some(2));
        Some(record)
    }

    #[test]
    fn the_worked_example_of_rfc_8291_comes_out_byte_for_byte() {
        let key = SecretKey::from_slice(&bytes(AS_PRIVATE)).unwrap();
        let sealed = browser().seal_with(PLAINTEXT, &key, bytes(SALT).try_into().unwrap()).unwrap();
        assert_eq!(BASE64URL_NOPAD.encode(&sealed), SEALED);
    }

    #[test]
    fn the_keys_of_the_worked_example_belong_together_and_open_it() {
        let ua_private = SecretKey::from_slice(&bytes(UA_PRIVATE)).unwrap();
        assert_eq!(ua_private.public_key().to_sec1_point(false).as_bytes(), bytes(UA_PUBLIC));
        assert_eq!(opened(&bytes(SEALED)).unwrap(), PLAINTEXT);
    }

    #[test]
    fn the_same_message_is_never_sealed_the_same_way_twice() {
        let chance = Chance::seeded(7);
        let (one, two) = (browser().seal(b"x", &chance).unwrap(), browser().seal(b"x", &chance).unwrap());
        assert_ne!(one[..16], two[..16], "salt");
        assert_ne!(one[21..86], two[21..86], "key");
    }

    #[test]
    fn a_message_just_fits_into_the_bytes_every_push_service_takes() {
        let chance = Chance::seeded(8);
        let longest = vec![b'x'; LONGEST_MESSAGE_BYTES];
        assert_eq!(browser().seal(&longest, &chance).unwrap().len(), 4_096);
        assert!(browser().seal(&[longest, vec![b'x']].concat(), &chance).is_none());
    }

    #[test]
    fn keys_that_are_no_keys_are_refused() {
        let compressed = BASE64URL_NOPAD.encode(&[[2].as_slice(), &bytes(UA_PUBLIC)[1..33]].concat());
        let off_the_curve = BASE64URL_NOPAD.encode(&[[4].as_slice(), &[1; 64]].concat());
        let short_auth = BASE64URL_NOPAD.encode(&[1; 15]);
        for (p256dh, auth) in [
            (compressed.as_str(), AUTH),
            (off_the_curve.as_str(), AUTH),
            ("", AUTH),
            ("not base64!", AUTH),
            (UA_PUBLIC, short_auth.as_str()),
            (UA_PUBLIC, ""),
        ] {
            assert!(Browser::read(&subscription(p256dh, auth)).is_none(), "{p256dh} {auth}");
        }
        assert!(Browser::read(&subscription(&format!("{UA_PUBLIC}="), &format!("{AUTH}=="))).is_some());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]
        #[test]
        fn whatever_is_sealed_is_opened_by_the_browser(message: Vec<u8>, seed: u64) {
            let sealed = browser().seal(&message, &Chance::seeded(seed)).unwrap();
            prop_assert_eq!(opened(&sealed).unwrap(), message);
        }
    }
}
