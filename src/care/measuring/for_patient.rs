//! What a patient is told of their photos: whether they are measured, and what to do better next time.

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::LinkHolder;
use crate::ids::PhotoId;
use crate::ids::WoundCheckId;
use crate::store::checks;
use crate::store::measurements;
use crate::store::measurements::Author;
use crate::store::measuring_jobs;
use crate::store::photos;
use crate::store::practices;
use crate::store::practices::Measuring;
use crate::wound::Because;
use crate::wound::Standing;

/// One photo of a check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PhotoSays {
    pub photo: PhotoId,
    /// From 1, in the order they were chosen.
    pub position: i64,
    pub said: Said,
}

/// What is known of a photo by now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Said {
    /// It waits to be measured; ask again in a moment.
    NotYet,
    /// Measured by the program. `because`: what stood in the way, the gravest first; empty when nothing did.
    Measured { standing: Standing, because: Vec<Because> },
    /// The practice does not have photos measured.
    SwitchedOff,
    /// What was sent is no picture.
    NoPicture,
    /// Kept before photos were measured.
    NotAsked,
}

/// What the program found in the photos of a check this link sent, in order.
pub async fn for_patient(desk: &Desk, holder: &LinkHolder, check: WoundCheckId) -> Done<Vec<PhotoSays>> {
    let mut conn = desk.db.read().await?;
    let check = checks::find(&mut conn, holder.practice, check).await?.ok_or(CareError::NotFound)?;
    if check.link != holder.link {
        return Err(CareError::NotFound);
    }
    let settings = practices::measuring(&mut conn, holder.practice).await?.ok_or(CareError::NotFound)?;
    let mut says = Vec::new();
    for photo in photos::of_check(&mut conn, holder.practice, check.id).await? {
        let found = measurements::of_photo(&mut conn, holder.practice, photo.id).await?;
        let automatic = found.into_iter().filter(|kept| kept.author == Author::Program).collect();
        let waits = measuring_jobs::is_waiting(&mut conn, holder.practice, photo.id).await?;
        let said = match measurements::standing(automatic).pop().map(|kept| kept.measurement) {
            _ if photo.renditions.is_none() => Said::NoPicture,
            Some(found) => Said::Measured { standing: found.standing, because: found.because },
            None if settings.measuring == Measuring::Off => Said::SwitchedOff,
            None if waits => Said::NotYet,
            None => Said::NotAsked,
        };
        says.push(PhotoSays { photo: photo.id, position: photo.position, said });
    }
    Ok(says)
}
