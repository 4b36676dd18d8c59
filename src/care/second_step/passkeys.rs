//! Passkeys (WebAuthn, level 2): the browser signs for this address and no other, after it has seen its owner.

use std::sync::Arc;

use webauthn_rs::Webauthn;
use webauthn_rs::WebauthnBuilder;
use webauthn_rs::prelude::Passkey;
use webauthn_rs::prelude::PublicKeyCredential;
use webauthn_rs::prelude::RegisterPublicKeyCredential;
use webauthn_rs::prelude::Url;
use webauthn_rs::prelude::Uuid;
use webauthn_rs::prelude::WebauthnError;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::second_step::Asked;
use crate::care::second_step::Coming;
use crate::care::second_step::Proof;
use crate::care::second_step::ask;
use crate::care::second_step::book;
use crate::care::second_step::let_in;
use crate::care::second_step::note;
use crate::care::second_step::take_asked;
use crate::care::second_step::wrong;
use crate::ids::Moment;
use crate::store::second_steps;
use crate::store::second_steps::KeptPasskey;
use crate::store::staff::StaffMember;

use data_encoding::BASE64URL_NOPAD;
use jiff::Timestamp;

/// For which address passkeys are asked.
#[derive(Clone)]
pub struct Passkeys(Arc<Webauthn>);

impl std::fmt::Debug for Passkeys {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str("Passkeys")
    }
}

impl Passkeys {
    /// For a public address such as `https://wounds.example`. `None`: it has no name a passkey could be bound to, such as
    /// one that is a number, or one without TLS that is not this machine.
    pub fn of(public_url: &str) -> Option<Passkeys> {
        let origin = Url::parse(public_url).ok()?;
        let host = origin.domain()?;
        if origin.scheme() != "https" && host != "localhost" {
            return None;
        }
        let built = WebauthnBuilder::new(host, &origin).ok()?.rp_name("Closewatch").build().ok()?;
        Some(Passkeys(Arc::new(built)))
    }
}

fn fault(fault: &WebauthnError) -> CareError {
    CareError::Work(fault.to_string())
}

async fn of_member(desk: &Desk, member: &StaffMember) -> Done<Vec<(KeptPasskey, Passkey)>> {
    let kept = second_steps::passkeys(&mut *desk.db.read().await?, member.practice, member.id).await?;
    let read = |kept: KeptPasskey| {
        let passkey =
            serde_json::from_str(&kept.credential).map_err(|why| CareError::Work(why.to_string()))?;
        Ok((kept, passkey))
    };
    kept.into_iter().map(read).collect()
}

/// What the browser is to make a passkey for, as JSON.
pub async fn ask_for_new(desk: &Desk, passkeys: &Passkeys, coming: &Coming, now: Timestamp) -> Done<String> {
    let member = &coming.session.member;
    let known = of_member(desk, member).await?;
    let known = known.iter().map(|(_, passkey)| passkey.cred_id().clone()).collect();
    let id = Uuid::parse_str(&member.id.to_string()).map_err(|why| CareError::Work(why.to_string()))?;
    let (asked, state) = passkeys
        .0
        .start_passkey_registration(id, &member.sign_in_name, &member.name, Some(known))
        .map_err(|why| fault(&why))?;
    ask(desk, &coming.token, &Asked::Register(state), now).await?;
    serde_json::to_string(&asked).map_err(|why| CareError::Work(why.to_string()))
}

/// A new passkey as the browser made it; `None`: it is not what was asked for.
pub(in crate::care) async fn read_new(
    desk: &Desk,
    passkeys: &Passkeys,
    coming: &Coming,
    answer: &str,
    now: Timestamp,
) -> Done<Option<Passkey>> {
    let Some(Asked::Register(state)) = take_asked(desk, &coming.token, now).await? else { return Ok(None) };
    let Ok(answer) = serde_json::from_str::<RegisterPublicKeyCredential>(answer) else { return Ok(None) };
    Ok(passkeys.0.finish_passkey_registration(&answer, &state).ok())
}

/// In base64url, as browsers write it.
pub(in crate::care) fn id_of(passkey: &Passkey) -> String {
    BASE64URL_NOPAD.encode(passkey.cred_id().as_ref())
}

/// What a passkey of this member is to sign, as JSON. `NotFound`: they have none.
pub async fn ask_to_sign(desk: &Desk, passkeys: &Passkeys, coming: &Coming, now: Timestamp) -> Done<String> {
    let known: Vec<Passkey> =
        of_member(desk, &coming.session.member).await?.into_iter().map(|(_, passkey)| passkey).collect();
    if known.is_empty() {
        return Err(CareError::NotFound);
    }
    let (asked, state) = passkeys.0.start_passkey_authentication(&known).map_err(|why| fault(&why))?;
    ask(desk, &coming.token, &Asked::Sign(state), now).await?;
    serde_json::to_string(&asked).map_err(|why| CareError::Work(why.to_string()))
}

/// By what a passkey signed.
pub async fn by_passkey(
    desk: &Desk,
    passkeys: &Passkeys,
    coming: &Coming,
    answer: &str,
    moment: &Moment,
) -> Done<Proof> {
    let booked = match book(desk, coming, moment.now).await? {
        Ok(booked) => booked,
        Err(waits) => return Ok(waits),
    };
    let asked = take_asked(desk, &coming.token, moment.now).await?;
    let (Some(Asked::Sign(state)), Ok(answer)) = (asked, serde_json::from_str::<PublicKeyCredential>(answer))
    else {
        return wrong(desk, coming, booked, moment).await;
    };
    let member = &coming.session.member;
    let signed = match passkeys.0.finish_passkey_authentication(&answer, &state) {
        Ok(signed) => signed,
        Err(why) => {
            // A counter that went back: somebody has a copy of the key.
            if matches!(why, WebauthnError::CredentialPossibleCompromise) {
                let mut tx = desk.db.write().await?;
                note(&mut tx, member, "passkey.copied", moment.now).await?;
                tx.commit().await?;
            }
            return wrong(desk, coming, booked, moment).await;
        }
    };
    let used =
        of_member(desk, member).await?.into_iter().find(|(_, passkey)| passkey.cred_id() == signed.cred_id());
    let Some((kept, mut passkey)) = used else { return wrong(desk, coming, booked, moment).await };
    passkey.update_credential(&signed);
    let credential = serde_json::to_string(&passkey).map_err(|why| CareError::Work(why.to_string()))?;
    let mut tx = desk.db.write().await?;
    second_steps::note_use(&mut tx, member, &kept.credential_id, &credential, moment.now).await?;
    let let_in = let_in(&mut tx, coming, moment).await?;
    tx.commit().await?;
    Ok(Proof::In(let_in))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_passkey_needs_a_name_and_tls_or_this_machine() {
        for (address, has) in [
            ("https://wounds.example", true),
            ("https://wounds.example:8443", true),
            ("http://localhost:8080", true),
            ("http://wounds.example", false),
            ("http://127.0.0.1:8080", false),
            ("https://192.0.2.7", false),
            ("nonsense", false),
        ] {
            assert_eq!(Passkeys::of(address).is_some(), has, "{address}");
        }
    }
}
