//! Measuring: what the photos of a wound say in millimetres, measured by the program after a check is safe, drawn or
//! confirmed by a person, and what of it stands.

mod again;
mod by_hand;
mod for_patient;
mod keeping;
mod says;
mod settings;
mod work;

pub use again::Queued;
pub use again::queue_past;
pub use by_hand::by_hand;
pub use by_hand::card_of;
pub use by_hand::confirm;
pub use for_patient::PhotoSays;
pub use for_patient::Said;
pub use for_patient::for_patient;
pub use says::PhotosSay;
pub(in crate::care) use says::photos_say;
pub use settings::Setting;
pub use settings::ruler_reads_mm;
pub use settings::set;
pub use settings::settings;
pub use work::Hints;
pub use work::Measure;
pub use work::Method;
pub use work::Outcome;
pub use work::TIME_LIMIT;
pub use work::any_due;
pub use work::next;
pub(in crate::care) use work::queue;

use crate::care::Done;
use crate::ids::PhotoId;
use crate::ids::PracticeId;
use crate::ids::WoundId;
use crate::store::Conn;
use crate::store::measurements;
use crate::store::measurements::KeptMeasurement;

/// Of each photo of a wound the measurement that stands, by the time the photos were taken.
pub async fn of_wound(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Done<Vec<KeptMeasurement>> {
    Ok(measurements::standing(measurements::of_wound(conn, practice, wound).await?))
}

/// Every measurement of a photo, newest first. Which of them stands: [`measurements::standing`].
pub async fn of_photo(conn: &mut Conn, practice: PracticeId, photo: PhotoId) -> Done<Vec<KeptMeasurement>> {
    Ok(measurements::of_photo(conn, practice, photo).await?)
}
