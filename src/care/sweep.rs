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
/// A program that dies leaves a few files each time; fifty kills in the middle of photos, each sent again afterwards, left 401 of
/// them beside 266. More than a few go only where nearly all files that rows name are there: otherwise these look like the
/// wrong books for this folder, and then every photo would be among them (ours).
const FEW: usize = 20;
const NEARLY_ALL_PERCENT: usize = 90;
/// Rows give each file two names: its own and that of what it holds.
const NAMES_EACH: usize = 2;

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

/// Whether so many may go, where rows give `named` names and so many of the files they name are `present`.
fn is_believable(orphans: usize, named: usize, present: usize) -> bool {
    orphans <= FEW || named > 0 && present * NAMES_EACH * 100 >= named * NEARLY_ALL_PERCENT
}

/// One sweep.
pub async fn pass(desk: &Desk) -> Done<Swept> {
    let Some(folder) = desk.blobs.folder().map(ToOwned::to_owned) else { return Ok(Swept::default()) };
    let work = |fault: String| CareError::Work(format!("the photo folder could not be swept: {fault}"));
    let named = orphans::named(&mut *desk.db.read().await?).await?;
    let mut swept = Swept { named: named.len(), ..Swept::default() };
    let finding = tokio::task::spawn_blocking(move || {
        std::io::Result::Ok((orphans::find(&folder, &named, AGE)?, orphans::present(&folder, &named)?))
    });
    let (found, present): (Vec<Orphan>, usize) =
        finding.await.map_err(|fell| work(fell.to_string()))?.map_err(|fault| work(fault.to_string()))?;
    if found.is_empty() {
        return Ok(swept);
    }
    let whole = found.iter().filter(|orphan| !orphan.is_half()).count();
    if !is_believable(whole, swept.named, present) {
        tracing::error!(
            files = whole,
            named = swept.named,
            present,
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
    fn more_than_twenty_files_go_only_where_nearly_all_that_are_named_are_there() {
        assert!(is_believable(20, 0, 0) && !is_believable(21, 0, 0));
        // Five hundred files, by two names each.
        assert!(is_believable(5_000, 1_000, 450) && !is_believable(5_000, 1_000, 449));
    }
}
