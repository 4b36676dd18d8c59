//! Signed heads: what the last line of a practice's record was at some moment, signed (Ed25519, RFC 8032). Kept on another
//! machine, they show what nobody could see otherwise: that the end of a record was cut off, or all of it written anew.

use std::fmt;

use data_encoding::BASE64;
use data_encoding::HEXLOWER;
use ed25519_dalek::Signature;
use ed25519_dalek::Signer;
use ed25519_dalek::SigningKey;
use ed25519_dalek::VerifyingKey;
use ed25519_dalek::pkcs8::DecodePrivateKey;
use ed25519_dalek::pkcs8::DecodePublicKey;
use ed25519_dalek::pkcs8::EncodePrivateKey;
use ed25519_dalek::pkcs8::EncodePublicKey;
use ed25519_dalek::pkcs8::spki::der::pem::LineEnding;
use jiff::Timestamp;
use serde::Deserialize;
use serde::Serialize;
use sha2::Digest;
use sha2::Sha256;

use crate::care::Desk;
use crate::care::Done;
use crate::ids::Chance;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::audit;
use crate::store::audit_chain::RecordHead;
use crate::store::practices;

/// What is signed begins with this, so that no signature made for something else can be taken for one of a head.
const MEANING: &str = "closewatch record head 1";
const MANIFEST: &str = "closewatch back-up manifest 1";

/// The private key. Never shown.
#[derive(Clone)]
pub struct RecordKey(SigningKey);

impl RecordKey {
    pub fn make(chance: &Chance) -> RecordKey {
        RecordKey(SigningKey::from_bytes(&chance.bytes::<32>()))
    }

    /// PKCS #8 in PEM, as `openssl genpkey -algorithm ed25519` writes it.
    pub fn from_pem(pem: &str) -> Result<RecordKey, String> {
        SigningKey::from_pkcs8_pem(pem).map(RecordKey).map_err(|_| "no Ed25519 private key in PEM".to_owned())
    }

    pub fn to_pem(&self) -> Result<String, String> {
        let pem = self.0.to_pkcs8_pem(LineEnding::LF).map_err(|fault| fault.to_string())?;
        Ok(pem.as_str().to_owned())
    }

    pub fn public(&self) -> RecordPublicKey {
        RecordPublicKey(self.0.verifying_key())
    }

    /// Vouches for a back-up's manifest, by its text. Base64.
    pub fn vouch(&self, manifest: &str) -> String {
        BASE64.encode(&self.0.sign(format!("{MANIFEST}\n{manifest}").as_bytes()).to_bytes())
    }

    pub fn sign(&self, head: &RecordHead) -> SignedHead {
        let unsigned = SignedHead {
            practice: head.practice,
            sequence: head.sequence,
            sha256: head.sha256.clone(),
            at: head.at,
            key: self.public().name(),
            signature: String::new(),
        };
        let signature: Signature = self.0.sign(unsigned.message().as_bytes());
        SignedHead { signature: BASE64.encode(&signature.to_bytes()), ..unsigned }
    }
}

impl fmt::Debug for RecordKey {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("RecordKey")
    }
}

/// The key that shows whether a head was signed here.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordPublicKey(VerifyingKey);

impl RecordPublicKey {
    /// SubjectPublicKeyInfo in PEM, as `openssl pkey -pubout` writes it.
    pub fn from_pem(pem: &str) -> Result<RecordPublicKey, String> {
        let key = VerifyingKey::from_public_key_pem(pem);
        key.map(RecordPublicKey).map_err(|_| "no Ed25519 public key in PEM".to_owned())
    }

    pub fn to_pem(&self) -> Result<String, String> {
        self.0.to_public_key_pem(LineEnding::LF).map_err(|fault| fault.to_string())
    }

    /// Whether the private half of this key vouched for exactly this manifest.
    pub fn vouches(&self, manifest: &str, signature: &str) -> bool {
        let bytes = BASE64.decode(signature.trim().as_bytes()).unwrap_or_default();
        Signature::from_slice(&bytes).is_ok_and(|signature| {
            self.0.verify_strict(format!("{MANIFEST}\n{manifest}").as_bytes(), &signature).is_ok()
        })
    }

    /// Sixteen letters that tell one key from another.
    pub fn name(&self) -> String {
        HEXLOWER.encode(&Sha256::digest(self.0.as_bytes())[..8])
    }
}

/// A head and its signature, as it is written to a file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SignedHead {
    pub practice: PracticeId,
    pub sequence: i64,
    pub sha256: String,
    pub at: Timestamp,
    /// [`RecordPublicKey::name`] of the key.
    pub key: String,
    /// Base64.
    pub signature: String,
}

impl SignedHead {
    fn message(&self) -> String {
        let SignedHead { practice, sequence, sha256, at, key, .. } = self;
        format!("{MEANING}\n{practice}\n{sequence}\n{sha256}\n{}\n{key}", at.as_millisecond())
    }

