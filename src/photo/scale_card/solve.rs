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
            let factor = matrix[row][at] / matrix[at][at];
            for column in at..N {
                matrix[row][column] -= factor * matrix[at][column];
            }
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
    let mut slopes: Vec<[f64; N]> = Vec::new();
    for _ in 0..rounds {
        slopes.clear();
        slopes.resize(left.len(), [0.0; N]);
        for unknown in 0..N {
            let mut nudged = best;
            nudged[unknown] += steps[unknown];
            residuals(&nudged, &mut moved);
            for (slope, (after, before)) in slopes.iter_mut().zip(moved.iter().zip(&left)) {
                slope[unknown] = (after - before) / steps[unknown];
            }
        }
        let (matrix, right) = normal(&slopes, &left);
        let before = cost;
        for _ in 0..8 {
            let mut damped = matrix;
            for at in 0..N {
                damped[at][at] *= 1.0 + damping;
                damped[at][at] += 1e-12;
            }
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
