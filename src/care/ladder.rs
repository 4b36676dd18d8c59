//! Ladders are begun with what is urgent, climbed rung by rung, and stopped by a person.
//!
//! A rung fires in one transaction: that it fired, whom it tells, and the job of the next rung. Killed anywhere, the rung
//! either fired whole or its job is still there.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::drill;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::working::Worked;
use crate::duty::Rank;
use crate::guards;
use crate::guards::Guard;
use crate::ids::LadderId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::ids::WoundId;
use crate::store::Conn;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::callbacks;
use crate::store::checks;
use crate::store::duty;
use crate::store::jobs;
use crate::store::jobs::Job;
use crate::store::jobs::JobKind;
use crate::store::jobs::Queueing;
use crate::store::ladders;
use crate::store::ladders::FiredRung;
use crate::store::ladders::Ladder;
use crate::store::ladders::LadderState;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::practices;
use crate::store::silences;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::wounds;
use crate::triage::LadderKind;
use crate::triage::Told;

/// Whoever says that they see to something has this long before a new ladder begins (ours).
pub(in crate::care) const SEEN_TO_WITHIN: SignedDuration = SignedDuration::from_mins(10);

/// Begins a ladder about something the caller holds. One that runs and is as urgent goes on; a less urgent one is replaced.
pub(in crate::care) async fn begin(
    conn: &mut Conn,
    practice: PracticeId,
    about: &str,
    kind: LadderKind,
    moment: &Moment,
) -> Done<()> {
    if let Some(running) = ladders::running(conn, practice, about).await? {
        // Codes are declared most urgent first.
        if running.kind <= kind {
            return Ok(());
        }
        ladders::replace(conn, &running, moment.now).await?;
    }
    let ladder = ladders::begin(conn, practice, about, kind, moment).await?;
    queue_rung(conn, &ladder, 0, moment.now, moment).await?;
    let detail = format!("kind={} round={}", kind.code(), ladder.round);
    Ok(record::note(conn, practice, Actor::Program, "ladder.begin", about, &detail, moment.now).await?)
}

/// A person acts on it: the ladder stops, in the transaction of what they do.
pub(in crate::care) async fn stop(
    conn: &mut Conn,
    member: &StaffMember,
    about: &str,
    now: Timestamp,
) -> Done<()> {
    if ladders::stop(conn, member.practice, about, member.id, now).await? {
        let actor = Actor::Staff(member.id);
        record::note(conn, member.practice, actor, "ladder.stop", about, "", now).await?;
    }
    alarms::end(conn, member.practice, AlarmKind::Unopened, about, now).await?;
    drill::answered(conn, member, about, now).await
}

/// What it was about is settled by itself: what was due came. Nothing is left to act on.
pub(in crate::care) async fn end_unneeded(
    conn: &mut Conn,
    practice: PracticeId,
    about: &str,
    now: Timestamp,
) -> Done<()> {
    if let Some(running) = ladders::running(conn, practice, about).await? {
        ladders::replace(conn, &running, now).await?;
        record::note(conn, practice, Actor::Program, "ladder.unneeded", about, "", now).await?;
    }
    for kind in [AlarmKind::Overdue, AlarmKind::SurgeonAsked, AlarmKind::NobodyToTell] {
        alarms::end(conn, practice, kind, about, now).await?;
    }
    Ok(())
}

/// Somebody said that they see to it, and has had no time to: the watch begins no new ladder yet.
pub(in crate::care) async fn somebody_sees_to_it(
    conn: &mut Conn,
    practice: PracticeId,
    about: &str,
    now: Timestamp,
) -> Done<bool> {
    let stopped = ladders::last_stopped(conn, practice, about).await?;
    // Stopped in what is still to come: the clock was set back, and how long they have had nobody knows.
    let within = SignedDuration::ZERO..SEEN_TO_WITHIN;
    Ok(stopped.is_some_and(|stopped| within.contains(&now.duration_since(stopped))))
}

