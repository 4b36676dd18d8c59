//! The practice's plan text: what the steps of home care say, in both languages, kept in versions.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::PracticeId;
use crate::plan::PlanText;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::plan_texts;
use crate::store::plan_texts::KeptText;
use crate::store::staff::StaffMember;

/// The text in use.
#[derive(Clone, Debug)]
pub struct InUse {
    /// 0: the program's own.
    pub version: i64,
    pub text: PlanText,
    /// `None`: the program's own was never changed.
    pub made: Option<Timestamp>,
}

/// The practice's newest text, or the program's own.
pub(in crate::care) async fn in_use(conn: &mut Conn, practice: PracticeId) -> Stored<InUse> {
    Ok(match plan_texts::newest(conn, practice).await? {
        Some(kept) => InUse { version: kept.version, text: kept.text, made: Some(kept.made) },
        None => InUse { version: 0, text: PlanText::built_in().clone(), made: None },
    })
}

/// The text in use, for the lead.
pub async fn view(desk: &Desk, lead: &StaffMember) -> Done<InUse> {
    must_lead(lead)?;
    Ok(in_use(&mut *desk.db.read().await?, lead.practice).await?)
}

fn must_lead(member: &StaffMember) -> Done<()> {
    if member.roles.lead { Ok(()) } else { Err(CareError::NotAllowed) }
}

/// Keeps a changed text as the next version. `from`: the version it was changed from; refused when somebody kept
/// another meanwhile. Plans made before keep their dates; their sentences are the new ones at once.
pub async fn keep(desk: &Desk, lead: &StaffMember, from: i64, text: PlanText, now: Timestamp) -> Done<i64> {
    must_lead(lead)?;
    let faults: Vec<Fault> =
        text.faults().into_iter().map(|fault| Fault::new(fault.field, fault.words)).collect();
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    let mut tx = desk.db.write().await?;
    let before = in_use(&mut tx, lead.practice).await?;
    if before.version != from {
        return Err(CareError::AlreadyDone);
    }
    if before.text == text {
        return Ok(before.version);
    }
    let kept = KeptText { version: from + 1, text, by: lead.id, made: now };
    match plan_texts::keep(&mut tx, lead.practice, &kept).await {
        Err(fault) if fault.is_duplicate() => return Err(CareError::AlreadyDone),
        other => other?,
    }
    let (subject, detail) = (format!("practice:{}", lead.practice), format!("version={}", kept.version));
    record::note(&mut tx, lead.practice, Actor::Staff(lead.id), "plan_text.keep", &subject, &detail, now)
        .await?;
    tx.commit().await?;
    Ok(kept.version)
}
