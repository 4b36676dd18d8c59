//! Hand-over: whoever goes off duty shows the next what is open, and what they hold passes on or goes back.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::review::CLAIM_LIMIT;
use crate::duty::OnDuty;
use crate::duty::Roster;
use crate::ids::StaffId;
use crate::ids::WoundCheckId;
use crate::store::Tx;
use crate::store::callbacks;
use crate::store::callbacks::Callback;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::checks::Claim;
use crate::store::checks::QueueFilter;
use crate::store::checks::WaitingCheck;
use crate::store::claims;
use crate::store::duty;
use crate::store::patients;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::wounds;
use crate::triage::Urgency;

/// Checks looked at; the urgent ones stand first.
const MOST_CHECKS: i64 = 200;
/// The next on duty is looked for this far ahead: shifts that meet, or leave a short gap.
const NEXT_WITHIN: jiff::SignedDuration = jiff::SignedDuration::from_hours(24);

/// A callback and whom it is about.
#[derive(Clone, Debug)]
pub struct OpenCall {
    pub callback: Callback,
    pub patient_name: String,
}

/// What is open when somebody goes off duty.
#[derive(Clone, Debug)]
pub struct Open {
    pub practice: Practice,
    /// Whose duty is handed over.
    pub from: StaffMember,
    /// Until when they are on duty; `None`: they are not, or no longer.
    pub until: Option<Timestamp>,
    /// Who is on duty now.
    pub on: Vec<OnDuty>,
    /// Who takes over by the roster; `None`: it names nobody within a day.
    pub next: Option<StaffId>,
    /// Checks they have claimed.
    pub claimed: Vec<WaitingCheck>,
    /// Checks of the two most urgent classes that wait, whoever has them.
    pub urgent: Vec<WaitingCheck>,
    pub calls: Vec<OpenCall>,
    pub staff: Vec<StaffMember>,
}

/// Reads what is open, and notes that the member saw it. `from`: whose duty; somebody else's only for a lead.
pub async fn read(desk: &Desk, member: &StaffMember, from: StaffId, now: Timestamp) -> Done<Open> {
    may_hand_over(member, from)?;
    record::note_list_view(desk, member, "hand_over.view", now).await?;
    let mut conn = desk.db.read().await?;
    let practice = member.practice;
    let roster = duty::roster(&mut conn, practice).await?;
    let on = roster.on_duty(now);
    let waiting = checks::waiting(&mut conn, practice, &QueueFilter::default(), now, MOST_CHECKS).await?;
    let held = claims::of_member(&mut conn, practice, from, now).await?;
    let mut calls = Vec::new();
    for callback in callbacks::open(&mut conn, practice).await? {
        let wound = wounds::find(&mut conn, practice, callback.wound).await?.ok_or(CareError::NotFound)?;
        let patient = patients::find(&mut conn, practice, wound.patient).await?.ok_or(CareError::NotFound)?;
        calls.push(OpenCall { callback, patient_name: patient.name });
    }
    Ok(Open {
        practice: practices::find(&mut conn, practice).await?.ok_or(CareError::NotFound)?,
        from: staff::find(&mut conn, practice, from).await?.ok_or(CareError::NotFound)?,
        until: on.iter().filter(|on| on.staff == from).map(|on| on.until).max(),
        next: next_after(&roster, from, now),
        on,
        claimed: waiting.iter().filter(|check| held.contains(&check.id)).cloned().collect(),
        urgent: waiting.into_iter().filter(|check| is_urgent(check.assessment.urgency)).collect(),
        calls,
        staff: staff::of_practice(&mut conn, practice).await?,
    })
}

fn is_urgent(urgency: Urgency) -> bool {
    match urgency {
        Urgency::GoNow | Urgency::RingNow => true,
        Urgency::Today | Urgency::Tomorrow | Urgency::OnTrack => false,
    }
}

fn may_hand_over(member: &StaffMember, from: StaffId) -> Done<()> {
    let own = member.id == from && (member.roles.surgeon || member.roles.office);
    if own || member.roles.lead { Ok(()) } else { Err(CareError::NotAllowed) }
}

