//! Patients found by name, and one patient with wounds, plans, links and checks.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::enrol::phone_fault;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::AntibioticCourseId;
use crate::ids::PatientId;
use crate::ids::WoundId;
use crate::plan::PlanStep;
use crate::plan::StepKind;
use crate::store::Conn;
use crate::store::addresses::Reached;
use crate::store::addresses::opted_out_since;
use crate::store::antibiotics;
use crate::store::antibiotics::AntibioticCourse;
use crate::store::checks;
use crate::store::checks::WoundCheck;
use crate::store::corrections;
use crate::store::corrections::Correction;
use crate::store::links;
use crate::store::links::KeptPhone;
use crate::store::links::PatientLink;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::reviews;
use crate::store::reviews::Review;
use crate::store::silences;
use crate::store::silences::Silence;
use crate::store::silences::SilenceState;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::store::wounds::WoundState;

/// Rows on one page of the list.
const PAGE: i64 = 100;

/// The list, narrowed by words of a name.
#[derive(Clone, Debug)]
pub struct Found {
    pub practice: Practice,
    pub patients: Vec<Listed>,
    /// Whether more were found than are listed.
    pub is_cut: bool,
}

/// One patient of the list.
#[derive(Clone, Debug)]
pub struct Listed {
    pub patient: Patient,
    pub wounds: Vec<ListedWound>,
}

/// One wound of the list.
#[derive(Clone, Debug)]
pub struct ListedWound {
    pub wound: Wound,
    /// The newest check; `None`: none has come.
    pub last: Option<WoundCheck>,
    /// Photo days of the plan that passed since the last check without one. 0 for a closed wound.
    pub missed_photo_days: usize,
}

/// Finds patients by words of their names; without words the newest enrolled.
pub async fn find(desk: &Desk, member: &StaffMember, words: &str, now: Timestamp) -> Done<Found> {
    may_look(member)?;
    record::note_list_view(desk, member, "patients.view", now).await?;
    let mut conn = desk.db.read().await?;
    let practice = practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
    let mut found = patients::search(&mut conn, member.practice, words, PAGE + 1).await?;
    let is_cut = found.len() as i64 > PAGE;
    found.truncate(usize::try_from(PAGE).unwrap_or(usize::MAX));
    let mut listed = Vec::new();
    for patient in found {
        let mut theirs = Vec::new();
        for wound in wounds::of_patient(&mut conn, member.practice, patient.id).await? {
            theirs.push(listed_wound(&mut conn, wound, now).await?);
        }
        listed.push(Listed { patient, wounds: theirs });
    }
    Ok(Found { practice, patients: listed, is_cut })
}

async fn listed_wound(conn: &mut Conn, wound: Wound, now: Timestamp) -> Done<ListedWound> {
    let last = checks::of_wound(conn, wound.practice, wound.id).await?.into_iter().next();
    let steps = wounds::plan(conn, wound.practice, wound.id).await?;
    let missed_photo_days = match wound.state {
        WoundState::Open => missed_photo_days(&steps, &wound, now),
        WoundState::Closed => 0,
    };
    Ok(ListedWound { wound, last, missed_photo_days })
}

/// Photo steps that began after the last check, or after enrolment when none came, and are past due.
fn missed_photo_days(steps: &[PlanStep], wound: &Wound, now: Timestamp) -> usize {
    let heard = wound.last_check.unwrap_or(wound.enrolled);
    steps.iter().filter(|step| step.kind == StepKind::Photo && step.from > heard && step.due < now).count()
}

/// One patient in full.
#[derive(Clone, Debug)]
pub struct Chart {
    pub practice: Practice,
    pub patient: Patient,
    pub wounds: Vec<ChartWound>,
    /// Since when the patient wants no more texts and machine calls; `None`: they may be sent.
    pub stopped: Option<Timestamp>,
    pub helper_stopped: Option<Timestamp>,
    pub staff: Vec<StaffMember>,
}

/// One wound of the chart.
#[derive(Clone, Debug)]
pub struct ChartWound {
    pub wound: Wound,
    pub plan: Vec<PlanStep>,
    pub links: Vec<PatientLink>,
    /// The phones that are in by one of the links.
    pub phones: Vec<KeptPhone>,
    /// Newest first.
    pub checks: Vec<WoundCheck>,
    /// Oldest first.
    pub reviews: Vec<Review>,
    pub corrections: Vec<Correction>,
    pub missed_photo_days: usize,
    /// Recorded antibiotics, newest first.
    pub courses: Vec<AntibioticCourse>,
    /// What was due and did not come, and is still open.
    pub silences: Vec<Silence>,
}

