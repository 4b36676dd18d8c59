//! What a course comes to: on course, stalled, enlarging, or too little to say; with the numbers behind it.

use crate::wound::course::dated::Fits;
use crate::wound::course::dated::Point;
use crate::wound::course::depth::DEPTH_FIRST_DAYS;
use crate::wound::course::depth::DepthFalls;
use crate::wound::course::expected::Keeps;
use crate::wound::course::expected::WidthTest;
use crate::wound::course::expected::area_share_left;
use crate::wound::course::line::Line;
use crate::wound::course::line::median;
use crate::wound::course::line::repeated_median;

/// Two photos nearer to each other say nothing about a course, days (ours, as the protocol's wording of it).
pub const LEAST_SPAN_DAYS: f64 = 7.0;
/// Before this day a larger wound may still be the swelling of the operation (ours; the protocol's `growth_day`).
pub const GROWTH_COUNTS_FROM_DAY: f64 = 7.0;
/// Of fewer photos nobody can say which one is wrong; and where more than one in so many is apart, it is the line that is
/// wrong (ours).
const APART_ASKED_FROM: usize = 4;

/// What a course comes to. A sorting aid for the surgeon, never a diagnosis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    OnCourse,
    Stalled,
    Enlarging,
    /// The first two weeks: a wound may fill from below first.
    TooEarly,
    /// Too few photos, or too near to each other.
    NotEnough,
}

/// One thing a verdict rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Why {
    /// Fewer than two photos count.
    FewPhotos { counted: usize },
    /// First and last photo are too near to each other.
    ShortSpan { days: f64 },
    /// The area from the first photo to the last: by the line through all, or by these two alone, whichever says less.
    Area { change_percent: f64, least_clear_percent: f64, days: f64 },
    /// A wound of this length and width closing in time would have become this much smaller between the first photo and the
    /// last; that is less than what measuring can tell apart.
    WaitForMore { would_show_percent: f64, least_clear_percent: f64 },
    /// The same, where measuring would have told it.
    WouldHaveShown { would_show_percent: f64, closes_by_day: f64 },
    /// The width against that of a wound closing in time.
    Width(WidthTest),
    /// Up to this day the area may stand still.
    FillsFromBelow { until_day: f64 },
    /// The depth somebody typed in has fallen.
    DepthFalls(DepthFalls),
    /// A photo that does not fit the others.
    Apart { day: f64, area_mm2: f64 },
}

/// What is said beside a verdict, whatever it is.
pub(super) fn beside(points: &[Point], depth: Option<DepthFalls>) -> Vec<Why> {
    let apart = points.iter().filter(|point| point.fits == Fits::Apart);
    let apart = apart.map(|point| Why::Apart { day: point.day, area_mm2: point.area_mm2.value });
    apart.chain(depth.map(Why::DepthFalls)).collect()
}

/// Three photos draw a line that the fourth can miss by chance: among few only a gross miss counts, in least clear changes
/// (ours).
const APART_BANDS_OF_FEW: f64 = 2.0;

/// A verdict and what it rests on.
pub(super) struct Judged {
    pub(super) verdict: Verdict,
    pub(super) why: Vec<Why>,
}

/// The area over time by the line through the side of a square of that area: it falls evenly while an edge moves evenly.
pub(super) struct AreaLine {
    side_mm: Line,
    least_mm: f64,
    /// The least clear change between two photos, as a share; of the usual photo, so that an unsure one does not
    /// hide a course.
    band: f64,
}

impl AreaLine {
    /// `None` for fewer than two photos.
    pub(super) fn through(points: &[Point]) -> Option<AreaLine> {
        let sides: Vec<(f64, f64)> =
            points.iter().map(|point| (point.day, point.area_mm2.value.sqrt())).collect();
        let least_mm = sides.iter().map(|(_, side)| *side).fold(f64::INFINITY, f64::min) / 2.0;
        let error = median(points.iter().map(|point| point.area_mm2.relative_error()).collect())?;
        Some(AreaLine { side_mm: repeated_median(&sides)?, least_mm, band: std::f64::consts::SQRT_2 * error })
    }

    pub(super) fn area_mm2(&self, day: f64) -> f64 {
        self.side_mm.at(day).max(self.least_mm).powi(2)
    }

    /// How far a photo's area is off, as a share of what the line says.
    fn off(&self, point: &Point) -> f64 {
        (point.area_mm2.value / self.area_mm2(point.day) - 1.0).abs()
    }
}

