//! Whether the program can do its work now, and whether the outside may be told that it lives. No health information and no
//! name is in any of it.

use std::time::Duration;

use jiff::SignedDuration;
use jiff::Timestamp;
use serde::Serialize;

use crate::care::Desk;
use crate::care::Done;
use crate::care::attend;
use crate::care::attend::Attendance;
use crate::care::backup::noted::Backups;
use crate::care::canary;
use crate::care::clock;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::alarms::AlarmKind;
use crate::store::attendance;
use crate::store::clock as clock_seen;
use crate::store::drills;
use crate::store::duty;
use crate::store::practices;
use crate::store::server;
use crate::triage::Urgency;

/// An answer is given again for this long: whoever asks often writes no more often for it.
const REMEMBERED: SignedDuration = SignedDuration::from_secs(2);
/// A "no" for less: whoever waits for the start, or for a fault to pass, is not told what is over.
const NO_REMEMBERED: SignedDuration = SignedDuration::from_millis(250);
/// The runner steps twice a second, but a letter may hold it up for ten.
const RUNNER_SILENT: SignedDuration = SignedDuration::from_secs(12);
/// A disk that takes longer to keep one row keeps nothing in time.
const WRITE_WITHIN: Duration = Duration::from_secs(4);
/// An emergency nobody opened for this long (M3).
const UNOPENED: SignedDuration = SignedDuration::from_mins(5);

/// What works, part by part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Readiness {
    /// A row was written, and is on the disk; and the books passed their last check.
    pub database: bool,
    /// The photo folder takes a file, and there is room.
    pub disk: bool,
    /// The clock goes on, and was not set back.
    pub clock: bool,
    /// Every secret of the settings is there.
    pub keys: bool,
    /// What is due is worked off.
    pub runner: bool,
}

impl Readiness {
    pub fn is_ready(self) -> bool {
        self.database && self.disk && self.clock && self.keys && self.runner
    }
}

/// Tries everything; whoever asks while somebody else's try runs gets the same answer.
pub async fn readiness(desk: &Desk, now: Timestamp) -> Readiness {
    let mut kept = desk.vitals.ready().lock().await;
    if let Some((at, found)) = *kept {
        let remembered = if found.is_ready() { REMEMBERED } else { NO_REMEMBERED };
        if now.duration_since(at).abs() < scaled(remembered, desk) {
            return found;
        }
    }
    let (database, disk, keys) = tokio::join!(database(desk, now), disk(desk), keys(desk));
    let runner = desk.vitals.runner_stepped();
    let found = Readiness {
        clock: !desk.vitals.clock_lags() && (!database || goes_on(desk, now).await),
        database,
        disk,
        keys,
        runner: runner.is_some_and(|stepped| now.duration_since(stepped).abs() < scaled(RUNNER_SILENT, desk)),
    };
    *kept = Some((now, found));
    found
}

/// The demo's clock runs faster than the machine that is looked at.
fn scaled(time: SignedDuration, desk: &Desk) -> SignedDuration {
    time * (desk.vitals.machine().speed.ceil() as i32).max(1)
}

/// The write goes on by itself when it takes too long: broken off in the middle it would leave its connection in doubt.
async fn database(desk: &Desk, now: Timestamp) -> bool {
    if desk.vitals.are_books_damaged() {
        return false;
    }
    let db = desk.db.clone();
    let writing = tokio::spawn(async move { server::probe(&db, now.as_millisecond()).await.is_ok() });
    matches!(tokio::time::timeout(WRITE_WITHIN, writing).await, Ok(Ok(true)))
}

async fn disk(desk: &Desk) -> bool {
    let machine = desk.vitals.machine().clone();
    let Some(folder) = machine.data_folder else { return true };
    let trying = tokio::task::spawn_blocking(move || {
        server::probe_folder(&folder).is_ok()
            && server::space(&folder).is_ok_and(|space| space.free_bytes >= machine.least_free_bytes)
    });
    matches!(tokio::time::timeout(WRITE_WITHIN, trying).await, Ok(Ok(true)))
}

async fn keys(desk: &Desk) -> bool {
    for file in &desk.vitals.machine().key_files {
        if !tokio::fs::read(file).await.is_ok_and(|text| !text.is_empty()) {
            return false;
        }
    }
    true
}

/// No later time was seen before.
async fn goes_on(desk: &Desk, now: Timestamp) -> bool {
    let seen = async { Done::Ok(clock_seen::seen(&mut *desk.db.read().await?).await?) }.await;
    seen.is_ok_and(|seen| seen.is_none_or(|seen| seen.duration_since(now) <= scaled(clock::TOLERATED, desk)))
}

