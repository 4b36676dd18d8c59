//! Copies that leave the house: one wound's whole episode, for the patient or as the practice's record; and everything of a
//! practice, which two people must agree to.

pub mod agreement;
pub mod bulk;
mod episode;

pub use episode::Call;
pub use episode::Checked;
pub use episode::Episode;
pub use episode::Pictured;
pub use episode::Quiet;

use bytes::Bytes;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::PracticeId;
use crate::ids::WoundId;
use crate::plan::coded;
use crate::store::BlobName;
use crate::store::staff::StaffMember;

coded! {
    /// Whose copy it is.
    pub enum CopyFor {
        /// The patient's own: what they sent, what was said and done. Nothing that is for staff only.
        Patient = "patient",
        /// The practice's whole record, with notes for staff, the ranking, and who looked.
        Record = "record",
    }
}

/// Who took a copy, and when: it stands on every page and every photo of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MadeBy {
    pub name: String,
    /// Who agreed; `None`: nobody had to.
    pub agreed: Option<String>,
    pub at: Timestamp,
}

/// A wound's episode for a surgeon of the same practice, with a line in the record.
pub async fn of_wound(
    desk: &Desk,
    surgeon: &StaffMember,
    wound: WoundId,
    copy: CopyFor,
    now: Timestamp,
) -> Done<Episode> {
    if !surgeon.roles.surgeon {
        return Err(CareError::NotAllowed);
    }
    let made = MadeBy { name: surgeon.name.clone(), agreed: None, at: now };
    let episode = episode::read(desk, surgeon.practice, wound, copy, made).await?;
    note(desk, Actor::Staff(surgeon.id), &episode, now).await?;
    Ok(episode)
}

async fn note(desk: &Desk, actor: Actor, episode: &Episode, now: Timestamp) -> Done<()> {
    let wound = &episode.wound;
    let (subject, detail) = (
        format!("wound:{}", wound.id),
        format!(
            "copy={} checks={} photos={}",
            episode.copy.code(),
            episode.checks.len(),
            episode.pictures().count()
        ),
    );
    let mut tx = desk.db.write().await?;
    record::note(&mut tx, wound.practice, actor, "export.make", &subject, &detail, now).await?;
    Ok(tx.commit().await?)
}

/// The bytes of one rendition of a photo in an episode; `None`: the file cannot be read.
pub async fn picture(desk: &Desk, practice: PracticeId, blob: &BlobName) -> Option<Bytes> {
    let mut conn = desk.db.read().await.ok()?;
    match desk.blobs.get(&mut conn, practice, blob).await {
        Ok(Some(bytes)) => Some(bytes),
        Ok(None) => {
            tracing::error!("a photo's file is missing: a copy goes without it");
            None
        }
        Err(fault) => {
            tracing::error!(%fault, "a photo cannot be read: a copy goes without it");
            None
        }
    }
}
