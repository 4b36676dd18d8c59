//! Duty: who answers when. A lead enters hours, holidays, shifts and absences; people swap their own shifts.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::Date;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::duty_told;
use crate::care::record;
use crate::care::record::Actor;
use crate::duty::Absence;
use crate::duty::DatedShift;
use crate::duty::DayHours;
use crate::duty::DutySpan;
use crate::duty::Hours;
use crate::duty::NoSwap;
use crate::duty::OnDuty;
use crate::duty::Roster;
use crate::duty::Watch;
use crate::duty::WeeklyShift;
use crate::ids::DutyShiftId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::Tx;
use crate::store::claims;
use crate::store::duty;
use crate::store::duty::KeptAway;
use crate::store::duty::KeptDated;
use crate::store::duty::KeptWeekly;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff;
use crate::store::staff::StaffMember;

/// Gaps are shown and announced this many days ahead (M10: "roster gaps in next 14 days").
pub const SHOWN_DAYS: i64 = 14;
/// A shift on a date or an absence lasts this long at most: a slip of the year shows at once.
const LONGEST: SignedDuration = SignedDuration::from_hours(92 * 24);
const LONGEST_NAME: usize = 60;

/// Everything the duty pages show.
#[derive(Clone, Debug)]
pub struct Board {
    pub practice: Practice,
    pub hours: Hours,
    pub roster: Roster,
    pub weekly: Vec<KeptWeekly>,
    /// In the order they were entered; those that have ended are left out.
    pub dated: Vec<KeptDated>,
    pub away: Vec<KeptAway>,
    /// Everybody, those switched off too.
    pub staff: Vec<StaffMember>,
}

pub async fn board(desk: &Desk, member: &StaffMember, now: Timestamp) -> Done<Board> {
    let mut conn = desk.db.read().await?;
    let id = member.practice;
    let (dated, away) = (duty::dated(&mut conn, id).await?, duty::away(&mut conn, id).await?);
    Ok(Board {
        practice: practices::find(&mut conn, id).await?.ok_or(CareError::NotFound)?,
        hours: duty::hours(&mut conn, id).await?,
        roster: duty::roster(&mut conn, id).await?,
        weekly: duty::weekly(&mut conn, id).await?,
        dated: dated.into_iter().filter(|kept| kept.shift.until > now).collect(),
        away: away.into_iter().filter(|kept| kept.absence.until > now).collect(),
        staff: staff::of_practice(&mut conn, id).await?,
    })
}

/// Who is on duty at `at`, the first rank first. Empty: nobody.
pub async fn on_duty_now(conn: &mut Conn, practice: PracticeId, at: Timestamp) -> Done<Vec<OnDuty>> {
    Ok(duty::roster(conn, practice).await?.on_duty(at))
}

/// What a patient is told about who watches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cover {
    pub watch: Watch,
    pub by: Watcher,
}

/// What the person who watches is, never who.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Watcher {
    Surgeon,
    /// Somebody of the practice who is no surgeon, or nobody knows who: only hours were entered.
    Person,
}

/// Whether anybody watches at `at`, by the roster; by the practice's hours where no roster is kept yet.
pub async fn cover(conn: &mut Conn, practice: PracticeId, at: Timestamp) -> Done<Cover> {
    let roster = duty::roster(conn, practice).await?;
    let hours = duty::hours(conn, practice).await?;
    let mut by = Watcher::Person;
    for on in roster.on_duty(at) {
        let member = staff::find(conn, practice, on.staff).await?;
        if member.is_some_and(|member| member.roles.surgeon) {
            by = Watcher::Surgeon;
        }
    }
    Ok(Cover { watch: roster.watch_or_hours(&hours, at), by })
}

/// How a member's own duty stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MyDuty {
    /// Until when they are on duty; `None`: they are not.
    pub until: Option<Timestamp>,
    /// Checks they have claimed.
    pub held: usize,
    /// The practice has entered shifts.
    pub keeps_roster: bool,
    /// The practice keeps a roster and nobody is on duty by it.
    pub nobody: bool,
}

pub async fn of_member(conn: &mut Conn, member: &StaffMember, now: Timestamp) -> Done<MyDuty> {
    let roster = duty::roster(conn, member.practice).await?;
    let on = roster.on_duty(now);
    Ok(MyDuty {
        until: on.iter().filter(|on| on.staff == member.id).map(|on| on.until).max(),
        held: claims::of_member(conn, member.practice, member.id, now).await?.len(),
        keeps_roster: !roster.is_blank(),
        nobody: on.is_empty() && !roster.is_blank(),
    })
}

