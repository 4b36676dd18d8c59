//! Least squares for a handful of unknowns: what of a model fits many measured places best.

/// Solves `matrix · x = right` by elimination with pivots; `None` when it has no single answer.
pub(super) fn solved<const N: usize>(mut matrix: [[f64; N]; N], mut right: [f64; N]) -> Option<[f64; N]> {
    for at in 0..N {
        let pivot = (at..N).max_by(|a, b| matrix[*a][at].abs().total_cmp(&matrix[*b][at].abs()))?;
        if matrix[pivot][at].abs() < 1e-300 {
            return None;
        }
        matrix.swap(at, pivot);
        right.swap(at, pivot);
        for row in at + 1..N {
            let (above, below) = matrix.split_at_mut(row);
            let factor = below[0][at] / above[at][at];
            below[0][at..].iter_mut().zip(&above[at][at..]).for_each(|(cell, over)| *cell -= factor * over);
            right[row] -= factor * right[at];
        }
    }
    for at in (0..N).rev() {
        let known: f64 = (at + 1..N).map(|column| matrix[at][column] * right[column]).sum();
        right[at] = (right[at] - known) / matrix[at][at];
    }
    right.iter().all(|value| value.is_finite()).then_some(right)
}

/// A fit by least squares.
#[derive(Clone, Copy)]
pub(super) struct Fit<const N: usize> {
    pub unknowns: [f64; N],
    /// Sum of the squares of what is left.
    pub cost: f64,
}

/// Moves the unknowns from `start` to where the residuals' squares sum to least (Levenberg and Marquardt's method with
/// differences for derivatives). `steps` are the sizes over which each unknown's influence is taken.
pub(super) fn least_squares<const N: usize>(
    start: [f64; N],
    steps: [f64; N],
    rounds: usize,
    residuals: &dyn Fn(&[f64; N], &mut Vec<f64>),
) -> Option<Fit<N>> {
    let mut best = start;
    let (mut left, mut moved) = (Vec::new(), Vec::new());
    residuals(&best, &mut left);
    let mut cost = squares(&left)?;
    let mut damping = 1e-4;
    for _ in 0..rounds {
        let slopes = slopes_at(&best, &steps, &left, residuals);
        let (matrix, right) = normal(&slopes, &left);
        let before = cost;
        for _ in 0..8 {
            let mut damped = matrix;
            damped.iter_mut().enumerate().for_each(|(at, row)| row[at] = row[at] * (1.0 + damping) + 1e-12);
            let step = solved(damped, right)?;
            let tried: [f64; N] = std::array::from_fn(|at| best[at] - step[at]);
            residuals(&tried, &mut moved);
            match squares(&moved).filter(|after| *after < cost) {
                Some(after) => {
                    (best, cost) = (tried, after);
                    std::mem::swap(&mut left, &mut moved);
                    damping *= 0.1;
                    break;
                }
                None => damping = (damping * 10.0).max(1e-9),
            }
        }
        if before - cost <= 1e-9 * before {
            break;
        }
    }
    Some(Fit { unknowns: best, cost })
}

/// What each residual gains with each unknown.
fn slopes_at<const N: usize>(
    unknowns: &[f64; N],
    steps: &[f64; N],
    left: &[f64],
    residuals: &dyn Fn(&[f64; N], &mut Vec<f64>),
) -> Vec<[f64; N]> {
    let mut slopes = vec![[0.0; N]; left.len()];
    let mut moved = Vec::with_capacity(left.len());
    for (unknown, step) in steps.iter().enumerate() {
        let mut nudged = *unknowns;
        nudged[unknown] += step;
        residuals(&nudged, &mut moved);
        for (slope, (after, before)) in slopes.iter_mut().zip(moved.iter().zip(left)) {
            slope[unknown] = (after - before) / step;
        }
    }
    slopes
}

fn squares(values: &[f64]) -> Option<f64> {
    Some(values.iter().map(|value| value * value).sum::<f64>()).filter(|sum| sum.is_finite())
}

fn normal<const N: usize>(slopes: &[[f64; N]], left: &[f64]) -> ([[f64; N]; N], [f64; N]) {
    let (mut matrix, mut right) = ([[0.0; N]; N], [0.0; N]);
    for (slope, residual) in slopes.iter().zip(left) {
        for row in 0..N {
            right[row] += slope[row] * residual;
            for column in 0..N {
                matrix[row][column] += slope[row] * slope[column];
            }
        }
    }
    (matrix, right)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equations_with_one_answer_give_it_and_others_none() {
        assert_eq!(solved([[0.0, 2.0], [4.0, 1.0]], [6.0, 11.0]), Some([2.0, 3.0]));
        assert_eq!(solved([[1.0, 2.0], [2.0, 4.0]], [1.0, 2.0]), None);
        assert_eq!(solved([[f64::NAN, 2.0], [2.0, 4.0]], [1.0, 2.0]), None);
    }

    /// The least squares of Rosenbrock's valley are at (1, 1), as its formula shows.
    #[test]
    fn a_bent_valley_is_followed_to_its_end() {
        let valley = |at: &[f64; 2], out: &mut Vec<f64>| {
            out.clear();
            out.extend([10.0 * (at[1] - at[0] * at[0]), 1.0 - at[0]]);
        };
        let fit = least_squares([-1.2, 1.0], [1e-7, 1e-7], 200, &valley).unwrap();
        assert!(
            (fit.unknowns[0] - 1.0).abs() < 1e-5 && (fit.unknowns[1] - 1.0).abs() < 1e-5,
            "{:?}",
            fit.unknowns
        );
        assert!(fit.cost < 1e-9);
    }
}
