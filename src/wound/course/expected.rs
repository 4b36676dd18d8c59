//! What a wound that closes on a given day would look like before, and whether this one keeps up with it.

use crate::wound::course::dated::Point;
use crate::wound::course::line::repeated_median;

/// A wound closes by this day unless something speaks for later, days since the operation (ours; common practice says one
/// to three months).
pub const USUAL_CLOSES_BY_DAY: f64 = 60.0;
/// Large or perianal wounds, and those of people with diabetes (ours; the end of the one to three months).
pub const SLOW_CLOSES_BY_DAY: f64 = 90.0;
/// From this first area on a wound is large, mm² (ours).
pub const LARGE_FROM_MM2: f64 = 2_000.0;
/// A wound first photographed late is given this many days from then on all the same (ours).
const LEAST_LEFT_DAYS: f64 = 28.0;
/// How much of the first width may be left beyond what is expected before it counts as behind (ours).
pub const BEHIND_BY: f64 = 0.20;
/// Behind must be seen twice, this many days apart (ours).
pub const SEEN_AGAIN_AFTER_DAYS: f64 = 7.0;

/// By when a wound is expected to close.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pace {
    /// By day 60, or 90 when its first area is large.
    Usual,
    /// By day 90.
    Slow,
    /// As the surgeon says, days since the operation.
    By { day: f64 },
}

impl Pace {
    pub(super) fn closes_by_day(self, first: &Point) -> f64 {
        let day = match self {
            Pace::Usual if first.area_mm2.value >= LARGE_FROM_MM2 => SLOW_CLOSES_BY_DAY,
            Pace::Usual => USUAL_CLOSES_BY_DAY,
            Pace::Slow => SLOW_CLOSES_BY_DAY,
            Pace::By { day } if day.is_finite() => day,
            Pace::By { .. } => USUAL_CLOSES_BY_DAY,
        };
        day.max(first.day + LEAST_LEFT_DAYS)
    }
}

/// What shrinks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// A round hole's area: the square of its width.
    Round,
    /// A slit's area, as most incisions are; and the width of either.
    Slit,
}

/// The share (0–1) that is left on `day` of what was there on `from_day`, if the edge moves at constant speed and meets on
/// `closes_by_day` (derived by us). What has to be closed already has nothing left.
pub fn share_left(shape: Shape, from_day: f64, day: f64, closes_by_day: f64) -> f64 {
    let left = (closes_by_day - day) / (closes_by_day - from_day);
    let left = if left.is_finite() && closes_by_day > from_day { left.clamp(0.0, 1.0) } else { 0.0 };
    match shape {
        Shape::Round => left * left,
        Shape::Slit => left,
    }
}

/// The share (0–1) of a wound's area that is left under the same terms, from its own length and width on the first day: all
/// of its edge moves in at one speed, so that as much goes off the length as off the width (derived by us). Between a round
/// hole and a slit.
pub fn area_share_left(length_mm: f64, width_mm: f64, from_day: f64, day: f64, closes_by_day: f64) -> f64 {
    let width_left = share_left(Shape::Slit, from_day, day, closes_by_day);
    let slimness = (width_mm / length_mm).clamp(0.0, 1.0);
    let slimness = if slimness.is_finite() { slimness } else { 0.0 };
    width_left * (1.0 - slimness * (1.0 - width_left))
}

/// The width held against that of a wound closing in time. Widths are those of the line through all photos, so that no
/// single photo decides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WidthTest {
    pub closes_by_day: f64,
    pub first_day: f64,
    pub first_width_mm: f64,
    pub day: f64,
    pub width_mm: f64,
    /// What a wound closing in time would show on `day`, round or slit, mm.
    pub expected_mm: f64,
    /// Above this it is behind, mm.
    pub behind_above_mm: f64,
    pub says: Keeps,
}

/// Whether a wound keeps up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keeps {
    Up,
    /// Behind today, and not (or not known to be) a week before.
    BehindOnce,
    /// Behind on two photos a week apart.
    Behind,
}

impl WidthTest {
    /// `None` for fewer than two photos. In order of time.
    pub(super) fn of(points: &[Point], pace: Pace) -> Option<WidthTest> {
        let (first, last) = (points.first()?, points.last()?);
        let widths: Vec<(f64, f64)> = points.iter().map(|point| (point.day, point.width_mm.value)).collect();
        let line = repeated_median(&widths)?;
        let narrowest = widths.iter().map(|(_, width)| *width).fold(f64::INFINITY, f64::min);
        // A line that runs below the smallest width seen has left the photos.
        let width_mm = |day: f64| line.at(day).max(narrowest / 2.0);
        let closes_by_day = pace.closes_by_day(first);
        let first_width_mm = width_mm(first.day);
        let expected = |day: f64| share_left(Shape::Slit, first.day, day, closes_by_day);
        let behind = |day: f64| is_behind(width_mm(day) / first_width_mm, expected(day));
        let earlier = points.iter().rev().map(|point| point.day);
        let week_before =
            earlier.filter(|day| *day > first.day).find(|day| last.day - day >= SEEN_AGAIN_AFTER_DAYS);
        let says = match (behind(last.day), week_before.is_some_and(behind)) {
            (false, _) => Keeps::Up,
            (true, false) => Keeps::BehindOnce,
            (true, true) => Keeps::Behind,
        };
        Some(WidthTest {
            closes_by_day,
            first_day: first.day,
            first_width_mm,
            day: last.day,
            width_mm: width_mm(last.day),
            expected_mm: first_width_mm * expected(last.day),
            behind_above_mm: first_width_mm * (expected(last.day) + BEHIND_BY),
            says,
        })
    }
}

