//! The drill: a ladder about nobody, begun by the calendar or by a lead, and ended by the person who opens it. Nobody's
//! patient is in it and no figure counts it; how long it took is what it is for.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::ToSpan;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::ladder;
use crate::care::record;
use crate::care::record::Actor;
use crate::duty::DAY_MINUTES;
use crate::duty::instant;
use crate::ids::DrillId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::attendance;
use crate::store::attendance::DrillTime;
use crate::store::attendance::WatchSettings;
use crate::store::canary;
use crate::store::drills;
use crate::store::drills::Drill;
use crate::store::ladders;
use crate::store::practices;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::triage::LadderKind;

/// A drill whose time passed while the server was off, or while something real was urgent, is begun up to this much later.
const LATE_BY: SignedDuration = SignedDuration::from_hours(1);
/// Half a year of weekly drills.
const SHOWN: i64 = 26;

/// What the lead's page shows.
#[derive(Clone, Debug)]
pub struct Board {
    pub settings: WatchSettings,
    /// Newest first.
    pub drills: Vec<Drill>,
    /// Everybody, those switched off too.
    pub staff: Vec<StaffMember>,
}

/// What a lead typed.
#[derive(Clone, Debug, Default)]
pub struct Typed {
    /// "1" to "7"; empty: by hand only.
    pub weekday: String,
    /// Such as "10:30".
    pub time: String,
    pub queue_oldest_hours: String,
}

pub async fn board(desk: &Desk, lead: &StaffMember) -> Done<Board> {
    must_lead(lead)?;
    let mut conn = desk.db.read().await?;
    Ok(Board {
        settings: attendance::settings(&mut conn, lead.practice).await?.ok_or(CareError::NotFound)?,
        drills: drills::newest(&mut conn, lead.practice, SHOWN).await?,
        staff: staff::of_practice(&mut conn, lead.practice).await?,
    })
}

/// Keeps when drills are, and how long the oldest check may wait.
pub async fn set(desk: &Desk, lead: &StaffMember, typed: &Typed, now: Timestamp) -> Done<()> {
    must_lead(lead)?;
    let mut faults = Vec::new();
    let drill = drill_time(typed, &mut faults);
    let hours: Option<i64> =
        typed.queue_oldest_hours.trim().parse().ok().filter(|hours| (1..=168).contains(hours));
    if hours.is_none() {
        faults.push(Fault::new("queue_oldest_hours", "Enter whole hours from 1 to 168."));
    }
    let Some(hours) = hours.filter(|_| faults.is_empty()) else { return Err(CareError::Entered(faults)) };
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, lead.practice).await?;
    attendance::set_drill_time(&mut tx, lead.practice, drill).await?;
    attendance::set_queue_oldest(&mut tx, lead.practice, hours).await?;
    let detail = match drill {
        Some(drill) => {
            format!("weekday={} minute={} queue_oldest_hours={hours}", drill.weekday, drill.minute)
        }
        None => format!("drill=by_hand queue_oldest_hours={hours}"),
    };
    let subject = format!("practice:{}", lead.practice);
    record::note(&mut tx, lead.practice, Actor::Staff(lead.id), "watch.set", &subject, &detail, now).await?;
    Ok(tx.commit().await?)
}

fn drill_time(typed: &Typed, faults: &mut Vec<Fault>) -> Option<DrillTime> {
    let weekday = typed.weekday.trim();
    if weekday.is_empty() {
        return None;
    }
    let day = weekday.parse().ok().filter(|day| (1..=7).contains(day));
    if day.is_none() {
        faults.push(Fault::new("weekday", "Choose a day, or “by hand only”."));
    }
    let minute = minute_of(typed.time.trim());
    if minute.is_none() {
        faults.push(Fault::new("time", "Enter a time such as 10:30."));
    }
    day.zip(minute).map(|(weekday, minute)| DrillTime { weekday, minute })
}

fn minute_of(time: &str) -> Option<i64> {
    let (hour, minute) = time.split_once(':')?;
    let (hour, minute): (i64, i64) = (hour.parse().ok()?, minute.parse().ok()?);
    ((0..24).contains(&hour) && (0..60).contains(&minute)).then_some(hour * 60 + minute)
}

/// A lead begins one by hand. Refused while one runs, or while something real is urgent.
pub async fn begin(desk: &Desk, lead: &StaffMember, moment: &Moment) -> Done<()> {
    must_lead(lead)?;
    if begin_in(desk, lead.practice, Some(lead.id), moment).await? {
        Ok(())
    } else {
        Err(CareError::AlreadyDone)
    }
}

