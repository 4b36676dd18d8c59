//! How fast a wound's edge moves in, and how long that would take to the middle.

use crate::wound::Figure;
use crate::wound::course::dated::Point;
use crate::wound::course::line::interval_of_pairs;
use crate::wound::course::line::pairs;
use crate::wound::course::line::repeated_median_of_pairs;

const DAYS_A_WEEK: f64 = 7.0;
/// Two photos nearer to each other say nothing of a speed: measuring error alone would make it any (ours).
pub const LEAST_DAYS_BETWEEN: f64 = 0.5;
/// A closing further off than this is not told, days: nobody can see so far from a few photos (ours).
pub const FARTHEST_CLOSING_DAYS: f64 = 180.0;

/// Margin advance from one outline to a later one, mm a week: (A₁ − A₂) over the mean perimeter and the weeks between;
/// negative when the wound grew (Gilman 1990, as quoted in a 24-week venous ulcer study). `None` without time or edge
/// between them. For circles it is exactly what the radius lost.
pub fn margin_advance_mm_a_week(
    area_mm2: [f64; 2],
    perimeter_mm: [f64; 2],
    days_between: f64,
) -> Option<f64> {
    let mean_perimeter_mm = (perimeter_mm[0] + perimeter_mm[1]) / 2.0;
    let advance = (area_mm2[0] - area_mm2[1]) / mean_perimeter_mm / (days_between / DAYS_A_WEEK);
    (mean_perimeter_mm > 0.0 && days_between > 0.0 && advance.is_finite()).then_some(advance)
}

/// How far the edge has to move in until it meets, mm: 2A/p, the radius of a circle. `None` without an edge.
pub fn mean_inward_reach_mm(area_mm2: f64, perimeter_mm: f64) -> Option<f64> {
    let reach = 2.0 * area_mm2 / perimeter_mm;
    (perimeter_mm > 0.0 && reach.is_finite()).then_some(reach)
}

/// How a wound shrinks by the same share each week. It never reaches zero, so it says nothing of the end, and needs
/// five weekly photos to foretell anything (Cukjati 2001): for comparing only.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rate {
    /// ln(A₀/A) over the weeks, a week; negative when the wound grew.
    pub a_week: f64,
    /// Weeks to half the area; `None` when it does not shrink.
    pub half_life_weeks: Option<f64>,
}

/// The exponential rate between two areas. `None` without time between them, or for an area of nothing.
pub fn rate_a_week(area_mm2: [f64; 2], days_between: f64) -> Option<Rate> {
    let a_week = (area_mm2[0] / area_mm2[1]).ln() / (days_between / DAYS_A_WEEK);
    let half_life_weeks = (a_week > 0.0).then(|| std::f64::consts::LN_2 / a_week);
    (days_between > 0.0 && a_week.is_finite()).then_some(Rate { a_week, half_life_weeks })
}

/// The edge's speed over a whole course.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Advance {
    /// Repeated median of the margin advance between all photos, mm a week, with its 95 % interval: Sen's of the pairs, and at
    /// least what the measuring error of the first and the last photo leaves open.
    pub mm_a_week: Figure,
}

impl Advance {
    /// `None` for fewer than two photos.
    pub(super) fn over(points: &[Point]) -> Option<Advance> {
        let speed = |one: usize, other: usize| between(&points[one], &points[other]);
        let value = repeated_median_of_pairs(points.len(), speed)?;
        let (low, high) = interval_of_pairs(pairs(points.len(), speed), points.len(), 0.0)?;
        let (first, last) = (points.first()?, points.last()?);
        if last.day - first.day < LEAST_DAYS_BETWEEN {
            return None;
        }
        let half = |figure: &Figure| (figure.high - figure.low) / 2.0;
        let error_mm2 = half(&first.area_mm2).hypot(half(&last.area_mm2));
        let perimeters = [first.perimeter_mm.value, last.perimeter_mm.value];
        let error = margin_advance_mm_a_week([error_mm2, 0.0], perimeters, last.day - first.day)?;
        Some(Advance { mm_a_week: Figure::new(value, low.min(value - error), high.max(value + error)) })
    }
}

fn between(one: &Point, other: &Point) -> Option<f64> {
    if (other.day - one.day).abs() < LEAST_DAYS_BETWEEN {
        return None;
    }
    margin_advance_mm_a_week(
        [one.area_mm2.value, other.area_mm2.value],
        [one.perimeter_mm.value, other.perimeter_mm.value],
        other.day - one.day,
    )
}

/// When the edges would meet if they go on as they did. A window, never a date; and the edges only: a photo cannot see
/// the depth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Closure {
    /// Days since the operation.
    pub from_day: f64,
    pub to_day: f64,
}

/// Why no closing can be foretold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoClosure {
    /// Fewer than two photos a week apart, or too early after the operation.
    TooEarly,
    /// The edge is not clearly moving in.
    NotShrinking,
    /// At this speed it might take more than [`FARTHEST_CLOSING_DAYS`].
    TooFar,
}

