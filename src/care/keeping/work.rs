//! The daily work: whatever has been kept for long enough goes, patient by patient, each in one transaction with its tombstone and
//! its line in the record. Stopped anywhere, the next look goes on.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::ToSpan;

use crate::care::Desk;
use crate::care::Done;
use crate::care::keeping::days_before;
use crate::care::keeping::due;
use crate::care::keeping::held;
use crate::care::keeping::wait;
use crate::care::keeping::years_before;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::working::Worked;
use crate::duty::instant;
use crate::ids::Moment;
use crate::ids::PatientId;
use crate::ids::PracticeId;
use crate::ids::TombstoneId;
use crate::store::Conn;
use crate::store::audit;
use crate::store::audit_chain::ChainReader;
use crate::store::audit_chain::RecordHead;
use crate::store::jobs;
use crate::store::jobs::Job;
use crate::store::jobs::JobKind;
use crate::store::jobs::Queueing;
use crate::store::keepings;
use crate::store::keepings::Keeping;
use crate::store::legal_holds;
use crate::store::orphans;
use crate::store::patients;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::purge;
use crate::store::purge_letters;
use crate::store::purge_letters::TakenRows;
use crate::store::tombstones;
use crate::store::tombstones::Gone;
use crate::store::tombstones::Tombstone;
use crate::store::wounds;

/// When the day's look is, in minutes after midnight of the practice's own clock: when hardly anybody is at work.
const LOOK_AT: i64 = 3 * 60;
/// A look that comes so long after the last one waits, and tells the leads: the server was off, its books came out of a back-up, or
/// its clock was set wrong, and what goes never comes back (ours).
pub const GAP: SignedDuration = SignedDuration::from_hours(7 * 24);
/// A clock that is kept right goes back by less than this.
const BACK: SignedDuration = SignedDuration::from_hours(1);
/// A photo's file stays for so long after its key is gone: a back-up that is being made may carry it still.
pub const FILES_WAIT: SignedDuration = SignedDuration::from_hours(12);
/// So much in one go: a job that takes too long is done by two.
const PATIENTS: usize = 25;
const LETTERS: i64 = 200;
const LINES: i64 = 2_000;
const FILES: i64 = 500;

/// Sees to it that the daily look is queued where a lead confirmed the numbers. Harmless when it is.
pub async fn ensure(desk: &Desk, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    for practice in practices::all(&mut tx).await? {
        if keepings::find(&mut tx, practice.id).await?.is_some() {
            begin(&mut tx, &practice, moment).await?;
        }
    }
    Ok(tx.commit().await?)
}

pub(in crate::care::keeping) async fn begin(
    conn: &mut Conn,
    practice: &Practice,
    moment: &Moment,
) -> Done<()> {
    let (about, once_key) = (practice.id.to_string(), format!("purge:{}", practice.id));
    let due = next_look(practice, moment.now);
    let look =
        Queueing { practice: practice.id, kind: JobKind::Purge, about: &about, once_key: &once_key, due };
    jobs::enqueue(conn, look, moment).await?;
    Ok(())
}

/// The next three o'clock in the morning.
fn next_look(practice: &Practice, now: Timestamp) -> Timestamp {
    let today = now.to_zoned_datetime(practice.zone.clone()).date();
    let days = [Some(today), today.checked_add(1.days()).ok()];
    let mut looks = days.into_iter().flatten().filter_map(|day| instant(day, LOOK_AT, &practice.zone));
    looks.find(|at| *at > now).unwrap_or(now + SignedDuration::from_hours(24))
}

/// What one pass came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pass {
    /// There is more to do at once.
    More,
    Done,
}

/// The daily job.
pub(in crate::care) async fn work(desk: &Desk, job: &Job, moment: &Moment) -> Done<Worked> {
    let practice = practices::find(&mut *desk.db.read().await?, job.practice).await?;
    let due = match practice {
        Some(practice) => match pass(desk, &practice, moment).await? {
            Pass::More => moment.now,
            Pass::Done => next_look(&practice, moment.now),
        },
        None => moment.now + SignedDuration::from_hours(24),
    };
    let mut tx = desk.db.write().await?;
    if !jobs::put_off(&mut tx, job, due, "").await? {
        return Ok(Worked::InOtherHands);
    }
    tx.commit().await?;
    Ok(Worked::PutOff)
}