/// A person says "I see to it" without opening it: they have ten minutes, then it climbs again. Refused when nothing runs.
pub async fn acknowledge(desk: &Desk, member: &StaffMember, id: LadderId, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let ladder = ladders::hold(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    if ladder.state != LadderState::Running {
        return Err(CareError::AlreadyDone);
    }
    stop(&mut tx, member, &ladder.about, now).await?;
    // Whatever else is wrong about it is theirs as well.
    alarms::take_about(&mut tx, member.practice, &ladder.about, member.id, now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// The ladders that run, each with its fired rungs.
pub async fn running(desk: &Desk, member: &StaffMember) -> Done<Vec<(Ladder, Vec<FiredRung>)>> {
    let mut conn = desk.db.read().await?;
    let mut all = Vec::new();
    for ladder in ladders::all_running(&mut conn, member.practice).await? {
        let rungs = ladders::rungs(&mut conn, member.practice, ladder.id).await?;
        all.push((ladder, rungs));
    }
    Ok(all)
}

/// Fires the next rung of a ladder, if it still runs.
pub(in crate::care) async fn climb(desk: &Desk, job: &Job, moment: &Moment) -> Done<Worked> {
    let id: LadderId = job.about.parse().map_err(|_| CareError::NotFound)?;
    let mut tx = desk.db.write().await?;
    let ladder = ladders::hold(&mut tx, job.practice, id).await?.ok_or(CareError::NotFound)?;
    if ladder.state == LadderState::Running {
        fire(&mut tx, &ladder, moment).await?;
    }
    // Somebody else has the job by now: nothing of this may stay.
    if !jobs::end(&mut tx, job, moment.now).await? {
        return Ok(Worked::InOtherHands);
    }
    tx.commit().await?;
    desk.tell(job.practice);
    Ok(Worked::Done)
}

async fn fire(conn: &mut Conn, ladder: &Ladder, moment: &Moment) -> Done<()> {
    let number = ladders::rungs(conn, ladder.practice, ladder.id).await?.len();
    let times = practices::ladder_times(conn, ladder.practice).await?.ok_or(CareError::NotFound)?;
    let told = times.rung(ladder.kind, number).told;
    let reached = tell(conn, ladder, told, number, moment).await?;
    let rung = FiredRung {
        ladder: ladder.id,
        number: number as i64,
        told,
        reached: reached as i64,
        fired: moment.now,
    };
    if !ladders::fire(conn, ladder.practice, &rung).await? {
        return Ok(());
    }
    let detail = format!("rung={number} told={} reached={reached}", told.code());
    let subject = format!("ladder:{}", ladder.id);
    record::note(conn, ladder.practice, Actor::Program, "ladder.rung", &subject, &detail, moment.now).await?;
    let in_time =
        ladder.begun.saturating_add(times.rung(ladder.kind, number + 1).after).unwrap_or(moment.now);
    let next = in_time.max(moment.now + times.least_wait(ladder.kind, number + 1));
    // A drill is nobody's: no phone of a patient is missed in it.
    let is_missed = reached == 0 && !(told == Told::Patient && drill::of(&ladder.about).is_some());
    let due = if is_missed && guards::stands(Guard::NextWhenNobody) {
        alarms::raise(conn, ladder.practice, AlarmKind::NobodyToTell, &ladder.about, moment).await?;
        soonest_after_nobody(told, next, moment.now)
    } else {
        next
    };
    queue_rung(conn, ladder, number + 1, due, moment).await
}

/// Nobody was there: the next rung does not wait for its time, except above the last, where that would never end.
fn soonest_after_nobody(told: Told, next: Timestamp, now: Timestamp) -> Timestamp {
    match told {
        Told::OnDuty | Told::OnDutyEverywhere | Told::Second | Told::SurgeonByVoice => now,
        Told::Everyone | Told::Patient => next,
    }
}

async fn queue_rung(
    conn: &mut Conn,
    ladder: &Ladder,
    number: usize,
    due: Timestamp,
    moment: &Moment,
) -> Done<()> {
    let id = ladder.id.to_string();
    let once_key = format!("ladder:{id}:{number}");
    let climbing = Queueing {
        practice: ladder.practice,
        kind: JobKind::ClimbLadder,
        about: &id,
        once_key: &once_key,
        due,
    };
    jobs::enqueue(conn, climbing, moment).await?;
    Ok(())
}

/// Queues a notice to everyone a rung tells; says how many.
async fn tell(conn: &mut Conn, ladder: &Ladder, told: Told, number: usize, moment: &Moment) -> Done<usize> {
    let about = format!("ladder:{} rung:{number}", ladder.id);
    let kind = match told {
        Told::Patient => {
            let recipients = patients_links(conn, ladder).await?;
            for recipient in &recipients {
                notices::enqueue(conn, ladder.practice, NoticeKind::NotReached, *recipient, &about, moment)
                    .await?;
            }
            return Ok(recipients.len());
        }
        Told::OnDuty | Told::Second => NoticeKind::UrgentCheck,
        Told::OnDutyEverywhere | Told::Everyone => NoticeKind::UrgentCheckAgain,
        Told::SurgeonByVoice => NoticeKind::UrgentCheckByVoice,
    };
    let people = people(conn, ladder, told, moment.now).await?;
    for person in &people {
        notices::enqueue(conn, ladder.practice, kind, Recipient::Staff(*person), &about, moment).await?;
    }
    Ok(people.len())
}

/// Who is to be told by a rung.
async fn people(conn: &mut Conn, ladder: &Ladder, told: Told, at: Timestamp) -> Done<Vec<StaffId>> {
    let staff: Vec<StaffMember> =
        staff::of_practice(conn, ladder.practice).await?.into_iter().filter(|member| member.active).collect();
    let surgeons = || staff.iter().filter(|member| member.roles.surgeon).map(|member| member.id);
    let on_duty = on_duty(conn, ladder.practice, &staff, at).await?;
    Ok(match told {
        Told::OnDuty | Told::OnDutyEverywhere => on_duty.first,
        Told::Second if !on_duty.second.is_empty() => on_duty.second,
        Told::Second => surgeons().collect(),
        Told::SurgeonByVoice => {
            let operated = match wound_of(conn, ladder).await? {
                Some(wound) => wounds::find(conn, ladder.practice, wound).await?.map(|wound| wound.surgeon),
                None => None,
            };
            match operated.filter(|surgeon| surgeons().any(|id| id == *surgeon)) {
                Some(surgeon) => vec![surgeon],
                None => surgeons().collect(),
            }
        }
        Told::Everyone => staff.iter().map(|member| member.id).collect(),
        Told::Patient => Vec::new(),
    })
}

/// Whoever is on duty first, by the same rules as on a ladder. `staff`: those who are active.
pub(in crate::care) async fn first_on_duty(
    conn: &mut Conn,
    practice: PracticeId,
    staff: &[StaffMember],
    at: Timestamp,
) -> Done<Vec<StaffId>> {
    Ok(on_duty(conn, practice, staff, at).await?.first)
}

/// Who is on duty, by rank.
struct OnDuty {
    first: Vec<StaffId>,
    second: Vec<StaffId>,
}

/// By the roster; every surgeon where the practice keeps none yet. Whoever is switched off is told nothing.
async fn on_duty(
    conn: &mut Conn,
    practice: PracticeId,
    staff: &[StaffMember],
    at: Timestamp,
) -> Done<OnDuty> {
    let roster = duty::roster(conn, practice).await?;
    if roster.is_blank() && guards::stands(Guard::BlankRoster) {
        let surgeons = staff.iter().filter(|member| member.roles.surgeon).map(|member| member.id).collect();
        return Ok(OnDuty { first: surgeons, second: Vec::new() });
    }
    let on = roster.on_duty(at);
    let of = |rank: Rank| {
        let here =
            on.iter().filter(|one| one.rank == rank && staff.iter().any(|member| member.id == one.staff));
        here.map(|one| one.staff).collect()
    };
    Ok(OnDuty { first: of(Rank::First), second: of(Rank::Second) })
}

/// The link the check came by.
async fn patients_links(conn: &mut Conn, ladder: &Ladder) -> Done<Vec<Recipient>> {
    let Some(("check", id)) = ladder.about.split_once(':') else { return Ok(Vec::new()) };
    let id = id.parse().map_err(|_| CareError::NotFound)?;
    let check = checks::find(conn, ladder.practice, id).await?;
    Ok(check.map(|check| Recipient::Link(check.link)).into_iter().collect())
}

async fn wound_of(conn: &mut Conn, ladder: &Ladder) -> Done<Option<WoundId>> {
    Ok(match ladder.about.split_once(':') {
        Some(("check", id)) => {
            let id = id.parse().map_err(|_| CareError::NotFound)?;
            checks::find(conn, ladder.practice, id).await?.map(|check| check.wound)
        }
        Some(("callback", id)) => {
            let id = id.parse().map_err(|_| CareError::NotFound)?;
            callbacks::find(conn, ladder.practice, id).await?.map(|call| call.wound)
        }
        Some(("silence", id)) => {
            let id = id.parse().map_err(|_| CareError::NotFound)?;
            silences::find(conn, ladder.practice, id).await?.map(|silence| silence.wound)
        }
        Some(_) | None => None,
    })
}