/// Begins the drill of the calendar when its time has come.
pub(in crate::care) async fn see_to(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<()> {
    let is_time = {
        let mut conn = desk.db.read().await?;
        if canary::practice(&mut conn).await? == Some(practice) {
            return Ok(());
        }
        is_time(&mut conn, practice, moment.now).await?
    };
    if is_time {
        begin_in(desk, practice, None, moment).await?;
    }
    Ok(())
}

async fn is_time(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Done<bool> {
    let settings = attendance::settings(conn, practice).await?;
    let Some(drill) = settings.and_then(|settings| settings.drill) else { return Ok(false) };
    let Some(found) = practices::find(conn, practice).await? else { return Ok(false) };
    let today = now.to_zoned_datetime(found.zone.clone()).date();
    // A drill shortly before midnight may begin on the day after its own.
    let days = [today.checked_sub(1.days()).ok(), Some(today)];
    let due = days
        .into_iter()
        .flatten()
        .filter(|day| i64::from(day.weekday().to_monday_one_offset()) == drill.weekday)
        .filter_map(|day| instant(day, drill.minute.min(DAY_MINUTES - 1), &found.zone))
        .find(|due| *due <= now && now.duration_since(*due) <= LATE_BY);
    let Some(due) = due else { return Ok(false) };
    Ok(drills::newest(conn, practice, 1).await?.first().is_none_or(|last| last.begun < due))
}

async fn begin_in(desk: &Desk, practice: PracticeId, by: Option<StaffId>, moment: &Moment) -> Done<bool> {
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, practice).await?;
    let real = ladders::all_running(&mut tx, practice).await?;
    if real.iter().any(|ladder| ladder.kind != LadderKind::Overdue) {
        return Ok(false);
    }
    let Some(drill) = drills::begin(&mut tx, practice, by, moment).await? else { return Ok(false) };
    let about = about(drill.id);
    let actor = by.map_or(Actor::Program, Actor::Staff);
    record::note(&mut tx, practice, actor, "drill.begin", &about, "", moment.now).await?;
    ladder::begin(&mut tx, practice, &about, LadderKind::GoNow, moment).await?;
    tx.commit().await?;
    desk.tell(practice);
    Ok(true)
}

/// The drill that nobody has opened yet.
pub async fn running(desk: &Desk, member: &StaffMember) -> Done<Option<Drill>> {
    Ok(drills::running(&mut *desk.db.read().await?, member.practice).await?)
}

/// Opens a drill: that answers it, and its ladder stops. One that somebody answered before is shown all the same.
pub async fn open(desk: &Desk, member: &StaffMember, id: DrillId, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let drill = drills::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    if drill.answered.is_none() {
        ladder::stop(&mut tx, member, &about(id), now).await?;
    }
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// A drill, and the name of who answered it.
pub async fn view(desk: &Desk, member: &StaffMember, id: DrillId) -> Done<(Drill, Option<String>)> {
    let mut conn = desk.db.read().await?;
    let drill = drills::find(&mut conn, member.practice, id).await?.ok_or(CareError::NotFound)?;
    let by = match drill.answered {
        Some((by, _)) => staff::find(&mut conn, member.practice, by).await?.map(|member| member.name),
        None => None,
    };
    Ok((drill, by))
}

/// A person acts on what a ladder is about: when that is a drill, it is answered. Part of [`ladder::stop`].
pub(in crate::care) async fn answered(
    conn: &mut Conn,
    member: &StaffMember,
    about: &str,
    now: Timestamp,
) -> Done<()> {
    let Some(id) = of(about) else { return Ok(()) };
    if drills::answer(conn, member.practice, id, member.id, now).await? {
        record::note(conn, member.practice, Actor::Staff(member.id), "drill.answer", about, "", now).await?;
    }
    Ok(())
}

/// What a drill's ladder is about.
fn about(id: DrillId) -> String {
    format!("drill:{id}")
}

/// The drill something is about; `None`: something real.
pub(in crate::care) fn of(about: &str) -> Option<DrillId> {
    about.strip_prefix("drill:").and_then(|id| id.parse().ok())
}

/// Whether a drill still waits for somebody.
pub(in crate::care) async fn waits(conn: &mut Conn, practice: PracticeId, id: DrillId) -> Done<bool> {
    Ok(drills::running(conn, practice).await?.is_some_and(|drill| drill.id == id))
}

fn must_lead(member: &StaffMember) -> Done<()> {
    if member.roles.lead { Ok(()) } else { Err(CareError::NotAllowed) }
}