/// Whoever begins next after `from`, or is on duty beside them.
fn next_after(roster: &Roster, from: StaffId, now: Timestamp) -> Option<StaffId> {
    let end = now.saturating_add(NEXT_WITHIN).unwrap_or(now);
    let others: Vec<_> = roster.spans(now, end).into_iter().filter(|span| span.staff != from).collect();
    let begins = others.iter().find(|span| span.from > now);
    begins.or(others.first()).map(|span| span.staff)
}

/// What came of a hand-over.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Handed {
    /// Checks the next one has now.
    pub passed_on: usize,
    /// Checks that are anybody's again.
    pub released: usize,
}

/// Hands over: each check `from` holds passes to `to`, or back to the queue when `to` is no surgeon. All of it and its
/// lines in the record commit together.
pub async fn confirm(
    desk: &Desk,
    member: &StaffMember,
    from: StaffId,
    to: StaffId,
    now: Timestamp,
) -> Done<Handed> {
    may_hand_over(member, from)?;
    let practice = member.practice;
    let mut tx = desk.db.write().await?;
    staff::find(&mut tx, practice, from).await?.ok_or(CareError::NotFound)?;
    let taker = match staff::find(&mut tx, practice, to).await? {
        Some(taker) if taker.active && taker.id != from => taker,
        Some(_) | None => {
            let fault = Fault::new("to", "Choose somebody else who works here now.");
            return Err(CareError::Entered(vec![fault]));
        }
    };
    let moved = move_claims(&mut tx, from, &taker, now).await?;
    let urgent = checks::waiting(&mut tx, practice, &QueueFilter::default(), now, MOST_CHECKS).await?;
    let urgent = urgent.iter().filter(|check| is_urgent(check.assessment.urgency)).count();
    let calls = callbacks::open(&mut tx, practice).await?.len();
    let actor = Actor::Staff(member.id);
    for (check, went) in &moved {
        let subject = format!("check:{check}");
        record::note(&mut tx, practice, actor, "check.hand_over", &subject, went, now).await?;
    }
    let handed = Handed {
        passed_on: moved.iter().filter(|(_, went)| *went == PASSED_ON).count(),
        released: moved.iter().filter(|(_, went)| *went == RELEASED).count(),
    };
    if member.id != from {
        let subject = format!("staff:{from}");
        record::note(&mut tx, practice, actor, "duty.hand_over_for", &subject, "", now).await?;
    }
    let detail = format!(
        "passed_on={} released={} urgent={urgent} callbacks={calls}",
        handed.passed_on, handed.released
    );
    record::note(&mut tx, practice, actor, "duty.hand_over", &format!("staff:{to}"), &detail, now).await?;
    tx.commit().await?;
    desk.tell(practice);
    Ok(handed)
}

const PASSED_ON: &str = "passed_on";
const RELEASED: &str = "released";

/// Moves every running claim; holds all wounds before anything else is locked, so that no two steps wait for each other.
async fn move_claims(
    tx: &mut Tx,
    from: StaffId,
    taker: &StaffMember,
    now: Timestamp,
) -> Done<Vec<(WoundCheckId, &'static str)>> {
    let practice = taker.practice;
    let mut ids = claims::of_member(tx, practice, from, now).await?;
    ids.sort();
    let mut held = Vec::new();
    for id in ids {
        held.extend(checks::hold(tx, practice, id).await?);
    }
    let mut moved = Vec::new();
    for check in held {
        let is_theirs = check.claim.is_some_and(|claim| claim.by == from && claim.until > now);
        if check.state != CheckState::InReview || !is_theirs {
            continue;
        }
        if taker.roles.surgeon {
            let claim = Claim { by: taker.id, until: now + CLAIM_LIMIT };
            if claims::pass_on(tx, practice, check.id, from, claim).await? {
                moved.push((check.id, PASSED_ON));
            }
        } else {
            checks::set_state(tx, &check, CheckState::Queued, now).await?;
            moved.push((check.id, RELEASED));
        }
    }
    Ok(moved)
}