/// As for somebody who is on no roster.
pub(in crate::care) async fn of_nobody(
    conn: &mut Conn,
    practice: PracticeId,
    now: Timestamp,
) -> Done<MyDuty> {
    let roster = duty::roster(conn, practice).await?;
    let keeps_roster = !roster.is_blank();
    Ok(MyDuty { until: None, held: 0, keeps_roster, nobody: keeps_roster && roster.on_duty(now).is_empty() })
}

/// How many times within [`SHOWN_DAYS`] a person is on duty: as many gaps as switching them off can leave.
pub fn shifts_ahead(roster: &Roster, person: StaffId, now: Timestamp) -> usize {
    spans_ahead(roster, now).iter().filter(|span| span.staff == person).count()
}

/// Everybody's duty within [`SHOWN_DAYS`].
pub(in crate::care) fn spans_ahead(roster: &Roster, now: Timestamp) -> Vec<DutySpan> {
    let end = now.saturating_add(SignedDuration::from_hours(SHOWN_DAYS * 24)).unwrap_or(now);
    roster.spans(now, end)
}

/// A change of hours or holidays: the lead's, with the practice held so that two changes never mix.
async fn change(desk: &Desk, lead: &StaffMember) -> Done<Tx> {
    if !lead.roles.lead {
        return Err(CareError::NotAllowed);
    }
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, lead.practice).await?;
    Ok(tx)
}

/// A change of the roster, with everybody's duty as it was before.
async fn change_roster(desk: &Desk, lead: &StaffMember, now: Timestamp) -> Done<(Tx, Vec<DutySpan>)> {
    let mut tx = change(desk, lead).await?;
    let before = duty_told::ahead(&mut tx, lead.practice, now).await?;
    Ok((tx, before))
}

/// Whoever's duty was changed by somebody else is told.
async fn finish_roster(
    desk: &Desk,
    mut tx: Tx,
    by: &StaffMember,
    before: &[DutySpan],
    moment: &Moment,
) -> Done<()> {
    duty_told::tell(&mut tx, by, before, moment).await?;
    finish(desk, tx, by.practice).await
}

async fn finish(desk: &Desk, tx: Tx, practice: PracticeId) -> Done<()> {
    tx.commit().await?;
    desk.tell(practice);
    Ok(())
}

async fn note(
    conn: &mut Conn,
    member: &StaffMember,
    action: &str,
    subject: &str,
    detail: &str,
    now: Timestamp,
) -> Done<()> {
    let actor = Actor::Staff(member.id);
    Ok(record::note(conn, member.practice, actor, action, subject, detail, now).await?)
}

/// Refuses whoever is not of the practice or was switched off.
async fn must_work_here(
    conn: &mut Conn,
    practice: PracticeId,
    person: StaffId,
    field: &'static str,
) -> Done<()> {
    match staff::find(conn, practice, person).await? {
        Some(member) if member.active => Ok(()),
        Some(_) | None => {
            Err(CareError::Entered(vec![Fault::new(field, "Choose somebody who works here now.")]))
        }
    }
}

/// Adds weekly shifts, all or none.
pub async fn add_weekly(
    desk: &Desk,
    lead: &StaffMember,
    shifts: &[WeeklyShift],
    moment: &Moment,
) -> Done<()> {
    let (mut tx, before) = change_roster(desk, lead, moment.now).await?;
    for shift in shifts {
        must_work_here(&mut tx, lead.practice, shift.staff, "weekly_staff").await?;
        let kept = KeptWeekly { id: DutyShiftId::mint(moment), shift: shift.clone() };
        duty::insert_weekly(&mut tx, lead.practice, &kept, moment.now).await?;
        let detail = format!(
            "rank={} weekday={} from_minute={} until_minute={}",
            shift.rank.code(),
            shift.weekday.to_monday_one_offset(),
            shift.from_minute,
            shift.until_minute
        );
        let subject = format!("staff:{}", shift.staff);
        note(&mut tx, lead, "duty.weekly_add", &subject, &detail, moment.now).await?;
    }
    finish_roster(desk, tx, lead, &before, moment).await
}

