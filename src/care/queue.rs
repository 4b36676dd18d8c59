//! The review queue: waiting checks in reading order, for surgeons.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::backup::noted;
use crate::care::backup::noted::Restored;
use crate::care::duty;
use crate::care::duty::MyDuty;
use crate::care::record;
use crate::care::record::Again;
use crate::care::record::Seen;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::check_counts;
use crate::store::checks;
use crate::store::checks::QueueFilter;
use crate::store::checks::WaitingCheck;
use crate::store::drills;
use crate::store::drills::Drill;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::sealed_codes::Look;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::triage::Urgency;

/// Rows on one page. Whoever has more waiting than this needs more surgeons, not a longer page.
const PAGE: i64 = 200;
/// Of one wound, so many rows stand on it. The others follow as these are answered, or when the name is asked for.
pub const OF_ONE_WOUND: i64 = 3;

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
    /// How the reader's own duty stands.
    pub duty: MyDuty,
    /// A drill that nobody has opened yet; it waits beside the checks and counts as none.
    pub drill: Option<Drill>,
    /// `None`: these books never came out of a back-up.
    pub restored: Option<Restored>,
}

/// Whether a person opened the page, or a page that is open keeps itself fresh.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Looking {
    Opened,
    /// The same person goes on looking at what they opened: noted once, when they did.
    Refreshed,
}

/// Reads the queue at `now`, and notes that the surgeon saw it.
pub async fn read(
    desk: &Desk,
    member: &StaffMember,
    filter: &QueueFilter,
    looking: Looking,
    now: Timestamp,
) -> Done<Queue> {
    if !member.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    if looking == Looking::Opened {
        record::note_list_view(desk, member, "queue.view", now).await?;
    }
    let mut conn = desk.db.read().await?;
    let duty = duty::of_member(&mut conn, member, now).await?;
    let drill = drills::running(&mut conn, member.practice).await?;
    gather(&mut conn, member.practice, filter, duty, drill, now).await
}

/// Reads the queue for whoever opened the sealed envelope, and notes that they saw it: whoever asks for a part of it each time,
/// since another part may be there; whoever keeps all of it fresh once. That a page is refreshed is only what its address says:
/// it is believed where the look has a line. They are on no roster, and no drill is theirs to answer.
pub async fn read_for_look(
    desk: &Desk,
    look: &Look,
    filter: &QueueFilter,
    looking: Looking,
    now: Timestamp,
) -> Done<Queue> {
    let is_narrowed = *filter != QueueFilter::default();
    let again = match looking {
        Looking::Refreshed if !is_narrowed => Again::Silent,
        Looking::Opened | Looking::Refreshed => Again::Noted,
    };
    let subject = format!("practice:{}", look.practice);
    let detail = if is_narrowed { "narrowed" } else { "" };
    let seen = Seen { action: "queue.view", subject: &subject, detail };
    record::note_look(desk, look, seen, again, now).await?;
    let mut conn = desk.db.read().await?;
    let duty = duty::of_nobody(&mut conn, look.practice, now).await?;
    gather(&mut conn, look.practice, filter, duty, None, now).await
}

async fn gather(
    conn: &mut Conn,
    practice: PracticeId,
    filter: &QueueFilter,
    duty: MyDuty,
    drill: Option<Drill>,
    now: Timestamp,
) -> Done<Queue> {
    let of_one_wound = if filter.name.is_empty() { OF_ONE_WOUND } else { PAGE };
    Ok(Queue {
        practice: practices::find(conn, practice).await?.ok_or(CareError::NotFound)?,
        rows: checks::waiting_folded(conn, practice, filter, now, PAGE, of_one_wound).await?,
        waiting: check_counts::waiting(conn, practice).await?,
        by_urgency: check_counts::by_urgency(conn, practice, now).await?,
        staff: staff::of_practice(conn, practice).await?,
        duty,
        drill,
        restored: noted::restored(conn).await?,
    })
}
