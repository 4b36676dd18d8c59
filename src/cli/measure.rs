//! `closewatch measure`: measure one photo, or the photos of the past by the method of today.

use clap::Args;

use crate::cli::Failure;
use crate::cli::measure_again;
use crate::cli::measure_again::Again;
use crate::cli::measure_photo;
use crate::cli::measure_photo::OnePhoto;

#[derive(Debug, Args)]
pub struct Measure {
    /// Measure every photo the practices keep that has no measurement by this program's method; the old ones stay.
    #[arg(long, conflicts_with = "photo")]
    again: bool,
    #[command(flatten)]
    past: Again,
    #[command(flatten)]
    one: OnePhoto,
}

pub async fn run(measure: Measure) -> Result<(), Failure> {
    if measure.again { measure_again::run(measure.past).await } else { measure_photo::run(&measure.one) }
}