/// Reads one patient, and notes that the member saw them.
pub async fn view(desk: &Desk, member: &StaffMember, id: PatientId, now: Timestamp) -> Done<Chart> {
    may_look(member)?;
    let chart = {
        let mut conn = desk.db.read().await?;
        let practice = practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
        let patient = patients::find(&mut conn, member.practice, id).await?.ok_or(CareError::NotFound)?;
        let mut theirs = Vec::new();
        for wound in wounds::of_patient(&mut conn, member.practice, id).await? {
            theirs.push(chart_wound(&mut conn, wound, now).await?);
        }
        let helper = patient.helper_phone.as_deref().unwrap_or_default();
        Chart {
            stopped: opted_out_since(&mut conn, member.practice, Reached::Sms, &patient.phone).await?,
            helper_stopped: opted_out_since(&mut conn, member.practice, Reached::Sms, helper).await?,
            practice,
            patient,
            wounds: theirs,
            staff: staff::of_practice(&mut conn, member.practice).await?,
        }
    };
    record::note_view(desk, member, "patient.view", &format!("patient:{id}"), now).await?;
    Ok(chart)
}

async fn chart_wound(conn: &mut Conn, wound: Wound, now: Timestamp) -> Done<ChartWound> {
    let plan = wounds::plan(conn, wound.practice, wound.id).await?;
    let missed_photo_days = match wound.state {
        WoundState::Open => missed_photo_days(&plan, &wound, now),
        WoundState::Closed => 0,
    };
    Ok(ChartWound {
        links: links::of_wound(conn, wound.practice, wound.id).await?,
        phones: links::phones(conn, wound.practice, wound.id, now).await?,
        checks: checks::of_wound(conn, wound.practice, wound.id).await?,
        reviews: reviews::of_wound(conn, wound.practice, wound.id).await?,
        corrections: corrections::of_wound(conn, wound.practice, wound.id).await?,
        courses: antibiotics::of_wound(conn, wound.practice, wound.id).await?,
        silences: silences::of_wound(conn, wound.practice, wound.id)
            .await?
            .into_iter()
            .filter(|silence| silence.state == SilenceState::Open)
            .collect(),
        plan,
        missed_photo_days,
        wound,
    })
}

/// How a patient and their second contact are reached, as typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Contacts {
    pub phone: String,
    /// Empty: nobody.
    pub helper_name: String,
    /// Empty: nobody.
    pub helper_phone: String,
    /// `None`: by the language alone.
    pub interpreter: Option<bool>,
}

/// Keeps how a patient is reached.
pub async fn set_contacts(
    desk: &Desk,
    member: &StaffMember,
    id: PatientId,
    contacts: &Contacts,
    now: Timestamp,
) -> Done<()> {
    may_look(member)?;
    let mut faults = Vec::new();
    let (phone, name) = (contacts.phone.trim(), contacts.helper_name.trim());
    let second = contacts.helper_phone.trim();
    if phone_fault(phone) {
        faults
            .push(Fault::new("phone", "Enter a phone number with at least 7 digits, such as 202-555-0143."));
    }
    if !second.is_empty() && phone_fault(second) {
        let words = "Enter the second contact's number with at least 7 digits, or leave it empty.";
        faults.push(Fault::new("helper_phone", words));
    }
    if name.chars().count() > 200 {
        faults.push(Fault::new("helper_name", "Shorten the name to 200 characters."));
    }
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    let mut tx = desk.db.write().await?;
    let mut patient = patients::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    let filled = |text: &str| (!text.is_empty()).then(|| text.to_owned());
    patient.phone = phone.to_owned();
    patient.helper_name = filled(name);
    patient.helper_phone = filled(second);
    patient.interpreter = contacts.interpreter;
    patients::set_contacts(&mut tx, &patient).await?;
    let (actor, subject) = (Actor::Staff(member.id), format!("patient:{id}"));
    record::note(&mut tx, member.practice, actor, "patient.contacts", &subject, "", now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// Whose wound it is.
pub async fn of_wound(desk: &Desk, member: &StaffMember, id: WoundId) -> Done<PatientId> {
    let found = wounds::find(&mut *desk.db.read().await?, member.practice, id).await?;
    Ok(found.ok_or(CareError::NotFound)?.patient)
}

/// Whose antibiotic it is.
pub async fn of_course(desk: &Desk, member: &StaffMember, id: AntibioticCourseId) -> Done<PatientId> {
    let found = antibiotics::find(&mut *desk.db.read().await?, member.practice, id).await?;
    of_wound(desk, member, found.ok_or(CareError::NotFound)?.wound).await
}

fn may_look(member: &StaffMember) -> Done<()> {
    if member.roles.office || member.roles.surgeon { Ok(()) } else { Err(CareError::NotAllowed) }
}
