//! Whoever's duty is changed by somebody else hears of it, and looks at the roster.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Done;
use crate::care::duty::spans_ahead;
use crate::duty::DutySpan;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::duty;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::staff;
use crate::store::staff::StaffMember;

/// A lead who enters a whole roster presses many times: everybody hears of it once in so long.
const TOLD_ONCE_IN: SignedDuration = SignedDuration::from_mins(10);

/// Everybody's duty in the days that are shown.
pub(in crate::care) async fn ahead(
    conn: &mut Conn,
    practice: PracticeId,
    now: Timestamp,
) -> Done<Vec<DutySpan>> {
    Ok(spans_ahead(&duty::roster(conn, practice).await?, now))
}

/// Tells everyone but `by` whose duty is no longer as it was `before`, in the transaction of the change.
pub(in crate::care) async fn tell(
    conn: &mut Conn,
    by: &StaffMember,
    before: &[DutySpan],
    moment: &Moment,
) -> Done<()> {
    let after = ahead(conn, by.practice, moment.now).await?;
    let window = moment.now.as_second() / TOLD_ONCE_IN.as_secs();
    let about = format!("duty:{window}");
    for person in staff::of_practice(conn, by.practice).await? {
        if person.active && person.id != by.id && of(before, person.id) != of(&after, person.id) {
            let to = Recipient::Staff(person.id);
            notices::enqueue(conn, by.practice, NoticeKind::DutyChanged, to, &about, moment).await?;
        }
    }
    Ok(())
}

fn of(spans: &[DutySpan], person: StaffId) -> Vec<&DutySpan> {
    spans.iter().filter(|span| span.staff == person).collect()
}
