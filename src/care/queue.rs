//! The review queue: waiting checks in reading order, for surgeons.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::store::checks;
use crate::store::checks::QueueFilter;
use crate::store::checks::WaitingCheck;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::triage::Urgency;

/// Rows on one page. Whoever has more waiting than this needs more surgeons, not a longer page.
const PAGE: i64 = 200;

/// The queue as one surgeon sees it.
#[derive(Clone, Debug)]
pub struct Queue {
    pub practice: Practice,
    pub rows: Vec<WaitingCheck>,
    /// All that wait, whatever the filter shows.
    pub waiting: i64,
    /// The same by effective class, most urgent first; a class nobody waits in is absent.
    pub by_urgency: Vec<(Urgency, i64)>,
    /// Names behind the claims.
    pub staff: Vec<StaffMember>,
}

/// Reads the queue at `now`.
pub async fn read(desk: &Desk, member: &StaffMember, filter: &QueueFilter, now: Timestamp) -> Done<Queue> {
    if !member.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    let mut conn = desk.db.read().await?;
    Ok(Queue {
        practice: practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?,
        rows: checks::waiting(&mut conn, member.practice, filter, now, PAGE).await?,
        waiting: checks::count_waiting(&mut conn, member.practice).await?,
        by_urgency: checks::count_by_urgency(&mut conn, member.practice, now).await?,
        staff: staff::of_practice(&mut conn, member.practice).await?,
    })
}
