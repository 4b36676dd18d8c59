//! The watch: every minute somebody looks at everything that waits, so that nothing depends on a step having thought of it.

use jiff::SignedDuration;

use crate::care::Desk;
use crate::care::Done;
use crate::care::alarm_letters;
use crate::care::attend;
use crate::care::drill;
use crate::care::ladder;
use crate::care::late_knock;
use crate::care::silence;
use crate::care::working::Worked;
use crate::guards;
use crate::guards::Guard;
use crate::ids::CallbackId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::WoundCheckId;
use crate::store::Conn;
use crate::store::alarms;
use crate::store::alarms::Alarm;
use crate::store::alarms::AlarmKind;
use crate::store::callbacks;
use crate::store::callbacks::CallbackState;
use crate::store::check_drafts;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::checks::WoundCheck;
use crate::store::jobs;
use crate::store::jobs::Job;
use crate::store::jobs::JobKind;
use crate::store::jobs::Queueing;
use crate::store::practices;
use crate::triage::LadderKind;
use crate::triage::Urgency;
use crate::triage::ladder_of;

/// Between two looks: what is late is seen within a minute.
pub const EVERY: SignedDuration = SignedDuration::from_secs(30);
/// An emergency that nobody has opened for this long is an alarm.
const UNOPENED_AFTER: SignedDuration = SignedDuration::from_mins(5);
/// What was done stays on the list of jobs for this long.
const DONE_KEPT: SignedDuration = SignedDuration::from_hours(24 * 7);

/// Sees to it that the watch of every practice is queued; harmless when it is.
pub async fn ensure(desk: &Desk, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    for practice in practices::all(&mut tx).await? {
        begin(&mut tx, practice.id, moment).await?;
    }
    Ok(tx.commit().await?)
}

/// Queues the watch of one practice, in the transaction that founds it.
pub(in crate::care) async fn begin(conn: &mut Conn, practice: PracticeId, moment: &Moment) -> Done<()> {
    let about = practice.to_string();
    let once_key = format!("watch:{practice}");
    let watch =
        Queueing { practice, kind: JobKind::Watch, about: &about, once_key: &once_key, due: moment.now };
    jobs::enqueue(conn, watch, moment).await?;
    Ok(())
}

/// One look. Everything it begins is begun once, however often it looks.
pub(in crate::care) async fn look(desk: &Desk, job: &Job, moment: &Moment) -> Done<Worked> {
    let (checks, calls) = {
        let mut conn = desk.db.read().await?;
        (
            checks::unwatched(&mut conn, job.practice, moment.now - UNOPENED_AFTER, moment.now).await?,
            callbacks::late(&mut conn, job.practice, moment.now).await?,
        )
    };
    for id in checks {
        see_to_check(desk, job.practice, id, moment).await?;
    }
    for id in calls {
        see_to_call(desk, job.practice, id, moment).await?;
    }
    late_knock::look(desk, job.practice, moment).await?;
    silence::look(desk, job.practice, moment).await?;
    attend::see_to(desk, job.practice, moment).await?;
    drill::see_to(desk, job.practice, moment).await?;
    let mut tx = desk.db.write().await?;
    for alarm in alarms::open(&mut tx, job.practice).await? {
        if !is_still_so(&mut tx, &alarm, moment).await? {
            alarms::end(&mut tx, job.practice, alarm.kind, &alarm.about, moment.now).await?;
        }
    }
    check_drafts::forget_borrowed(&mut tx, job.practice, moment.now).await?;
    jobs::clear_done(&mut tx, job.practice, moment.now - DONE_KEPT).await?;
    if !jobs::put_off(&mut tx, job, moment.now + EVERY, "").await? {
        return Ok(Worked::InOtherHands);
    }
    tx.commit().await?;
    alarm_letters::tell(desk, job.practice, moment).await?;
    Ok(Worked::PutOff)
}

async fn see_to_check(desk: &Desk, practice: PracticeId, id: WoundCheckId, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let Some(check) = checks::hold(&mut tx, practice, id).await? else { return Ok(()) };
    let (waits, late) = (waits_alone(&check, moment), moment.now > check.due);
    let about = format!("check:{id}");
    let kind = ladder_of(check.assessment.urgency).or(late.then_some(LadderKind::Overdue));
    if let Some(kind) = kind.filter(|_| waits)
        && !ladder::somebody_sees_to_it(&mut tx, practice, &about, moment.now).await?
    {
        ladder::begin(&mut tx, practice, &about, kind, moment).await?;
    }
    if waits && late {
        alarms::raise(&mut tx, practice, AlarmKind::Overdue, &about, moment).await?;
    }
    if waits && is_unopened(&check, moment) {
        alarms::raise(&mut tx, practice, AlarmKind::Unopened, &about, moment).await?;
    }
    tx.commit().await?;
    desk.tell(practice);
    Ok(())
}

