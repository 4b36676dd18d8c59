//! The care plan of a wound: what stands in it, what was due and did not come, and what staff change about it.

mod changing;
mod ending;

pub use changing::came;
pub use changing::move_step;
pub use changing::pause;
pub use changing::resume;
pub use changing::wash;
pub use ending::end;

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::ToSpan;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::care::plan_text;
use crate::care::record;
use crate::ids::Moment;
use crate::ids::PlanStepId;
use crate::ids::PracticeId;
use crate::ids::WoundId;
use crate::plan::PlanStep;
use crate::plan::PlanText;
use crate::plan::Site;
use crate::plan::StepKind;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::plan;
use crate::store::plan::CancelledWhy;
use crate::store::plan::ChangeKind;
use crate::store::plan::KeptStep;
use crate::store::plan::PlanChange;
use crate::store::plan::Standing;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::reviews::Review;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage::Decision;

/// What the *Today* page and the calendar follow. No PIN: what to do, never what was answered.
#[derive(Clone, Debug)]
pub struct PlanToday {
    /// Every step, cancelled ones too, in order.
    pub steps: Vec<KeptStep>,
    pub standing: Standing,
    pub text: PlanText,
}

/// Reads a phone's own plan.
pub async fn today(desk: &Desk, holder: &LinkHolder) -> Done<PlanToday> {
    let mut conn = desk.db.read().await?;
    Ok(PlanToday {
        steps: plan::steps(&mut conn, holder.practice, holder.wound).await?,
        standing: plan::standing(&mut conn, holder.practice, holder.wound).await?,
        text: plan_text::in_use(&mut conn, holder.practice).await?.text,
    })
}

coded! {
    /// How often a wound near the bottom is washed from week 2.
    pub enum Washing {
        Once = "once",
        /// Bowel trouble: twice, as in week 1 (common practice, no source).
        Twice = "twice",
    }
}

/// How the washing from week 2 stands. `None`: not asked, the wound is not near the bottom, or that time is over.
///
/// Nothing in the enrolment says whether somebody has trouble with the bowel: staff who hear of it switch it here.
pub fn washing(wound: &Wound, steps: &[KeptStep], now: Timestamp) -> Option<Washing> {
    let later = later_washing(steps, now)?;
    match (wound.operation.site, later.step.kind) {
        (Site::Perianal, StepKind::WashTwiceDaily) => Some(Washing::Twice),
        (Site::Perianal, _) => Some(Washing::Once),
        (_, _) => None,
    }
}

/// The last washing step, which runs from week 2 to the plan's end, unless it is over.
fn later_washing(steps: &[KeptStep], now: Timestamp) -> Option<&KeptStep> {
    let washing = |step: &&KeptStep| matches!(step.step.kind, StepKind::WashDaily | StepKind::WashTwiceDaily);
    let last = steps.iter().filter(|step| step.is_open()).filter(washing).max_by_key(|step| step.step.due)?;
    (last.step.due > now).then_some(last)
}

/// One wound's plan for staff.
#[derive(Clone, Debug)]
pub struct PlanView {
    pub practice: Practice,
    pub patient: Patient,
    pub wound: Wound,
    pub steps: Vec<KeptStep>,
    pub standing: Standing,
    /// Newest first.
    pub changes: Vec<PlanChange>,
    pub staff: Vec<StaffMember>,
    pub text: PlanText,
    pub washing: Option<Washing>,
}

/// Reads a wound's plan, and notes that the member saw it.
pub async fn view(desk: &Desk, member: &StaffMember, id: WoundId, now: Timestamp) -> Done<PlanView> {
    may_change(member)?;
    let view = {
        let mut conn = desk.db.read().await?;
        let wound = wounds::find(&mut conn, member.practice, id).await?.ok_or(CareError::NotFound)?;
        let steps = plan::steps(&mut conn, member.practice, id).await?;
        PlanView {
            practice: practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?,
            patient: patients::find(&mut conn, member.practice, wound.patient)
                .await?
                .ok_or(CareError::NotFound)?,
            standing: plan::standing(&mut conn, member.practice, id).await?,
            changes: plan::changes(&mut conn, member.practice, id).await?,
            staff: staff::of_practice(&mut conn, member.practice).await?,
            text: plan_text::in_use(&mut conn, member.practice).await?.text,
            washing: washing(&wound, &steps, now),
            steps,
            wound,
        }
    };
    record::note_view(desk, member, "plan.view", &format!("wound:{id}"), now).await?;
    Ok(view)
}

fn may_change(member: &StaffMember) -> Done<()> {
    if member.roles.office || member.roles.surgeon { Ok(()) } else { Err(CareError::NotAllowed) }
}

