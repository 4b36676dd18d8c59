//! Which figures of a wound are comparable: one method's, one for each photo, in order of time.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::ids::PhotoId;
use crate::wound::Bed;
use crate::wound::Family;
use crate::wound::Figure;
use crate::wound::Measurement;
use crate::wound::Probed;
use crate::wound::Redness;
use crate::wound::Size;
use crate::wound::Standing;
use crate::wound::course::change::Change;
use crate::wound::course::change::Clear;
use crate::wound::course::change::Surface;
use crate::wound::course::change::area_change;
use crate::wound::course::change::change_by_share;
use crate::wound::course::change::reach_change;
use crate::wound::course::change::with_area_error;
use crate::wound::course::change::with_length_error;

/// What one photo, or one visit, said about a wound, and when.
#[derive(Clone, Debug, PartialEq)]
pub struct Dated {
    /// Days since the operation, 0–[`LATEST_DAY`]; what lies outside is no day and counts nowhere.
    pub day: f64,
    pub photo: PhotoId,
    /// When the figures were made, milliseconds since 1970: of one photo and family the newest count.
    pub made_ms: i64,
    pub family: Family,
    pub method: String,
    pub standing: Standing,
    pub size: Option<Size>,
    pub redness: Redness,
    pub bed: Option<Bed>,
    pub probed: Probed,
}

/// No wound is followed longer: ten years.
pub const LATEST_DAY: f64 = 3_650.0;
/// No area is larger, mm²: a square metre, half of a person's skin.
pub const LARGEST_AREA_MM2: f64 = 1_000_000.0;
/// No outline is smaller, mm² and mm: less than one picture pixel.
const LEAST: f64 = 0.01;
/// No redness reaches farther, mm: beyond it there is no skin left on most limbs.
const FARTHEST_REACH_MM: f64 = 1_000.0;
/// Photos nearer to each other than this say little more than one about the course, days (ours).
const SPACED_DAYS: f64 = 3.0;
/// More photos than this in one course are thinned to the newest, and the first; nobody sends so many (ours).
const MOST_PHOTOS: usize = 400;

impl Dated {
    /// What a measurement said `day` days after the operation.
    pub fn of(day: f64, photo: PhotoId, made_ms: i64, measurement: &Measurement) -> Dated {
        Dated {
            day,
            photo,
            made_ms,
            family: measurement.family,
            method: measurement.method.clone(),
            standing: measurement.standing,
            size: measurement.size,
            redness: measurement.redness.clone(),
            bed: measurement.bed,
            probed: measurement.probed,
        }
    }

    pub(super) fn has_day(&self) -> bool {
        (0.0..=LATEST_DAY).contains(&self.day)
    }

    /// The size where it counts and can be one.
    pub(super) fn counted_size(&self) -> Option<Size> {
        let size = self.size?;
        let longest_mm = LARGEST_AREA_MM2.sqrt() * 10.0;
        let is = |figure: Figure, most: f64| figure.value >= LEAST && is_sane(&figure, most);
        let is_size = is(size.area_mm2, LARGEST_AREA_MM2)
            && is(size.perimeter_mm, longest_mm)
            && is(size.length_mm, longest_mm)
            && is(size.width_mm, longest_mm);
        (self.standing == Standing::Ok && is_size).then_some(size)
    }

    /// How far the redness reaches, mm, where it counts.
    pub(super) fn counted_reach(&self) -> Option<Figure> {
        match &self.redness {
            Redness::Reach(reach) if self.standing == Standing::Ok => {
                let is_reach = reach.p95_mm.value >= 0.0 && is_sane(&reach.p95_mm, FARTHEST_REACH_MM);
                is_reach.then_some(reach.p95_mm)
            }
            Redness::Reach(_)
            | Redness::CannotTell
            | Redness::NoContrast { .. }
            | Redness::NotGiven { .. } => None,
        }
    }
}

/// Whether a figure can be one, its interval too.
fn is_sane(figure: &Figure, most: f64) -> bool {
    figure.value <= most && figure.high <= 10.0 * most && figure.low >= -10.0 * most
}

