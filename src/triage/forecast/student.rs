//! What several independent runs say together: their mean, and how far it may be off by chance.

/// Student's t, 97.5th percentile, for 1 to 30 degrees of freedom: `scipy.stats.t.ppf(0.975, df)`, scipy 1.17.1, to six
/// digits. Checked against it in `tests/truth/forecast.json`.
pub const T_TABLE: [f64; 30] = [
    12.706205, 4.302653, 3.182446, 2.776445, 2.570582, 2.446912, 2.364624, 2.306004, 2.262157, 2.228139,
    2.200985, 2.178813, 2.160369, 2.144787, 2.131450, 2.119905, 2.109816, 2.100922, 2.093024, 2.085963,
    2.079614, 2.073873, 2.068658, 2.063899, 2.059539, 2.055529, 2.051831, 2.048407, 2.045230, 2.042272,
];

/// The factor of a two-sided 95 % interval from `runs` independent runs. `None` for fewer than two, which say nothing
/// of their own spread. Above 31 runs the factor for 31, which is a little too wide.
pub fn t_95(runs: usize) -> Option<f64> {
    let degrees_of_freedom = runs.checked_sub(1)?;
    T_TABLE.get(degrees_of_freedom.min(T_TABLE.len()).checked_sub(1)?).copied()
}

/// A mean over independent runs, in whatever unit the runs were measured in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    pub mean: f64,
    /// Half the width of the 95 % interval. `None`: one run alone, which says nothing of its own spread.
    pub half_width: Option<f64>,
    pub runs: usize,
}

impl Estimate {
    /// `None` when there was no run.
    pub fn over(runs: &[f64]) -> Option<Estimate> {
        if runs.is_empty() {
            return None;
        }
        let count = runs.len() as f64;
        let mean = runs.iter().sum::<f64>() / count;
        let half_width = t_95(runs.len()).map(|factor| {
            let squares: f64 = runs.iter().map(|run| (run - mean) * (run - mean)).sum();
            factor * (squares / (count - 1.0) / count).sqrt()
        });
        Some(Estimate { mean, half_width, runs: runs.len() })
    }

    /// Whether `value` lies in the 95 % interval.
    pub fn holds(&self, value: f64) -> bool {
        self.half_width.is_some_and(|half| (value - self.mean).abs() <= half)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_run_says_nothing_of_its_spread_and_two_say_little() {
        assert_eq!(Estimate::over(&[]), None);
        assert_eq!(Estimate::over(&[3.0]).unwrap(), Estimate { mean: 3.0, half_width: None, runs: 1 });
        assert!(!Estimate::over(&[3.0]).unwrap().holds(3.0));
        let two = Estimate::over(&[2.0, 4.0]).unwrap();
        // Standard error 1, and t for one degree of freedom.
        assert_eq!((two.mean, two.half_width), (3.0, Some(T_TABLE[0])));
        assert!(two.holds(3.0 + 12.7) && !two.holds(3.0 + 12.8));
    }

    #[test]
    fn the_factor_shrinks_with_each_run_and_never_runs_off_the_table() {
        assert_eq!((t_95(0), t_95(1)), (None, None));
        let factors: Vec<f64> = (2..40).filter_map(t_95).collect();
        assert_eq!(factors.len(), 38);
        assert!(factors.windows(2).all(|pair| pair[1] <= pair[0]));
        assert_eq!((t_95(31), t_95(1_000)), (Some(T_TABLE[29]), Some(T_TABLE[29])));
    }
}
