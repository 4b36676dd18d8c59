//! Whether the books are whole: asked at the start and daily, and told loudly when they are not.

use jiff::SignedDuration;

use crate::care::Desk;
use crate::care::Done;
use crate::care::alarms::of_practice;
use crate::care::alarms::of_practice::Actions;
use crate::care::working::Worked;
use crate::ids::Moment;
use crate::store::alarms::AlarmKind;
use crate::store::canary::practice as canary_practice;
use crate::store::jobs;
use crate::store::jobs::Job;
use crate::store::jobs::JobKind;
use crate::store::jobs::Queueing;
use crate::store::practices;
use crate::store::row_sums;
use crate::store::whole;
use crate::store::whole::Depth;

/// Between two checks.
pub const EVERY: SignedDuration = SignedDuration::from_hours(24);

/// Sees to it that the daily look at the books and at the photo folder are queued, in the canary's practice: they are nobody
/// else's. Harmless when they are. After [`crate::care::canary::ensure`].
pub async fn ensure(desk: &Desk, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let Some(practice) = canary_practice(&mut tx).await? else { return Ok(()) };
    let about = practice.to_string();
    for (kind, due) in
        [(JobKind::CheckBooks, moment.now + EVERY), (JobKind::Sweep, moment.now + crate::care::sweep::EVERY)]
    {
        let once_key = format!("{}:{practice}", kind.code());
        let queueing = Queueing { practice, kind, about: &about, once_key: &once_key, due };
        jobs::enqueue(&mut tx, queueing, moment).await?;
    }
    Ok(tx.commit().await?)
}

/// Reads all of the books. What is wrong, in the words of [`whole::faults`]; empty: nothing. With faults, an alarm is raised in every
/// practice, and the program says that it is not ready until it has been started anew on whole books.
pub async fn check(desk: &Desk, depth: Depth, moment: &Moment) -> Done<Vec<String>> {
    let faults = whole::faults(&desk.db, depth).await?;
    for fault in &faults {
        tracing::error!(fault, "the books are damaged: bring the back-up back");
    }
    if !faults.is_empty() {
        desk.vitals.books_are_damaged();
    }
    tell(desk, &faults, moment).await?;
    Ok(faults)
}

async fn tell(desk: &Desk, faults: &[String], moment: &Moment) -> Done<()> {
    let practices = practices::all(&mut *desk.db.read().await?).await?;
    let actions = Actions { begins: "books.damaged", ends: "books.whole_again" };
    let (is_damaged, detail) = (!faults.is_empty(), format!("faults={}", faults.len()));
    for practice in practices {
        let kind = AlarmKind::BooksDamaged;
        of_practice::set(desk, practice.id, kind, is_damaged, actions, &detail, moment).await?;
    }
    Ok(())
}

/// The daily job: the whole check, and what stands in the log moved into the books. What an older program wrote is summed
/// first.
pub(in crate::care) async fn work(desk: &Desk, job: &Job, moment: &Moment) -> Done<Worked> {
    row_sums::catch_up(&desk.db).await?;
    check(desk, Depth::Whole, moment).await?;
    desk.db.settle().await?;
    let mut tx = desk.db.write().await?;
    if !jobs::put_off(&mut tx, job, moment.now + EVERY, "").await? {
        return Ok(Worked::InOtherHands);
    }
    tx.commit().await?;
    Ok(Worked::PutOff)
}