    /// The head, if this key signed it.
    pub fn checked(&self, key: &RecordPublicKey) -> Result<RecordHead, WrongHead> {
        if self.key != key.name() {
            return Err(WrongHead::OtherKey);
        }
        let bytes = BASE64.decode(self.signature.as_bytes()).map_err(|_| WrongHead::Forged)?;
        let signature = Signature::from_slice(&bytes).map_err(|_| WrongHead::Forged)?;
        key.0.verify_strict(self.message().as_bytes(), &signature).map_err(|_| WrongHead::Forged)?;
        Ok(RecordHead {
            practice: self.practice,
            sequence: self.sequence,
            sha256: self.sha256.clone(),
            at: self.at,
        })
    }
}

/// Why a signed head is not believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WrongHead {
    #[error("another key signed it")]
    OtherKey,
    #[error("its signature is wrong: somebody wrote or changed it")]
    Forged,
}

/// The heads of all practices as they stand now, signed, each with the practice's own date.
pub async fn sign_all(desk: &Desk, key: &RecordKey, now: Timestamp) -> Done<Vec<(String, SignedHead)>> {
    sign_within(&mut *desk.db.read().await?, key, now).await
}

/// The same, as this connection sees them.
pub async fn sign_within(
    conn: &mut Conn,
    key: &RecordKey,
    now: Timestamp,
) -> Done<Vec<(String, SignedHead)>> {
    let mut signed = Vec::new();
    for practice in practices::all(conn).await? {
        let head = audit::head(conn, practice.id, now).await?;
        signed.push((now.to_zoned_datetime(practice.zone.clone()).date().to_string(), key.sign(&head)));
    }
    Ok(signed)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::Moment;

    fn head() -> RecordHead {
        let moment = Moment::new("2026-03-02T12:00:00Z".parse().unwrap(), Chance::seeded(1));
        RecordHead {
            practice: PracticeId::mint(&moment),
            sequence: 41,
            sha256: "ab".repeat(32),
            at: moment.now,
        }
    }

    /// RFC 8032, section 7.1, test 2: the seed, its public key, and the signature of the one byte 72.
    #[test]
    fn the_signatures_are_those_of_rfc_8032() {
        let bytes = |hex: &str| HEXLOWER.decode(hex.as_bytes()).unwrap();
        let seed = bytes("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb");
        let key = SigningKey::from_bytes(&seed.try_into().unwrap());
        let public = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c";
        assert_eq!(HEXLOWER.encode(key.verifying_key().as_bytes()), public);
        let signature = "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da\
                         085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00";
        assert_eq!(HEXLOWER.encode(&key.sign(&[0x72]).to_bytes()), signature);
    }

    #[test]
    fn a_head_is_believed_only_as_it_was_signed_and_by_its_key() {
        let key = RecordKey::make(&Chance::seeded(3));
        let signed = key.sign(&head());
        assert_eq!(signed.checked(&key.public()), Ok(head()));
        let other = RecordKey::make(&Chance::seeded(4));
        assert_eq!(signed.checked(&other.public()), Err(WrongHead::OtherKey));
        let forged = [
            SignedHead { sequence: 40, ..signed.clone() },
            SignedHead { sha256: "ac".repeat(32), ..signed.clone() },
            SignedHead { at: Timestamp::UNIX_EPOCH, ..signed.clone() },
            SignedHead { signature: other.sign(&head()).signature, ..signed.clone() },
            SignedHead { signature: "no base64".to_owned(), ..signed.clone() },
            SignedHead { signature: String::new(), ..signed.clone() },
        ];
        for head in forged {
            assert_eq!(head.checked(&key.public()), Err(WrongHead::Forged), "{head:?}");
        }
    }

    #[test]
    fn a_manifest_is_vouched_for_as_it_was_and_a_heads_signature_is_none_of_a_manifest() {
        let (key, other) = (RecordKey::make(&Chance::seeded(3)), RecordKey::make(&Chance::seeded(4)));
        let signature = key.vouch("manifest");
        assert!(key.public().vouches("manifest", &format!("{signature}\n")));
        assert!(!key.public().vouches("Manifest", &signature));
        assert!(!other.public().vouches("manifest", &signature));
        let signed = key.sign(&head());
        assert!(!key.public().vouches(&signed.message(), &signed.signature));
        assert!(!key.public().vouches("manifest", "no base64"));
    }

    #[test]
    fn keys_go_through_their_files() {
        let key = RecordKey::make(&Chance::seeded(3));
        let again = RecordKey::from_pem(&key.to_pem().unwrap()).unwrap();
        assert_eq!(again.public(), key.public());
        assert_eq!(RecordPublicKey::from_pem(&key.public().to_pem().unwrap()).unwrap(), key.public());
        assert!(RecordKey::from_pem("no key").is_err());
        assert!(RecordPublicKey::from_pem(&key.to_pem().unwrap()).is_err());
        assert_eq!(format!("{key:?}"), "RecordKey");
    }
}
