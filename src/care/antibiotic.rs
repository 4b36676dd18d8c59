//! A recorded antibiotic: prescribed elsewhere, followed here. It makes its own steps of the plan, and the protocol counts
//! its hours; who is no better after two days is raised by the protocol.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::AntibioticCourseId;
use crate::ids::Moment;
use crate::ids::ReviewId;
use crate::ids::WoundId;
use crate::plan::Antibiotic;
use crate::plan::RiskFactors;
use crate::plan::StepKind;
use crate::plan::antibiotic_steps;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::antibiotics;
use crate::store::antibiotics::AntibioticCourse;
use crate::store::antibiotics::Culture;
use crate::store::antibiotics::CultureFits;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::plan;
use crate::store::plan::CancelledWhy;
use crate::store::staff::StaffMember;
use crate::store::wounds;

const LONGEST_DRUG: usize = 120;
const LONGEST_RESULT: usize = 1_000;
/// Shown where the surgeon named none.
pub const NOT_NAMED: &str = "not named here";
/// How long a course is followed when nobody said (common practice, no source).
pub const USUAL_DAYS: i64 = 7;
const MOST_DAYS: i64 = 90;
const MOST_DOSES: i64 = 12;
/// A start further back than this is a slip of the pen.
const LONGEST_AGO: SignedDuration = SignedDuration::from_hours(24 * 60);

/// An antibiotic as a surgeon records its start.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Starting {
    /// Empty: not named.
    pub drug: String,
    /// `None`: not said.
    pub doses_per_day: Option<i64>,
    pub days: i64,
    pub started: Timestamp,
    pub culture: Culture,
}

impl Starting {
    /// What is wrong with it; empty: nothing.
    pub fn faults(&self, now: Timestamp) -> Vec<Fault> {
        let mut faults = Vec::new();
        if self.drug.trim().chars().count() > LONGEST_DRUG {
            faults.push(Fault::new("drug", "Shorten the name to 120 characters."));
        }
        if !(1..=MOST_DAYS).contains(&self.days) {
            faults.push(Fault::new("days", "Enter the days it is taken: a number from 1 to 90."));
        }
        if self.doses_per_day.is_some_and(|doses| !(1..=MOST_DOSES).contains(&doses)) {
            faults.push(Fault::new(
                "doses",
                "Enter the doses a day: a number from 1 to 12, or leave it empty.",
            ));
        }
        let ahead = self.started.duration_since(now);
        if ahead > SignedDuration::from_hours(24 * 7) || ahead < -LONGEST_AGO {
            faults.push(Fault::new("started", "Enter when it starts: at most 60 days ago and 7 days ahead."));
        }
        faults
    }
}

/// Records a start in the transaction of the decision. One that runs is replaced. The caller holds the wound's check.
pub(in crate::care) async fn start(
    conn: &mut Conn,
    surgeon: &StaffMember,
    wound: WoundId,
    review: ReviewId,
    starting: &Starting,
    moment: &Moment,
) -> Done<AntibioticCourseId> {
    let held = wounds::hold(conn, surgeon.practice, wound).await?.ok_or(CareError::NotFound)?;
    for mut course in antibiotics::of_wound(conn, surgeon.practice, wound).await? {
        if course.stopped.is_none() && course.ends > moment.now {
            course.stopped = Some(moment.now);
            course.stopped_why = "replaced by another".to_owned();
            antibiotics::keep(conn, &course).await?;
        }
    }
    cancel_steps(conn, surgeon, wound, moment.now).await?;
    let drug = match starting.drug.trim() {
        "" => NOT_NAMED.to_owned(),
        named => named.to_owned(),
    };
    let ends = starting.started + SignedDuration::from_hours(24 * starting.days);
    let course = AntibioticCourse {
        id: AntibioticCourseId::mint(moment),
        practice: surgeon.practice,
        wound,
        review: Some(review),
        drug: drug.as_str().into(),
        doses_per_day: starting.doses_per_day,
        days: starting.days,
        started: starting.started,
        ends,
        culture: starting.culture,
        culture_result: FreeText::default(),
        culture_fits: None,
        culture_by: None,
        culture_at: None,
        stopped: None,
        stopped_why: String::new(),
        recorded_by: surgeon.id,
        recorded: moment.now,
    };
    antibiotics::insert(conn, &course).await?;
    for step in antibiotic_steps(starting.started, ends) {
        if step.due > moment.now {
            plan::add(conn, surgeon.practice, wound, step, moment).await?;
        }
    }
    // The checklist asks about pills, and the protocol counts the hours, from what the wound says.
    let risk = RiskFactors {
        takes_antibiotic: Some(true),
        antibiotic: Some(Antibiotic { drug, started: Some(starting.started) }),
        ..held.risk
    };
    wounds::set_risk(conn, surgeon.practice, wound, &risk).await?;
    let subject = format!("antibiotic:{}", course.id);
    let detail = format!("days={} culture={}", course.days, course.culture.code());
    record::note(
        conn,
        surgeon.practice,
        Actor::Staff(surgeon.id),
        "antibiotic.start",
        &subject,
        &detail,
        moment.now,
    )
    .await?;
    Ok(course.id)
}

