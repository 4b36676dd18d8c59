//! What nobody has seen to yet: the ladders that run, the alarms that are open, and who says that they see to one.

use jiff::SignedDuration;
use jiff::Timestamp;

pub(in crate::care) mod of_practice;
mod things;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::ladder;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::AlarmId;
use crate::ids::LadderId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::alarms;
use crate::store::alarms::Alarm;
use crate::store::alarms::AlarmKind;
use crate::store::jobs;
use crate::store::jobs::JobState;
use crate::store::ladders;
use crate::store::ladders::FiredRung;
use crate::store::ladders::Ladder;
use crate::store::ladders::LadderState;
use crate::store::notices;
use crate::store::notices::NoticeState;
use crate::store::notices::Recipient;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::triage::LadderKind;
use crate::triage::Told;

pub use things::CallThing;
pub use things::CheckThing;
pub use things::For;
pub use things::LetterThing;
pub use things::Thing;
pub use things::Whom;
pub use things::thing;

/// What waits for somebody, in numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Waiting {
    /// Ladders that run.
    pub called: usize,
    /// Of them, for a check of the most urgent class.
    pub emergencies: usize,
    /// Alarms that nobody has taken, about something no ladder runs for.
    pub alarms: usize,
}

/// What waits for somebody in this member's practice.
pub async fn waiting(conn: &mut Conn, member: &StaffMember) -> Done<Waiting> {
    let running = ladders::all_running(conn, member.practice).await?;
    let open = alarms::open(conn, member.practice).await?;
    let alone =
        |alarm: &&Alarm| alarm.taken_by.is_none() && running.iter().all(|ladder| ladder.about != alarm.about);
    Ok(Waiting {
        called: running.len(),
        emergencies: running.iter().filter(|ladder| ladder.kind == LadderKind::GoNow).count(),
        alarms: open.iter().filter(alone).count(),
    })
}

/// Somebody a rung told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ToldPerson {
    pub name: String,
    /// A message to them could not be addressed: they have no address that works.
    pub unreachable: bool,
}

/// A rung that fired, and whom it told.
#[derive(Clone, Debug)]
pub struct FiredTo {
    pub rung: FiredRung,
    /// Empty where the patient was told, or nobody.
    pub people: Vec<ToldPerson>,
}

/// What comes next if nobody acts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NextRung {
    pub told: Told,
    pub due: Timestamp,
}

/// A ladder that runs.
#[derive(Clone, Debug)]
pub struct Running {
    pub ladder: Ladder,
    pub thing: Thing,
    pub rungs: Vec<FiredTo>,
    /// `None`: it is being done just now.
    pub next: Option<NextRung>,
    /// What else is wrong about the same thing.
    pub alarms: Vec<Alarm>,
}

/// A ladder that somebody stopped by saying that they see to it, while the thing still waits.
#[derive(Clone, Debug)]
pub struct SeenTo {
    pub thing: Thing,
    pub kind: LadderKind,
    pub by: String,
    pub since: Timestamp,
    /// From then on somebody is called again.
    pub until: Timestamp,
}

/// An alarm that is open.
#[derive(Clone, Debug)]
pub struct OpenAlarm {
    pub alarm: Alarm,
    pub thing: Thing,
    /// Who sees to it; `None`: nobody said so.
    pub taken_by: Option<String>,
}

/// Everything the page shows.
#[derive(Clone, Debug)]
pub struct Board {
    pub practice: Practice,
    pub running: Vec<Running>,
    pub seen_to: Vec<SeenTo>,
    pub alarms: Vec<OpenAlarm>,
}

/// Reads it all, and notes that the member saw it.
pub async fn board(desk: &Desk, member: &StaffMember, now: Timestamp) -> Done<Board> {
    record::note_list_view(desk, member, "alarms.view", now).await?;
    let mut conn = desk.db.read().await?;
    let practice = practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
    let staff = staff::of_practice(&mut conn, member.practice).await?;
    let mut open = alarms::open(&mut conn, member.practice).await?;
    let mut running = Vec::new();
    for ladder in ladders::all_running(&mut conn, member.practice).await? {
        let (about, others) = open.into_iter().partition(|alarm: &Alarm| alarm.about == ladder.about);
        open = others;
        running.push(one_running(&mut conn, ladder, about, &staff).await?);
    }
    running.sort_by_key(|one| (one.ladder.kind, one.ladder.begun));
    let mut all = Vec::new();
    for alarm in open {
        let thing = thing(&mut conn, member.practice, &alarm.about).await?;
        let taken_by = alarm.taken_by.map(|id| name_of(&staff, id));
        all.push(OpenAlarm { alarm, thing, taken_by });
    }
    let seen_to = seen_to(&mut conn, member, &staff, now).await?;
    Ok(Board { practice, running, seen_to, alarms: all })
}

