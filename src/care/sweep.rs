//! Files in the photo folder that belong to nothing are cleared away: at the start, once the books are open, and daily.

use std::time::Duration;

use jiff::SignedDuration;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::working::Worked;
use crate::ids::Moment;
use crate::store::jobs;
use crate::store::jobs::Job;
use crate::store::orphans;
use crate::store::orphans::Orphan;

/// Between two sweeps.
pub const EVERY: SignedDuration = SignedDuration::from_hours(24);
/// A photo waits seconds for its row, never so long (safety promise U14).
pub const AGE: Duration = Duration::from_secs(24 * 3_600);
/// A program that dies leaves a few files each time. More of them, and more than twice as many as rows name, look like the
/// wrong books for this folder, and then every photo would be among them (ours). Fifty kills in the middle of photos, each of which
/// was then sent again, left 401 beside 266.
const FEW: usize = 20;

/// What a sweep came to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Swept {
    /// Names that rows give.
    pub named: usize,
    /// Photos without a row that went.
    pub photos: usize,
    /// Photos that were never finished and went.
    pub halves: usize,
    pub bytes: u64,
    /// Left alone: there were too many to be what a dying program leaves.
    pub left_alone: usize,
}

/// Whether so many may go. Rows give each file two names, its own and that of what it holds: `named` is twice the files.
fn is_believable(orphans: usize, named: usize) -> bool {
    orphans <= FEW.max(named)
}

/// One sweep.
pub async fn pass(desk: &Desk) -> Done<Swept> {
    let Some(folder) = desk.blobs.folder().map(ToOwned::to_owned) else { return Ok(Swept::default()) };
    let work = |fault: String| CareError::Work(format!("the photo folder could not be swept: {fault}"));
    let named = orphans::named(&mut *desk.db.read().await?).await?;
    let mut swept = Swept { named: named.len(), ..Swept::default() };
    let finding = tokio::task::spawn_blocking(move || orphans::find(&folder, &named, AGE));
    let found: Vec<Orphan> =
        finding.await.map_err(|fell| work(fell.to_string()))?.map_err(|fault| work(fault.to_string()))?;
    if found.is_empty() {
        return Ok(swept);
    }
    let whole = found.iter().filter(|orphan| !orphan.is_half()).count();
    if !is_believable(whole, swept.named) {
        tracing::error!(
            files = whole,
            named = swept.named,
            "so many photos have no row that these may be the wrong books for this folder; nothing was cleared away"
        );
        swept.left_alone = whole;
        return Ok(swept);
    }
    // Read again: a row may have come since.
    let named = orphans::named(&mut *desk.db.read().await?).await?;
    let removing = tokio::task::spawn_blocking(move || {
        for orphan in &found {
            if orphans::remove(orphan, &named)? {
                swept.photos += usize::from(!orphan.is_half());
                swept.halves += usize::from(orphan.is_half());
                swept.bytes += orphan.bytes();
            }
        }
        std::io::Result::Ok(swept)
    });
    let swept =
        removing.await.map_err(|fell| work(fell.to_string()))?.map_err(|fault| work(fault.to_string()))?;
    tracing::warn!(
        photos = swept.photos,
        halves = swept.halves,
        bytes = swept.bytes,
        "files that belonged to nothing were cleared away"
    );
    Ok(swept)
}

/// The daily job.
pub(in crate::care) async fn work(desk: &Desk, job: &Job, moment: &Moment) -> Done<Worked> {
    pass(desk).await?;
    let mut tx = desk.db.write().await?;
    if !jobs::put_off(&mut tx, job, moment.now + EVERY, "").await? {
        return Ok(Worked::InOtherHands);
    }
    tx.commit().await?;
    Ok(Worked::PutOff)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twenty_files_or_twice_as_many_as_are_named_may_go_and_more_look_like_the_wrong_books() {
        assert!(is_believable(20, 0) && !is_believable(21, 0));
        // Five hundred files, by two names each.
        assert!(is_believable(1_000, 1_000) && !is_believable(1_001, 1_000));
    }
}
