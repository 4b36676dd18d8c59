//! The hand-off: one page for the emergency department about somebody who goes there.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::record;
use crate::ids::WoundId;
use crate::store::antibiotics;
use crate::store::antibiotics::AntibioticCourse;
use crate::store::checks;
use crate::store::checks::WoundCheck;
use crate::store::corrections;
use crate::store::corrections::Correction;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::reviews;
use crate::store::reviews::Review;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::wounds;
use crate::store::wounds::Wound;

/// What the page says.
#[derive(Clone, Debug)]
pub struct HandOff {
    pub practice: Practice,
    pub patient: Patient,
    pub wound: Wound,
    /// Who operated; empty: no longer here.
    pub surgeon: String,
    /// The newest check; `None`: none came.
    pub check: Option<WoundCheck>,
    /// The newest decision about it.
    pub review: Option<Review>,
    /// Who decided; empty: nobody yet.
    pub decided_by: String,
    pub courses: Vec<AntibioticCourse>,
    /// About the newest check and its decisions.
    pub corrections: Vec<Correction>,
}

/// Reads what the emergency department must know, and notes that the member saw it. No photo.
pub async fn view(desk: &Desk, member: &StaffMember, id: WoundId, now: Timestamp) -> Done<HandOff> {
    if !(member.roles.office || member.roles.surgeon) {
        return Err(CareError::NotAllowed);
    }
    let hand_off = {
        let mut conn = desk.db.read().await?;
        let practice = member.practice;
        let wound = wounds::find(&mut conn, practice, id).await?.ok_or(CareError::NotFound)?;
        let staff = staff::of_practice(&mut conn, practice).await?;
        let name_of =
            |id| staff.iter().find(|one| one.id == id).map_or_else(String::new, |one| one.name.clone());
        let check = checks::of_wound(&mut conn, practice, id).await?.into_iter().next();
        let review = match &check {
            Some(check) => reviews::of_check(&mut conn, practice, check.id).await?.into_iter().next_back(),
            None => None,
        };
        let mut corrections = corrections::of_wound(&mut conn, practice, id).await?;
        corrections.retain(|one| check.as_ref().is_some_and(|check| check.id == one.check));
        HandOff {
            corrections,
            practice: practices::find(&mut conn, practice).await?.ok_or(CareError::NotFound)?,
            patient: patients::find(&mut conn, practice, wound.patient).await?.ok_or(CareError::NotFound)?,
            surgeon: name_of(wound.surgeon),
            decided_by: review.as_ref().map_or_else(String::new, |review| name_of(review.surgeon)),
            check,
            review,
            courses: antibiotics::of_wound(&mut conn, practice, id).await?,
            wound,
        }
    };
    record::note_view(desk, member, "hand_off.view", &format!("wound:{id}"), now).await?;
    Ok(hand_off)
}
