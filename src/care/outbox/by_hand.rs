//! Letters that could not be sent, in a lead's hands: sent again, or not needed any more.

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::outbox::queue_sending;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::DeliveryId;
use crate::ids::JobId;
use crate::ids::Moment;
use crate::ids::NoticeId;
use crate::store::Conn;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::deliveries;
use crate::store::jobs;
use crate::store::jobs::JobKind;
use crate::store::jobs::Queueing;
use crate::store::notices;
use crate::store::notices::NoticeState;
use crate::store::staff::StaffMember;

/// Sends a letter that was given up once more, with all its tries before it. Refused when it is not given up.
pub async fn send_again(desk: &Desk, lead: &StaffMember, id: DeliveryId, moment: &Moment) -> Done<()> {
    must_lead(lead)?;
    let mut tx = desk.db.write().await?;
    let delivery = deliveries::find(&mut tx, lead.practice, id).await?.ok_or(CareError::NotFound)?;
    if !deliveries::revive(&mut tx, lead.practice, id).await? {
        return Err(CareError::AlreadyDone);
    }
    let again = format!(":{}", JobId::mint(moment));
    queue_sending(&mut tx, &delivery, &again, moment.now, moment).await?;
    jobs::set_aside(&mut tx, lead.practice, &id.to_string(), moment.now).await?;
    see_to(&mut tx, lead, &format!("delivery:{id}"), "letter.send_again", moment).await?;
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(())
}

/// Looks once more whom a notice can be sent to. Refused when it went to somebody, or a call was made of it.
pub async fn address_again(desk: &Desk, lead: &StaffMember, id: NoticeId, moment: &Moment) -> Done<()> {
    must_lead(lead)?;
    let mut tx = desk.db.write().await?;
    let notice = notices::find(&mut tx, lead.practice, id).await?.ok_or(CareError::NotFound)?;
    if notice.state != NoticeState::Nobody {
        return Err(CareError::AlreadyDone);
    }
    notices::set_state(&mut tx, lead.practice, id, NoticeState::Waiting, moment.now).await?;
    let (about, once_key) = (id.to_string(), format!("notice:{id}:{}", JobId::mint(moment)));
    let (practice, kind) = (lead.practice, JobKind::AddressNotice);
    let addressing = Queueing { practice, kind, about: &about, once_key: &once_key, due: moment.now };
    jobs::enqueue(&mut tx, addressing, moment).await?;
    see_to(&mut tx, lead, &format!("notice:{id}"), "notice.address_again", moment).await?;
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(())
}

/// Nobody needs a letter, or a notice without an address, any more. `subject`: `delivery:ID` or `notice:ID`. Refused when
/// somebody said so, or sent it, before.
pub async fn not_needed(desk: &Desk, lead: &StaffMember, subject: &str, moment: &Moment) -> Done<()> {
    must_lead(lead)?;
    let mut tx = desk.db.write().await?;
    if let Some(("delivery", id)) = subject.split_once(':') {
        jobs::set_aside(&mut tx, lead.practice, id, moment.now).await?;
    }
    see_to(&mut tx, lead, subject, "letter.not_needed", moment).await?;
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(())
}

/// The alarm about it is taken, and is over.
async fn see_to(
    conn: &mut Conn,
    lead: &StaffMember,
    subject: &str,
    action: &str,
    moment: &Moment,
) -> Done<()> {
    alarms::take_about(conn, lead.practice, subject, lead.id, moment.now).await?;
    if !alarms::end(conn, lead.practice, AlarmKind::LetterFailed, subject, moment.now).await? {
        return Err(CareError::AlreadyDone);
    }
    let actor = Actor::Staff(lead.id);
    Ok(record::note(conn, lead.practice, actor, action, subject, "", moment.now).await?)
}

fn must_lead(member: &StaffMember) -> Done<()> {
    if member.roles.lead { Ok(()) } else { Err(CareError::NotAllowed) }
}
