//! One check's photos beside each other, each with what it was measured to say.

use jiff::SignedDuration;
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

/// A photo taken longer before it was sent than this says so (own rule; the wound looks different by then).
const STALE_AFTER: SignedDuration = SignedDuration::from_hours(24);

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
    /// Since when its kept file is damaged; empty: it is whole.
    pub damaged_since: String,
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

/// What is to be known of a photo before it is believed.
fn flags(opened: &Opened, photo: &Photo, now: Timestamp) -> Vec<String> {
    let zone = &opened.practice.zone;
    let mut flags: Vec<String> = photo.flags.iter().map(|code| chart_words::photo_flag(code)).collect();
    if photo.check == opened.check.id
        && let Some(first) = opened.sent_before.get(&photo.sent_sha256)
    {
        let day = day_number(opened.wound.operation.operated, *first, zone);
        let clock = time_words::clock_time(*first, now, zone, STAFF_LANGUAGE);
        flags.push(format!("the same file as on day {day} ({clock}): not a new photo"));
    }
    // The camera's clock knows no zone: it is taken for the practice's.
    let taken = photo
        .camera
        .time
        .and_then(|time| time.to_zoned_datetime(zone.clone()).ok())
        .map(|time| time.timestamp());
    if let Some(taken) = taken.filter(|taken| photo.received.duration_since(*taken) > STALE_AFTER) {
        let days = photo.received.duration_since(taken).as_hours() / 24;
        let days = if days == 1 { "1 day".to_owned() } else { format!("{days} days") };
        flags.push(format!("taken {days} before it was sent, by the camera’s clock"));
    }
    flags
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
        flags: flags(opened, photo, now).join(", "),
        damaged_since: opened.damaged.get(&photo.id).map_or_else(String::new, |since| {
            time_words::clock_time(*since, now, &opened.practice.zone, STAFF_LANGUAGE)
        }),
        is_readable: photo.renditions.is_some(),
    }
}