/// Why the outside is not told that the program lives; `None`: it may be. What the channels say is the caller's to add.
pub async fn why_silent(desk: &Desk, now: Timestamp) -> Option<&'static str> {
    if !readiness(desk, now).await.is_ready() {
        return Some("not ready");
    }
    match canary::came_through(desk).await {
        Ok(Some(at)) if now.duration_since(at) <= canary::FRESH => None,
        Ok(_) => Some("no canary came through"),
        Err(_) => Some("the books cannot be read"),
    }
}

/// How people answer, all practices together, the worst of each. Ages in seconds; `None`: never, or nothing waits.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Answering {
    /// Codes of what is wrong; empty: nothing.
    pub wrong: Vec<&'static str>,
    /// The check that waits longest unopened, by class.
    pub oldest_go_now_s: Option<i64>,
    pub oldest_ring_now_s: Option<i64>,
    pub oldest_today_s: Option<i64>,
    pub oldest_tomorrow_s: Option<i64>,
    pub oldest_on_track_s: Option<i64>,
    /// Since a page of somebody on duty last answered.
    pub on_duty_heartbeat_s: Option<i64>,
    /// Since the outside last took a letter.
    pub last_notification_s: Option<i64>,
    pub canary_s: Option<i64>,
    /// Since the last drill that somebody answered.
    pub last_drill_s: Option<i64>,
    /// Since the books stood as they do in the last back-up.
    pub last_backup_s: Option<i64>,
    /// Since it was last proved that a back-up can be restored.
    pub last_restore_proof_s: Option<i64>,
    /// Since the books came out of a back-up, if nobody armed them: nothing is sent.
    pub held_s: Option<i64>,
}

impl Answering {
    fn oldest(&mut self, urgency: Urgency) -> &mut Option<i64> {
        match urgency {
            Urgency::GoNow => &mut self.oldest_go_now_s,
            Urgency::RingNow => &mut self.oldest_ring_now_s,
            Urgency::Today => &mut self.oldest_today_s,
            Urgency::Tomorrow => &mut self.oldest_tomorrow_s,
            Urgency::OnTrack => &mut self.oldest_on_track_s,
        }
    }

    fn is_wrong(&mut self, code: &'static str) {
        if !self.wrong.contains(&code) {
            self.wrong.push(code);
        }
    }
}

/// Reads how people answer.
pub async fn answering(desk: &Desk, now: Timestamp) -> Done<Answering> {
    let mut all = Answering { canary_s: age(now, canary::came_through(desk).await?), ..Answering::default() };
    if all.canary_s.is_none_or(|age| age > canary::FRESH.as_secs()) {
        all.is_wrong("canary");
    }
    let mut conn = desk.db.read().await?;
    let backups = Backups::read(&mut conn).await?;
    all.last_backup_s = age(now, backups.last);
    all.last_restore_proof_s = age(now, backups.proved);
    all.held_s = age(now, backups.held);
    if backups.held.is_some() {
        all.is_wrong("held");
    }
    for practice in practices::all(&mut conn).await? {
        of_practice(&mut conn, practice.id, now, &mut all).await?;
    }
    Ok(all)
}

async fn of_practice(conn: &mut Conn, practice: PracticeId, now: Timestamp, all: &mut Answering) -> Done<()> {
    for (urgency, oldest) in attendance::oldest_waiting(conn, practice, now).await? {
        let waited = now.duration_since(oldest);
        let kept = all.oldest(urgency);
        *kept = (*kept).max(Some(waited.as_secs()));
        if urgency == Urgency::GoNow && waited >= UNOPENED {
            all.is_wrong(AlarmKind::Unopened.code());
        }
    }
    let on_duty: Vec<StaffId> =
        duty::roster(conn, practice).await?.on_duty(now).iter().map(|on| on.staff).collect();
    let beats = attendance::beats(conn, practice).await?;
    // Where no roster says who, everybody is.
    let beat = beats.iter().find(|(person, _)| on_duty.is_empty() || on_duty.contains(person));
    worst(&mut all.on_duty_heartbeat_s, age(now, beat.map(|(_, heard)| *heard)));
    worst(&mut all.last_notification_s, age(now, attendance::last_sent(conn, practice).await?));
    let drills = drills::newest(conn, practice, 20).await?;
    let answered = drills.iter().find(|drill| drill.answered.is_some());
    worst(&mut all.last_drill_s, age(now, answered.map(|drill| drill.begun)));
    if let Some(attendance) = Attendance::read(conn, practice, now).await? {
        for kind in AlarmKind::ALL.iter().copied() {
            if attendance.is(kind, now) == Some(true) {
                all.is_wrong(kind.code());
            }
        }
    }
    if attend::is_anything_late(conn, practice, now).await? {
        all.is_wrong(AlarmKind::Overdue.code());
    }
    Ok(())
}

fn age(now: Timestamp, at: Option<Timestamp>) -> Option<i64> {
    at.map(|at| now.duration_since(at).as_secs())
}

fn worst(kept: &mut Option<i64>, found: Option<i64>) {
    *kept = (*kept).max(found);
}
