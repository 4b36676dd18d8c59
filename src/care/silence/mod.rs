//! Silence: what was due from a patient and did not come is noticed by the watch, tried step by step, and ends only when
//! it came or a person says why.

mod acting;
mod noticing;

pub use acting::Calling;
pub use acting::Said;
pub use acting::ask_surgeon;
pub(in crate::care) use acting::await_arrival;
pub use acting::decide;
pub use acting::end;
pub use acting::log_call;
pub use acting::note_letter;
pub(in crate::care) use noticing::look;
pub(in crate::care) use noticing::own_link;

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::outbox::quiet_until;
use crate::care::record;
use crate::ids::SilenceId;
use crate::plan::Operation;
use crate::plan::STRIP_OVERDUE_H;
use crate::plan::StepKind;
use crate::plan::day_number;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::checks;
use crate::store::deliveries;
use crate::store::deliveries::Delivery;
use crate::store::notices;
use crate::store::notices::NoticeState;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::plan;
use crate::store::plan::KeptStep;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::silences;
use crate::store::silences::Silence;
use crate::store::silences::SilenceCall;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage;
use crate::triage::AtRisk;
use crate::triage::CallResult;
use crate::triage::SecondContact;
use crate::triage::SilenceKind;
use crate::triage::SilenceStep;
use crate::triage::Tried;
use crate::triage::Whom;

/// The end of a strip's grace, from when it was due.
const STRIP_GRACE: SignedDuration = SignedDuration::from_hours(STRIP_OVERDUE_H - crate::plan::STRIP_DUE_H);
/// A step that falls due in the night is called late this long after the morning began.
const MORNING: SignedDuration = SignedDuration::from_hours(1);
/// How many that ended are shown below the open ones.
const ENDED_SHOWN: i64 = 20;

/// One silence with what whoever rings needs at hand.
#[derive(Clone, Debug)]
pub struct Silent {
    pub silence: Silence,
    pub patient: Patient,
    pub wound: Wound,
    /// The step of the plan that did not come, where it is one.
    pub step: Option<KeptStep>,
    pub calls: Vec<SilenceCall>,
    /// The reminder as it was sent, or could not be.
    pub reminders: Vec<Delivery>,
    /// It waits for the end of the night.
    pub reminder_waits: bool,
    pub risk: AtRisk,
}

impl Silent {
    pub fn operation(&self) -> &Operation {
        &self.wound.operation
    }
}

/// The office's list of the silent.
#[derive(Clone, Debug)]
pub struct Silences {
    pub practice: Practice,
    /// Most at risk first.
    pub open: Vec<Silent>,
    pub ended: Vec<Silent>,
    pub staff: Vec<StaffMember>,
}

/// Reads the list, and notes that the member saw it.
pub async fn list(desk: &Desk, member: &StaffMember, now: Timestamp) -> Done<Silences> {
    may_see(member)?;
    record::note_list_view(desk, member, "silence.list", now).await?;
    let mut conn = desk.db.read().await?;
    let practice = practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
    let mut open = Vec::new();
    for silence in silences::open(&mut conn, member.practice).await? {
        open.push(silent(&mut conn, &practice, silence, now).await?);
    }
    open.sort_by_key(|one| triage::risk_order(&one.risk, one.silence.by));
    let mut ended = Vec::new();
    for silence in silences::ended(&mut conn, member.practice, ENDED_SHOWN).await? {
        ended.push(silent(&mut conn, &practice, silence, now).await?);
    }
    let staff = staff::of_practice(&mut conn, member.practice).await?;
    Ok(Silences { practice, open, ended, staff })
}

/// One silence in full.
#[derive(Clone, Debug)]
pub struct OpenedSilence {
    pub practice: Practice,
    pub silent: Silent,
    pub staff: Vec<StaffMember>,
}

/// Reads one, and notes that the member saw it.
pub async fn view(desk: &Desk, member: &StaffMember, id: SilenceId, now: Timestamp) -> Done<OpenedSilence> {
    may_see(member)?;
    let opened = {
        let mut conn = desk.db.read().await?;
        let practice = practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
        let silence = silences::find(&mut conn, member.practice, id).await?.ok_or(CareError::NotFound)?;
        let silent = silent(&mut conn, &practice, silence, now).await?;
        OpenedSilence { silent, staff: staff::of_practice(&mut conn, member.practice).await?, practice }
    };
    record::note_view(desk, member, "silence.view", &format!("silence:{id}"), now).await?;
    Ok(opened)
}

/// How many are silent and open, for the ways at the top of the staff pages.
pub async fn count_open(desk: &Desk, member: &StaffMember) -> Done<usize> {
    Ok(silences::open(&mut *desk.db.read().await?, member.practice).await?.len())
}

