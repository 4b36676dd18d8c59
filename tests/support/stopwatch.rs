//! What measured times come to.

use std::time::Duration;

/// The one in the middle, in milliseconds; sorts them.
pub fn middle_ms(times: &mut [Duration]) -> f64 {
    times.sort_unstable();
    times[times.len() / 2].as_secs_f64() * 1e3
}
