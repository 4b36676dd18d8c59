//! The past is measured under the method of today: each photo is queued once, and what was measured before stays.

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::measurements;
use crate::store::measuring_jobs;
use crate::store::measuring_jobs::Why;
use crate::store::practices;
use crate::store::practices::Measuring;
use crate::wound::METHOD;

/// What queueing the past came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Queued {
    /// Photos that had no measurement by the method of today and wait for one now; `already` of them waited before.
    Photos { new: u64, already: u64 },
    /// The practice has measuring switched off: nothing was queued.
    SwitchedOff,
}

/// Queues every photo of a practice that has no measurement by the method and the cards of today.
pub async fn queue_past(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<Queued> {
    let mut tx = desk.db.write().await?;
    let settings = practices::measuring(&mut tx, practice).await?.ok_or(CareError::NotFound)?;
    if settings.measuring == Measuring::Off {
        return Ok(Queued::SwitchedOff);
    }
    let (mut new, mut already) = (0, 0);
    for photo in measurements::photos_without(&mut tx, practice, METHOD, &settings.cards).await? {
        let queued = measuring_jobs::enqueue(&mut tx, practice, photo, Why::Again, moment.now).await?;
        if queued { new += 1 } else { already += 1 }
    }
    let detail = format!("method={METHOD} queued={new}");
    let subject = format!("practice:{practice}");
    record::note(&mut tx, practice, Actor::Program, "measuring.again", &subject, &detail, moment.now).await?;
    tx.commit().await?;
    Ok(Queued::Photos { new, already })
}
