//! The `closewatch` binary.
#![forbid(unsafe_code)]

use std::process::ExitCode;

use clap::Parser;

use closewatch::cli;
use closewatch::cli::Line;
use closewatch::telemetry;

#[tokio::main]
async fn main() -> ExitCode {
    let line = Line::parse();
    telemetry::start();
    match cli::run(line).await {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("closewatch: {failure}");
            if failure.is::<cli::BadInput>() { ExitCode::from(2) } else { ExitCode::FAILURE }
        }
    }
}
