//! Every quarter of an hour each practice's downtime list goes, encrypted, to a folder that is on another machine or is copied
//! there: what is open can be read when the server is gone.

use std::fs;
use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;
use std::time::Duration;

use jiff::tz::TimeZone;

use crate::care::Desk;
use crate::care::downtime_list;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::backup_key::BackupKey;
use crate::store::backup_part::PartWriter;
use crate::store::practices;
use crate::store::practices::Practice;

/// Safety promise H3: no list is older than this while the server runs.
const EVERY: Duration = Duration::from_secs(15 * 60);
/// Of each practice; a day of them.
const KEPT: usize = 96;
pub const ENDING: &str = ".txt.age";

/// Where the lists go, and who can read them.
#[derive(Clone, Debug)]
pub struct ListFolder {
    pub folder: PathBuf,
    pub key: BackupKey,
}

impl ListFolder {
    /// Writes every practice's list as it stands now, and takes the oldest ones away. How many were written; one that cannot be
    /// is an alarm of its practice and keeps no other back. An error is the last of those, in words.
    pub async fn write(&self, desk: &Desk, moment: &Moment) -> Result<usize, String> {
        let told = |why: &dyn std::fmt::Display| format!("{}: {why}", self.folder.display());
        let all = {
            let mut conn = desk.db.read().await.map_err(|fault| told(&fault))?;
            practices::all(&mut conn).await.map_err(|fault| told(&fault))?
        };
        let mut written = Ok(all.len());
        for practice in &all {
            let came_to = self.write_of(desk, practice, moment).await;
            downtime_list::note_written(desk, practice.id, came_to.is_ok(), moment)
                .await
                .map_err(|fault| told(&fault))?;
            if let Err(why) = came_to {
                written = Err(told(&why));
            }
        }
        written
    }

    async fn write_of(&self, desk: &Desk, practice: &Practice, moment: &Moment) -> Result<(), String> {
        let text =
            downtime_list::text(desk, practice, moment.now).await.map_err(|fault| fault.to_string())?;
        let time = moment.now.to_zoned_datetime(TimeZone::UTC).strftime("%Y%m%dT%H%M%SZ");
        fs::create_dir_all(&self.folder)
            .and_then(|()| self.write_one(&format!("{}-{time}{ENDING}", practice.id), &text))
            .and_then(|()| self.clear(practice.id))
            .map_err(|fault| fault.to_string())
    }

    /// Whole or not at all: whoever copies the folder meets no half list.
    fn write_one(&self, name: &str, text: &str) -> std::io::Result<()> {
        let half = format!(".half-{name}");
        let _ = fs::remove_file(self.folder.join(&half));
        let mut part = PartWriter::create(&self.folder, &half, &self.key)?;
        part.write_all(text.as_bytes())?;
        part.finish()?;
        fs::rename(self.folder.join(&half), self.folder.join(name))?;
        File::open(&self.folder)?.sync_all()
    }

    fn clear(&self, practice: PracticeId) -> std::io::Result<()> {
        let mut there = lists(&self.folder, Some(practice))?;
        let old = there.len().saturating_sub(KEPT);
        for path in there.drain(..old) {
            fs::remove_file(path)?;
        }
        Ok(())
    }
}

/// The lists in a folder, oldest first; of every practice when `practice` is `None`.
pub fn lists(folder: &Path, practice: Option<PracticeId>) -> std::io::Result<Vec<PathBuf>> {
    let begins = practice.map_or_else(String::new, |id| format!("{id}-"));
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with(&begins) && name.ends_with(ENDING) && !name.starts_with('.') {
            // By the time in its name, which all of a practice's lists have in the same place.
            let time = name.rsplit('-').next().unwrap_or_default().to_owned();
            found.push((time, entry.path()));
        }
    }
    found.sort();
    Ok(found.into_iter().map(|(_, path)| path).collect())
}

/// Sees to it for ever. `speed`: how much faster `now` goes than the machine's clock.
pub async fn run(desk: Desk, to: ListFolder, now: impl Fn() -> Moment + Sync, speed: f64) {
    loop {
        if let Err(why) = to.write(&desk, &now()).await {
            tracing::error!(why, "the downtime list could not be written");
        }
        tokio::time::sleep(EVERY.div_f64(speed)).await;
    }
}