pub async fn remove_weekly(desk: &Desk, lead: &StaffMember, id: DutyShiftId, moment: &Moment) -> Done<()> {
    let (mut tx, before) = change_roster(desk, lead, moment.now).await?;
    if !duty::remove_weekly(&mut tx, lead.practice, id).await? {
        return Err(CareError::NotFound);
    }
    note(&mut tx, lead, "duty.weekly_remove", &format!("shift:{id}"), "", moment.now).await?;
    finish_roster(desk, tx, lead, &before, moment).await
}

/// What is wrong with a time from here to there that is still to come.
fn stretch_fault(field: &'static str, from: Timestamp, until: Timestamp, now: Timestamp) -> Option<Fault> {
    let words = if until <= from {
        "It must end after it begins."
    } else if until <= now {
        "That is over already. Enter a time to come."
    } else if until.duration_since(from) > LONGEST {
        "That is longer than three months. Check the dates."
    } else {
        return None;
    };
    Some(Fault::new(field, words))
}

/// Adds a shift on a date.
pub async fn add_dated(desk: &Desk, lead: &StaffMember, shift: DatedShift, moment: &Moment) -> Done<()> {
    if let Some(fault) = stretch_fault("dated_until", shift.from, shift.until, moment.now) {
        return Err(CareError::Entered(vec![fault]));
    }
    if shift.instead_of == Some(shift.staff) {
        let words = "Choose another person, or leave it at “whoever it would be”.";
        return Err(CareError::Entered(vec![Fault::new("dated_instead", words)]));
    }
    let (mut tx, before) = change_roster(desk, lead, moment.now).await?;
    must_work_here(&mut tx, lead.practice, shift.staff, "dated_staff").await?;
    if let Some(replaced) = shift.instead_of {
        staff::find(&mut tx, lead.practice, replaced).await?.ok_or(CareError::NotFound)?;
    }
    enter(&mut tx, lead, shift, None, "duty.dated_add", moment).await?;
    finish_roster(desk, tx, lead, &before, moment).await
}

async fn enter(
    tx: &mut Tx,
    member: &StaffMember,
    shift: DatedShift,
    swap: Option<DutyShiftId>,
    action: &str,
    moment: &Moment,
) -> Done<DutyShiftId> {
    let kept = KeptDated { id: DutyShiftId::mint(moment), shift, swap };
    duty::insert_dated(tx, member.practice, &kept, moment.now).await?;
    let detail =
        format!("rank={} from={} until={}", kept.shift.rank.code(), kept.shift.from, kept.shift.until);
    note(tx, member, action, &format!("staff:{}", kept.shift.staff), &detail, moment.now).await?;
    Ok(kept.id)
}

/// Takes a shift on a date back; of a swap both halves.
pub async fn remove_dated(desk: &Desk, lead: &StaffMember, id: DutyShiftId, moment: &Moment) -> Done<()> {
    let (mut tx, before) = change_roster(desk, lead, moment.now).await?;
    let gone = duty::remove_dated(&mut tx, lead.practice, id).await?;
    if gone == 0 {
        return Err(CareError::NotFound);
    }
    note(&mut tx, lead, "duty.dated_remove", &format!("shift:{id}"), &format!("shifts={gone}"), moment.now)
        .await?;
    finish_roster(desk, tx, lead, &before, moment).await
}

/// What a person gets for the duty they give away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InReturn {
    /// That person's duty.
    Swap(DutySpan),
    /// Nothing: the person takes it over.
    Nothing { taker: StaffId },
}

/// Two people swap duty, or one takes another's over: pressed by either of the two, or by a lead.
pub async fn swap(
    desk: &Desk,
    member: &StaffMember,
    given: DutySpan,
    back: InReturn,
    moment: &Moment,
) -> Done<()> {
    let taker = match back {
        InReturn::Swap(other) => other.staff,
        InReturn::Nothing { taker } => taker,
    };
    if !member.roles.lead && member.id != given.staff && member.id != taker {
        let words = "Choose a duty of yours, or yourself as the one who takes over. A lead can swap others.";
        return Err(CareError::Entered(vec![Fault::new("swap_given", words)]));
    }
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, member.practice).await?;
    let before = duty_told::ahead(&mut tx, member.practice, moment.now).await?;
    must_work_here(&mut tx, member.practice, given.staff, "swap_given").await?;
    must_work_here(&mut tx, member.practice, taker, "swap_back").await?;
    let roster = duty::roster(&mut tx, member.practice).await?;
    match back {
        InReturn::Swap(other) => {
            let [given, taken] = roster.swap(&given, &other).map_err(refused)?;
            let id = DutyShiftId::mint(moment);
            enter(&mut tx, member, given, Some(id), "duty.swap", moment).await?;
            enter(&mut tx, member, taken, Some(id), "duty.swap", moment).await?;
        }
        InReturn::Nothing { taker } => {
            let shift = roster.takes_over(&given, taker).map_err(refused)?;
            enter(&mut tx, member, shift, None, "duty.take_over", moment).await?;
        }
    }
    finish_roster(desk, tx, member, &before, moment).await
}

