//! How long things are kept: the numbers a lead confirms, what goes when its time is over, and what must not go.
//!
//! Nothing goes before a lead has confirmed the numbers, nor within a week of any change that lets more go, nor while a legal hold
//! stands in its way. What went leaves a tombstone, and a line in the record.

mod due;
mod holds;
mod numbers;
mod work;

pub use due::Due;
pub use due::last_day;
pub use due::patients as patients_due;
pub use holds::Placing;
pub use holds::RELEASE_WITHIN;
pub use holds::Release;
pub use holds::place;
pub use holds::release;
pub use numbers::PROPOSED;
pub use numbers::Typed;
pub use numbers::set;
pub use work::FILES_WAIT;
pub use work::GAP;
pub use work::Pass;
pub use work::ensure;
pub use work::pass;
pub(in crate::care) use work::work;

use std::collections::BTreeSet;

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::Date;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::must_judge_ranking;
use crate::care::record;
use crate::care::record::Actor;
use crate::duty::instant;
use crate::ids::Moment;
use crate::ids::PatientId;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::addresses;
use crate::store::audit;
use crate::store::keepings;
use crate::store::keepings::Keeping;
use crate::store::keepings::Numbers;
use crate::store::legal_holds;
use crate::store::legal_holds::LegalHold;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::patients;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::purge_letters;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::tombstones;
use crate::store::tombstones::Tombstone;

/// Whatever lets more go than before lets it go only after this, and the leads are told (ours).
pub const NOTICE: SignedDuration = SignedDuration::from_hours(7 * 24);
/// How far the page looks ahead.
pub const AHEAD: SignedDuration = SignedDuration::from_hours(30 * 24);
/// Patients the page counts at most, and tombstones it shows.
const COUNTED: usize = 1_000;
const SHOWN: i64 = 50;

/// What goes within [`AHEAD`], by the numbers that stand, or, before any were confirmed, by the proposed ones.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Soon {
    /// On which day the last thing happened in each patient's record that will go, first come first; a thousand at most.
    pub patients: Vec<Date>,
    pub letters: i64,
    pub lines: i64,
}

/// What the page shows.
#[derive(Clone, Debug)]
pub struct Board {
    pub practice: Practice,
    /// `None`: nobody confirmed any numbers, and nothing goes.
    pub keeping: Option<Keeping>,
    pub soon: Soon,
    /// Those that stand, oldest first.
    pub holds: Vec<LegalHold>,
    /// Newest first.
    pub gone: Vec<Tombstone>,
    /// Everybody, those switched off too.
    pub staff: Vec<StaffMember>,
}

/// Reads it; leads do, and surgeons, who may be the second to release a hold.
pub async fn board(desk: &Desk, member: &StaffMember, now: Timestamp) -> Done<Board> {
    must_judge_ranking(member)?;
    let mut conn = desk.db.read().await?;
    let practice = practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
    let keeping = keepings::find(&mut conn, member.practice).await?;
    let numbers = keeping.map_or(PROPOSED, |keeping| keeping.numbers);
    let holds = legal_holds::in_force(&mut conn, member.practice).await?;
    Ok(Board {
        soon: soon(&mut conn, &practice, &numbers, &holds, now).await?,
        practice,
        keeping,
        holds,
        gone: tombstones::newest(&mut conn, member.practice, SHOWN).await?,
        staff: staff::of_practice(&mut conn, member.practice).await?,
    })
}

async fn soon(
    conn: &mut Conn,
    practice: &Practice,
    numbers: &Numbers,
    holds: &[LegalHold],
    now: Timestamp,
) -> Done<Soon> {
    let mut soon = Soon { patients: Vec::new(), letters: 0, lines: 0 };
    if holds.iter().any(|hold| hold.patient.is_none()) {
        return Ok(soon);
    }
    let then = now + AHEAD;
    let held = held(conn, practice.id, holds).await?;
    let due = due::patients(conn, practice, numbers, &held, then, COUNTED).await?;
    soon.patients = due.iter().map(|due| due.last).collect();
    soon.patients.sort();
    if holds.is_empty() {
        let before = days_before(then, numbers.letters_days);
        soon.letters = purge_letters::count_letters(conn, practice.id, before).await?;
        if let Some(before) = years_before(practice, then, numbers.record_years) {
            soon.lines = audit::count_before(conn, practice.id, before).await?;
        }
    }
    Ok(soon)
}

/// The patients whom a hold names: the people, whatever row it was placed on, and rows that came after it.
async fn held(conn: &mut Conn, practice: PracticeId, holds: &[LegalHold]) -> Done<BTreeSet<PatientId>> {
    let mut held = BTreeSet::new();
    for patient in holds.iter().filter_map(|hold| hold.patient) {
        held.extend(patients::rows_of_person(conn, practice, patient).await?);
    }
    Ok(held)
}

fn days_before(now: Timestamp, days: i64) -> Timestamp {
    now - SignedDuration::from_hours(days * 24)
}

/// Where the day so many years ago begins, in the practice's own calendar. `None`: outside of it.
fn years_before(practice: &Practice, now: Timestamp, years: i64) -> Option<Timestamp> {
    let today = now.to_zoned_datetime(practice.zone.clone()).date();
    instant(due::years_earlier(today, years), 0, &practice.zone)
}

/// Tells every lead who is reached somewhere that things begin to go in a week.
async fn announce(conn: &mut Conn, practice: PracticeId, moment: &Moment) -> Done<()> {
    let about = format!("keeping:{}", moment.now.as_millisecond());
    for member in staff::of_practice(conn, practice).await? {
        let is_told = member.active && member.roles.lead;
        if is_told && !addresses::of_staff(conn, practice, member.id).await?.is_empty() {
            let to = Recipient::Staff(member.id);
            notices::enqueue(conn, practice, NoticeKind::ThingsWillGo, to, &about, moment).await?;
        }
    }
    Ok(())
}

/// Nothing goes for a week, and the leads are told: what was entered since these books were written, a hold or a longer time, is
/// not in them. Until when; `None`: nobody confirmed any numbers, and nothing goes anyway.
pub(in crate::care) async fn wait(
    conn: &mut Conn,
    practice: PracticeId,
    why: &str,
    moment: &Moment,
) -> Done<Option<Timestamp>> {
    if keepings::find(conn, practice).await?.is_none() {
        return Ok(None);
    }
    let until = moment.now + NOTICE;
    keepings::wait_until(conn, practice, until).await?;
    let subject = format!("practice:{practice}");
    record::note(conn, practice, Actor::Program, "keeping.wait", &subject, why, moment.now).await?;
    announce(conn, practice, moment).await?;
    Ok(Some(until))
}

fn must_lead(member: &StaffMember) -> Done<()> {
    if member.roles.lead { Ok(()) } else { Err(CareError::NotAllowed) }
}