async fn see_to_call(desk: &Desk, practice: PracticeId, id: CallbackId, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let about = format!("callback:{id}");
    let found = callbacks::find(&mut tx, practice, id).await?;
    let Some(call) = found.filter(|call| call.state == CallbackState::Open && moment.now > call.due) else {
        return Ok(());
    };
    // What is done to a call holds its check.
    checks::hold(&mut tx, practice, call.check).await?;
    if !ladder::somebody_sees_to_it(&mut tx, practice, &about, moment.now).await? {
        ladder::begin(&mut tx, practice, &about, LadderKind::Overdue, moment).await?;
    }
    alarms::raise(&mut tx, practice, AlarmKind::Overdue, &about, moment).await?;
    tx.commit().await?;
    desk.tell(practice);
    Ok(())
}

/// It waits for a surgeon and nobody looks at it just now.
fn waits_alone(check: &WoundCheck, moment: &Moment) -> bool {
    match check.state {
        CheckState::Queued | CheckState::InReview => {
            let has_run_out = |until| until <= moment.now && guards::stands(Guard::ClaimRunsOut);
            check.claim.is_none_or(|claim| has_run_out(claim.until))
        }
        CheckState::AwaitingCall | CheckState::Closed => false,
    }
}

fn is_unopened(check: &WoundCheck, moment: &Moment) -> bool {
    // Received in what is still to come: the clock was set back, and it may be longer than that.
    let in_time = SignedDuration::ZERO..UNOPENED_AFTER;
    check.assessment.urgency == Urgency::GoNow
        && !in_time.contains(&moment.now.duration_since(check.received))
}

async fn is_still_so(conn: &mut Conn, alarm: &Alarm, moment: &Moment) -> Done<bool> {
    let about_check: Option<WoundCheckId> = alarm.about.strip_prefix("check:").and_then(|id| id.parse().ok());
    let about_call: Option<CallbackId> = alarm.about.strip_prefix("callback:").and_then(|id| id.parse().ok());
    Ok(match alarm.kind {
        AlarmKind::Unopened | AlarmKind::Overdue | AlarmKind::NobodyToTell => match (about_check, about_call)
        {
            (Some(id), _) => checks::find(conn, alarm.practice, id).await?.is_some_and(|check| {
                let late = moment.now > check.due;
                waits_alone(&check, moment)
                    && match alarm.kind {
                        AlarmKind::Overdue => late,
                        // It ends when somebody opens it, whatever the clock says meanwhile.
                        AlarmKind::Unopened
                        | AlarmKind::NobodyToTell
                        | AlarmKind::SurgeonAsked
                        | AlarmKind::LetterFailed
                        | AlarmKind::JobFailed
                        | AlarmKind::NoPageOpen
                        | AlarmKind::NobodySignedIn
                        | AlarmKind::ClockSetBack
                        | AlarmKind::QueueOld
                        | AlarmKind::DiskFilling
                        | AlarmKind::ListNotWritten
                        | AlarmKind::BooksDamaged
                        | AlarmKind::PhotoDamaged
                        | AlarmKind::TextUnreadable
                        | AlarmKind::PasswordGuessed
                        | AlarmKind::LinksGuessed
                        | AlarmKind::LinkFloods
                        | AlarmKind::EnvelopeOpened
                        | AlarmKind::EnvelopeGuessed
                        | AlarmKind::ExportAsked
                        | AlarmKind::ExportTaken
                        | AlarmKind::BackupOld
                        | AlarmKind::RestoreUnproved
                        | AlarmKind::DrillMissing => true,
                    }
            }),
            (None, Some(id)) => callbacks::find(conn, alarm.practice, id)
                .await?
                .is_some_and(|call| call.state == CallbackState::Open && moment.now > call.due),
            (None, None) => match (drill::of(&alarm.about), late_knock::of(&alarm.about)) {
                (Some(id), _) => drill::waits(conn, alarm.practice, id).await?,
                (None, Some(id)) => late_knock::is_late(conn, alarm.practice, id, moment.now).await?,
                (None, None) => true,
            },
        },
        // These are ended by whoever saw to them, or with what they say.
        AlarmKind::SurgeonAsked
        | AlarmKind::LetterFailed
        | AlarmKind::JobFailed
        | AlarmKind::NoPageOpen
        | AlarmKind::NobodySignedIn
        | AlarmKind::ClockSetBack
        | AlarmKind::QueueOld
        | AlarmKind::DiskFilling
        | AlarmKind::ListNotWritten
        | AlarmKind::BooksDamaged
        | AlarmKind::PhotoDamaged
        | AlarmKind::TextUnreadable
        | AlarmKind::PasswordGuessed
        | AlarmKind::LinksGuessed
        | AlarmKind::LinkFloods
        | AlarmKind::EnvelopeOpened
        | AlarmKind::EnvelopeGuessed
        | AlarmKind::ExportAsked
        | AlarmKind::ExportTaken
        | AlarmKind::BackupOld
        | AlarmKind::RestoreUnproved
        | AlarmKind::DrillMissing => true,
    })
}
