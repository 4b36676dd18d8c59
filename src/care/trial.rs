//! Trial: a draft run over every check the practice ever received, before it counts.

use std::collections::BTreeMap;
use std::collections::HashMap;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Deserialize;
use serde::Serialize;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::assessing;
use crate::care::figures::judged;
use crate::ids::PracticeId;
use crate::ids::WoundCheckId;
use crate::store::Conn;
use crate::store::assessments;
use crate::store::assessments::TriedCheck;
use crate::store::checks;
use crate::store::figures;
use crate::store::practices;
use crate::triage::CheckFacts;
use crate::triage::Protocol;
use crate::triage::Urgency;
use crate::triage::verdict_of_check;

/// Checks read and tried at a time: what bounds the memory.
const PAGE: i64 = 2_000;
/// Checks named on the page in each direction, newest first.
const NAMED: usize = 100;

/// What a draft would have changed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Findings {
    /// Version the draft was compared with.
    pub against: String,
    /// Checks tried: every one received until then.
    pub tried: u64,
    /// By the class before and after, changed ones only.
    pub moves: Vec<Move>,
    /// The newest of those that would have been more urgent.
    pub raised: Vec<Moved>,
    /// The newest of those that would have been calmer.
    pub lowered: Vec<Moved>,
    /// How many of the lowered a surgeon had judged to need a voice within the hour or an emergency department.
    pub lowered_urgent: u64,
    /// The newest of those.
    pub lowered_urgent_named: Vec<Moved>,
}

/// How many checks would have gone from one class to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Move {
    pub from: Urgency,
    pub to: Urgency,
    pub checks: u64,
}

/// One check that would have stood elsewhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Moved {
    pub check: WoundCheckId,
    pub from: Urgency,
    pub to: Urgency,
}

impl Findings {
    pub fn raised_count(&self) -> u64 {
        self.moves.iter().filter(|one| one.to > one.from).map(|one| one.checks).sum()
    }

    pub fn lowered_count(&self) -> u64 {
        self.moves.iter().filter(|one| one.to < one.from).map(|one| one.checks).sum()
    }
}

/// How far a trial has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Which state of the draft is tried: the moment it was last changed.
    pub of: Timestamp,
    pub done: u64,
    pub all: u64,
    pub state: TrialState,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrialState {
    Running,
    Finished,
    /// It stopped by itself; the log says why. Nothing was changed.
    Failed,
}

/// The trials of this server, one for each practice.
#[derive(Clone, Debug, Default)]
pub(in crate::care) struct Trials(Arc<Mutex<HashMap<PracticeId, Progress>>>);

impl Trials {
    pub(in crate::care) fn progress(&self, practice: PracticeId) -> Option<Progress> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).get(&practice).copied()
    }

    /// Takes the practice's place; false when a trial of this very draft runs already.
    pub(in crate::care) fn begin(&self, practice: PracticeId, of: Timestamp, all: u64) -> bool {
        let mut trials = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let runs = |progress: &Progress| progress.of == of && progress.state == TrialState::Running;
        if trials.get(&practice).is_some_and(runs) {
            return false;
        }
        trials.insert(practice, Progress { of, done: 0, all, state: TrialState::Running });
        true
    }

    /// Notes how far it is; false when another draft has taken its place, and the trial should stop.
    fn note(&self, practice: PracticeId, of: Timestamp, done: u64) -> bool {
        let mut trials = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        match trials.get_mut(&practice) {
            Some(progress) if progress.of == of => {
                progress.done = done;
                progress.all = progress.all.max(done);
                true
            }
            Some(_) | None => false,
        }
    }

    pub(in crate::care) fn end(&self, practice: PracticeId, of: Timestamp, state: TrialState) {
        let mut trials = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(progress) = trials.get_mut(&practice).filter(|progress| progress.of == of) {
            progress.state = state;
        }
    }
}

/// The two protocols a trial compares.
#[derive(Clone, Debug)]
pub struct Compared {
    pub in_force: Arc<Protocol>,
    pub draft: Arc<Protocol>,
}

