//! Why a check stood where it stood: each assessment it ever had, under the protocol of that day.

use std::sync::Arc;

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::protocols;
use crate::care::record;
use crate::ids::WoundCheckId;
use crate::store::assessments;
use crate::store::assessments::KeptAssessment;
use crate::store::checks;
use crate::store::checks::WoundCheck;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff::StaffMember;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::triage::Assessment;
use crate::triage::CheckFacts;
use crate::triage::CouldRaise;
use crate::triage::Protocol;
use crate::triage::could_raise;

/// One assessment with everything that explains it.
#[derive(Clone, Debug)]
pub struct Explained {
    pub practice: Practice,
    pub check: WoundCheck,
    pub patient: Patient,
    pub wound: Wound,
    /// The one explained.
    pub kept: KeptAssessment,
    /// All of the check, oldest first, this one among them.
    pub all: Vec<KeptAssessment>,
    /// The check before on the same wound.
    pub before: Option<WoundCheck>,
    /// The protocol of that day; `None`: it was not kept, or cannot be read any more. What the assessment says stands
    /// all the same.
    pub protocol: Option<Arc<Protocol>>,
    /// The smallest sets of unknown facts that could have raised it; `None`: its facts or its protocol were not kept.
    pub could_raise: Option<Vec<CouldRaise>>,
}

/// Explains one of a check's assessments, the last one when `number` is `None`, and notes that the surgeon saw it.
pub async fn explain(
    desk: &Desk,
    surgeon: &StaffMember,
    id: WoundCheckId,
    number: Option<i64>,
    now: Timestamp,
) -> Done<Explained> {
    if !surgeon.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    let explained = gather(desk, surgeon, id, number).await?;
    record::note_view(desk, surgeon, "check.explain", &format!("check:{id}"), now).await?;
    Ok(explained)
}

async fn gather(
    desk: &Desk,
    surgeon: &StaffMember,
    id: WoundCheckId,
    number: Option<i64>,
) -> Done<Explained> {
    let practice = surgeon.practice;
    let mut conn = desk.db.read().await?;
    let check = checks::find(&mut conn, practice, id).await?.ok_or(CareError::NotFound)?;
    let wound = wounds::find(&mut conn, practice, check.wound).await?.ok_or(CareError::NotFound)?;
    let patient = patients::find(&mut conn, practice, wound.patient).await?.ok_or(CareError::NotFound)?;
    let all = assessments::of_check(&mut conn, practice, id).await?;
    let chosen = match number {
        Some(number) => all.iter().find(|kept| kept.number == number),
        None => all.last(),
    };
    let kept = chosen.cloned().ok_or(CareError::NotFound)?;
    let version = &kept.assessment.protocol_version;
    let protocol = protocols::of_version(desk, &mut conn, practice, version).await?;
    let could_raise = could_have_raised(protocol.as_ref(), &kept.assessment, kept.facts.as_ref()).await?;
    Ok(Explained {
        practice: practices::find(&mut conn, practice).await?.ok_or(CareError::NotFound)?,
        before: checks::before(&mut conn, &check).await?,
        check,
        patient,
        wound,
        kept,
        all,
        protocol,
        could_raise,
    })
}

/// The smallest sets of unknown facts that could raise an assessment under the protocol of its day; `None`: its facts
/// or its protocol were not kept.
pub(in crate::care) async fn could_have_raised(
    protocol: Option<&Arc<Protocol>>,
    assessment: &Assessment,
    facts: Option<&CheckFacts>,
) -> Done<Option<Vec<CouldRaise>>> {
    let (Some(protocol), Some(facts)) = (protocol, facts) else { return Ok(None) };
    let (protocol, facts, stands) = (Arc::clone(protocol), facts.together(), assessment.urgency);
    let tried = tokio::task::spawn_blocking(move || could_raise(&protocol, &facts, stands)).await;
    Ok(Some(tried.map_err(|fault| CareError::Work(fault.to_string()))?))
}
