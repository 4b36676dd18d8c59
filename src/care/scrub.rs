//! Every photo is read again once a day: a bit that flipped on the disk is found before a surgeon needs the picture, and while
//! a back-up still has it.

use jiff::SignedDuration;

use crate::care::Desk;
use crate::care::Done;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::StoreError;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::practices;
use crate::store::sealed_blobs;
use crate::store::sealed_blobs::Condition;

/// How old a reading may become (safety promise H7: one night).
const EVERY: SignedDuration = SignedDuration::from_hours(20);

/// What one pass came to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Scrubbed {
    pub read: usize,
    /// Found damaged in this pass, and not before.
    pub damaged: usize,
}

/// Reads at most so many of each practice's blobs that were not read for the longest.
pub async fn pass(desk: &Desk, most_each: i64, moment: &Moment) -> Done<Scrubbed> {
    let practices = practices::all(&mut *desk.db.read().await?).await?;
    let mut all = Scrubbed::default();
    for practice in practices {
        let one = pass_of(desk, practice.id, most_each, moment).await?;
        all.read += one.read;
        all.damaged += one.damaged;
    }
    Ok(all)
}

async fn pass_of(desk: &Desk, practice: PracticeId, most: i64, moment: &Moment) -> Done<Scrubbed> {
    let mut done = Scrubbed::default();
    let before = moment.now - EVERY;
    let due = sealed_blobs::to_scrub(&mut *desk.db.read().await?, practice, before, most).await?;
    for blob in due {
        let condition = match desk.blobs.open(&blob).await {
            Ok(Some(_)) => Condition::Whole,
            Ok(None) | Err(StoreError::Sealed(_)) => Condition::Damaged,
            Err(fault) => return Err(fault.into()),
        };
        done.read += 1;
        let mut tx = desk.db.write().await?;
        let is_new =
            sealed_blobs::note_condition(&mut tx, practice, &blob.name, condition, moment.now).await?;
        let whole = format!("practice:{practice}");
        if condition == Condition::Damaged {
            alarms::raise(&mut tx, practice, AlarmKind::PhotoDamaged, &whole, moment).await?;
        }
        if is_new {
            let action = match condition {
                Condition::Damaged => "photo.damaged",
                Condition::Whole => "photo.whole_again",
            };
            let (subject, file) = (format!("blob:{}", blob.name), format!("file={}", blob.file));
            record::note(&mut tx, practice, Actor::Program, action, &subject, &file, moment.now).await?;
            done.damaged += usize::from(condition == Condition::Damaged);
            if sealed_blobs::count_damaged(&mut tx, practice).await? == 0 {
                alarms::end(&mut tx, practice, AlarmKind::PhotoDamaged, &whole, moment.now).await?;
            }
        }
        tx.commit().await?;
    }
    if done.damaged > 0 {
        desk.tell(practice);
    }
    Ok(done)
}