async fn silent(conn: &mut Conn, practice: &Practice, silence: Silence, now: Timestamp) -> Done<Silent> {
    let wound = wounds::find(conn, practice.id, silence.wound).await?.ok_or(CareError::NotFound)?;
    let patient = patients::find(conn, practice.id, wound.patient).await?.ok_or(CareError::NotFound)?;
    let calls = silences::calls(conn, practice.id, silence.id).await?;
    let step = step_of(conn, &silence).await?;
    let (mut reminders, mut reminder_waits) = (Vec::new(), false);
    for notice in notices::about(conn, practice.id, &about(silence.id)).await? {
        if notice.kind.is_reminder() {
            reminder_waits = notice.state == NoticeState::Waiting;
            reminders.extend(deliveries::of_notice(conn, practice.id, notice.id).await?);
        }
    }
    let last =
        checks::of_wound(conn, practice.id, wound.id).await?.first().map(|check| check.assessment.urgency);
    let risk = AtRisk {
        kind: silence.kind,
        last,
        fragile: is_fragile(&wound),
        day: day_number(wound.operation.operated, now, &practice.zone),
        surgeon_decides: surgeon_decides(&silence, now),
    };
    Ok(Silent { silence, patient, wound, step, calls, reminders, reminder_waits, risk })
}

/// Diabetes, weak immunity, or not asked.
fn is_fragile(wound: &Wound) -> bool {
    let risk = &wound.risk;
    let weak = |code: Option<&'static str>| code.is_none_or(|code| code != "none");
    weak(risk.diabetes.map(|diabetes| diabetes.code())) || weak(risk.immunity.map(|immunity| immunity.code()))
}

fn surgeon_decides(silence: &Silence, now: Timestamp) -> bool {
    silence.decided_note.is_empty()
        && triage::surgeon_decides(silence.kind, silence.since, silence.spoke, now)
}

async fn step_of(conn: &mut Conn, silence: &Silence) -> Stored<Option<KeptStep>> {
    let Some(id) = silence.about.strip_prefix("step:") else { return Ok(None) };
    let steps = plan::steps(conn, silence.practice, silence.wound).await?;
    Ok(steps.into_iter().find(|step| step.id.to_string() == id))
}

/// What ladders, alarms and notices about a silence name.
pub fn about(id: SilenceId) -> String {
    format!("silence:{id}")
}

/// What a step of the plan is missed as, and from when. A check has no time of its own here: how long a patient may be
/// silent is the protocol's to say.
fn missed_as(step: &KeptStep) -> Option<(SilenceKind, Timestamp)> {
    match step.step.kind {
        StepKind::PackingRemoval => Some((SilenceKind::Strip, step.step.due + STRIP_GRACE)),
        StepKind::Visit => Some((SilenceKind::Visit, step.step.due)),
        StepKind::Photo | StepKind::AntibioticCheck => Some((SilenceKind::Check, step.step.due)),
        StepKind::WashTwiceDaily
        | StepKind::WashDaily
        | StepKind::Dressing
        | StepKind::PainPill
        | StepKind::Antibiotic
        | StepKind::AntibioticEnd
        | StepKind::PlanEnd => None,
    }
}

/// What was tried about a silence.
fn tried(silence: &Silence, calls: &[SilenceCall]) -> Tried {
    let since_spoken = |call: &&SilenceCall| silence.spoke.is_none_or(|spoke| call.at > spoke);
    let unanswered = |whom| {
        calls
            .iter()
            .filter(since_spoken)
            .filter(move |call| call.whom == whom && call.result != CallResult::Spoke)
            .map(|call| call.at)
    };
    let mut patient: Vec<Timestamp> = unanswered(Whom::Patient).chain(unanswered(Whom::Elsewhere)).collect();
    patient.sort();
    Tried {
        reminded: silence.reminded,
        unanswered: patient,
        second_unanswered: unanswered(Whom::SecondContact).max(),
        letter: silence.letter,
        waits_until: silence.waits_until,
    }
}

fn second_contact(patient: &Patient) -> SecondContact {
    match &patient.helper_phone {
        Some(_) => SecondContact::Named,
        None => SecondContact::Nobody,
    }
}

/// From when the next step is due and by when it must be taken; nobody is rung at night about what can wait.
fn timed(
    kind: SilenceKind,
    (step, from): (SilenceStep, Timestamp),
    zone: &TimeZone,
) -> (SilenceStep, Timestamp, Timestamp) {
    if kind.rings_at_night() {
        return (step, from, from + kind.step_within());
    }
    let from = quiet_until(zone, from).unwrap_or(from);
    let by = from + kind.step_within();
    let by = quiet_until(zone, by).map_or(by, |morning| morning + MORNING);
    (step, from, by)
}

/// Works out the next step afresh from what was tried.
async fn set_next(
    conn: &mut Conn,
    practice: &Practice,
    silence: &mut Silence,
    patient: &Patient,
) -> Stored<()> {
    let calls = silences::calls(conn, silence.practice, silence.id).await?;
    let next =
        triage::next_step(silence.kind, silence.since, &tried(silence, &calls), second_contact(patient));
    let (step, from, by) = timed(silence.kind, next, &practice.zone);
    (silence.next, silence.next_from, silence.by) = (step, from, by);
    silences::keep(conn, silence).await
}

fn may_see(member: &StaffMember) -> Done<()> {
    if member.roles.office || member.roles.surgeon { Ok(()) } else { Err(CareError::NotAllowed) }
}