/// Runs the draft over every check of the practice, page by page: the memory it needs does not grow with the years.
/// `None`: another draft took its place meanwhile. `of` names the draft's state, as in [`Progress`].
pub async fn run(
    desk: &Desk,
    practice: PracticeId,
    compared: &Compared,
    of: Timestamp,
) -> Done<Option<Findings>> {
    let zone = practices::find(&mut *desk.db.read().await?, practice).await?.ok_or(CareError::NotFound)?.zone;
    let mut tally = Tally::default();
    let mut after = 0;
    loop {
        let mut conn = desk.db.read().await?;
        let mut page = assessments::after(&mut conn, practice, after, PAGE).await?;
        let Some(last) = page.last() else { break };
        let (first, last) = (after, last.sequence);
        fill_old(desk, &mut conn, practice, &mut page).await?;
        let read = page.len() as u64;
        let both = compared.clone();
        let tried = tokio::task::spawn_blocking(move || try_page(&both, &page)).await;
        let moved = tried.map_err(|fault| CareError::Work(fault.to_string()))?;
        if moved.iter().any(|one| one.to < one.from) {
            let urgent = judged_urgent(&mut conn, practice, first, last, &zone).await?;
            tally.count_urgent(&moved, &urgent);
        }
        tally.count(read, &moved);
        after = last;
        if !desk.trials.note(practice, of, tally.tried) {
            return Ok(None);
        }
    }
    Ok(Some(tally.findings(compared.in_force.version())))
}

/// Works out the facts of checks received before facts were kept, from their answers and what is known of the wound.
async fn fill_old(desk: &Desk, conn: &mut Conn, practice: PracticeId, page: &mut [TriedCheck]) -> Done<()> {
    for old in page.iter_mut().filter(|check| check.facts.is_none()) {
        let Ok(id) = old.id.parse() else { continue };
        if let Some(check) = checks::find(conn, practice, id).await? {
            let facts = assessing::facts_of(desk, conn, &check).await?;
            old.facts = serde_json::to_string(&facts).ok();
        }
    }
    Ok(())
}

/// The checks of a page that the draft would have put elsewhere.
fn try_page(compared: &Compared, page: &[TriedCheck]) -> Vec<Moved> {
    page.iter().filter_map(|check| try_one(compared, check)).collect()
}

/// `None`: it would stand where it stands, or cannot be read.
fn try_one(compared: &Compared, check: &TriedCheck) -> Option<Moved> {
    let facts: CheckFacts = serde_json::from_str(check.facts.as_deref()?).ok()?;
    let from = verdict_of_check(&compared.in_force, &facts).urgency;
    let to = verdict_of_check(&compared.draft, &facts).urgency;
    if from == to {
        return None;
    }
    Some(Moved { check: check.id.parse().ok()?, from, to })
}

/// The checks between two places in the order of arrival that a surgeon judged to need a voice within the hour or
/// more.
async fn judged_urgent(
    conn: &mut Conn,
    practice: PracticeId,
    after: i64,
    up_to: i64,
    zone: &TimeZone,
) -> Done<Vec<WoundCheckId>> {
    let reviews = figures::reviews_between(conn, practice, after, up_to).await?;
    let urgent = reviews
        .into_iter()
        .filter(|(_, review)| judged(review, zone).is_some_and(|one| one.judged >= Urgency::RingNow));
    Ok(urgent.map(|(check, _)| check).collect())
}

#[derive(Default)]
struct Tally {
    tried: u64,
    moves: BTreeMap<(Urgency, Urgency), u64>,
    raised: Newest,
    lowered: Newest,
    urgent: u64,
    urgent_named: Newest,
}

/// The newest of many; fed oldest first.
#[derive(Default)]
struct Newest(std::collections::VecDeque<Moved>);

impl Newest {
    fn add(&mut self, one: Moved) {
        self.0.push_front(one);
        self.0.truncate(NAMED);
    }
}

impl Tally {
    fn count(&mut self, tried: u64, moved: &[Moved]) {
        self.tried += tried;
        for one in moved {
            *self.moves.entry((one.from, one.to)).or_insert(0) += 1;
            if one.to > one.from { self.raised.add(*one) } else { self.lowered.add(*one) }
        }
    }

    fn count_urgent(&mut self, moved: &[Moved], urgent: &[WoundCheckId]) {
        for one in moved.iter().filter(|one| one.to < one.from && urgent.contains(&one.check)) {
            self.urgent += 1;
            self.urgent_named.add(*one);
        }
    }

    fn findings(self, against: &str) -> Findings {
        let moved = |((from, to), checks)| Move { from, to, checks };
        Findings {
            against: against.to_owned(),
            tried: self.tried,
            moves: self.moves.into_iter().map(moved).collect(),
            raised: self.raised.0.into(),
            lowered: self.lowered.0.into(),
            lowered_urgent: self.urgent,
            lowered_urgent_named: self.urgent_named.0.into(),
        }
    }
}
