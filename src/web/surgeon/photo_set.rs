//! One check's photos beside each other, each with what it was measured to say.

use jiff::Timestamp;

use crate::care::review::Opened;
use crate::photo::review_size_px;
use crate::plan::day_number;
use crate::store::checks::WoundCheck;
use crate::store::photos::Photo;
use crate::web::chart_words;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::surgeon::measured;
use crate::web::surgeon::measured::Drawn;
use crate::web::surgeon::measured::MeasuredView;
use crate::web::time_words;

pub struct PhotoView {
    pub id: String,
    pub position: i64,
    /// Size of the review rendition, px.
    pub size_px: (u32, u32),
    pub measured: Option<MeasuredView>,
    /// Such as that it waits to be measured; empty: nothing to say.
    pub unmeasured: &'static str,
    pub alt: String,
    /// Empty: nothing is wrong with it.
    pub flags: String,
    pub is_readable: bool,
}

/// One check's photos.
pub struct PhotoSet {
    pub label: String,
    pub photos: Vec<PhotoView>,
    /// Such as "1 of 2 photos has not come"; empty when all are here.
    pub missing: String,
}

/// Lays a check's photos out, with what they were measured to say. `drawn`: a drawing that could not be kept.
pub fn photo_set(
    opened: &Opened,
    check: &WoundCheck,
    photos: &[Photo],
    drawn: Option<&Drawn>,
    now: Timestamp,
) -> PhotoSet {
    let zone = &opened.practice.zone;
    let day = day_number(opened.wound.operation.operated, check.received, zone);
    let missing = check.photos_expected - photos.len() as i64;
    PhotoSet {
        label: format!("Day {day} · {}", time_words::clock_time(check.received, now, zone, STAFF_LANGUAGE)),
        photos: photos.iter().map(|photo| photo_view(opened, photo, day, drawn, now)).collect(),
        missing: match missing {
            ..=0 => String::new(),
            1 => "1 photo has not come".to_owned(),
            more => format!("{more} photos have not come"),
        },
    }
}

fn photo_view(opened: &Opened, photo: &Photo, day: i64, drawn: Option<&Drawn>, now: Timestamp) -> PhotoView {
    let full_px = photo.renditions.as_ref().map(|kept| (kept.width_px, kept.height_px));
    PhotoView {
        id: photo.id.to_string(),
        position: photo.position,
        size_px: full_px.map_or((0, 0), review_size_px),
        measured: measured::measured(opened, photo, drawn, now),
        unmeasured: if opened.to_measure.contains(&photo.id) {
            "Waits to be measured. Read the page again in a moment."
        } else {
            ""
        },
        alt: format!("Photo {} of day {day}", photo.position),
        flags: photo.flags.iter().map(|code| chart_words::photo_flag(code)).collect::<Vec<_>>().join(", "),
        is_readable: photo.renditions.is_some(),
    }
}
