//! This photo and the last, turned and scaled to the same millimetres around the wound, and what changed between them.

use jiff::Timestamp;

use crate::care::review::Opened;
use crate::photo::Matrix;
use crate::photo::PxPoint;
use crate::photo::review_size_px;
use crate::plan::day_number;
use crate::store::checks::WoundCheck;
use crate::store::measurements::KeptMeasurement;
use crate::store::photos::Photo;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::surgeon::measure_words;
use crate::web::surgeon::measured;
use crate::web::time_words;
use crate::wound::Differences;
use crate::wound::Measurement;
use crate::wound::SideBySide;
use crate::wound::Standing;
use crate::wound::course::Change;
use crate::wound::course::Clear;

/// Outlines that overlap less than this may not be the same wound (own limit, tried on drawn pictures).
const SAME_WOUND_FROM: f64 = 0.5;

/// One of the two photos.
pub struct SidePhoto {
    pub id: String,
    /// "Day 5 · today at 9:12".
    pub label: String,
    pub size_px: (u32, u32),
    /// 3 × 3 by rows, JSON: from px of the review rendition to mm in the frame.
    pub warp: String,
}

/// One figure, then and now.
pub struct ChangeLine {
    pub label: &'static str,
    pub words: String,
}

/// Both photos in one frame.
pub struct SideView {
    pub side_mm: String,
    pub now: SidePhoto,
    pub before: SidePhoto,
    /// Lines over this photo, SVG path data in its px; empty: nothing to draw.
    pub wound_now: String,
    pub redness_now: String,
    pub wound_before: String,
    pub redness_before: String,
    /// What to keep in mind looking at them; empty: nothing.
    pub caution: String,
}

/// What is said about the two photos.
pub struct Beside {
    pub view: Option<SideView>,
    /// Why they cannot be brought to one scale; empty: they can, or there is no earlier photo.
    pub why_not: String,
    pub changes: Vec<ChangeLine>,
}

/// A measured photo with its check.
struct Side<'a> {
    check: &'a WoundCheck,
    photo: &'a Photo,
    kept: &'a KeptMeasurement,
}

/// Lays the opened check's photo beside the last. Of several photos the first with a scale and an outline that counts
/// is taken, or else the first with an outline.
pub fn beside(opened: &Opened, now: Timestamp) -> Beside {
    let none = |why: &str| Beside { view: None, why_not: why.to_owned(), changes: Vec::new() };
    let Some((earlier, earlier_photos)) = &opened.before else { return none("") };
    let has_photo = |photos: &[Photo]| photos.iter().any(|photo| photo.renditions.is_some());
    if !has_photo(&opened.photos) || !has_photo(earlier_photos) {
        return none("");
    }
    let Some(this) = side(opened, &opened.check, &opened.photos) else {
        return none(
            "This check has no photo with a readable scale and an outline: the two stand above as they were taken.",
        );
    };
    let Some(last) = side(opened, earlier, earlier_photos) else {
        return none(
            "The check before has no photo with a readable scale and an outline: the two stand above as they were taken.",
        );
    };
    let surface = opened.photos_say.surface;
    let (found, before) = (&this.kept.measurement, &last.kept.measurement);
    let differences = crate::wound::differences(found, before, surface);
    Beside {
        changes: differences.as_ref().map(changes).unwrap_or_default(),
        why_not: if differences.is_none() { no_figures(found, before).to_owned() } else { String::new() },
        view: crate::wound::side_by_side(found, before, surface)
            .map(|both| view(opened, &this, &last, &both, now)),
    }
}

fn side<'a>(opened: &'a Opened, check: &'a WoundCheck, photos: &'a [Photo]) -> Option<Side<'a>> {
    let sides = photos.iter().filter(|photo| photo.renditions.is_some()).filter_map(|photo| {
        let kept = opened.measured.iter().find(|kept| kept.photo == photo.id)?;
        let usable = kept.measurement.plane.is_some() && kept.measurement.outline.is_some();
        usable.then_some(Side { check, photo, kept })
    });
    let counts = |side: &Side<'_>| side.kept.measurement.standing == Standing::Ok;
    let all: Vec<Side<'_>> = sides.collect();
    let best = all.iter().position(counts).unwrap_or(0);
    all.into_iter().nth(best)
}

