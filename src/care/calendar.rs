//! The plan's dates for a calendar program: under a secret address of their own that ends with the link.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::care::Secret;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::secrets;
use crate::care::secrets::sha256_hex;
use crate::ids::Moment;
use crate::ids::PlanStepId;
use crate::store::calendar_feeds;
use crate::store::calendar_feeds::CalendarFeed;
use crate::store::links;
use crate::store::plan;
use crate::store::plan::KeptStep;
use crate::store::wounds;
use crate::words::Language;

/// What a calendar is made of: dates, and nothing of the person.
#[derive(Clone, Debug)]
pub struct Dates {
    pub language: Language,
    pub steps: Vec<KeptStep>,
    /// When steps were made that were never changed.
    pub made: Timestamp,
}

/// Makes this link's calendar address. One it had before ends.
pub async fn make(desk: &Desk, holder: &LinkHolder, moment: &Moment) -> Done<Secret> {
    let token = secrets::link_token(&moment.chance);
    let feed = CalendarFeed {
        practice: holder.practice,
        link: holder.link,
        language: holder.language,
        made: moment.now,
    };
    let mut tx = desk.db.write().await?;
    wounds::hold(&mut tx, holder.practice, holder.wound).await?.ok_or(CareError::NotFound)?;
    calendar_feeds::make(&mut tx, &sha256_hex(token.reveal()), &feed).await?;
    let (actor, subject) = (Actor::Link(holder.link), format!("link:{}", holder.link));
    record::note(&mut tx, holder.practice, actor, "calendar.make", &subject, "", moment.now).await?;
    tx.commit().await?;
    Ok(token)
}

/// Ends this link's calendar address.
pub async fn end(desk: &Desk, holder: &LinkHolder, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    calendar_feeds::end(&mut tx, holder.practice, holder.link).await?;
    let (actor, subject) = (Actor::Link(holder.link), format!("link:{}", holder.link));
    record::note(&mut tx, holder.practice, actor, "calendar.end", &subject, "", now).await?;
    Ok(tx.commit().await?)
}

/// When this link's calendar address was made; `None`: it has none.
pub async fn made(desk: &Desk, holder: &LinkHolder) -> Done<Option<Timestamp>> {
    Ok(calendar_feeds::of_link(&mut *desk.db.read().await?, holder.practice, holder.link).await?)
}

/// The dates behind a calendar address; `None`: no such address, or its link was revoked or has expired. Programs ask
/// many times a day and get dates only: no line of the record is written.
pub async fn dates(desk: &Desk, token: &str, now: Timestamp) -> Done<Option<Dates>> {
    let mut conn = desk.db.read().await?;
    let Some(feed) = calendar_feeds::by_token(&mut conn, &sha256_hex(token)).await? else { return Ok(None) };
    let link = links::find(&mut conn, feed.practice, feed.link).await?;
    let Some(link) = link.filter(|link| link.revoked.is_none() && link.expires > now) else {
        return Ok(None);
    };
    let Some(wound) = wounds::find(&mut conn, link.practice, link.wound).await? else { return Ok(None) };
    let steps = plan::steps(&mut conn, link.practice, link.wound).await?;
    Ok(Some(Dates { language: feed.language, steps, made: wound.enrolled }))
}

/// One step of the holder's own plan.
pub async fn one_date(desk: &Desk, holder: &LinkHolder, id: PlanStepId) -> Done<Dates> {
    let mut conn = desk.db.read().await?;
    let wound = wounds::find(&mut conn, holder.practice, holder.wound).await?.ok_or(CareError::NotFound)?;
    let mut steps = plan::steps(&mut conn, holder.practice, holder.wound).await?;
    steps.retain(|step| step.id == id);
    if steps.is_empty() {
        return Err(CareError::NotFound);
    }
    Ok(Dates { language: holder.language, steps, made: wound.enrolled })
}
