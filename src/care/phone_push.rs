//! A patient's phone that wants to be told when an answer is there.

use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::secrets::sha256_hex;
use crate::ids::LinkAddressId;
use crate::ids::Moment;
use crate::store::link_addresses;
use crate::store::link_addresses::LinkAddress;

/// Whether this phone is told.
pub async fn is_told(desk: &Desk, holder: &LinkHolder, token: &str) -> Done<bool> {
    let mut conn = desk.db.read().await?;
    Ok(link_addresses::is_told(&mut conn, holder.practice, &sha256_hex(token)).await?)
}

/// This phone is told from now on, for as long as it stays in. `subscription`: one that can be sent to, as JSON.
pub async fn tell(
    desk: &Desk,
    holder: &LinkHolder,
    token: &str,
    subscription: &str,
    moment: &Moment,
) -> Done<()> {
    let kept = LinkAddress {
        id: LinkAddressId::mint(moment),
        practice: holder.practice,
        link: holder.link,
        phone_sha256: sha256_hex(token),
        address: subscription.to_owned(),
        since: moment.now,
    };
    let mut tx = desk.db.write().await?;
    link_addresses::forget_phone(&mut tx, &kept.phone_sha256).await?;
    link_addresses::keep(&mut tx, &kept).await?;
    note(&mut tx, holder, "push.begin", moment).await?;
    Ok(tx.commit().await?)
}

/// This phone is told no more; harmless when it was not.
pub async fn end(desk: &Desk, holder: &LinkHolder, token: &str, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    if link_addresses::forget_phone(&mut tx, &sha256_hex(token)).await? {
        note(&mut tx, holder, "push.end", moment).await?;
    }
    Ok(tx.commit().await?)
}

async fn note(conn: &mut crate::store::Conn, holder: &LinkHolder, action: &str, moment: &Moment) -> Done<()> {
    let (actor, subject) = (Actor::Link(holder.link), format!("link:{}", holder.link));
    Ok(record::note(conn, holder.practice, actor, action, &subject, "", moment.now).await?)
}