impl Closure {
    /// From the last photo on. The way left is half the width (better for long thin wounds) or 2A/p: the shorter one at the
    /// fastest speed, up to the shorter one at the slowest or the longer one at the usual speed, whichever takes longer.
    pub(super) fn after(last: &Point, advance: &Advance) -> Result<Closure, NoClosure> {
        let speed = advance.mm_a_week;
        if speed.low <= 0.0 {
            return Err(NoClosure::NotShrinking);
        }
        let mean = mean_inward_reach_mm(last.area_mm2.value, last.perimeter_mm.value);
        let half_width = last.width_mm.value / 2.0;
        let reach = mean.unwrap_or(half_width);
        let days = |reach: f64, speed: f64| DAYS_A_WEEK * reach / speed;
        let (shorter, longer) = (reach.min(half_width), reach.max(half_width));
        let from = days(shorter, speed.high);
        let to = days(shorter, speed.low).max(days(longer, speed.value));
        // Written so that a number that is none is too far as well.
        if to <= FARTHEST_CLOSING_DAYS {
            Ok(Closure { from_day: last.day + from, to_day: last.day + to })
        } else {
            Err(NoClosure::TooFar)
        }
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    /// Area and perimeter (Ramanujan's) of an ellipse by its axes, in whatever they are given in.
    fn ellipse(long: f64, wide: f64) -> (f64, f64) {
        let (a, b) = (long / 2.0, wide / 2.0);
        let h = ((a - b) / (a + b)).powi(2);
        (PI * a * b, PI * (a + b) * (1.0 + 3.0 * h / (10.0 + (4.0 - 3.0 * h).sqrt())))
    }

    fn advance(before: (f64, f64), after: (f64, f64), weeks: f64) -> f64 {
        margin_advance_mm_a_week([before.0, after.0], [before.1, after.1], 7.0 * weeks).unwrap()
    }

    /// Worked in the practice's notes, in cm.
    #[test]
    fn margin_advance_is_that_of_the_worked_examples() {
        let circle = |r: f64| ellipse(2.0 * r, 2.0 * r);
        for (before, after, weeks, cm_a_week) in [
            (circle(2.0), circle(1.5), 1.0, 0.5),
            (circle(1.5), circle(0.7), 4.0, 0.2),
            (ellipse(4.0, 2.5), ellipse(3.2, 1.7), 2.0, 0.1965),
            (ellipse(6.0, 2.0), ellipse(5.0, 1.2), 3.0, 0.1307),
            (ellipse(3.0, 3.0), ellipse(3.3, 3.2), 1.0, -0.1248),
        ] {
            assert!((advance(before, after, weeks) - cm_a_week).abs() < 0.0001, "{before:?} {after:?}");
        }
        assert!((ellipse(4.0, 2.5).1 - 10.3466).abs() < 0.0001);
    }

    #[test]
    fn the_way_left_and_the_weeks_for_it_are_those_of_the_worked_examples() {
        for (axes, speed, reach, weeks) in
            [((3.2, 1.7), 0.1965, 1.0846, 5.5), ((5.0, 1.2), 0.1307, 0.8827, 6.8)]
        {
            let (area, perimeter) = ellipse(axes.0, axes.1);
            let found = mean_inward_reach_mm(area, perimeter).unwrap();
            assert!((found - reach).abs() < 0.0001 && (found / speed - weeks).abs() < 0.05, "{found}");
        }
        assert!((0.6 / 0.1307 - 4.6f64).abs() < 0.05, "half the width of the long thin one");
    }

    /// Common practice (closes in 30 to 90 days) as speed, worked in the practice's notes.
    #[test]
    fn a_round_wound_at_a_usual_speed_closes_when_it_should() {
        for (radius, days, cm_a_week) in [(1.5, 60.0, 0.175), (1.0, 30.0, 0.233), (2.5, 90.0, 0.194)] {
            let found = advance(ellipse(2.0 * radius, 2.0 * radius), (0.0, 0.0), days / 7.0);
            // From a circle to nothing the mean perimeter is half of the first: the radius again.
            assert!((found - cm_a_week).abs() < 0.0005, "{found}");
        }
    }

    #[test]
    fn the_exponential_rate_is_that_of_the_worked_examples() {
        let rate = rate_a_week([8.0, 2.0], 28.0).unwrap();
        assert!((rate.a_week - 0.3466).abs() < 0.0001);
        assert!((rate.half_life_weeks.unwrap() - 2.0).abs() < 1e-9);
        assert!(((2.0f64 / 0.1).ln() / rate.a_week - 8.64).abs() < 0.005);
        let rate = rate_a_week([7.85, 5.03], 14.0).unwrap();
        assert!((rate.a_week - 0.2225).abs() < 0.0001, "{rate:?}");
        // 3.12 in the notes, which round the rate first.
        assert!((rate.half_life_weeks.unwrap() - 3.115).abs() < 0.001);
        assert_eq!(rate_a_week([5.0, 6.0], 7.0).unwrap().half_life_weeks, None);
    }

    #[test]
    fn nothing_is_divided_by_nothing() {
        assert_eq!(margin_advance_mm_a_week([5.0, 4.0], [0.0, 0.0], 7.0), None);
        assert_eq!(margin_advance_mm_a_week([5.0, 4.0], [9.0, 8.0], 0.0), None);
        assert_eq!(margin_advance_mm_a_week([f64::NAN, 4.0], [9.0, 8.0], 7.0), None);
        assert_eq!(mean_inward_reach_mm(5.0, 0.0), None);
        assert_eq!(rate_a_week([5.0, 0.0], 7.0), None);
        assert_eq!(rate_a_week([5.0, 4.0], 0.0), None);
    }
}
