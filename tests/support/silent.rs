//! Somebody silent: a visit that nobody noted, rung about once, and an antibiotic that is followed.

use jiff::SignedDuration;

use closewatch::ids::AntibioticCourseId;
use closewatch::ids::SilenceCallId;
use closewatch::ids::SilenceId;
use closewatch::ids::WoundId;
use closewatch::store::FreeText;
use closewatch::store::antibiotics;
use closewatch::store::antibiotics::AntibioticCourse;
use closewatch::store::antibiotics::Culture;
use closewatch::store::silences;
use closewatch::store::silences::Beginning;
use closewatch::store::silences::Interpreter;
use closewatch::store::silences::SilenceCall;
use closewatch::store::staff::StaffMember;
use closewatch::triage::CallResult;
use closewatch::triage::SilenceKind;
use closewatch::triage::SilenceStep;
use closewatch::triage::Whom;

use super::Practice;

/// A check that did not come and was rung about, and an antibiotic.
pub async fn goes_silent(
    practice: &Practice,
    office: &StaffMember,
    wound: WoundId,
) -> (SilenceId, AntibioticCourseId) {
    let moment = practice.moment();
    let mut tx = practice.desk().db.write().await.unwrap();
    let beginning = Beginning {
        practice: practice.id,
        wound,
        kind: SilenceKind::Visit,
        about: &format!("step:an old visit of {wound}"),
        since: moment.now,
        next: (SilenceStep::Call, moment.now),
        by: moment.now,
    };
    let id = silences::begin(&mut tx, beginning, &moment).await.unwrap().unwrap();
    let call = SilenceCall {
        id: SilenceCallId::mint(&moment),
        practice: practice.id,
        silence: id,
        staff: office.id,
        whom: Whom::Patient,
        result: CallResult::NoAnswer,
        spoke_with: FreeText::default(),
        interpreter: Interpreter::NotNeeded,
        note: FreeText::default(),
        at: moment.now,
    };
    silences::insert_call(&mut tx, &call).await.unwrap();
    let course = AntibioticCourse {
        id: AntibioticCourseId::mint(&moment),
        practice: practice.id,
        wound,
        review: None,
        drug: "cephalexin".into(),
        doses_per_day: Some(4),
        days: 7,
        started: moment.now,
        ends: moment.now + SignedDuration::from_hours(24 * 7),
        culture: Culture::Sent,
        culture_result: FreeText::default(),
        culture_fits: None,
        culture_by: None,
        culture_at: None,
        stopped: None,
        stopped_why: String::new(),
        recorded_by: office.id,
        recorded: moment.now,
    };
    antibiotics::insert(&mut tx, &course).await.unwrap();
    tx.commit().await.unwrap();
    (id, course.id)
}
