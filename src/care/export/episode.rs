//! Everything that is kept about one wound, read in one moment.

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::export::CopyFor;
use crate::care::export::MadeBy;
use crate::care::plan_text;
use crate::ids::LookId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::ids::WoundId;
use crate::plan::PlanText;
use crate::store::Conn;
use crate::store::answer_versions;
use crate::store::antibiotics;
use crate::store::antibiotics::AntibioticCourse;
use crate::store::assessments;
use crate::store::assessments::KeptAssessment;
use crate::store::audit::AuditEntry;
use crate::store::audit_search;
use crate::store::audit_search::Looked;
use crate::store::callbacks;
use crate::store::callbacks::CallAttempt;
use crate::store::callbacks::Callback;
use crate::store::checks;
use crate::store::checks::WoundCheck;
use crate::store::corrections;
use crate::store::corrections::Correction;
use crate::store::late_knocks;
use crate::store::late_knocks::LateKnock;
use crate::store::links;
use crate::store::links::PatientLink;
use crate::store::measurements;
use crate::store::measurements::KeptMeasurement;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::photos;
use crate::store::photos::Photo;
use crate::store::plan;
use crate::store::plan::KeptStep;
use crate::store::plan::PlanChange;
use crate::store::plan::Standing;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::reviews;
use crate::store::reviews::Review;
use crate::store::sealed_codes;
use crate::store::silences;
use crate::store::silences::Silence;
use crate::store::silences::SilenceCall;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::strip_attempts;
use crate::store::strip_attempts::StripAttempt;
use crate::store::thread;
use crate::store::thread::Message;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage::Answers;

/// More lines of the record than this are not read about one patient.
const MOST_LINES: i64 = 100_000;

/// One wound from operation to closure. What only the record has is empty in a patient's copy: it is not read for one.
#[derive(Clone, Debug)]
pub struct Episode {
    pub copy: CopyFor,
    pub made: MadeBy,
    pub practice: Practice,
    pub patient: Patient,
    pub wound: Wound,
    /// Everybody who ever worked here: for their names.
    pub staff: Vec<StaffMember>,
    /// The names that were typed with sealed codes.
    pub looks: Vec<(LookId, String)>,
    pub standing: Standing,
    /// In order, cancelled ones too.
    pub steps: Vec<KeptStep>,
    /// Oldest first.
    pub changes: Vec<PlanChange>,
    pub strip_tries: Vec<StripAttempt>,
    pub plan_text: PlanText,
    /// Oldest first.
    pub checks: Vec<Checked>,
    pub thread: Vec<Message>,
    /// Oldest first.
    pub courses: Vec<AntibioticCourse>,
    /// Oldest first.
    pub silences: Vec<Quiet>,
    pub knocks: Vec<LateKnock>,
    /// About the checks and their decisions, oldest first.
    pub corrections: Vec<Correction>,
    /// Only in the record.
    pub links: Vec<PatientLink>,
    /// Only in the record: every line about the patient, oldest first.
    pub lines: Vec<AuditEntry>,
}

/// One check with what came of it.
#[derive(Clone, Debug)]
pub struct Checked {
    pub check: WoundCheck,
    /// What the form said over time, oldest first.
    pub versions: Vec<(jiff::Timestamp, Answers)>,
    pub photos: Vec<Pictured>,
    /// Oldest first.
    pub reviews: Vec<Review>,
    pub calls: Vec<Call>,
    /// Only in the record.
    pub assessments: Vec<KeptAssessment>,
}

/// One photo and what was measured on it.
#[derive(Clone, Debug)]
pub struct Pictured {
    pub photo: Photo,
    /// The one that stands first, then the others from new to old; in a patient's copy only the one that stands.
    pub measured: Vec<KeptMeasurement>,
}

/// A call the office had to make.
#[derive(Clone, Debug)]
pub struct Call {
    pub callback: Callback,
    pub attempts: Vec<CallAttempt>,
}

/// Something that did not come, and the calls about it.
#[derive(Clone, Debug)]
pub struct Quiet {
    pub silence: Silence,
    pub calls: Vec<SilenceCall>,
}

impl Episode {
    /// Every photo that can be looked at, in order.
    pub fn pictures(&self) -> impl Iterator<Item = (&Checked, &Photo)> {
        self.checks.iter().flat_map(|one| {
            let readable = one.photos.iter().filter(|picture| picture.photo.renditions.is_some());
            readable.map(move |picture| (one, &picture.photo))
        })
    }

