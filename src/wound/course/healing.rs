//! Everything the photos of one wound say about how it heals.

use std::ops::Range;

use crate::wound::Family;
use crate::wound::Figure;
use crate::wound::course::advance::Advance;
use crate::wound::course::advance::Closure;
use crate::wound::course::advance::LEAST_DAYS_BETWEEN;
use crate::wound::course::advance::NoClosure;
use crate::wound::course::advance::Rate;
use crate::wound::course::advance::mean_inward_reach_mm;
use crate::wound::course::advance::rate_a_week;
use crate::wound::course::change::Change;
use crate::wound::course::change::Surface;
use crate::wound::course::dated::Dated;
use crate::wound::course::dated::Fits;
use crate::wound::course::dated::LeftOut;
use crate::wound::course::dated::Point;
use crate::wound::course::dated::Series;
use crate::wound::course::depth::DepthFalls;
use crate::wound::course::expected::Pace;
use crate::wound::course::expected::WidthTest;
use crate::wound::course::reach::RednessCourse;
use crate::wound::course::verdict::Verdict;
use crate::wound::course::verdict::Why;
use crate::wound::course::verdict::beside;
use crate::wound::course::verdict::fitting;
use crate::wound::course::verdict::judge;
use crate::wound::course::verdict::mark_apart;

/// What has to be known of a wound besides its photos.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    pub surface: Surface,
    pub pace: Pace,
}

/// A photo of these days after the operation stands for day 28 (ours; the published four weeks are from the first visit).
pub const PAR_28_DAYS: Range<f64> = 27.0..35.0;
/// It is held against a first photo at least this many days older (ours): less leaves no time to shrink in.
const PAR_28_LEAST_SPAN_DAYS: f64 = 20.0;

/// Percent area reduction by day 28.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Par28 {
    /// Days since the operation, first and second photo.
    pub from_day: f64,
    pub day: f64,
    /// Percent smaller, with its interval; negative when it is bigger.
    pub percent: Figure,
}

/// How a wound heals, by the figures of one method.
#[derive(Clone, Debug, PartialEq)]
pub struct HealingCourse {
    /// Whose outlines; `None`: nothing was measured.
    pub family: Option<Family>,
    /// In order of time.
    pub points: Vec<Point>,
    pub left_out: LeftOut,
    /// The versions of the method behind the figures, in order; two may differ by themselves.
    pub methods: Vec<String>,
    /// Area from the first photo to the last, photos that do not fit left out; `None` for fewer than two.
    pub since_first: Option<Change>,
    /// Area from the last photo that fits before the newest one to the newest, whether that fits or not: what is new must
    /// never be left out.
    pub since_last: Option<Change>,
    /// `None` without a photo near day 28, or without an earlier one.
    pub par_28: Option<Par28>,
    pub advance: Option<Advance>,
    pub rate: Option<Rate>,
    /// 2A/p of the last photo that fits, mm.
    pub inward_reach_mm: Option<f64>,
    pub width: Option<WidthTest>,
    pub closure: Result<Closure, NoClosure>,
    pub depth: Option<DepthFalls>,
    pub redness: RednessCourse,
    pub verdict: Verdict,
    /// What the verdict rests on, the weightiest first.
    pub why: Vec<Why>,
}

/// What the measurements of one wound come to. Their order does not matter. Never panics.
pub fn healing_course(dated: &[Dated], setting: &Setting) -> HealingCourse {
    course_of(Series::of(dated, setting.surface), dated, setting)
}

/// As [`healing_course`], by one family's figures whichever series is the better one.
pub fn healing_course_of_family(dated: &[Dated], setting: &Setting, family: Family) -> HealingCourse {
    course_of(Series::of_family(dated, family, setting.surface), dated, setting)
}

fn course_of(series: Series<'_>, dated: &[Dated], setting: &Setting) -> HealingCourse {
    let surface = setting.surface;
    let mut points: Vec<Point> = series.sized.iter().filter_map(|one| Point::of(one, surface)).collect();
    mark_apart(&mut points);
    let fitting = fitting(&points);
    let ends = fitting.first().zip(fitting.last()).filter(|(first, last)| first.day < last.day);
    let width = WidthTest::of(&fitting, setting.pace);
    let depth = DepthFalls::in_any(dated);
    let mut judged = judge(&fitting, width.as_ref());
    judged.why.extend(beside(&points, depth));
    let advance = Advance::over(&fitting);
    let areas = |(first, last): (&Point, &Point)| [first.area_mm2.value, last.area_mm2.value];
    HealingCourse {
        family: series.family,
        left_out: series.left_out,
        methods: methods(&points),
        since_first: ends.map(|(first, last)| first.area_change_to(last)),
        since_last: last_two(&points).map(|(one, other)| one.area_change_to(other)),
        par_28: par_28(&fitting),
        rate: ends
            .filter(|ends| ends.1.day - ends.0.day >= LEAST_DAYS_BETWEEN)
            .and_then(|ends| rate_a_week(areas(ends), ends.1.day - ends.0.day)),
        inward_reach_mm: fitting
            .last()
            .and_then(|last| mean_inward_reach_mm(last.area_mm2.value, last.perimeter_mm.value)),
        closure: closure(judged.verdict, fitting.last(), advance.as_ref()),
        redness: RednessCourse::of(&series.all),
        advance,
        width,
        depth,
        verdict: judged.verdict,
        why: judged.why,
        points,
    }
}

fn methods(points: &[Point]) -> Vec<String> {
    let mut methods: Vec<String> = points.iter().map(|point| point.method.clone()).collect();
    methods.sort();
    methods.dedup();
    methods
}

/// The newest photo, whatever it looks like, and the last before it that fits the others.
fn last_two(points: &[Point]) -> Option<(&Point, &Point)> {
    let (newest, earlier) = points.split_last()?;
    earlier.iter().rev().find(|point| point.fits == Fits::WithTheOthers).map(|before| (before, newest))
}

fn par_28(points: &[Point]) -> Option<Par28> {
    let first = points.first()?;
    let near =
        |point: &&Point| PAR_28_DAYS.contains(&point.day) && point.day - first.day >= PAR_28_LEAST_SPAN_DAYS;
    let then = points.iter().find(near)?;
    let percent = first.area_change_to(then).reduction_percent()?;
    Some(Par28 { from_day: first.day, day: then.day, percent })
}

fn closure(verdict: Verdict, last: Option<&Point>, advance: Option<&Advance>) -> Result<Closure, NoClosure> {
    match (verdict, last.zip(advance)) {
        (Verdict::NotEnough | Verdict::TooEarly, _) | (_, None) => Err(NoClosure::TooEarly),
        (Verdict::Enlarging, _) => Err(NoClosure::NotShrinking),
        (Verdict::OnCourse | Verdict::Stalled, Some((last, advance))) => Closure::after(last, advance),
    }
}
