//! A plan ends: healed, transferred, or lost after calls that nobody answered. Always with a reason and a person.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::plan::changing::finish;
use crate::care::plan::changing::open_wound;
use crate::care::plan::changing::reason_fault;
use crate::ids::Moment;
use crate::ids::WoundId;
use crate::plan::EndWhy;
use crate::plan::tried_enough;
use crate::store::Conn;
use crate::store::callbacks;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::links;
use crate::store::plan;
use crate::store::plan::ChangeKind;
use crate::store::plan::Ended;
use crate::store::plan::PlanChange;
use crate::store::silences;
use crate::store::silences::SilenceCall;
use crate::store::staff::StaffMember;
use crate::store::wounds::Wound;
use crate::triage::CallResult;

/// The patient's links go on this long after the end, so that a last question finds a person: ours, no source.
const LINKS_GO_ON: SignedDuration = SignedDuration::from_hours(24 * 14);

/// Ends a wound's plan. Nothing waits any more, nobody is reminded, and the links close two weeks later.
pub async fn end(
    desk: &Desk,
    member: &StaffMember,
    wound: WoundId,
    why: EndWhy,
    reason: &str,
    moment: &Moment,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let wound = open_wound(&mut tx, member, wound).await?;
    let mut faults: Vec<Fault> = reason_fault(reason).into_iter().collect();
    faults.extend(end_faults(&mut tx, member, &wound, why).await?);
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    let ended = Ended { why, by: member.id, at: moment.now };
    if !plan::end(&mut tx, member.practice, wound.id, ended).await? {
        return Err(CareError::AlreadyDone);
    }
    links::expire_by(&mut tx, member.practice, wound.id, moment.now + LINKS_GO_ON).await?;
    let change = PlanChange {
        kind: ChangeKind::Ended,
        step: None,
        was: None,
        becomes: None,
        reason: format!("{}: {}", why.code(), reason.trim()).into(),
        by: member.id,
        at: moment.now,
    };
    finish(desk, tx, member, wound.id, change, moment).await
}

async fn end_faults(conn: &mut Conn, member: &StaffMember, wound: &Wound, why: EndWhy) -> Done<Vec<Fault>> {
    let mut faults = Vec::new();
    let found = checks::of_wound(conn, wound.practice, wound.id).await?;
    if found.iter().any(|check| check.state != CheckState::Closed) {
        faults.push(Fault::new("why", "A wound check still waits. It must be answered first."));
    }
    if !callbacks::open_of_wound(conn, wound.practice, wound.id).await?.is_empty() {
        faults.push(Fault::new("why", "A call to this patient is still open. End the call first."));
    }
    match why {
        EndWhy::Healed => {
            if !member.roles.surgeon {
                faults.push(Fault::new("why", "Only a surgeon says that a wound has healed."));
            }
            if wound.operation.packing.is_some() && wound.strip_out.is_none() {
                faults
                    .push(Fault::new("why", "Nobody has reported the strip out. Ask about the strip first."));
            }
        }
        EndWhy::Transferred => {}
        EndWhy::Lost => {
            let tried = unanswered(conn, wound).await?;
            if !tried_enough(tried) {
                let words = "A patient is lost only after two calls nobody answered, at least an hour apart. Log them \
                             first.";
                faults.push(Fault::new("why", words));
            }
        }
    }
    Ok(faults)
}

/// Calls nobody answered since the patient was last heard of.
async fn unanswered(conn: &mut Conn, wound: &Wound) -> Done<Vec<Timestamp>> {
    let spoke = callbacks::last_spoke(conn, wound.practice, wound.id).await?;
    let heard = wound.last_check.into_iter().chain(spoke).max().unwrap_or(wound.enrolled);
    let rung = silences::calls_of_wound(conn, wound.practice, wound.id).await?;
    let spoke = |call: &&SilenceCall| call.result == CallResult::Spoke;
    let heard = rung.iter().filter(spoke).map(|call| call.at).chain([heard]).max().unwrap_or(heard);
    let mut calls = callbacks::unanswered_since(conn, wound.practice, wound.id, heard).await?;
    calls.extend(rung.iter().filter(|call| !spoke(call) && call.at > heard).map(|call| call.at));
    Ok(calls)
}