/// Marks the photos that do not fit the others: off their line by more than the least clear change, which is 2.8 standard
/// deviations of one photo.
pub(super) fn mark_apart(points: &mut [Point]) {
    let most = points.len() / APART_ASKED_FROM;
    let apart = match most {
        0 => return,
        1 => one_apart(points),
        _ => all_apart(points),
    };
    if apart.len() <= most {
        for place in apart {
            points[place].fits = Fits::Apart;
        }
    }
}

/// Of few photos: the one without which the others lie best on a line, if it is off that line.
fn one_apart(points: &[Point]) -> Vec<usize> {
    let without = |place: usize| {
        let others: Vec<Point> = points
            .iter()
            .enumerate()
            .filter(|(at, _)| *at != place)
            .map(|(_, point)| point.clone())
            .collect();
        let line = AreaLine::through(&others)?;
        let worst = others.iter().map(|point| line.off(point)).fold(0.0, f64::max);
        Some((worst, place, line.off(&points[place]) > APART_BANDS_OF_FEW * line.band))
    };
    let best = (0..points.len()).filter_map(without).min_by(|one, other| one.0.total_cmp(&other.0));
    best.filter(|(_, _, is_apart)| *is_apart).map(|(_, place, _)| place).into_iter().collect()
}

/// Of more photos: all that are off the line through all, which a few bad ones do not bend.
fn all_apart(points: &[Point]) -> Vec<usize> {
    let Some(line) = AreaLine::through(points) else { return Vec::new() };
    (0..points.len()).filter(|place| line.off(&points[*place]) > line.band).collect()
}

/// Judges a course by the photos that fit each other, in order of time.
pub(super) fn judge(points: &[Point], width: Option<&WidthTest>) -> Judged {
    let (Some(first), Some(last), Some(line), Some(width)) =
        (points.first(), points.last(), AreaLine::through(points), width)
    else {
        let why = vec![Why::FewPhotos { counted: points.len() }];
        return Judged { verdict: Verdict::NotEnough, why };
    };
    let days = last.day - first.day;
    let by_line = line.area_mm2(last.day) / line.area_mm2(first.day) - 1.0;
    let change = lesser(by_line, last.area_mm2.value / first.area_mm2.value - 1.0);
    let (length_mm, width_mm) = (first.length_mm.value, first.width_mm.value);
    let would_show = 1.0 - area_share_left(length_mm, width_mm, first.day, last.day, width.closes_by_day);
    let early = last.day < DEPTH_FIRST_DAYS;
    let (smaller, bigger) = (change < -line.band, change > line.band);
    let verdict = if bigger {
        if last.day >= GROWTH_COUNTS_FROM_DAY { Verdict::Enlarging } else { Verdict::TooEarly }
    } else if days < LEAST_SPAN_DAYS {
        if early { Verdict::TooEarly } else { Verdict::NotEnough }
    } else if smaller && width.says != Keeps::Behind {
        Verdict::OnCourse
    } else if early {
        Verdict::TooEarly
    } else if smaller || width.says == Keeps::Behind || would_show > line.band {
        Verdict::Stalled
    } else {
        Verdict::NotEnough
    };
    let percent = |share: f64| 100.0 * share;
    let mut why =
        vec![Why::Area { change_percent: percent(change), least_clear_percent: percent(line.band), days }];
    match verdict {
        Verdict::Enlarging => {}
        Verdict::OnCourse => why.push(Why::Width(*width)),
        Verdict::Stalled => {
            if !smaller && would_show > line.band {
                let closes_by_day = width.closes_by_day;
                why.push(Why::WouldHaveShown { would_show_percent: percent(would_show), closes_by_day });
            }
            why.push(Why::Width(*width));
        }
        Verdict::TooEarly => why.push(Why::FillsFromBelow { until_day: DEPTH_FIRST_DAYS }),
        Verdict::NotEnough if days < LEAST_SPAN_DAYS => why.push(Why::ShortSpan { days }),
        Verdict::NotEnough => {
            let least_clear_percent = percent(line.band);
            why.push(Why::WaitForMore { would_show_percent: percent(would_show), least_clear_percent });
        }
    }
    Judged { verdict, why }
}

/// The one nearer to no change; none where they point to different sides.
fn lesser(one: f64, other: f64) -> f64 {
    if one * other <= 0.0 {
        0.0
    } else if one.abs() < other.abs() {
        one
    } else {
        other
    }
}

/// Only what fits the others.
pub(super) fn fitting(points: &[Point]) -> Vec<Point> {
    points.iter().filter(|point| point.fits == Fits::WithTheOthers).cloned().collect()
}
