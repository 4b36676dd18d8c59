//! A correction that a patient asked for: a note beside what was wrong. Nothing is overwritten.

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::CorrectionId;
use crate::ids::Moment;
use crate::ids::ReviewId;
use crate::ids::WoundCheckId;
use crate::store::checks;
use crate::store::corrections;
use crate::store::corrections::Correction;
use crate::store::reviews;
use crate::store::staff::StaffMember;

/// The longest note, in letters.
pub const LONGEST: usize = 1_000;

/// Notes a correction beside a check, or beside one of its decisions. Surgeons do. The patient can read it and is not told of it:
/// whoever has to change what a patient does sends an answer.
pub async fn add(
    desk: &Desk,
    surgeon: &StaffMember,
    check: WoundCheckId,
    review: Option<ReviewId>,
    words: &str,
    moment: &Moment,
) -> Done<CorrectionId> {
    if !surgeon.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    let mut tx = desk.db.write().await?;
    let check = checks::hold(&mut tx, surgeon.practice, check).await?.ok_or(CareError::NotFound)?;
    let words = words.replace('\0', "").replace("\r\n", "\n").trim().to_owned();
    if words.is_empty() {
        return Err(CareError::Entered(vec![Fault::new("words", "Write what is corrected.")]));
    }
    if words.chars().count() > LONGEST {
        let fault = Fault::new("words", format!("Shorten the correction to {LONGEST} letters."));
        return Err(CareError::Entered(vec![fault]));
    }
    if let Some(review) = review {
        let of_check = reviews::of_check(&mut tx, surgeon.practice, check.id).await?;
        of_check.iter().find(|one| one.id == review).ok_or(CareError::NotFound)?;
    }
    let correction = Correction {
        id: CorrectionId::mint(moment),
        practice: surgeon.practice,
        wound: check.wound,
        check: check.id,
        review,
        words: words.into(),
        by: surgeon.id,
        noted: moment.now,
    };
    corrections::insert(&mut tx, &correction).await?;
    let detail = if review.is_some() { "of=decision" } else { "of=check" };
    let (actor, subject) = (Actor::Staff(surgeon.id), format!("check:{}", check.id));
    record::note(&mut tx, surgeon.practice, actor, "correction.add", &subject, detail, moment.now).await?;
    tx.commit().await?;
    desk.tell(surgeon.practice);
    Ok(correction.id)
}