/// Looks what is due now, and takes a part of it away.
pub async fn pass(desk: &Desk, practice: &Practice, moment: &Moment) -> Done<Pass> {
    let Some(keeping) = look(desk, practice.id, moment).await? else { return Ok(Pass::Done) };
    if moment.now < keeping.waits_until {
        return Ok(Pass::Done);
    }
    let due = {
        let mut conn = desk.db.read().await?;
        let holds = legal_holds::in_force(&mut conn, practice.id).await?;
        if holds.iter().any(|hold| hold.patient.is_none()) {
            return Ok(Pass::Done);
        }
        let held = held(&mut conn, practice.id, &holds).await?;
        due::patients(&mut conn, practice, &keeping.numbers, &held, moment.now, PATIENTS).await?
    };
    // One record that does not go keeps nothing else back.
    let (mut gone, mut refused) = (0, None);
    for one in &due {
        match take_patient(desk, practice, one.patient, moment).await {
            Ok(()) => gone += 1,
            Err(fault) => {
                tracing::error!(patient = %one.patient, %fault, "a record whose time is over did not go");
                refused = Some(fault);
            }
        }
    }
    let is_full = due.len() == PATIENTS && gone > 0
        || take_letters(desk, practice, moment).await?
        || take_passing(desk, practice, moment).await?
        || cut_record(desk, practice, moment).await?
        || remove_files(desk, practice.id, moment.now).await?;
    if is_full {
        return Ok(Pass::More);
    }
    // What stands in SQLite's log still holds the rows as they were.
    desk.db.settle().await?;
    refused.map_or(Ok(Pass::Done), Err)
}

/// Notes that somebody looks. After a gap, or when the clock went back, everything waits for a week, and the leads are told.
/// `None`: nobody confirmed any numbers.
async fn look(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<Option<Keeping>> {
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, practice).await?;
    let Some(mut keeping) = keepings::find(&mut tx, practice).await? else { return Ok(None) };
    let since = moment.now.duration_since(keeping.looked);
    if since > GAP || since < -BACK {
        let why = format!("gap_h={}", since.as_hours());
        keeping.waits_until = wait(&mut tx, practice, &why, moment).await?.unwrap_or(keeping.waits_until);
    }
    keepings::note_look(&mut tx, practice, moment.now).await?;
    tx.commit().await?;
    Ok(Some(keeping))
}

