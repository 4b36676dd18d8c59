//! Working off jobs: one is claimed, done in the transaction that ends it, or given back with the reason.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::books;
use crate::care::canary;
use crate::care::keeping;
use crate::care::ladder;
use crate::care::outbox;
use crate::care::outbox::Outside;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::sweep;
use crate::care::watch;
use crate::ids::Moment;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::jobs;
use crate::store::jobs::Job;
use crate::store::jobs::JobKind;

/// What became of a job that was claimed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Worked {
    Done,
    /// To be done, or done again, later.
    PutOff,
    /// Another runner has it by now; nothing was changed here.
    InOtherHands,
    /// Given up, and an alarm raised.
    GaveUp,
}

/// A runner that was killed has its job taken over after this. Longer than any job's own time-out.
pub const LEASE: SignedDuration = SignedDuration::from_secs(60);
/// After so many tries an alarm says so, and a job is given up, but for those that must go on: ladders, the watch and the like.
const MOST_TRIES: i64 = 20;

/// Waiting between two tries of a job that failed: 10 s, 30 s, 1, 2 and then every 5 minutes, each up to a fifth longer by
/// chance, so that what failed together is not tried together.
pub fn wait_before_try(tries: i64, moment: &Moment) -> SignedDuration {
    let seconds = match tries {
        ..=1 => 10,
        2 => 30,
        3 => 60,
        4 => 120,
        _ => 300,
    };
    SignedDuration::from_millis(seconds * 1_000 + i64::from(moment.chance.below(seconds as u32 * 200)))
}

/// Claims the job that is due longest. `None`: none is due.
pub async fn claim(desk: &Desk, moment: &Moment) -> Done<Option<Job>> {
    let lease = data_encoding::HEXLOWER.encode(&moment.chance.bytes::<16>());
    let mut tx = desk.db.write().await?;
    let claimed = jobs::claim(&mut tx, moment.now, &lease, moment.now + LEASE).await?;
    tx.commit().await?;
    Ok(claimed)
}

/// Does a job that needs nothing of the outside. `None`: this one does.
pub async fn within_the_house(
    desk: &Desk,
    job: &Job,
    outside: &Outside,
    moment: &Moment,
) -> Done<Option<Worked>> {
    Ok(Some(match job.kind {
        JobKind::ClimbLadder => ladder::climb(desk, job, moment).await?,
        JobKind::Watch => watch::look(desk, job, moment).await?,
        JobKind::Canary => canary::fly(desk, job, moment).await?,
        JobKind::Sweep => sweep::work(desk, job, moment).await?,
        JobKind::CheckBooks => books::work(desk, job, moment).await?,
        JobKind::Purge => keeping::work(desk, job, moment).await?,
        JobKind::AddressNotice => outbox::address(desk, job, outside, moment).await?,
        JobKind::SendLetter => return Ok(None),
    }))
}

/// Whether a job of any practice could be claimed now.
pub async fn any_due(desk: &Desk, now: Timestamp) -> Done<bool> {
    Ok(jobs::any_due(&mut *desk.db.read().await?, now).await?)
}

/// A job that failed is tried again later, or given up with an alarm.
pub async fn give_back(desk: &Desk, job: &Job, why: &str, moment: &Moment) -> Done<Worked> {
    let mut tx = desk.db.write().await?;
    let is_kept_for_ever = match job.kind {
        JobKind::ClimbLadder
        | JobKind::Watch
        | JobKind::Canary
        | JobKind::Sweep
        | JobKind::CheckBooks
        | JobKind::Purge => true,
        JobKind::AddressNotice | JobKind::SendLetter => false,
    };
    let given_up = job.tries >= MOST_TRIES && !is_kept_for_ever;
    let is_ours = if given_up {
        jobs::give_up(&mut tx, job, why, moment.now).await?
    } else {
        jobs::put_off(&mut tx, job, moment.now + wait_before_try(job.tries, moment), why).await?
    };
    if !is_ours {
        return Ok(Worked::InOtherHands);
    }
    let subject = format!("job:{}", job.id);
    if job.tries >= MOST_TRIES {
        alarms::raise(&mut tx, job.practice, AlarmKind::JobFailed, &subject, moment).await?;
    }
    if given_up {
        let detail = format!("kind={} tries={}", job.kind.code(), job.tries);
        record::note(&mut tx, job.practice, Actor::Program, "job.give_up", &subject, &detail, moment.now)
            .await?;
    }
    tx.commit().await?;
    desk.tell(job.practice);
    Ok(if given_up { Worked::GaveUp } else { Worked::PutOff })
}