/// One photo of the course. Every figure holds the whole measuring error: the picture's and the field's.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Days since the operation.
    pub day: f64,
    pub photo: PhotoId,
    pub method: String,
    pub area_mm2: Figure,
    pub perimeter_mm: Figure,
    pub length_mm: Figure,
    pub width_mm: Figure,
    /// Whether it fits the others; asked from four photos on.
    pub fits: Fits,
}

/// Whether one photo lies where the others say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fits {
    WithTheOthers,
    /// So far from the line through the others that one of the two is wrong: look at the photo.
    Apart,
}

/// Photos whose figures are not in the course, and why.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LeftOut {
    /// Measured by the other family only.
    pub other_family: usize,
    /// The automatic figures of a photo that a person then drew differently.
    pub replaced: usize,
    /// Another photo of the same moment was surer.
    pub same_moment: usize,
    /// Waiting for a person to confirm the outline.
    pub unconfirmed: usize,
    /// Could not be measured.
    pub refused: usize,
}

impl LeftOut {
    /// All of them.
    pub fn total(&self) -> usize {
        self.other_family + self.replaced + self.same_moment + self.unconfirmed + self.refused
    }
}

/// The comparable figures of a wound.
pub(super) struct Series<'a> {
    pub(super) family: Option<Family>,
    /// In order of time, no two of the same moment.
    pub(super) sized: Vec<&'a Dated>,
    /// Everything the family says, one for each photo, in order of time: for the redness.
    pub(super) all: Vec<&'a Dated>,
    pub(super) left_out: LeftOut,
}

impl<'a> Series<'a> {
    pub(super) fn of(dated: &'a [Dated], surface: Surface) -> Series<'a> {
        let newest = newest_of_each(dated);
        let series = |family| one_family(&newest, family, surface);
        let (automatic, by_hand) = (series(Family::Automatic), series(Family::ByHand));
        let better = if automatic.worth() > by_hand.worth() { automatic } else { by_hand };
        let family = (!better.all.is_empty()).then_some(better.family).flatten();
        let left_out = better.left_out(&newest);
        Series { family, left_out, ..better }
    }

    pub(super) fn of_family(dated: &'a [Dated], family: Family, surface: Surface) -> Series<'a> {
        let newest = newest_of_each(dated);
        let series = one_family(&newest, family, surface);
        let left_out = series.left_out(&newest);
        Series { left_out, ..series }
    }

    /// Photos a few days apart first, then photos with redness, then how new the newest is.
    fn worth(&self) -> (usize, usize, i64) {
        let mut spaced: Vec<f64> = Vec::new();
        for point in &self.sized {
            if spaced.last().is_none_or(|last| point.day - last >= SPACED_DAYS) {
                spaced.push(point.day);
            }
        }
        let reaches = self.all.iter().filter(|point| point.counted_reach().is_some()).count();
        let newest_minute = self.all.last().map_or(-1, |point| (point.day * 1_440.0) as i64);
        (spaced.len(), if spaced.is_empty() { reaches } else { 0 }, newest_minute)
    }

    fn left_out(&self, newest: &[&Dated]) -> LeftOut {
        let in_course: BTreeSet<PhotoId> = self.sized.iter().map(|point| point.photo).collect();
        let mut left_out = LeftOut::default();
        let mut by_photo: BTreeMap<PhotoId, Vec<&Dated>> = BTreeMap::new();
        for dated in newest.iter().filter(|dated| !in_course.contains(&dated.photo)) {
            by_photo.entry(dated.photo).or_default().push(dated);
        }
        for of_photo in by_photo.values() {
            let of = |family| of_photo.iter().copied().find(|dated| Some(dated.family) == family);
            let counts = |dated: &Dated| dated.counted_size().is_some();
            let own = of(self.family).filter(|dated| counts(dated));
            let other = of_photo.iter().any(|dated| Some(dated.family) != self.family && counts(dated));
            let waits = of_photo.iter().any(|dated| dated.standing == Standing::LowConfidence);
            let place = match (own, other) {
                (Some(_), true) => &mut left_out.replaced,
                (Some(_), false) => &mut left_out.same_moment,
                (None, true) => &mut left_out.other_family,
                (None, false) if waits => &mut left_out.unconfirmed,
                (None, false) => &mut left_out.refused,
            };
            *place += 1;
        }
        left_out
    }
}

/// Of each photo and family the newest figures, in order of time. Equals are told apart by their figures, so that the
/// order they came in does not matter.
fn newest_of_each(dated: &[Dated]) -> Vec<&Dated> {
    let mut newest: BTreeMap<(PhotoId, Family), &Dated> = BTreeMap::new();
    let area = |dated: &Dated| dated.size.map_or(f64::NEG_INFINITY, |size| size.area_mm2.value);
    for one in dated.iter().filter(|one| one.has_day()) {
        let kept = newest.entry((one.photo, one.family)).or_insert(one);
        let later = one.made_ms.cmp(&kept.made_ms).then(area(one).total_cmp(&area(kept)));
        if later.then_with(|| format!("{one:?}").cmp(&format!("{kept:?}"))).is_gt() {
            *kept = one;
        }
    }
    let mut all: Vec<&Dated> = newest.into_values().collect();
    all.sort_by(|one, other| one.day.total_cmp(&other.day).then(one.photo.cmp(&other.photo)));
    all
}

fn one_family<'a>(newest: &[&'a Dated], family: Family, surface: Surface) -> Series<'a> {
    let agrees = |automatic: &Dated| {
        let of_photo = newest.iter().filter(|drawn| drawn.photo == automatic.photo);
        of_photo.filter(|drawn| drawn.family == Family::ByHand).all(|drawn| agree(automatic, drawn, surface))
    };
    let stands = |dated: &&Dated| match family {
        // What a person drew stands before what was found; where both say the same, what was found still counts in
        // its own series, or a series would end with the first outline that somebody touched.
        Family::Automatic => dated.family == family && agrees(dated),
        Family::ByHand => dated.family == family,
    };
    let all: Vec<&Dated> = newest.iter().copied().filter(stands).collect();
    let mut sized: Vec<&Dated> = Vec::new();
    for one in all.iter().copied().filter(|dated| dated.counted_size().is_some()) {
        match sized.last_mut() {
            Some(last) if last.day == one.day => {
                if unsureness(one) < unsureness(last) {
                    *last = one;
                }
            }
            Some(_) | None => sized.push(one),
        }
    }
    if sized.len() > MOST_PHOTOS {
        sized.drain(1..=sized.len() - MOST_PHOTOS);
    }
    Series { family: Some(family), sized, all, left_out: LeftOut::default() }
}

