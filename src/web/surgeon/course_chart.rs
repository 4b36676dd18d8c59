//! A healing course as a picture: area and redness over the days, with their intervals. Lengths are in
//! the units of the picture, which is 340 wide: a phone shows it at about its own size.

use crate::web::surgeon::course_words;
use crate::wound::Figure;
use crate::wound::course::Fits;
use crate::wound::course::HealingCourse;
use crate::wound::course::Shape;
use crate::wound::course::share_left;

const WIDTH: f64 = 340.0;
/// Room left of the axis for the labels of the heights, and right of it for half of the last label.
const LEFT: f64 = 34.0;
const RIGHT: f64 = 12.0;
const HEAD: f64 = 26.0;
const FOOT: f64 = 24.0;
const AREA_HEIGHT: f64 = 150.0;
const REDNESS_HEIGHT: f64 = 90.0;
/// Half the width of the bars that end an interval.
const CAP: f64 = 4.0;
/// What lies more than this many days beyond the last photo runs out of the picture.
const LOOK_AHEAD_DAYS: f64 = 28.0;

/// The picture: two panels above one another over the same days.
pub struct CourseChart {
    pub title: String,
    /// Everything the picture shows, in words.
    pub description: String,
    pub height: String,
    pub label_y: String,
    pub days: Vec<Tick>,
    pub area: Panel,
    /// `None`: no reach of redness.
    pub redness: Option<Panel>,
    /// From when to when the edges would meet. `None`: nobody can say, or beyond the picture.
    pub window: Option<Window>,
    /// What a wound closing in time would show, between round and slit.
    pub expected: String,
}

/// One panel.
pub struct Panel {
    pub title: &'static str,
    pub title_y: String,
    pub axis_y: String,
    pub ticks: Vec<Tick>,
    pub marks: Vec<Mark>,
    /// The line from photo to photo.
    pub path: String,
}

/// A place on an axis and its label.
pub struct Tick {
    pub at: String,
    pub label: String,
}

/// One photo's figure.
pub struct Mark {
    pub x: String,
    pub y: String,
    pub low: String,
    pub high: String,
    pub cap_left: String,
    pub cap_right: String,
    pub is_apart: bool,
}

/// A stretch of days.
pub struct Window {
    pub x: String,
    pub width: String,
    pub y: String,
    pub height: String,
    pub runs_out: bool,
}

fn px(length: f64) -> String {
    format!("{length:.1}")
}

/// The days of the picture, from the operation on.
struct Days {
    last: f64,
}

impl Days {
    fn of(course: &HealingCourse) -> Option<Days> {
        let days = course.points.iter().map(|point| point.day);
        let last_photo = days.chain(course.redness.points.iter().map(|point| point.day)).reduce(f64::max)?;
        let closing = course.closure.map_or(last_photo, |closure| closure.to_day);
        let last = closing.min(last_photo + LOOK_AHEAD_DAYS).max(last_photo + 1.0);
        Some(Days { last: 7.0 * (last / 7.0).ceil() })
    }

    fn x(&self, day: f64) -> f64 {
        LEFT + (day / self.last).clamp(0.0, 1.0) * (WIDTH - LEFT - RIGHT)
    }

    fn ticks(&self) -> Vec<Tick> {
        let weeks = (self.last / 7.0).round() as usize;
        let every = weeks.div_ceil(6).max(1);
        let days = (0..=weeks).step_by(every).map(|week| 7.0 * week as f64);
        days.map(|day| Tick { at: px(self.x(day)), label: format!("{day:.0}") }).collect()
    }
}

/// What a height may end at, in its own power of ten.
const ROUND: [f64; 8] = [1.0, 1.2, 1.6, 2.0, 3.0, 4.0, 6.0, 10.0];

/// Heights of one panel, from nothing up to a round number above everything shown.
struct Heights {
    top: f64,
    axis_y: f64,
    most: f64,
}

impl Heights {
    fn new(top: f64, height: f64, highest: f64) -> Heights {
        let magnitude = 10f64.powf(highest.max(1e-6).log10().floor());
        let most = ROUND.map(|step| step * magnitude).into_iter().find(|most| *most >= highest);
        Heights { top, axis_y: top + height, most: most.unwrap_or(highest) }
    }

    fn y(&self, value: f64) -> f64 {
        self.axis_y - (value / self.most).clamp(0.0, 1.0) * (self.axis_y - self.top)
    }

    fn panel(&self, title: &'static str, marks: Vec<Mark>, path: String) -> Panel {
        let ticks = [0.0, 0.5, 1.0].map(|part| part * self.most);
        let decimals = match self.most {
            most if most < 1.0 => 2,
            most if (most / 2.0).fract() > 0.0 => 1,
            _ => 0,
        };
        Panel {
            title,
            title_y: px(self.top - 11.0),
            axis_y: px(self.axis_y),
            ticks: ticks
                .map(|value| Tick { at: px(self.y(value)), label: format!("{value:.decimals$}") })
                .into(),
            marks,
            path,
        }
    }

    fn mark(&self, days: &Days, day: f64, figure: &Figure, fits: Fits) -> Mark {
        let x = days.x(day);
        Mark {
            x: px(x),
            y: px(self.y(figure.value)),
            low: px(self.y(figure.low)),
            high: px(self.y(figure.high)),
            cap_left: px(x - CAP),
            cap_right: px(x + CAP),
            is_apart: fits == Fits::Apart,
        }
    }
}