async fn one_running(
    conn: &mut Conn,
    ladder: Ladder,
    alarms: Vec<Alarm>,
    staff: &[StaffMember],
) -> Done<Running> {
    let practice = ladder.practice;
    let mut rungs = Vec::new();
    for rung in ladders::rungs(conn, practice, ladder.id).await? {
        let about = format!("ladder:{} rung:{}", ladder.id, rung.number);
        let mut people = Vec::new();
        for notice in notices::about(conn, practice, &about).await? {
            if let Recipient::Staff(id) = notice.recipient {
                let unreachable = notice.state == NoticeState::Nobody;
                people.push(ToldPerson { name: name_of(staff, id), unreachable });
            }
        }
        people.sort_by(|one, other| one.name.cmp(&other.name));
        rungs.push(FiredTo { rung, people });
    }
    let times = practices::ladder_times(conn, practice).await?.ok_or(CareError::NotFound)?;
    let waits = jobs::about(conn, practice, &ladder.id.to_string()).await?;
    let next = waits.iter().find(|job| job.state == JobState::Waiting);
    let next = next.map(|job| NextRung { told: times.rung(ladder.kind, rungs.len()).told, due: job.due });
    let thing = thing(conn, practice, &ladder.about).await?;
    Ok(Running { ladder, thing, rungs, next, alarms })
}

/// What somebody says they see to: there the next ladder waits for them.
async fn seen_to(
    conn: &mut Conn,
    member: &StaffMember,
    staff: &[StaffMember],
    now: Timestamp,
) -> Done<Vec<SeenTo>> {
    let mut all = Vec::new();
    for ladder in ladders::stopped_since(conn, member.practice, now - ladder::SEEN_TO_WITHIN).await? {
        let (Some(by), Some(since)) = (ladder.stopped_by, ladder.ended) else { continue };
        let thing = thing(conn, member.practice, &ladder.about).await?;
        let goes_on = ladders::running(conn, member.practice, &ladder.about).await?.is_some();
        if thing.is_waiting() && !goes_on {
            let until = since + ladder::SEEN_TO_WITHIN;
            all.push(SeenTo { thing, kind: ladder.kind, by: name_of(staff, by), since, until });
        }
    }
    Ok(all)
}

/// What came of "I see to it".
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Press {
    /// It is the member's now, or was before.
    Yours,
    /// Somebody else said so first.
    Theirs { by: String, since: Timestamp },
    /// Nobody needs to any more.
    Over,
}

/// A person says that they see to what a ladder runs for: it stops, for ten minutes. Surgeons and the office do.
pub async fn see_to_ladder(desk: &Desk, member: &StaffMember, id: LadderId, now: Timestamp) -> Done<Press> {
    if !(member.roles.surgeon || member.roles.office) {
        return Err(CareError::NotAllowed);
    }
    match ladder::acknowledge(desk, member, id, now).await {
        Ok(()) => return Ok(Press::Yours),
        Err(CareError::AlreadyDone) => {}
        Err(other) => return Err(other),
    }
    let mut conn = desk.db.read().await?;
    let ladder = ladders::find(&mut conn, member.practice, id).await?.ok_or(CareError::NotFound)?;
    match (ladder.state, ladder.stopped_by, ladder.ended) {
        (LadderState::Stopped, Some(by), Some(since)) => press_of(&mut conn, member, by, since).await,
        (LadderState::Stopped | LadderState::Running | LadderState::Replaced, _, _) => Ok(Press::Over),
    }
}

