//! `closewatch downtime-list`: what was open in the practice, read on any machine, with no server and no database.

use std::io::Read;
use std::path::PathBuf;

use crate::cli::BadInput;
use crate::cli::Failure;
use crate::jobs::downtime_list::lists;
use crate::store::backup_key::BackupIdentity;
use crate::store::backup_part;

/// Print the newest downtime list of each practice, as plain text.
#[derive(Debug, clap::Args)]
pub struct DowntimeList {
    /// The folder with the lists, or one of them.
    #[arg(long)]
    from: PathBuf,

    /// File with the private key that the lists are made for, as `closewatch backup new-key` wrote it.
    #[arg(long)]
    identity: PathBuf,
}

pub fn run(command: &DowntimeList) -> Result<(), Failure> {
    let identity = BackupIdentity::read(&command.identity).map_err(BadInput)?;
    for path in newest(command)? {
        let told = |why: &dyn std::fmt::Display| BadInput(format!("{}: {why}", path.display()));
        let mut text = String::new();
        backup_part::open(&path, &identity)
            .map_err(|why| told(&why))?
            .read_to_string(&mut text)
            .map_err(|why| told(&format!("it was changed since it was written, or cut off ({why})")))?;
        print!("{text}");
    }
    Ok(())
}

fn newest(command: &DowntimeList) -> Result<Vec<PathBuf>, BadInput> {
    if command.from.is_file() {
        return Ok(vec![command.from.clone()]);
    }
    let told = |why: &dyn std::fmt::Display| BadInput(format!("{}: {why}", command.from.display()));
    let mut newest: Vec<PathBuf> = Vec::new();
    for path in lists(&command.from, None).map_err(|why| told(&why))? {
        let of = |path: &PathBuf| {
            path.file_name().map(|name| name.to_string_lossy().rsplit_once('-').map(|(id, _)| id.to_owned()))
        };
        newest.retain(|one| of(one) != of(&path));
        newest.push(path);
    }
    if newest.is_empty() {
        return Err(told(&"no downtime list is here"));
    }
    Ok(newest)
}
