//! The `closewatch` binary.
#![forbid(unsafe_code)]

use std::process::ExitCode;

use clap::Parser;

use closewatch::cli;
use closewatch::cli::Line;
use closewatch::telemetry;

fn main() -> ExitCode {
    let line = Line::parse();
    // Before any thread is begun: a process is shut in as a whole only while it has one.
    cli::read_a_photo(&line).unwrap_or_else(|| run(line))
}

#[tokio::main]
async fn run(line: Line) -> ExitCode {
    telemetry::start();
    match cli::run(line).await {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("closewatch: {failure}");
            if failure.is::<cli::BadInput>() { ExitCode::from(2) } else { ExitCode::FAILURE }
        }
    }
}
