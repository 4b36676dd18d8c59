//! How many urgent things wait, for a screen that is locked: a number and nothing else, in a browser that is known.

use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::secrets::sha256_hex;
use crate::ids::PracticeId;
use crate::store::check_counts;
use crate::store::drills;
use crate::store::sign_in_tries;
use crate::triage::Urgency;
use crate::triage::ladder_of;

/// A locked screen's practice, and what waits there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pulse {
    pub practice: PracticeId,
    /// Checks of the classes somebody is called for, and a drill that nobody has opened.
    pub urgent: i64,
}

/// What waits, for the holder of this browser's token. `None`: no member who may still sign in is known in it.
pub async fn of_browser(desk: &Desk, token: &str, now: Timestamp) -> Done<Option<Pulse>> {
    let mut conn = desk.db.read().await?;
    let Some(practice) = sign_in_tries::practice_of_browser(&mut conn, &sha256_hex(token)).await? else {
        return Ok(None);
    };
    let by_urgency = check_counts::by_urgency(&mut conn, practice, now).await?;
    let has_drill = drills::running(&mut conn, practice).await?.is_some();
    Ok(Some(Pulse { practice, urgent: urgent(&by_urgency, has_drill) }))
}

/// Of what waits, by effective class: what somebody is called for.
pub fn urgent(by_urgency: &[(Urgency, i64)], has_drill: bool) -> i64 {
    let checks: i64 = by_urgency
        .iter()
        .filter(|(urgency, _)| ladder_of(*urgency).is_some())
        .map(|(_, waiting)| *waiting)
        .sum();
    checks + i64::from(has_drill)
}