fn line(places: impl Iterator<Item = (f64, f64)>) -> String {
    let places: Vec<String> = places.map(|(x, y)| format!("{} {}", px(x), px(y))).collect();
    if places.len() < 2 { String::new() } else { format!("M{}", places.join("L")) }
}

fn as_cm2(figure: &Figure) -> Figure {
    Figure::new(figure.value / 100.0, figure.low / 100.0, figure.high / 100.0)
}

impl CourseChart {
    /// `None` for fewer than two photos.
    pub fn of(course: &HealingCourse) -> Option<CourseChart> {
        if course.points.len().max(course.redness.points.len()) < 2 {
            return None;
        }
        let days = Days::of(course)?;
        let highest = course.points.iter().map(|point| point.area_mm2.high / 100.0).fold(0.0, f64::max);
        let heights = Heights::new(HEAD, AREA_HEIGHT, highest);
        let area = area_panel(course, &days, &heights);
        let (redness, bottom) = match redness_panel(course, &days, heights.axis_y + HEAD + 10.0) {
            Some(panel) => (Some(panel), heights.axis_y + HEAD + 10.0 + REDNESS_HEIGHT),
            None => (None, heights.axis_y),
        };
        Some(CourseChart {
            title: format!("Healing course: {}", course_words::verdict(course)),
            description: described(course),
            height: px(bottom + FOOT),
            label_y: px(bottom + 16.0),
            days: days.ticks(),
            window: window(course, &days, &heights),
            expected: expected(course, &days, &heights),
            area,
            redness,
        })
    }
}

fn area_panel(course: &HealingCourse, days: &Days, heights: &Heights) -> Panel {
    let marks = course
        .points
        .iter()
        .map(|point| heights.mark(days, point.day, &as_cm2(&point.area_mm2), point.fits))
        .collect();
    let fitting = course.points.iter().filter(|point| point.fits == Fits::WithTheOthers);
    let path = line(fitting.map(|point| (days.x(point.day), heights.y(point.area_mm2.value / 100.0))));
    heights.panel("Area, cm²", marks, path)
}

fn redness_panel(course: &HealingCourse, days: &Days, top: f64) -> Option<Panel> {
    let points = &course.redness.points;
    let highest = points.iter().map(|point| point.reach_mm.high).reduce(f64::max)?;
    let heights = Heights::new(top, REDNESS_HEIGHT, highest);
    let marks = points
        .iter()
        .map(|point| heights.mark(days, point.day, &point.reach_mm, Fits::WithTheOthers))
        .collect();
    let path = line(points.iter().map(|point| (days.x(point.day), heights.y(point.reach_mm.value))));
    Some(heights.panel("Redness beyond the edge, mm", marks, path))
}

fn window(course: &HealingCourse, days: &Days, heights: &Heights) -> Option<Window> {
    let closure = course.closure.ok().filter(|closure| closure.from_day < days.last)?;
    let (from, to) = (days.x(closure.from_day), days.x(closure.to_day));
    Some(Window {
        x: px(from),
        width: px((to - from).max(1.0)),
        y: px(heights.top),
        height: px(heights.axis_y - heights.top),
        runs_out: closure.to_day > days.last,
    })
}

/// The band between what a slit and what a round hole would show if it closed in time, from the first photo on.
fn expected(course: &HealingCourse, days: &Days, heights: &Heights) -> String {
    const STEPS: u32 = 24;
    let first = course.points.iter().find(|point| point.fits == Fits::WithTheOthers);
    let (Some(test), Some(first)) = (&course.width, first) else { return String::new() };
    let until = test.closes_by_day.min(days.last);
    let place = |shape: Shape, step: u32| {
        let day = first.day + (until - first.day) * f64::from(step) / f64::from(STEPS);
        let left = share_left(shape, first.day, day, test.closes_by_day);
        (days.x(day), heights.y(first.area_mm2.value / 100.0 * left))
    };
    let slit = (0..=STEPS).map(|step| place(Shape::Slit, step));
    let round = (0..=STEPS).rev().map(|step| place(Shape::Round, step));
    format!("{}Z", line(slit.chain(round)))
}

fn described(course: &HealingCourse) -> String {
    let areas: Vec<String> = course
        .points
        .iter()
        .map(|point| format!("{} cm² on day {:.0}", course_words::cm2(point.area_mm2.value), point.day))
        .collect();
    let reaches: Vec<String> = course
        .redness
        .points
        .iter()
        .map(|point| format!("{:.0} mm on day {:.0}", point.reach_mm.value, point.day))
        .collect();
    let mut parts = Vec::new();
    if !areas.is_empty() {
        parts.push(format!("Area: {}", areas.join(", ")));
    }
    if !reaches.is_empty() {
        parts.push(format!("Redness beyond the edge: {}", reaches.join(", ")));
    }
    parts.push(format!("The edges would meet {}", course_words::closure(&course.closure)));
    if let Some(width) = course.width {
        parts.push(format!(
            "The shaded band is what a wound closing by day {:.0} would show, from slit to round",
            width.closes_by_day
        ));
    }
    format!("{}. Bars are 95 % intervals. The table holds every number.", parts.join(". "))
}
