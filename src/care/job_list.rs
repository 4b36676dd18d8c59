//! The lead's list of work: what runs, what is due, what waits, what failed; and the letters that could not be sent.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::alarms::LetterThing;
use crate::care::alarms::Thing;
use crate::care::alarms::thing;
use crate::care::outbox;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::JobId;
use crate::ids::Moment;
use crate::store::alarms;
use crate::store::alarms::Alarm;
use crate::store::alarms::AlarmKind;
use crate::store::jobs;
use crate::store::jobs::Job;
use crate::store::jobs::JobKind;
use crate::store::jobs::JobState;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff::StaffMember;

/// Jobs of one state that are read.
const READ: i64 = 200;

/// A message that could not be sent, and the alarm about it.
#[derive(Clone, Debug)]
pub struct DeadLetter {
    pub alarm: Alarm,
    pub letter: Box<LetterThing>,
}

/// Everything the page shows.
#[derive(Clone, Debug)]
pub struct JobList {
    pub practice: Practice,
    /// A runner has them now.
    pub running: Vec<Job>,
    /// Their time has come.
    pub due: Vec<Job>,
    /// They failed and are tried again later.
    pub again: Vec<Job>,
    /// Their time comes later.
    pub later: Vec<Job>,
    /// Waiting jobs altogether; more than are listed, when there are very many.
    pub waiting: i64,
    pub failed: Vec<Job>,
    pub letters: Vec<DeadLetter>,
}

/// Reads the list; leads do.
pub async fn list(desk: &Desk, lead: &StaffMember, now: Timestamp) -> Done<JobList> {
    must_lead(lead)?;
    let mut conn = desk.db.read().await?;
    let practice = practices::find(&mut conn, lead.practice).await?.ok_or(CareError::NotFound)?;
    let waiting = jobs::in_state(&mut conn, lead.practice, JobState::Waiting, READ).await?;
    let (running, rest): (Vec<Job>, Vec<Job>) = waiting.into_iter().partition(|job| job.leased_until > now);
    let (due, rest): (Vec<Job>, Vec<Job>) = rest.into_iter().partition(|job| job.due <= now);
    let (again, later) = rest.into_iter().partition(|job: &Job| !job.why.is_empty());
    let failed = jobs::in_state(&mut conn, lead.practice, JobState::Failed, READ).await?;
    let mut letters = Vec::new();
    for alarm in alarms::open(&mut conn, lead.practice).await? {
        if alarm.kind == AlarmKind::LetterFailed
            && let Thing::Letter(letter) = thing(&mut conn, lead.practice, &alarm.about).await?
        {
            letters.push(DeadLetter { alarm, letter });
        }
    }
    Ok(JobList {
        practice,
        running,
        due,
        again,
        later,
        waiting: jobs::count_in_state(&mut conn, lead.practice, JobState::Waiting).await?,
        // A letter is dealt with as a letter.
        failed: failed.into_iter().filter(|job| job.kind != JobKind::SendLetter).collect(),
        letters,
    })
}

/// A job is tried now: one that failed with all its tries before it, one that waits without its wait. Refused when it is
/// done, or a runner has it.
pub async fn try_now(desk: &Desk, lead: &StaffMember, id: JobId, moment: &Moment) -> Done<()> {
    must_lead(lead)?;
    let job = jobs::find(&mut *desk.db.read().await?, lead.practice, id).await?.ok_or(CareError::NotFound)?;
    if job.kind == JobKind::SendLetter && job.state == JobState::Failed {
        let letter = job.about.parse().map_err(|_| CareError::NotFound)?;
        return outbox::send_again(desk, lead, letter, moment).await;
    }
    let mut tx = desk.db.write().await?;
    let tried = match job.state {
        JobState::Failed => jobs::try_again(&mut tx, lead.practice, id, moment.now).await?,
        JobState::Waiting => jobs::hurry(&mut tx, lead.practice, id, moment.now).await?,
        JobState::Done => false,
    };
    if !tried {
        return Err(CareError::AlreadyDone);
    }
    let (actor, subject) = (Actor::Staff(lead.id), format!("job:{id}"));
    alarms::take_about(&mut tx, lead.practice, &subject, lead.id, moment.now).await?;
    alarms::end(&mut tx, lead.practice, AlarmKind::JobFailed, &subject, moment.now).await?;
    let detail = format!("kind={}", job.kind.code());
    record::note(&mut tx, lead.practice, actor, "job.try_now", &subject, &detail, moment.now).await?;
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(())
}

fn must_lead(member: &StaffMember) -> Done<()> {
    if member.roles.lead { Ok(()) } else { Err(CareError::NotAllowed) }
}
