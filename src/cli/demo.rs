//! `closewatch demo`: the server with an invented practice.

use crate::cli::Failure;

#[derive(Debug, clap::Args)]
pub struct Demo {}

pub async fn run(_demo: Demo) -> Result<(), Failure> {
    Err("the demo is being written".into())
}
