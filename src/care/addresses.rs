//! Where members of staff are reached: each keeps their own addresses, in the order in which they are tried.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::ids::NoticeId;
use crate::ids::PracticeId;
use crate::ids::StaffAddressId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::addresses;
use crate::store::addresses::Reached;
use crate::store::addresses::StaffAddress;
use crate::store::deliveries;
use crate::store::deliveries::Delivery;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::staff;
use crate::store::staff::StaffMember;

/// Addresses one person may have: enough for anybody, and a full page of them helps nobody (ours).
const MOST: usize = 10;

/// One of a member's own addresses, and how it stands.
#[derive(Clone, Debug)]
pub struct Mine {
    pub kept: StaffAddress,
    /// Since when its owner wants nothing more there, having answered STOP; `None`: they do.
    pub stopped: Option<Timestamp>,
    /// The last test; `None`: never tested, or the test went nowhere yet.
    pub tested: Option<Delivery>,
}

/// A member's own addresses, in the order in which they are tried.
pub async fn mine(desk: &Desk, member: &StaffMember) -> Done<Vec<Mine>> {
    let mut conn = desk.db.read().await?;
    let mut all = Vec::new();
    for kept in addresses::of_staff(&mut conn, member.practice, member.id).await? {
        let stopped =
            addresses::opted_out_since(&mut conn, member.practice, kept.channel, &kept.address).await?;
        let tested = last_test(&mut conn, &kept).await?;
        all.push(Mine { kept, stopped, tested });
    }
    Ok(all)
}

async fn last_test(conn: &mut Conn, kept: &StaffAddress) -> Done<Option<Delivery>> {
    let newest =
        notices::newest_to(conn, kept.practice, NoticeKind::TestLetter, Recipient::Staff(kept.staff));
    let named = format!("address:{} ", kept.id);
    let test = newest.await?.into_iter().find(|notice| notice.about.starts_with(&named));
    Ok(match test {
        Some(notice) => deliveries::of_notice(conn, kept.practice, notice.id).await?.pop(),
        None => None,
    })
}

/// Adds an address, last in the order. `address` has been found to be one that can be sent to.
pub async fn add(
    desk: &Desk,
    member: &StaffMember,
    channel: Reached,
    address: &str,
    moment: &Moment,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let kept = addresses::of_staff(&mut tx, member.practice, member.id).await?;
    let has_it =
        |one: &StaffAddress| one.channel == channel && addresses::is_same(channel, &one.address, address);
    if kept.iter().any(has_it) {
        return Err(refused("You are reached here already."));
    }
    if kept.len() >= MOST {
        return Err(refused(&format!("{MOST} addresses are the most. Remove one first.")));
    }
    let new = StaffAddress {
        id: StaffAddressId::mint(moment),
        practice: member.practice,
        staff: member.id,
        channel,
        address: address.to_owned(),
        place: kept.last().map_or(1, |last| last.place + 1),
        since: moment.now,
    };
    addresses::insert(&mut tx, &new).await?;
    note(&mut tx, member, "address.add", channel, moment.now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// Takes one of the member's own addresses away.
pub async fn remove(desk: &Desk, member: &StaffMember, id: StaffAddressId, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let kept = find(&mut tx, member, id).await?;
    addresses::remove(&mut tx, member.practice, member.id, id).await?;
    note(&mut tx, member, "address.remove", kept.channel, now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// Puts one of the member's own addresses before all others.
pub async fn put_first(desk: &Desk, member: &StaffMember, id: StaffAddressId, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let first = find(&mut tx, member, id).await?;
    let others = addresses::of_staff(&mut tx, member.practice, member.id).await?;
    let in_order =
        std::iter::once(first.id).chain(others.iter().map(|one| one.id).filter(|other| *other != id));
    for (place, one) in (1..).zip(in_order) {
        addresses::set_place(&mut tx, member.practice, member.id, one, place).await?;
    }
    note(&mut tx, member, "address.first", first.channel, now).await?;
    Ok(tx.commit().await?)
}

/// Sends a test to one of the member's own addresses, through the outbox like anything else.
pub async fn test(desk: &Desk, member: &StaffMember, id: StaffAddressId, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let kept = find(&mut tx, member, id).await?;
    let about = format!("address:{id} test:{}", NoticeId::mint(moment));
    let me = Recipient::Staff(member.id);
    notices::enqueue(&mut tx, member.practice, NoticeKind::TestLetter, me, &about, moment).await?;
    note(&mut tx, member, "address.test", kept.channel, moment.now).await?;
    Ok(tx.commit().await?)
}

/// Who of the practice's active staff nothing can be sent to: they have no address, or answered STOP at each. `channels`:
/// by what people can be reached, as set up.
pub async fn unreachable(desk: &Desk, practice: PracticeId, channels: &[Reached]) -> Done<Vec<StaffId>> {
    let mut conn = desk.db.read().await?;
    let kept = addresses::of_practice(&mut conn, practice).await?;
    let mut without = Vec::new();
    for member in staff::of_practice(&mut conn, practice).await?.iter().filter(|member| member.active) {
        let mut is_reached = false;
        for one in kept.iter().filter(|one| one.staff == member.id && channels.contains(&one.channel)) {
            is_reached |= !addresses::opted_out(&mut conn, practice, one.channel, &one.address).await?;
        }
        if !is_reached {
            without.push(member.id);
        }
    }
    Ok(without)
}

async fn find(conn: &mut Conn, member: &StaffMember, id: StaffAddressId) -> Done<StaffAddress> {
    let kept = addresses::of_staff(conn, member.practice, member.id).await?;
    kept.into_iter().find(|one| one.id == id).ok_or(CareError::NotFound)
}

async fn note(
    conn: &mut Conn,
    member: &StaffMember,
    action: &str,
    channel: Reached,
    now: Timestamp,
) -> Done<()> {
    let (actor, subject) = (Actor::Staff(member.id), format!("staff:{}", member.id));
    let detail = format!("channel={}", channel.code());
    Ok(record::note(conn, member.practice, actor, action, &subject, &detail, now).await?)
}

fn refused(words: &str) -> CareError {
    CareError::Entered(vec![Fault::new("address", words)])
}
