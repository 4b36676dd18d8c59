//! PINs: hashed with a pepper that the books hold sealed, so that whoever steals the books alone cannot try a million PINs at
//! them. The pepper is drawn once for a practice, and sealed by the keys that seal its photos.

use data_encoding::HEXLOWER;
use hmac::Hmac;
use hmac::KeyInit;
use hmac::Mac;
use sha2::Sha256;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::secrets;
use crate::ids::Chance;
use crate::ids::PracticeId;
use crate::store::links::PatientLink;
use crate::store::practices;

const PEPPER_BYTES: usize = 32;

/// Under this name a practice's pepper lies sealed.
pub fn about(practice: PracticeId) -> String {
    format!("pin_pepper:{practice}")
}

/// The pepper of a practice, opened. Never printed.
struct Pepper([u8; PEPPER_BYTES]);

impl Pepper {
    fn on(&self, pin: &str) -> String {
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.0).expect("HMAC takes a key of any length");
        mac.update(pin.as_bytes());
        HEXLOWER.encode(&mac.finalize().into_bytes())
    }
}

async fn pepper(desk: &Desk, practice: PracticeId, chance: &Chance) -> Done<Pepper> {
    let mut sealed = practices::sealed_pin_pepper(&mut *desk.db.read().await?, practice).await?;
    if sealed.is_none() {
        let fresh = desk.blobs.seal(&chance.bytes::<PEPPER_BYTES>(), &about(practice));
        let mut tx = desk.db.write().await?;
        practices::keep_pin_pepper(&mut tx, practice, &fresh).await?;
        // Of two at once the first one's stands.
        sealed = practices::sealed_pin_pepper(&mut tx, practice).await?;
        tx.commit().await?;
    }
    let plain = desk.blobs.unseal(&sealed.ok_or(CareError::NotFound)?, &about(practice))?;
    let bytes = plain.try_into().map_err(|_| CareError::Work("a pepper has another length".to_owned()))?;
    Ok(Pepper(bytes))
}

/// A PIN's hash, with the pepper in it.
pub(in crate::care) async fn hash(
    desk: &Desk,
    practice: PracticeId,
    pin: &str,
    chance: &Chance,
) -> Done<String> {
    let pepper = pepper(desk, practice, chance).await?;
    secrets::hash(desk, &pepper.on(pin), chance).await
}

/// Whether this is the PIN of the link, whether or not its hash has the pepper in it.
pub(in crate::care) async fn is_right(
    desk: &Desk,
    link: &PatientLink,
    pin: &str,
    chance: &Chance,
) -> Done<bool> {
    if !link.pin_peppered {
        return secrets::matches(desk, pin, &link.pin_phc).await;
    }
    let pepper = pepper(desk, link.practice, chance).await?;
    secrets::matches(desk, &pepper.on(pin), &link.pin_phc).await
}