/// A person says that they see to an alarm.
pub async fn see_to_alarm(desk: &Desk, member: &StaffMember, id: AlarmId, now: Timestamp) -> Done<Press> {
    let mut tx = desk.db.write().await?;
    let alarm = alarms::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    if alarms::take(&mut tx, member.practice, id, member.id, now).await? {
        note(&mut tx, member, "alarm.take", &alarm, now).await?;
        tx.commit().await?;
        desk.tell(member.practice);
        return Ok(Press::Yours);
    }
    let alarm = alarms::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    match (alarm.taken_by, alarm.taken) {
        (Some(by), Some(since)) => press_of(&mut tx, member, by, since).await,
        (Some(_) | None, _) => Ok(Press::Over),
    }
}

/// What is wrong is over, because a person says so. Refused for what ends by itself when it is no longer so.
pub async fn end_alarm(desk: &Desk, member: &StaffMember, id: AlarmId, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let alarm = alarms::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    // What a surgeon was asked, a surgeon answers.
    let is_anothers = alarm.kind == AlarmKind::SurgeonAsked && !member.roles.surgeon;
    if !ends_by_hand(alarm.kind) || is_anothers {
        return Err(CareError::NotAllowed);
    }
    alarms::take(&mut tx, member.practice, id, member.id, now).await?;
    if !alarms::end(&mut tx, member.practice, alarm.kind, &alarm.about, now).await? {
        return Err(CareError::AlreadyDone);
    }
    match thing(&mut tx, member.practice, &alarm.about).await? {
        Thing::Letter(letter) => {
            if let Some(delivery) = letter.delivery {
                jobs::set_aside(&mut tx, member.practice, &delivery.id.to_string(), now).await?;
            }
        }
        Thing::Job(job) => jobs::set_aside(&mut tx, member.practice, &job.about, now).await?,
        Thing::Check(_) | Thing::Call(_) | Thing::Silent(_) | Thing::Look(_) | Thing::House => {}
    }
    note(&mut tx, member, "alarm.end", &alarm, now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// Whether a person says when an alarm of this kind is over; the others end with what they are about.
pub fn ends_by_hand(kind: AlarmKind) -> bool {
    match kind {
        AlarmKind::SurgeonAsked
        | AlarmKind::LetterFailed
        | AlarmKind::JobFailed
        | AlarmKind::PasswordGuessed
        | AlarmKind::LinkFloods
        | AlarmKind::ExportAsked
        | AlarmKind::ExportTaken
        | AlarmKind::ListNotWritten
        | AlarmKind::ClockSetBack => true,
        AlarmKind::Unopened
        | AlarmKind::Overdue
        | AlarmKind::NobodyToTell
        | AlarmKind::QueueOld
        | AlarmKind::DrillMissing
        | AlarmKind::LinksGuessed
        | AlarmKind::EnvelopeOpened
        | AlarmKind::EnvelopeGuessed
        | AlarmKind::DiskFilling
        | AlarmKind::BooksDamaged
        | AlarmKind::PhotoDamaged
        | AlarmKind::TextUnreadable
        | AlarmKind::BackupOld
        | AlarmKind::RestoreUnproved
        | AlarmKind::NoPageOpen
        | AlarmKind::NobodySignedIn => false,
    }
}

async fn press_of(conn: &mut Conn, member: &StaffMember, by: StaffId, since: Timestamp) -> Done<Press> {
    if by == member.id {
        return Ok(Press::Yours);
    }
    let found = staff::find(conn, member.practice, by).await?;
    Ok(Press::Theirs { by: found.map_or_else(|| "A colleague".to_owned(), |one| one.name), since })
}

async fn note(
    conn: &mut Conn,
    member: &StaffMember,
    action: &str,
    alarm: &Alarm,
    now: Timestamp,
) -> Done<()> {
    let (actor, detail) = (Actor::Staff(member.id), format!("kind={}", alarm.kind.code()));
    Ok(record::note(conn, member.practice, actor, action, &alarm.about, &detail, now).await?)
}

fn name_of(staff: &[StaffMember], id: StaffId) -> String {
    staff
        .iter()
        .find(|member| member.id == id)
        .map_or_else(|| "a colleague".to_owned(), |one| one.name.clone())
}

/// How long whoever says "I see to it" has before somebody is called again.
pub const SEEN_TO_WITHIN: SignedDuration = ladder::SEEN_TO_WITHIN;