    /// Somebody's name; empty: nobody of that id ever worked here.
    pub fn name_of(&self, id: StaffId) -> &str {
        self.staff.iter().find(|member| member.id == id).map_or("", |member| member.name.as_str())
    }
}

/// Reads it all as it stands in one moment.
pub(in crate::care::export) async fn read(
    desk: &Desk,
    practice: PracticeId,
    id: WoundId,
    copy: CopyFor,
    made: MadeBy,
) -> Done<Episode> {
    let mut conn = desk.db.snapshot().await?;
    let wound = wounds::find(&mut conn, practice, id).await?.ok_or(CareError::NotFound)?;
    let patient = patients::find(&mut conn, practice, wound.patient).await?.ok_or(CareError::NotFound)?;
    let is_record = copy == CopyFor::Record;
    let measured = measurements::of_wound(&mut conn, practice, id).await?;
    let mut checked = Vec::new();
    for check in checks::of_wound(&mut conn, practice, id).await?.into_iter().rev() {
        checked.push(read_check(&mut conn, check, copy, &measured).await?);
    }
    let mut quiet = Vec::new();
    for silence in silences::of_wound(&mut conn, practice, id).await?.into_iter().rev() {
        let calls = silences::calls(&mut conn, practice, silence.id).await?;
        quiet.push(Quiet { silence, calls });
    }
    let mut changes = plan::changes(&mut conn, practice, id).await?;
    changes.reverse();
    let mut courses = antibiotics::of_wound(&mut conn, practice, id).await?;
    courses.reverse();
    let lines = match is_record {
        true => {
            let looked = Looked { patient: Some(patient.id), ..Looked::default() };
            let mut lines = audit_search::find(&mut conn, practice, &looked, i64::MAX, MOST_LINES).await?;
            lines.reverse();
            lines
        }
        false => Vec::new(),
    };
    Ok(Episode {
        copy,
        made,
        practice: practices::find(&mut conn, practice).await?.ok_or(CareError::NotFound)?,
        staff: staff::of_practice(&mut conn, practice).await?,
        looks: match is_record {
            true => sealed_codes::names(&mut conn, practice).await?,
            false => Vec::new(),
        },
        standing: plan::standing(&mut conn, practice, id).await?,
        steps: plan::steps(&mut conn, practice, id).await?,
        changes,
        strip_tries: strip_attempts::of_wound(&mut conn, practice, id).await?,
        plan_text: plan_text::in_use(&mut conn, practice).await?.text,
        checks: checked,
        thread: thread::of_wound(&mut conn, practice, id).await?,
        courses,
        silences: quiet,
        knocks: late_knocks::of_wound(&mut conn, practice, id).await?,
        corrections: corrections::of_wound(&mut conn, practice, id).await?,
        links: match is_record {
            true => links::of_wound(&mut conn, practice, id).await?,
            false => Vec::new(),
        },
        lines,
        patient,
        wound,
    })
}

async fn read_check(
    conn: &mut Conn,
    check: WoundCheck,
    copy: CopyFor,
    measured: &[KeptMeasurement],
) -> Done<Checked> {
    let practice = check.practice;
    let mut calls = Vec::new();
    for callback in callbacks::of_check(conn, practice, check.id).await? {
        let attempts = callbacks::attempts(conn, practice, callback.id).await?;
        calls.push(Call { callback, attempts });
    }
    let photos = photos::of_check(conn, practice, check.id).await?;
    Ok(Checked {
        versions: answer_versions::of_check(conn, &check).await?,
        photos: photos.into_iter().map(|photo| pictured(photo, copy, measured)).collect(),
        reviews: reviews::of_check(conn, practice, check.id).await?,
        calls,
        assessments: match copy {
            CopyFor::Patient => Vec::new(),
            CopyFor::Record => assessments::of_check(conn, practice, check.id).await?,
        },
        check,
    })
}

fn pictured(photo: Photo, copy: CopyFor, measured: &[KeptMeasurement]) -> Pictured {
    let of_photo: Vec<KeptMeasurement> =
        measured.iter().filter(|kept| kept.photo == photo.id).cloned().collect();
    let mut all = measurements::standing(of_photo.clone());
    if copy == CopyFor::Record {
        let stands = all.first().map(|kept| kept.id);
        all.extend(of_photo.into_iter().rev().filter(|kept| Some(kept.id) != stands));
    }
    Pictured { photo, measured: all }
}
