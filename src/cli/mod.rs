//! The commands of the one binary.

mod ahead;
mod arm;
mod backup;
mod demo;
mod downtime_list;
mod export;
mod fail_page;
mod healthy;
mod keys;
mod measure;
mod measure_again;
mod measure_overlay;
mod measure_photo;
mod measure_report;
mod measure_told;
mod past;
mod protocol;
mod read_photo;
mod restore;
mod rewrap;
mod score;
pub mod seed;
mod seed_duty;
mod serve;
mod shut_in;
mod staff;
mod story;
#[cfg(feature = "doubles")]
mod taken_over;
mod verify;
mod watch;
mod watch_state;
mod watchdog;

use std::process::ExitCode;

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
    /// Let a server send again that came out of a back-up.
    Arm(Settings),
    /// Back up the books and the photos, while the server runs.
    Backup(Box<backup::Backup>),
    /// Start the server with an invented practice in a fresh temporary folder.
    Demo(demo::Demo),
    /// Read the list of what was open, on any machine and without the server.
    DowntimeList(downtime_list::DowntimeList),
    /// Take everything of a practice out, by a code that two people agreed to.
    Export(export::Export),
    /// Write the page that a proxy shows while the server does not answer.
    FailPage(fail_page::FailPage),
    /// Ask the server on this machine whether it can do its work; ends with status 1 when not.
    Healthy(Settings),
    /// Keys that seal photos: show, add, wrap anew, take out.
    #[command(subcommand)]
    Keys(keys::Keys),
    /// Measure photos.
    Measure(measure::Measure),
    /// Check, show and compare protocols.
    #[command(subcommand)]
    Protocol(protocol::Command),
    /// What the server has each photo read by: shuts itself in and reads one from standard input. Not for people.
    #[command(hide = true)]
    ReadPhoto(read_photo::ReadPhoto),
    /// Bring a back-up back into an empty folder, or only try whether it can be.
    Restore(Box<restore::Restore>),
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

/// Reads a photo apart, if that is what the line says; `None`: it says something else. For a process that has one thread.
pub fn read_a_photo(line: &Line) -> Option<ExitCode> {
    let Command::ReadPhoto(how) = &line.command else { return None };
    Some(read_photo::run(how))
}

/// Does what the command line says.
pub async fn run(line: Line) -> Result<(), Failure> {
    match line.command {
        Command::Arm(settings) => arm::run(&settings).await,
        Command::Backup(backup) => backup::run(*backup).await,
        Command::Demo(demo) => demo::run(demo).await,
        Command::DowntimeList(command) => downtime_list::run(&command),
        Command::Export(export) => export::run(export).await,
        Command::FailPage(page) => fail_page::run(page).await,
        Command::Healthy(settings) => healthy::run(&settings).await,
        Command::Keys(command) => keys::run(command).await,
        Command::Measure(measure) => measure::run(measure).await,
        Command::Protocol(command) => protocol::run(&command),
        Command::ReadPhoto(_) => Err(BadInput("a photo is read before threads are begun".to_owned()).into()),
        Command::Restore(restore) => restore::run(*restore).await,
        Command::Score(score) => score::run(&score),
        Command::Serve(settings) => serve::run(settings).await,
        Command::Staff(command) => staff::run(command).await,
        Command::Verify(verify) => verify::run(verify).await,
        Command::Watch(watch) => watch::run(watch).await,
    }
}
