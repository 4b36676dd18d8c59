//! The phones that opened a link, as staff see them; and putting one of them out.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::secrets::sha256_hex;
use crate::ids::LinkId;
use crate::store::check_drafts;
use crate::store::link_addresses;
use crate::store::links;
use crate::store::links::KeptPhone;
use crate::store::links::PatientLink;
use crate::store::staff::StaffMember;

/// Hex digits of a phone's name: enough to tell a link's phones apart.
const NAME_LETTERS: usize = 16;

/// What a phone is called in addresses: nothing its cookie could be guessed from.
pub fn name(phone: &KeptPhone) -> String {
    sha256_hex(&phone.token_sha256).chars().take(NAME_LETTERS).collect()
}

/// Puts one phone out at once; the link and its other phones go on. Says whose link it is.
pub async fn end(
    desk: &Desk,
    member: &StaffMember,
    link: LinkId,
    called: &str,
    now: Timestamp,
) -> Done<PatientLink> {
    if !member.roles.office {
        return Err(CareError::NotAllowed);
    }
    let mut tx = desk.db.write().await?;
    let found = links::find(&mut tx, member.practice, link).await?.ok_or(CareError::NotFound)?;
    let phones = links::phones(&mut tx, member.practice, found.wound, now).await?;
    let phone = phones
        .into_iter()
        .find(|phone| phone.link == link && name(phone) == called)
        .ok_or(CareError::NotFound)?;
    check_drafts::forget_phone(&mut tx, &phone.token_sha256).await?;
    link_addresses::forget_phone(&mut tx, &phone.token_sha256).await?;
    links::end_session(&mut tx, &phone.token_sha256).await?;
    let subject = format!("link:{link}");
    record::note(&mut tx, member.practice, Actor::Staff(member.id), "link.phone_out", &subject, "", now)
        .await?;
    tx.commit().await?;
    Ok(found)
}
