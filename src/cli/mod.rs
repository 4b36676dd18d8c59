//! The commands of the one binary.

mod ahead;
mod demo;
mod keys;
mod measure;
mod measure_again;
mod measure_overlay;
mod measure_photo;
mod measure_report;
mod measure_told;
mod past;
mod protocol;
mod score;
pub mod seed;
mod seed_duty;
mod serve;
mod staff;
mod story;
mod verify;
mod watch;
mod watch_state;

use clap::Parser;
use clap::Subcommand;

use crate::config::Settings;

/// A self-hosted inbox for photos of open surgical wounds.
#[derive(Debug, Parser)]
#[command(name = "closewatch", version, about)]
pub struct Line {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Start the server with an invented practice in a fresh temporary folder.
    Demo(demo::Demo),
    /// Keys that seal photos: show, add, wrap anew, take out.
    #[command(subcommand)]
    Keys(keys::Keys),
    /// Measure photos.
    Measure(measure::Measure),
    /// Check, show and compare protocols.
    #[command(subcommand)]
    Protocol(protocol::Command),
    /// Score facts given as JSON by a protocol.
    Score(score::Score),
    /// Start the server.
    Serve(Settings),
    /// Add staff from the command line.
    #[command(subcommand)]
    Staff(staff::Staff),
    /// Read the record line by line: whole, or broken, and where.
    Verify(verify::Verify),
    /// On another host: hear the server's signs of life, and call people when there are none.
    Watch(watch::Watch),
}

/// A command's failure, in words for the terminal.
pub type Failure = Box<dyn std::error::Error + Send + Sync>;

/// What was given cannot be used, and why; the command ends with status 2.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct BadInput(pub String);

/// Does what the command line says.
pub async fn run(line: Line) -> Result<(), Failure> {
    match line.command {
        Command::Demo(demo) => demo::run(demo).await,
        Command::Keys(command) => keys::run(command).await,
        Command::Measure(measure) => measure::run(measure).await,
        Command::Protocol(command) => protocol::run(&command),
        Command::Score(score) => score::run(&score),
        Command::Serve(settings) => serve::run(settings).await,
        Command::Staff(command) => staff::run(command).await,
        Command::Verify(verify) => verify::run(verify).await,
        Command::Watch(watch) => watch::run(watch).await,
    }
}
