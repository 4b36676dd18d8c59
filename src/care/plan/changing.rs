//! A plan changed by hand: a step moved, a visit noted, the plan paused and resumed, washing twice for longer.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::plan::Washing;
use crate::care::plan::later_washing;
use crate::care::plan::may_change;
use crate::care::plan::washing;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::ids::PlanStepId;
use crate::ids::WoundId;
use crate::plan::PlanStep;
use crate::plan::STRIP_NEVER_H;
use crate::plan::StepKind;
use crate::plan::strip_may_be_due;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Tx;
use crate::store::plan;
use crate::store::plan::CancelledWhy;
use crate::store::plan::ChangeKind;
use crate::store::plan::KeptStep;
use crate::store::plan::Pause;
use crate::store::plan::PlanChange;
use crate::store::staff::StaffMember;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::store::wounds::WoundState;

pub(super) const LONGEST_REASON: usize = 500;
/// A pause longer than this is an end: ours, no source.
const LONGEST_PAUSE: SignedDuration = SignedDuration::from_hours(24 * 28);
/// No step lies further ahead.
const FURTHEST: SignedDuration = SignedDuration::from_hours(24 * 366);

/// An open wound, held for a change by a member who may make one.
pub(super) async fn open_wound(tx: &mut Tx, member: &StaffMember, id: WoundId) -> Done<Wound> {
    may_change(member)?;
    let wound = wounds::hold(tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    match wound.state {
        WoundState::Open => Ok(wound),
        WoundState::Closed => Err(CareError::AlreadyDone),
    }
}

pub(super) fn reason_fault(reason: &str) -> Option<Fault> {
    match reason.trim().chars().count() {
        0 => Some(Fault::new("reason", "Say why, in a few words.")),
        1..=LONGEST_REASON => None,
        _ => Some(Fault::new("reason", "Shorten the reason to 500 characters.")),
    }
}

/// Writes the change, its line in the record, and commits.
pub(super) async fn finish(
    desk: &Desk,
    mut tx: Tx,
    member: &StaffMember,
    wound: WoundId,
    change: PlanChange,
    moment: &Moment,
) -> Done<()> {
    plan::note_change(&mut tx, member.practice, wound, &change, moment).await?;
    let action = match change.kind {
        ChangeKind::Moved => "plan.move",
        ChangeKind::Done => "plan.came",
        ChangeKind::Paused => "plan.pause",
        ChangeKind::Resumed => "plan.resume",
        ChangeKind::WashTwice | ChangeKind::WashOnce => "plan.wash",
        ChangeKind::Visit => "plan.visit",
        ChangeKind::Ended => "plan.end",
    };
    let detail = match change.becomes {
        Some(becomes) => format!("{} until={becomes}", change.kind.code()),
        None => change.kind.code().to_owned(),
    };
    let subject = format!("wound:{wound}");
    record::note(&mut tx, member.practice, Actor::Staff(member.id), action, &subject, &detail, moment.now)
        .await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

async fn open_step(conn: &mut Conn, wound: &Wound, id: PlanStepId) -> Done<KeptStep> {
    let steps = plan::steps(conn, wound.practice, wound.id).await?;
    let found = steps.into_iter().find(|step| step.id == id).ok_or(CareError::NotFound)?;
    if found.is_open() { Ok(found) } else { Err(CareError::AlreadyDone) }
}

/// Moves an open step to another due time.
pub async fn move_step(
    desk: &Desk,
    member: &StaffMember,
    wound: WoundId,
    id: PlanStepId,
    due: Timestamp,
    reason: &str,
    moment: &Moment,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let wound = open_wound(&mut tx, member, wound).await?;
    let found = open_step(&mut tx, &wound, id).await?;
    let faults: Vec<Fault> =
        move_fault(&wound, found.step, due, moment.now).into_iter().chain(reason_fault(reason)).collect();
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    plan::change(&mut tx, member.practice, id, found.step.moved_to(due), moment.now).await?;
    let change = PlanChange {
        kind: ChangeKind::Moved,
        step: Some(id),
        was: Some(found.step.due),
        becomes: Some(due),
        reason: reason.trim().into(),
        by: member.id,
        at: moment.now,
    };
    finish(desk, tx, member, wound.id, change, moment).await
}

/// Why a step cannot be moved to that time.
fn move_fault(wound: &Wound, step: PlanStep, due: Timestamp, now: Timestamp) -> Option<Fault> {
    if due <= now {
        return Some(Fault::new("due", "That time has passed. Choose a later one."));
    }
    if due.duration_since(now) > FURTHEST {
        return Some(Fault::new("due", "That is more than a year ahead. Check the date."));
    }
    let packing = wound.operation.packing.filter(|_| step.kind == StepKind::PackingRemoval)?;
    (!strip_may_be_due(packing, due)).then(|| {
        let days = STRIP_NEVER_H / 24;
        let words = format!(
            "A strip comes out between 1 and {days} days after it was placed, never later. Choose an earlier time, or \
             have the patient come in."
        );
        Fault::new("due", words)
    })
}

/// Notes that the patient came to a visit.
pub async fn came(
    desk: &Desk,
    member: &StaffMember,
    wound: WoundId,
    id: PlanStepId,
    moment: &Moment,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let wound = open_wound(&mut tx, member, wound).await?;
    let found = open_step(&mut tx, &wound, id).await?;
    if found.step.kind != StepKind::Visit {
        return Err(CareError::NotFound);
    }
    plan::note_done(&mut tx, member.practice, id, moment.now).await?;
    let change = PlanChange {
        kind: ChangeKind::Done,
        step: Some(id),
        was: Some(found.step.due),
        becomes: None,
        reason: FreeText::default(),
        by: member.id,
        at: moment.now,
    };
    finish(desk, tx, member, wound.id, change, moment).await
}

/// Pauses the plan until then: no check is asked for meanwhile. Refused while a strip is in that would come due
/// meanwhile: a strip waits for nobody.
pub async fn pause(
    desk: &Desk,
    member: &StaffMember,
    wound: WoundId,
    until: Timestamp,
    reason: &str,
    moment: &Moment,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let wound = open_wound(&mut tx, member, wound).await?;
    let steps = plan::steps(&mut tx, member.practice, wound.id).await?;
    let faults: Vec<Fault> =
        pause_fault(&wound, &steps, until, moment.now).into_iter().chain(reason_fault(reason)).collect();
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    // A pause that is set anew takes the place of the one that runs.
    plan::bring_back(&mut tx, member.practice, wound.id, moment.now).await?;
    for step in steps.iter().filter(|kept| kept.done.is_none() && kept.step.kind == StepKind::Photo) {
        if step.step.due > moment.now && step.step.due <= until {
            plan::cancel(&mut tx, member.practice, step.id, CancelledWhy::Paused, moment.now).await?;
        }
    }
    let pause = Pause { since: moment.now, until };
    plan::set_pause(&mut tx, member.practice, wound.id, Some(pause)).await?;
    let change = whole(ChangeKind::Paused, Some(until), reason, member, moment);
    finish(desk, tx, member, wound.id, change, moment).await
}

fn pause_fault(wound: &Wound, steps: &[KeptStep], until: Timestamp, now: Timestamp) -> Option<Fault> {
    if until <= now {
        return Some(Fault::new("until", "That day has passed. Choose a later one."));
    }
    if until.duration_since(now) > LONGEST_PAUSE {
        return Some(Fault::new("until", "A pause is at most 28 days. End the plan if it is for longer."));
    }
    let strip_due = steps.iter().find(|step| {
        step.is_open() && step.step.kind == StepKind::PackingRemoval && wound.strip_out.is_none()
    });
    strip_due.filter(|strip| strip.step.due <= until).map(|_| {
        Fault::new(
            "until",
            "The strip is not reported out and comes due before that day. See to the strip first.",
        )
    })
}

fn whole(
    kind: ChangeKind,
    becomes: Option<Timestamp>,
    reason: &str,
    member: &StaffMember,
    moment: &Moment,
) -> PlanChange {
    let reason = reason.trim().into();
    PlanChange { kind, step: None, was: None, becomes, reason, by: member.id, at: moment.now }
}

/// Ends a pause before its day: what is still to come is asked for again.
pub async fn resume(desk: &Desk, member: &StaffMember, wound: WoundId, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let wound = open_wound(&mut tx, member, wound).await?;
    if plan::standing(&mut tx, member.practice, wound.id).await?.paused(moment.now).is_none() {
        return Err(CareError::AlreadyDone);
    }
    plan::set_pause(&mut tx, member.practice, wound.id, None).await?;
    plan::bring_back(&mut tx, member.practice, wound.id, moment.now).await?;
    let change = whole(ChangeKind::Resumed, None, "", member, moment);
    finish(desk, tx, member, wound.id, change, moment).await
}

/// Sets how often a wound near the bottom is washed from week 2.
pub async fn wash(
    desk: &Desk,
    member: &StaffMember,
    wound: WoundId,
    often: Washing,
    moment: &Moment,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let wound = open_wound(&mut tx, member, wound).await?;
    let steps = plan::steps(&mut tx, member.practice, wound.id).await?;
    let now_is = washing(&wound, &steps, moment.now).ok_or(CareError::NotFound)?;
    let later = later_washing(&steps, moment.now).ok_or(CareError::NotFound)?;
    if now_is == often {
        return Ok(());
    }
    let (kind, change) = match often {
        Washing::Once => (StepKind::WashDaily, ChangeKind::WashOnce),
        Washing::Twice => (StepKind::WashTwiceDaily, ChangeKind::WashTwice),
    };
    plan::change(&mut tx, member.practice, later.id, PlanStep { kind, ..later.step }, moment.now).await?;
    let change = PlanChange { step: Some(later.id), ..whole(change, None, "", member, moment) };
    finish(desk, tx, member, wound.id, change, moment).await
}
