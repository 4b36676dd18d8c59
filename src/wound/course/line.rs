//! A straight line through points of which some may be bad.
//!
//! Slope: repeated medians (Siegel 1982, Biometrika 69:242, from memory). The median of all pairs (Theil 1950) breaks
//! where one of four photos is bad, because that spoils three of the six pairs; repeated medians do not. Interval: Sen
//! 1968 (J Am Stat Assoc 63:1379), from the ranks of the pairs. Both are held against scipy in `tests/outside/course`.

/// The 97.5th percentile of the standard normal distribution; kept to scipy's digits in `tests/truth/wilson.json`.
const Z_95: f64 = 1.959_963_984_540_054;

/// A straight line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Units of y for each unit of x.
    pub slope: f64,
    /// y at x = 0.
    pub at_zero: f64,
}

impl Line {
    /// Where the line lies at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.at_zero + self.slope * x
    }
}

/// The line by repeated medians: of each point's slopes to all others the median, and of those the median. `None`
/// for fewer than two different, finite x.
pub fn repeated_median(points: &[(f64, f64)]) -> Option<Line> {
    let slope = repeated_median_of_pairs(points.len(), |one, other| slope(points[one], points[other]))?;
    let at_zero = median(points.iter().map(|(x, y)| y - slope * x).collect())?;
    Some(Line { slope, at_zero })
}

/// The interval that holds the slope 19 times of 20 (Sen 1968, equation 2.6, ties counted). For few points it is that of
/// all pairs. `None` as for [`repeated_median`].
pub fn sen_interval(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    let slopes = pairs(points.len(), |one, other| slope(points[one], points[other]));
    let ties = tied(points.iter().map(|point| point.0)) + tied(points.iter().map(|point| point.1));
    interval_of_pairs(slopes, points.len(), ties)
}

/// As [`repeated_median`], for any figure two points have together, such as a speed between two photos. `None` of a
/// pair: it has no such figure.
pub(super) fn repeated_median_of_pairs(
    points: usize,
    figure: impl Fn(usize, usize) -> Option<f64>,
) -> Option<f64> {
    let of_point = |one: usize| {
        let others = (0..points).filter(|other| *other != one);
        median(others.filter_map(|other| figure(one.min(other), one.max(other))).collect())
    };
    median((0..points).filter_map(of_point).collect())
}

/// As [`sen_interval`], for any figure two points have together.
pub(super) fn interval_of_pairs(mut figures: Vec<f64>, points: usize, ties: f64) -> Option<(f64, f64)> {
    figures.sort_by(f64::total_cmp);
    let (last, n) = (figures.len().checked_sub(1)?, points as f64);
    let spread = ((n * (n - 1.0) * (2.0 * n + 5.0) - ties) / 18.0).max(0.0).sqrt();
    let place = |side: f64| (figures.len() as f64 + side * Z_95 * spread) / 2.0;
    let low = (place(-1.0).round_ties_even() - 1.0).max(0.0) as usize;
    let high = (place(1.0).round_ties_even().max(0.0) as usize).min(last);
    Some((figures[low.min(last)], figures[high]))
}

/// The figure of every pair, the earlier point first.
pub(super) fn pairs(points: usize, figure: impl Fn(usize, usize) -> Option<f64>) -> Vec<f64> {
    let figure = &figure;
    (0..points).flat_map(|one| (one + 1..points).filter_map(move |other| figure(one, other))).collect()
}

/// `None` for no number, or one that is none.
pub(super) fn median(mut numbers: Vec<f64>) -> Option<f64> {
    numbers.sort_by(f64::total_cmp);
    let middle = numbers.len() / 2;
    let median = match numbers.len() % 2 {
        _ if numbers.is_empty() => return None,
        0 => numbers[middle - 1] / 2.0 + numbers[middle] / 2.0,
        _ => numbers[middle],
    };
    median.is_finite().then_some(median)
}

fn slope(one: (f64, f64), other: (f64, f64)) -> Option<f64> {
    let slope = (other.1 - one.1) / (other.0 - one.0);
    slope.is_finite().then_some(slope)
}

/// What groups of equal numbers take off the variance: k (k − 1)(2k + 5) each.
fn tied(numbers: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = numbers.collect();
    sorted.sort_by(f64::total_cmp);
    sorted
        .chunk_by(|one, other| one == other)
        .map(|group| group.len() as f64)
        .map(|k| k * (k - 1.0) * (2.0 * k + 5.0))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(serde::Deserialize)]
    struct Kept {
        lines: Vec<Fitted>,
    }

    #[derive(serde::Deserialize)]
    struct Fitted {
        x: Vec<f64>,
        y: Vec<f64>,
        slope: f64,
        at_zero: f64,
        low: f64,
        high: f64,
    }

    /// From scipy; `tests/outside/course/check.py` is the recipe.
    #[test]
    fn slopes_and_their_intervals_are_those_of_scipy() {
        let kept: Kept = serde_json::from_str(include_str!("../../../tests/truth/course.json")).unwrap();
        assert!(kept.lines.len() >= 12);
        for fitted in kept.lines {
            let points: Vec<(f64, f64)> = fitted.x.iter().copied().zip(fitted.y.iter().copied()).collect();
            let line = repeated_median(&points).unwrap();
            let (low, high) = sen_interval(&points).unwrap();
            let near = |ours: f64, theirs: f64| (ours - theirs).abs() <= 1e-9 * theirs.abs().max(1.0);
            assert!(
                near(line.slope, fitted.slope) && near(line.at_zero, fitted.at_zero),
                "{line:?} {:?}",
                fitted.x
            );
            assert!(near(low, fitted.low) && near(high, fitted.high), "{low} {high} {:?}", fitted.x);
        }
    }

    #[test]
    fn one_bad_point_of_four_moves_the_line_no_farther_than_the_good_ones_allow() {
        for bad in 0..4 {
            for height in [-1e6, 0.0, 1e6] {
                let mut points: Vec<(f64, f64)> =
                    (0..4).map(|x| (f64::from(x), 10.0 - 2.0 * f64::from(x))).collect();
                points[bad].1 = height;
                assert_eq!(repeated_median(&points).unwrap().slope, -2.0, "{points:?}");
            }
        }
    }

    #[test]
    fn a_line_needs_two_places() {
        assert_eq!(repeated_median(&[]), None);
        assert_eq!(repeated_median(&[(1.0, 2.0)]), None);
        assert_eq!(repeated_median(&[(1.0, 2.0), (1.0, 3.0)]), None);
        assert_eq!(sen_interval(&[(1.0, 2.0), (1.0, 3.0)]), None);
        assert_eq!(repeated_median(&[(f64::NAN, 2.0), (1.0, 3.0)]), None);
        assert_eq!(repeated_median(&[(0.0, 2.0), (1.0, 3.0)]), Some(Line { slope: 1.0, at_zero: 2.0 }));
    }
}