async fn cancel_steps(conn: &mut Conn, member: &StaffMember, wound: WoundId, now: Timestamp) -> Done<()> {
    for kept in plan::steps(conn, member.practice, wound).await? {
        let is_its = matches!(
            kept.step.kind,
            StepKind::Antibiotic | StepKind::AntibioticCheck | StepKind::AntibioticEnd
        );
        if is_its && kept.is_open() {
            plan::cancel(conn, member.practice, kept.id, CancelledWhy::Ended, now).await?;
        }
    }
    Ok(())
}

/// Why a course ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// Taken to its end.
    Finished,
    /// Before it: the surgeon said so.
    Stopped,
}

/// Ends a course: nobody is asked about pills any more. Before its end only a surgeon does.
pub async fn end(
    desk: &Desk,
    member: &StaffMember,
    id: AntibioticCourseId,
    over: Over,
    moment: &Moment,
) -> Done<WoundId> {
    may_note(member)?;
    let mut tx = desk.db.write().await?;
    let seen = antibiotics::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    let wound = wounds::hold(&mut tx, member.practice, seen.wound).await?.ok_or(CareError::NotFound)?;
    let mut course = antibiotics::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    if course.stopped.is_some() {
        return Err(CareError::AlreadyDone);
    }
    if course.ends > moment.now && !member.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    course.stopped = Some(moment.now);
    course.stopped_why = match over {
        Over::Finished => "taken to its end".to_owned(),
        Over::Stopped => "stopped by the surgeon".to_owned(),
    };
    antibiotics::keep(&mut tx, &course).await?;
    cancel_steps(&mut tx, member, wound.id, moment.now).await?;
    let risk = RiskFactors { takes_antibiotic: Some(false), antibiotic: None, ..wound.risk };
    wounds::set_risk(&mut tx, member.practice, wound.id, &risk).await?;
    let (actor, subject) = (Actor::Staff(member.id), format!("antibiotic:{id}"));
    record::note(
        &mut tx,
        member.practice,
        actor,
        "antibiotic.end",
        &subject,
        &course.stopped_why,
        moment.now,
    )
    .await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(wound.id)
}

/// Notes what the laboratory said. What resists the antibiotic is a surgeon's to see to, at once.
pub async fn note_culture(
    desk: &Desk,
    member: &StaffMember,
    id: AntibioticCourseId,
    fits: CultureFits,
    result: &str,
    moment: &Moment,
) -> Done<WoundId> {
    may_note(member)?;
    if result.trim().is_empty() || result.chars().count() > LONGEST_RESULT {
        let words = "Write what the laboratory said, in at most 1,000 characters.";
        return Err(CareError::Entered(vec![Fault::new("culture_result", words)]));
    }
    let mut tx = desk.db.write().await?;
    let seen = antibiotics::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    let wound = wounds::hold(&mut tx, member.practice, seen.wound).await?.ok_or(CareError::NotFound)?;
    let mut course = antibiotics::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    course.culture = Culture::Noted;
    course.culture_result = result.trim().into();
    course.culture_fits = Some(fits);
    course.culture_by = Some(member.id);
    course.culture_at = Some(moment.now);
    antibiotics::keep(&mut tx, &course).await?;
    let subject = format!("antibiotic:{id}");
    let is_for_surgeon = match fits {
        CultureFits::Resists | CultureFits::Unclear => true,
        CultureFits::Fits | CultureFits::NothingGrew => false,
    };
    if is_for_surgeon && !member.roles.surgeon {
        alarms::raise(&mut tx, member.practice, AlarmKind::SurgeonAsked, &subject, moment).await?;
        let to = Recipient::Staff(wound.surgeon);
        let about = format!("{subject} culture:{}", moment.now.as_millisecond());
        notices::enqueue(&mut tx, member.practice, NoticeKind::Alarm, to, &about, moment).await?;
    }
    let detail = format!("fits={}", fits.code());
    record::note(
        &mut tx,
        member.practice,
        Actor::Staff(member.id),
        "antibiotic.culture",
        &subject,
        &detail,
        moment.now,
    )
    .await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(wound.id)
}

fn may_note(member: &StaffMember) -> Done<()> {
    if member.roles.office || member.roles.surgeon { Ok(()) } else { Err(CareError::NotAllowed) }
}