/// Why two outlines give no difference in figures.
fn no_figures(now: &Measurement, before: &Measurement) -> &'static str {
    if now.family != before.family {
        "One outline was found by the program and the other drawn by hand: their figures are not held against each other."
    } else {
        "One of the outlines is not sure: no difference is given until it is confirmed or drawn."
    }
}

fn view(opened: &Opened, this: &Side<'_>, last: &Side<'_>, both: &SideBySide, now: Timestamp) -> SideView {
    let lines = measured::lines_over(&this.kept.measurement);
    SideView {
        side_mm: format!("{:.0}", both.side_mm),
        now: side_photo(opened, this, &both.now.frame_mm_from_px, now),
        before: side_photo(opened, last, &both.before.frame_mm_from_px, now),
        wound_now: lines.0,
        redness_now: lines.1,
        wound_before: both.wound_before_px.iter().map(|ring| closed(ring)).collect(),
        redness_before: closed(&both.redness_before_px),
        caution: if both.overlap < SAME_WOUND_FROM {
            "The two outlines hardly fit over each other: they may show different wounds, or one outline is wrong.".to_owned()
        } else {
            String::new()
        },
    }
}

fn closed(ring: &[PxPoint]) -> String {
    measured::closed(ring.iter().copied())
}

fn side_photo(opened: &Opened, side: &Side<'_>, warp: &Matrix, now: Timestamp) -> SidePhoto {
    let zone = &opened.practice.zone;
    let day = day_number(opened.wound.operation.operated, side.check.received, zone);
    let full_px = side.photo.renditions.as_ref().map(|kept| (kept.width_px, kept.height_px));
    SidePhoto {
        id: side.photo.id.to_string(),
        label: format!(
            "Day {day} · {}",
            time_words::clock_time(side.check.received, now, zone, STAFF_LANGUAGE)
        ),
        size_px: full_px.map_or((0, 0), review_size_px),
        warp: serde_json::to_string(warp).unwrap_or_default(),
    }
}

fn changes(differences: &Differences) -> Vec<ChangeLine> {
    let mm =
        |label, change: &Change| ChangeLine { label, words: change_words(change, measure_words::length) };
    let mut lines = vec![
        ChangeLine { label: "Area", words: change_words(&differences.area_mm2, measure_words::area) },
        mm("Length", &differences.length_mm),
        mm("Width", &differences.width_mm),
    ];
    lines.extend(differences.redness_reach_mm.as_ref().map(|change| mm("Redness beyond the edge", change)));
    lines
}

/// "9.5 cm² → 7.2 cm², −24 %: smaller", or that nothing is clear within the measuring error.
fn change_words(change: &Change, figure: fn(f64) -> String) -> String {
    let from_to = format!("{} → {}", figure(change.before.value), figure(change.now.value));
    let by =
        change.percent.map_or_else(String::new, |percent| format!(", {percent:+.0} %").replace('-', "−"));
    let says = match change.says {
        Clear::Smaller => "smaller".to_owned(),
        Clear::Bigger => "bigger".to_owned(),
        Clear::NoClearChange => format!("no clear change (within ±{})", figure(change.band)),
    };
    format!("{from_to}{by}: {says}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wound::Figure;

    fn change(before: f64, now: f64, says: Clear) -> Change {
        let near = |value: f64| Figure::new(value, value * 0.9, value * 1.1);
        Change {
            before: near(before),
            now: near(now),
            by: now - before,
            percent: Some((now / before - 1.0) * 100.0),
            band: 130.0,
            says,
        }
    }

    #[test]
    fn a_change_is_told_with_both_figures_and_what_it_comes_to() {
        let words = |before, now, says| change_words(&change(before, now, says), measure_words::area);
        assert_eq!(words(950.0, 722.0, Clear::Smaller), "9.5 cm² → 7.2 cm², −24 %: smaller");
        assert_eq!(words(500.0, 750.0, Clear::Bigger), "5.0 cm² → 7.5 cm², +50 %: bigger");
        assert_eq!(
            words(950.0, 900.0, Clear::NoClearChange),
            "9.5 cm² → 9.0 cm², −5 %: no clear change (within ±1.3 cm²)"
        );
    }
}