fn refused(why: NoSwap) -> CareError {
    let words = match why {
        NoSwap::SamePerson => "Choose the duty of two different people.",
        NoSwap::NotTheirs => "The roster changed meanwhile. Look at it again, then choose.",
        NoSwap::OnAlready => "That person is on duty in that time already. Choose another duty or person.",
        NoSwap::Away => "That person is away in that time. Choose another duty or person.",
    };
    CareError::Entered(vec![Fault::new("swap_back", words)])
}

/// Notes that somebody is away: their duty shows as a gap until somebody else is entered.
pub async fn add_away(desk: &Desk, lead: &StaffMember, absence: Absence, moment: &Moment) -> Done<()> {
    if let Some(fault) = stretch_fault("away_until", absence.from, absence.until, moment.now) {
        return Err(CareError::Entered(vec![fault]));
    }
    let (mut tx, before) = change_roster(desk, lead, moment.now).await?;
    must_work_here(&mut tx, lead.practice, absence.staff, "away_staff").await?;
    let kept = KeptAway { id: DutyShiftId::mint(moment), absence };
    duty::insert_away(&mut tx, lead.practice, &kept, moment.now).await?;
    let detail = format!("from={} until={}", kept.absence.from, kept.absence.until);
    let subject = format!("staff:{}", kept.absence.staff);
    note(&mut tx, lead, "duty.away_add", &subject, &detail, moment.now).await?;
    finish_roster(desk, tx, lead, &before, moment).await
}

pub async fn remove_away(desk: &Desk, lead: &StaffMember, id: DutyShiftId, moment: &Moment) -> Done<()> {
    let (mut tx, before) = change_roster(desk, lead, moment.now).await?;
    if !duty::remove_away(&mut tx, lead.practice, id).await? {
        return Err(CareError::NotFound);
    }
    note(&mut tx, lead, "duty.away_remove", &format!("absence:{id}"), "", moment.now).await?;
    finish_roster(desk, tx, lead, &before, moment).await
}

/// Adds a holiday, or renames the one on that day.
pub async fn keep_holiday(
    desk: &Desk,
    lead: &StaffMember,
    day: Date,
    name: &str,
    now: Timestamp,
) -> Done<()> {
    let name = name.trim();
    if name.is_empty() || name.chars().count() > LONGEST_NAME {
        let words = "Give the holiday a name of at most 60 letters.";
        return Err(CareError::Entered(vec![Fault::new("holiday_name", words)]));
    }
    let mut tx = change(desk, lead).await?;
    duty::keep_holiday(&mut tx, lead.practice, day, name).await?;
    note(&mut tx, lead, "holiday.keep", &format!("day:{day}"), "", now).await?;
    finish(desk, tx, lead.practice).await
}

pub async fn remove_holiday(desk: &Desk, lead: &StaffMember, day: Date, now: Timestamp) -> Done<()> {
    let mut tx = change(desk, lead).await?;
    if !duty::remove_holiday(&mut tx, lead.practice, day).await? {
        return Err(CareError::NotFound);
    }
    note(&mut tx, lead, "holiday.remove", &format!("day:{day}"), "", now).await?;
    finish(desk, tx, lead.practice).await
}

/// Sets the hours of all seven days, Monday first; `None`: closed.
pub async fn keep_hours(
    desk: &Desk,
    lead: &StaffMember,
    days: &[Option<DayHours>; 7],
    now: Timestamp,
) -> Done<()> {
    let mut tx = change(desk, lead).await?;
    duty::keep_hours(&mut tx, lead.practice, days).await?;
    let open = days.iter().filter(|day| day.is_some()).count();
    let subject = format!("practice:{}", lead.practice);
    note(&mut tx, lead, "hours.keep", &subject, &format!("open_days={open}"), now).await?;
    finish(desk, tx, lead.practice).await
}
