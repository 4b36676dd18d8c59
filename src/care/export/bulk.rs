//! Everything of a practice, wound by wound, once two people have agreed.

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::export;
use crate::care::export::CopyFor;
use crate::care::export::Episode;
use crate::care::export::MadeBy;
use crate::care::export::agreement;
use crate::care::export::episode;
use crate::care::record::Actor;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::WoundId;
use crate::store::staff;
use crate::store::wounds;

/// What is taken out, and by whose agreement.
#[derive(Clone, Debug)]
pub struct Bulk {
    pub practice: PracticeId,
    pub made: MadeBy,
    /// Every wound the practice ever had, in the order of enrolment.
    pub wounds: Vec<WoundId>,
}

/// Uses the code up. `None`: it is not open.
pub async fn begin(desk: &Desk, practice: PracticeId, code: &str, moment: &Moment) -> Done<Option<Bulk>> {
    let Some(taken) = agreement::take(desk, practice, code, moment).await? else { return Ok(None) };
    let mut conn = desk.db.read().await?;
    let staff = staff::of_practice(&mut conn, practice).await?;
    let name_of = |id| staff.iter().find(|one| one.id == id).map_or_else(String::new, |one| one.name.clone());
    let agreed = taken.agreed.map(|(by, _)| name_of(by));
    let made = MadeBy { name: name_of(taken.asked_by), agreed, at: moment.now };
    Ok(Some(Bulk { practice, made, wounds: wounds::all(&mut conn, practice).await? }))
}

/// One of its wounds, with a line in the record that says when this one was taken. `None`: it is gone since the beginning.
pub async fn episode(
    desk: &Desk,
    bulk: &Bulk,
    wound: WoundId,
    copy: CopyFor,
    now: Timestamp,
) -> Done<Option<Episode>> {
    if !bulk.wounds.contains(&wound) {
        return Err(CareError::NotFound);
    }
    let episode = match episode::read(desk, bulk.practice, wound, copy, bulk.made.clone()).await {
        Ok(episode) => episode,
        Err(CareError::NotFound) => return Ok(None),
        Err(other) => return Err(other),
    };
    export::note(desk, Actor::Program, &episode, now).await?;
    Ok(Some(episode))
}