/// What may go now, read again within the transaction in which it goes; `None`: nothing may.
async fn may_go(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Done<Option<Keeping>> {
    practices::hold(conn, practice).await?;
    let keeping = keepings::find(conn, practice).await?;
    Ok(keeping.filter(|keeping| now >= keeping.waits_until))
}

/// The same, for what a hold on anybody keeps.
async fn may_all_go(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Done<Option<Keeping>> {
    let keeping = may_go(conn, practice, now).await?;
    let holds = legal_holds::in_force(conn, practice).await?;
    Ok(keeping.filter(|_| holds.is_empty()))
}

/// One patient, whole. Nothing happens when a hold was placed meanwhile, or somebody touched the record.
async fn take_patient(desk: &Desk, practice: &Practice, id: PatientId, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    // A step that reads and then writes about a wound holds it first, before the practice.
    for wound in wounds::of_patient(&mut tx, practice.id, id).await? {
        wounds::hold(&mut tx, practice.id, wound.id).await?;
    }
    let Some(keeping) = may_go(&mut tx, practice.id, moment.now).await? else { return Ok(()) };
    let holds = legal_holds::in_force(&mut tx, practice.id).await?;
    let held = held(&mut tx, practice.id, &holds).await?;
    if holds.iter().any(|hold| hold.patient.is_none()) || held.contains(&id) {
        return Ok(());
    }
    let Some(patient) = patients::find(&mut tx, practice.id, id).await? else { return Ok(()) };
    let whose = (id, patient.born);
    let Some(due) = due::is_due(&mut tx, practice, &keeping.numbers, whose, moment.now).await? else {
        return Ok(());
    };
    let Some(taken) = purge::take(&mut tx, practice.id, id).await? else { return Ok(()) };
    for file in &taken.files {
        tombstones::insert_file(&mut tx, practice.id, file, moment.now).await?;
    }
    let stone = Tombstone {
        files: taken.files.len() as i64,
        ..stone(practice.id, Gone::Patient, &due.rule, (taken.rows, taken.sha256), moment)
    };
    tombstones::insert(&mut tx, &stone).await?;
    note(&mut tx, "patient.purge", &format!("patient:{id}"), &stone).await?;
    Ok(tx.commit().await?)
}

fn stone(
    practice: PracticeId,
    gone: Gone,
    rule: &str,
    (rows, sha256): (i64, String),
    moment: &Moment,
) -> Tombstone {
    let id = TombstoneId::mint(moment);
    Tombstone { id, practice, gone, rule: rule.to_owned(), at: moment.now, rows, files: 0, sha256 }
}

async fn note(conn: &mut Conn, action: &str, subject: &str, stone: &Tombstone) -> Done<()> {
    let detail = format!("{} rows={} files={} sha256={}", stone.rule, stone.rows, stone.files, stone.sha256);
    Ok(record::note(conn, stone.practice, Actor::Program, action, subject, &detail, stone.at).await?)
}

/// Letters that were sent, and work that failed. True: there may be more.
async fn take_letters(desk: &Desk, practice: &Practice, moment: &Moment) -> Done<bool> {
    let mut tx = desk.db.write().await?;
    let Some(keeping) = may_all_go(&mut tx, practice.id, moment.now).await? else { return Ok(false) };
    let days = keeping.numbers.letters_days;
    let before = days_before(moment.now, days);
    let taken = purge_letters::take_letters(&mut tx, practice.id, before, LETTERS).await?;
    let is_full = taken.is_full;
    bury(
        &mut tx,
        practice.id,
        (Gone::Letters, "letters.purge"),
        &format!("letters_days={days}"),
        taken,
        moment,
    )
    .await?;
    tx.commit().await?;
    Ok(is_full)
}

/// Half-filled checks, and sessions of staff that ended. Never true: it is all in one go.
async fn take_passing(desk: &Desk, practice: &Practice, moment: &Moment) -> Done<bool> {
    let mut tx = desk.db.write().await?;
    let Some(keeping) = may_all_go(&mut tx, practice.id, moment.now).await? else { return Ok(false) };
    let days = keeping.numbers.passing_days;
    let taken = purge_letters::take_passing(&mut tx, practice.id, days_before(moment.now, days)).await?;
    bury(
        &mut tx,
        practice.id,
        (Gone::Passing, "passing.purge"),
        &format!("passing_days={days}"),
        taken,
        moment,
    )
    .await?;
    tx.commit().await?;
    Ok(false)
}

async fn bury(
    conn: &mut Conn,
    practice: PracticeId,
    (gone, action): (Gone, &str),
    rule: &str,
    taken: TakenRows,
    moment: &Moment,
) -> Done<()> {
    if taken.rows == 0 {
        return Ok(());
    }
    let stone = stone(practice, gone, rule, (taken.rows, taken.sha256), moment);
    tombstones::insert(conn, &stone).await?;
    note(conn, action, &format!("practice:{practice}"), &stone).await
}

/// The oldest lines of the record, as far as they are whole: what is broken stays for whoever looks into it. True: there may be more.
async fn cut_record(desk: &Desk, practice: &Practice, moment: &Moment) -> Done<bool> {
    let mut tx = desk.db.write().await?;
    let Some(keeping) = may_all_go(&mut tx, practice.id, moment.now).await? else { return Ok(false) };
    let years = keeping.numbers.record_years;
    let Some(before) = years_before(practice, moment.now, years) else { return Ok(false) };
    let start = audit::start(&mut tx, practice.id).await?;
    let Ok(mut reader) = ChainReader::after(&start, []) else { return Ok(false) };
    let (mut last, mut lines) = (None, 0);
    for line in audit::oldest(&mut tx, practice.id, LINES).await? {
        if line.at >= before {
            break;
        }
        if let Err(flaw) = reader.take(&line) {
            tracing::error!(practice = %practice.id, line = flaw.place(), "the record is broken: its oldest lines stay");
            return Ok(false);
        }
        lines += 1;
        last = Some(line);
    }
    let Some(last) = last else { return Ok(false) };
    let upto =
        RecordHead { practice: practice.id, sequence: last.sequence, sha256: last.sha256, at: last.at };
    let subject = format!("practice:{}", practice.id);
    let detail = audit::cut_detail(&upto);
    record::note(&mut tx, practice.id, Actor::Program, audit::CUT, &subject, &detail, moment.now).await?;
    audit::cut(&mut tx, practice.id, &upto).await?;
    // The hash of the last line covers every one before it.
    let gone =
        stone(practice.id, Gone::Record, &format!("record_years={years}"), (lines, upto.sha256), moment);
    tombstones::insert(&mut tx, &gone).await?;
    tx.commit().await?;
    Ok(lines == LINES)
}

/// Takes away photo files that nothing opens any more. True: there may be more.
async fn remove_files(desk: &Desk, practice: PracticeId, now: Timestamp) -> Done<bool> {
    let (files, named) = {
        let mut conn = desk.db.read().await?;
        let files = tombstones::files_since(&mut conn, practice, now - FILES_WAIT, FILES).await?;
        if files.is_empty() {
            return Ok(false);
        }
        (files, orphans::named_by_rows(&mut conn).await?)
    };
    for file in &files {
        if !named.has(file.as_str()) {
            desk.blobs.remove(file).await?;
        }
    }
    let mut tx = desk.db.write().await?;
    for file in &files {
        tombstones::forget_file(&mut tx, practice, file).await?;
    }
    tx.commit().await?;
    Ok(files.len() as i64 == FILES)
}
