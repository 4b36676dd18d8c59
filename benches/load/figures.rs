//! What was measured, the promise it is held to, and whether it is kept.

use std::time::Duration;

/// One figure.
pub struct Figure {
    /// The safety promise, such as `L1`.
    pub promise: &'static str,
    pub what: String,
    pub measured: String,
    pub limit: String,
    /// `None`: nothing is promised about it.
    pub kept: Option<bool>,
}

impl Figure {
    /// A figure that must not be larger than its limit.
    pub fn at_most(promise: &'static str, what: &str, measured: f64, limit: f64, unit: &str) -> Figure {
        Figure {
            promise,
            what: what.to_owned(),
            measured: with_unit(measured, unit),
            limit: format!("≤ {}", with_unit(limit, unit)),
            kept: Some(measured <= limit),
        }
    }

    /// A figure that must not be smaller than its limit.
    pub fn at_least(promise: &'static str, what: &str, measured: f64, limit: f64, unit: &str) -> Figure {
        Figure {
            promise,
            what: what.to_owned(),
            measured: with_unit(measured, unit),
            limit: format!("≥ {}", with_unit(limit, unit)),
            kept: Some(measured >= limit),
        }
    }

    /// A figure that nothing is promised about.
    pub fn told(promise: &'static str, what: &str, measured: f64, unit: &str) -> Figure {
        let measured = with_unit(measured, unit);
        Figure { promise, what: what.to_owned(), measured, limit: String::new(), kept: None }
    }

    pub fn line(&self) -> String {
        let kept = match self.kept {
            Some(true) => "kept",
            Some(false) => "NOT KEPT",
            None => "",
        };
        format!("| {} | {} | {} | {} | {kept} |", self.promise, self.what, self.measured, self.limit)
    }
}

/// Whole numbers as such; three digits that matter otherwise.
fn with_unit(value: f64, unit: &str) -> String {
    let number = match value {
        value if value.fract() == 0.0 || value >= 100.0 => format!("{value:.0}"),
        value if value >= 10.0 => format!("{value:.1}"),
        value => format!("{value:.2}"),
    };
    if unit.is_empty() { number } else { format!("{number} {unit}") }
}

pub const TABLE_HEAD: &str = "| promise | figure | measured | limit | |\n|---|---|---|---|---|";

/// The value that so many of a hundred do not exceed (nearest rank), in milliseconds; sorts them. Nothing measured is a figure
/// that keeps no limit.
pub fn percentile_ms(times: &mut [Duration], hundredths: usize) -> f64 {
    times.sort_unstable();
    let rank = (times.len() * hundredths).div_ceil(100).max(1);
    times.get(rank - 1).map_or(f64::INFINITY, |time| time.as_secs_f64() * 1e3)
}