/// A step that was due and of which nothing was heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Missing {
    pub wound: WoundId,
    pub step: KeptStep,
    pub due: Timestamp,
}

/// Every step of the practice's open wounds whose due time has passed and of which nothing was heard: a strip not
/// reported out, a check that did not come, a visit nobody noted. Plans that are paused or ended wait for nothing; a
/// check that came in satisfies every photo step up to its day. In order of due time.
pub async fn due_and_missing(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Stored<Vec<Missing>> {
    let unheard = plan::unheard(conn, practice, now).await?;
    let awaited = unheard.into_iter().filter(|kept| kept.step.kind.is_awaited());
    Ok(awaited.map(|kept| Missing { wound: kept.wound, due: kept.step.due, step: kept }).collect())
}

/// A check came in: it is what every photo step up to that local day asked for.
pub(in crate::care) async fn note_check(
    conn: &mut Conn,
    practice: &Practice,
    wound: WoundId,
    received: Timestamp,
) -> Stored<()> {
    let day = received.to_zoned_datetime(practice.zone.clone()).date();
    let ends = day.saturating_add(1.days()).at(0, 0, 0, 0).to_zoned_datetime(practice.zone.clone());
    let until = ends.map_or(received, |midnight| midnight.timestamp());
    plan::note_kind_done(conn, practice.id, wound, StepKind::Photo, until, received).await?;
    plan::note_kind_done(conn, practice.id, wound, StepKind::AntibioticCheck, received, received).await
}

/// All of the strip was reported out, whenever its step would have been due.
pub(in crate::care) async fn note_strip_out(conn: &mut Conn, wound: &Wound, at: Timestamp) -> Stored<()> {
    wounds::note_strip_out(conn, wound, at).await?;
    let whenever = at.saturating_add(SignedDuration::from_hours(24 * 366)).unwrap_or(at);
    plan::note_kind_done(conn, wound.practice, wound.id, StepKind::PackingRemoval, whenever, at).await
}

/// Some of the strip is in after all: its step is open again, so that a strip said to be out by mistake is not forgotten.
pub(in crate::care) async fn note_strip_in(conn: &mut Conn, wound: &Wound, at: Timestamp) -> Stored<()> {
    // Said before it was out and only now come in again, it takes nothing back.
    let Some(out) = wound.strip_out.filter(|out| *out <= at) else { return Ok(()) };
    wounds::note_strip_in(conn, wound.practice, wound.id).await?;
    plan::reopen_kind(conn, wound.practice, wound.id, StepKind::PackingRemoval, out, at).await
}

/// The office booked a visit on the phone: a step of the plan, in place of the time the surgeon had asked for.
pub(in crate::care) async fn book_visit(
    conn: &mut Conn,
    member: &StaffMember,
    wound: WoundId,
    when: Timestamp,
    instead_of: Option<Timestamp>,
    moment: &Moment,
) -> Stored<()> {
    for kept in plan::steps(conn, member.practice, wound).await? {
        if kept.is_open() && kept.step.kind == StepKind::Visit && Some(kept.step.due) == instead_of {
            plan::cancel(conn, member.practice, kept.id, CancelledWhy::Ended, moment.now).await?;
        }
    }
    let step = PlanStep { kind: StepKind::Visit, from: when, due: when };
    let id = plan::add(conn, member.practice, wound, step, moment).await?;
    let change = PlanChange {
        kind: ChangeKind::Visit,
        step: Some(id),
        was: instead_of,
        becomes: Some(when),
        reason: FreeText::default(),
        by: member.id,
        at: moment.now,
    };
    plan::note_change(conn, member.practice, wound, &change, moment).await
}

/// A surgeon decided when the patient comes in: a step of the plan.
pub(in crate::care) async fn add_visit(
    conn: &mut Conn,
    wound: WoundId,
    review: &Review,
    moment: &Moment,
) -> Stored<Option<PlanStepId>> {
    let decided = review.come_in.filter(|_| review.decision == Decision::ComeIn);
    let Some(when) = decided else { return Ok(None) };
    let step = PlanStep { kind: StepKind::Visit, from: when, due: when };
    let id = plan::add(conn, review.practice, wound, step, moment).await?;
    let change = PlanChange {
        kind: ChangeKind::Visit,
        step: Some(id),
        was: None,
        becomes: Some(when),
        reason: FreeText::default(),
        by: review.surgeon,
        at: moment.now,
    };
    plan::note_change(conn, review.practice, wound, &change, moment).await?;
    Ok(Some(id))
}
