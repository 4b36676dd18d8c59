//! PINs: hashed with a pepper that the books hold sealed, so that whoever steals the books alone cannot try a million PINs at
//! them. The pepper is drawn once for a practice, and sealed by the keys that seal its photos; another is drawn only when that key is
//! lost for good, and then no PIN of before is right any more.

use data_encoding::HEXLOWER;
use hmac::Hmac;
use hmac::KeyInit;
use hmac::Mac;
use sha2::Sha256;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::secrets;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::StoreError;
use crate::store::keyring::SealFault;
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

fn opened(desk: &Desk, practice: PracticeId, sealed: &[u8]) -> Done<Pepper> {
    let plain = desk.blobs.unseal(sealed, &about(practice))?;
    let bytes = plain.try_into().map_err(|_| CareError::Work("a pepper has another length".to_owned()))?;
    Ok(Pepper(bytes))
}

async fn sealed(desk: &Desk, practice: PracticeId) -> Done<Option<Vec<u8>>> {
    Ok(practices::sealed_pin_pepper(&mut *desk.db.read().await?, practice).await?)
}

/// Whether what is sealed never opens again. A key above the newest one is not lost: the key file is older than the books, and
/// the newer one is to be put back.
fn is_lost(fault: &CareError, newest: u32) -> bool {
    let CareError::Store(StoreError::Sealed(fault)) = fault else { return false };
    match fault {
        SealFault::UnknownKey { version } => *version < newest,
        SealFault::Broken => true,
        SealFault::NoKeys => false,
    }
}

/// The pepper for a new hash: the one that is kept, or a fresh one where there is none, or none that ever opens again.
async fn pepper_for_hash(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<Pepper> {
    let before = sealed(desk, practice).await?;
    if let Some(before) = &before {
        match opened(desk, practice, before) {
            Err(fault) if is_lost(&fault, desk.blobs.newest_key()) => {}
            kept => return kept,
        }
    }
    let fresh = desk.blobs.seal(&moment.chance.bytes::<PEPPER_BYTES>(), &about(practice));
    let mut tx = desk.db.write().await?;
    match before {
        None => practices::keep_pin_pepper(&mut tx, practice, &fresh).await?,
        Some(lost) => {
            if practices::replace_pin_pepper(&mut tx, practice, &lost, &fresh).await? {
                let subject = format!("practice:{practice}");
                record::note(&mut tx, practice, Actor::Program, "pin.begin_anew", &subject, "", moment.now)
                    .await?;
            }
        }
    }
    // Of two at once the first one's stands.
    let kept = practices::sealed_pin_pepper(&mut tx, practice).await?.ok_or(CareError::NotFound)?;
    tx.commit().await?;
    opened(desk, practice, &kept)
}

/// A PIN's hash, with the pepper in it.
pub(in crate::care) async fn hash(
    desk: &Desk,
    practice: PracticeId,
    pin: &str,
    moment: &Moment,
) -> Done<String> {
    let pepper = pepper_for_hash(desk, practice, moment).await?;
    secrets::hash(desk, &pepper.on(pin), &moment.chance).await
}

/// What the PIN of a link is known by, ready to be compared.
pub(in crate::care) struct Known<'a> {
    phc: &'a str,
    /// `None`: the hash is from before there was one.
    pepper: Option<Pepper>,
}

/// Gets ready to compare; an error: no PIN of this link can be told right from wrong now.
pub(in crate::care) async fn known_by<'a>(desk: &Desk, link: &'a PatientLink) -> Done<Known<'a>> {
    let phc = &link.pin_phc;
    if !link.pin_peppered {
        return Ok(Known { phc, pepper: None });
    }
    let sealed = sealed(desk, link.practice).await?.ok_or(CareError::NotFound)?;
    Ok(Known { phc, pepper: Some(opened(desk, link.practice, &sealed)?) })
}

impl Known<'_> {
    /// Whether this is the PIN.
    pub(in crate::care) async fn is(&self, desk: &Desk, pin: &str) -> Done<bool> {
        match &self.pepper {
            None => secrets::matches(desk, pin, self.phc).await,
            Some(pepper) => secrets::matches(desk, &pepper.on(pin), self.phc).await,
        }
    }
}

/// Whether the pepper of a practice opens; a practice that has none yet misses nothing.
pub(in crate::care) async fn pepper_opens(desk: &Desk, practice: PracticeId) -> Done<bool> {
    let Some(sealed) = sealed(desk, practice).await? else { return Ok(true) };
    match opened(desk, practice, &sealed) {
        Ok(_) => Ok(true),
        Err(CareError::Store(StoreError::Sealed(_))) => Ok(false),
        Err(fault) => Err(fault),
    }
}