fn is_behind(share_of_first: f64, expected_share: f64) -> bool {
    share_of_first > expected_share + BEHIND_BY
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wounds_own_shape_lies_between_a_round_hole_and_a_slit() {
        let left = |length: f64, width: f64| area_share_left(length, width, 0.0, 28.0, 60.0);
        let close = |one: f64, other: f64| (one - other).abs() < 1e-12;
        assert!(close(left(20.0, 20.0), share_left(Shape::Round, 0.0, 28.0, 60.0)));
        assert!((left(2_000.0, 20.0) - share_left(Shape::Slit, 0.0, 28.0, 60.0)).abs() < 0.005);
        // 62 by 31 mm on day 7, closing on day 90, on day 28: 31 · 62/83 = 23.16 mm wide and 54.16 long.
        let expected = (23.156_6 * 54.156_6) / (31.0 * 62.0);
        assert!((area_share_left(62.0, 31.0, 7.0, 28.0, 90.0) - expected).abs() < 1e-5);
        assert!(close(left(f64::NAN, 20.0), share_left(Shape::Slit, 0.0, 28.0, 60.0)));
        assert_eq!(area_share_left(20.0, 10.0, 7.0, 95.0, 90.0), 0.0);
    }

    /// Percent smaller on days 7, 14, 21 and 28, worked in the practice's notes.
    #[test]
    fn round_holes_and_slits_shrink_as_in_the_worked_table() {
        let smaller =
            |shape: Shape, closes: f64, day: f64| 100.0 * (1.0 - share_left(shape, 0.0, day, closes));
        for (closes, round, slit) in [
            (30.0, [41.2, 71.6, 91.0, 99.6], [23.3, 46.7, 70.0, 93.3]),
            (45.0, [28.7, 52.5, 71.6, 85.7], [15.6, 31.1, 46.7, 62.2]),
            (60.0, [22.0, 41.2, 57.7, 71.6], [11.7, 23.3, 35.0, 46.7]),
            (90.0, [15.0, 28.7, 41.2, 52.5], [7.8, 15.6, 23.3, 31.1]),
            (120.0, [11.3, 22.0, 31.9, 41.2], [5.8, 11.7, 17.5, 23.3]),
        ] {
            for (place, day) in [7.0, 14.0, 21.0, 28.0].into_iter().enumerate() {
                assert!((smaller(Shape::Round, closes, day) - round[place]).abs() <= 0.06, "{closes} {day}");
                assert!((smaller(Shape::Slit, closes, day) - slit[place]).abs() <= 0.06, "{closes} {day}");
            }
        }
        // 50 % at day 28 is a round wound closing on day 95.6, 40 % one on day 124.
        assert!((smaller(Shape::Round, 95.6, 28.0) - 50.0).abs() < 0.05);
        assert!((smaller(Shape::Round, 124.2, 28.0) - 40.0).abs() < 0.05);
    }

    #[test]
    fn a_width_is_expected_and_behind_as_in_the_worked_examples() {
        for (first, closes, day, expected, behind) in
            [(20.0, 60.0, 28.0, 10.7, 14.7), (30.0, 90.0, 21.0, 23.0, 29.0)]
        {
            let share = share_left(Shape::Slit, 0.0, day, closes);
            assert!((first * share - expected).abs() < 0.05);
            assert!((first * (share + BEHIND_BY) - behind).abs() < 0.05);
            assert!(!is_behind(share + BEHIND_BY, share) && is_behind(share + BEHIND_BY + 0.001, share));
        }
    }

    #[test]
    fn a_share_is_from_none_to_all() {
        assert_eq!(share_left(Shape::Slit, 3.0, 2.0, 60.0), 1.0);
        assert_eq!(share_left(Shape::Round, 3.0, 60.0, 60.0), 0.0);
        assert_eq!(share_left(Shape::Slit, 3.0, 99.0, 60.0), 0.0);
        assert_eq!(share_left(Shape::Slit, 60.0, 60.0, 60.0), 0.0);
        assert_eq!(share_left(Shape::Slit, f64::NAN, 1.0, 60.0), 0.0);
    }
}