fn unsureness(dated: &Dated) -> f64 {
    dated.size.map_or(f64::INFINITY, |size| size.area_mm2.relative_error())
}

fn agree(automatic: &Dated, drawn: &Dated, surface: Surface) -> bool {
    let size = match (automatic.counted_size(), drawn.counted_size()) {
        (Some(found), Some(drawn)) => {
            area_change(&found.area_mm2, &drawn.area_mm2, surface).says == Clear::NoClearChange
        }
        (Some(_) | None, None) | (None, Some(_)) => true,
    };
    let redness = match (automatic.counted_reach(), drawn.counted_reach()) {
        (Some(found), Some(drawn)) => reach_change(&found, &drawn).says == Clear::NoClearChange,
        (Some(_) | None, None) | (None, Some(_)) => true,
    };
    size && redness
}

impl Point {
    /// What has changed from this photo to a later one of the same course, mm².
    pub fn area_change_to(&self, later: &Point) -> Change {
        change_by_share(self.area_mm2, later.area_mm2)
    }

    /// `None` where the size does not count.
    pub(super) fn of(dated: &Dated, surface: Surface) -> Option<Point> {
        let size = dated.counted_size()?;
        Some(Point {
            day: dated.day,
            photo: dated.photo,
            method: dated.method.clone(),
            area_mm2: with_area_error(&size.area_mm2, surface),
            perimeter_mm: with_length_error(&size.perimeter_mm, surface),
            length_mm: with_length_error(&size.length_mm, surface),
            width_mm: with_length_error(&size.width_mm, surface),
            fits: Fits::WithTheOthers,
        })
    }
}
