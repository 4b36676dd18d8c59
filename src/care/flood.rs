//! One link that sends far more than anybody's wound needs (safety promises A35 and L6): answers are always taken, photos of so
//! many checks a day, and somebody is told.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::LinkId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::checks::WoundCheck;
use crate::store::photos;

/// A day that moves along with time. How many checks with photos it holds is the server's setting, 20 unless it was changed.
pub const PHOTO_DAY: SignedDuration = SignedDuration::from_hours(24);

/// From when photos are taken again for the check with this form key; `None`: they are taken now. A check that has photos of
/// today already takes the rest of its six.
pub async fn photos_again(
    desk: &Desk,
    holder: &LinkHolder,
    form_key: &str,
    now: Timestamp,
) -> Done<Option<Timestamp>> {
    again(desk, &mut *desk.db.read().await?, holder.practice, holder.link, form_key, now).await
}

/// As [`photos_again`], of a photo that is there to be sent: where it is not taken, the practice is told.
pub async fn refused_until(
    desk: &Desk,
    holder: &LinkHolder,
    form_key: &str,
    moment: &Moment,
) -> Done<Option<Timestamp>> {
    let again = photos_again(desk, holder, form_key, moment.now).await?;
    if again.is_some() {
        let mut tx = desk.db.write().await?;
        let is_new = tell(&mut tx, holder.practice, holder.link, moment).await?;
        tx.commit().await?;
        if is_new {
            desk.tell(holder.practice);
        }
    }
    Ok(again)
}

/// Whether photos for this check are one check too many, within the transaction that would keep them. Then the practice is told.
pub(in crate::care) async fn is_too_much(
    desk: &Desk,
    conn: &mut Conn,
    check: &WoundCheck,
    moment: &Moment,
) -> Done<bool> {
    let again = again(desk, conn, check.practice, check.link, &check.form_key, moment.now).await?;
    if again.is_some() {
        tell(conn, check.practice, check.link, moment).await?;
    }
    Ok(again.is_some())
}

async fn again(
    desk: &Desk,
    conn: &mut Conn,
    practice: PracticeId,
    link: LinkId,
    form_key: &str,
    now: Timestamp,
) -> Done<Option<Timestamp>> {
    let others = photos::other_checks_since(conn, practice, link, form_key, now - PHOTO_DAY).await?;
    let most = desk.vitals.machine().photo_checks_a_day.max(1);
    Ok(others.len().checked_sub(most).map(|over| others[over] + PHOTO_DAY))
}

/// Tells the practice, once until somebody has seen to it. True: nobody was told before.
async fn tell(conn: &mut Conn, practice: PracticeId, link: LinkId, moment: &Moment) -> Done<bool> {
    let subject = format!("link:{link}");
    let is_new = alarms::raise(conn, practice, AlarmKind::LinkFloods, &subject, moment).await?;
    if is_new {
        record::note(conn, practice, Actor::Link(link), "photos.too_many", &subject, "", moment.now).await?;
    }
    Ok(is_new)
}
