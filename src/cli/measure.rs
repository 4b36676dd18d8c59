//! `closewatch measure`: measure the photos of the past by the method of today.

use crate::cli::Failure;
use crate::cli::measure_again;
use crate::cli::measure_again::Again;

#[derive(Debug, clap::Args)]
pub struct Measure {
    /// Measure every photo the practices keep that has no measurement by this program's method; the old ones stay.
    #[arg(long, required = true)]
    again: bool,
    #[command(flatten)]
    past: Again,
}

pub async fn run(measure: Measure) -> Result<(), Failure> {
    measure_again::run(measure.past).await
}
