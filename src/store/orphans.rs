//! Files in the photo folder that no row names: what is left when the program died between a photo and its row, or in the
//! middle of a photo.

use std::collections::HashSet;
use std::fs;
use std::io;
use std::path::Path;
use std::path::PathBuf;
use std::time::Duration;
use std::time::SystemTime;

use data_encoding::HEXLOWER;

use crate::store::BlobName;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

/// Of a file: the SHA-256 of what it holds.
type Name = [u8; 32];

/// Every name that a row of any practice gives to a file: of sealed blobs, and of photos from before anything was sealed.
const NAMED: [&str; 4] = [
    "SELECT sealed_sha256 AS name FROM sealed_blob WHERE practice_id <> ''",
    "SELECT full_sha256 AS name FROM photo WHERE practice_id <> '' AND full_sha256 IS NOT NULL",
    "SELECT review_sha256 AS name FROM photo WHERE practice_id <> '' AND review_sha256 IS NOT NULL",
    "SELECT small_sha256 AS name FROM photo WHERE practice_id <> '' AND small_sha256 IS NOT NULL",
];

/// The names that rows give to files.
#[derive(Debug, Default)]
pub struct Named(HashSet<Name>);

impl Named {
    pub fn len(&self) -> usize {
        self.0.len()
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Whether a row gives this name.
    pub fn has(&self, name: &str) -> bool {
        bytes_of(name).is_some_and(|name| self.0.contains(&name))
    }
}

fn bytes_of(name: &str) -> Option<Name> {
    HEXLOWER.decode(name.as_bytes()).ok()?.try_into().ok()
}

/// Files whose rows went: they are taken away by themselves, and later, so that nobody loses them in the middle of a back-up.
const PURGED: &str = "SELECT file AS name FROM purged_file WHERE practice_id <> ''";

/// Reads every name the books give, also those that only wait to be taken away.
pub async fn named(conn: &mut Conn) -> Stored<Named> {
    let mut named = named_by_rows(conn).await?;
    for row in sqlx::query(PURGED).fetch_all(conn).await? {
        named.0.extend(bytes_of(&row.text("name")?));
    }
    Ok(named)
}

/// Reads every name that something in the books needs.
pub async fn named_by_rows(conn: &mut Conn) -> Stored<Named> {
    let mut named = Named::default();
    for sql in NAMED {
        for row in sqlx::query(sql).fetch_all(&mut *conn).await? {
            named.0.extend(bytes_of(&row.text("name")?));
        }
    }
    Ok(named)
}

/// A file that no row names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Orphan {
    path: PathBuf,
    /// `None`: half a photo that was never finished.
    name: Option<BlobName>,
    bytes: u64,
}

/// Files that no row names and that are older than `age`, by the clock of the disk itself: the program's may have been set, or
/// go faster. Only what this program writes is looked at.
pub fn find(folder: &Path, named: &Named, age: Duration) -> io::Result<Vec<Orphan>> {
    let now = disk_time(folder)?;
    let mut found = Vec::new();
    gather(folder, &mut found, named, now, age)?;
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name();
        let is_ours = name.to_str().is_some_and(|name| name.len() == 2);
        if is_ours && entry.file_type()?.is_dir() {
            gather(&entry.path(), &mut found, named, now, age)?;
        }
    }
    Ok(found)
}

fn gather(
    folder: &Path,
    found: &mut Vec<Orphan>,
    named: &Named,
    now: SystemTime,
    age: Duration,
) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let file_name = entry.file_name();
        let Some(text) = file_name.to_str() else { continue };
        let name: Option<BlobName> = text.parse().ok();
        if !(name.is_some() || is_half(text)) || named.has(text) {
            continue;
        }
        let about = match entry.metadata() {
            Ok(about) if about.is_file() => about,
            // Finished or taken away just now.
            Ok(_) | Err(_) => continue,
        };
        if now.duration_since(about.modified()?).is_ok_and(|old| old >= age) {
            found.push(Orphan { path: entry.path(), name, bytes: about.len() });
        }
    }
    Ok(())
}

/// A photo being written has a `#` and a number behind its name until it is whole; a trial of the folder is called `.probe-`.
fn is_half(name: &str) -> bool {
    let is_staged = name.split_once('#').is_some_and(|(name, number)| {
        name.parse::<BlobName>().is_ok() && number.chars().all(|sign| sign.is_ascii_digit())
    });
    is_staged || name.starts_with(".probe-")
}

/// What the disk says is now.
fn disk_time(folder: &Path) -> io::Result<SystemTime> {
    let path = folder.join(format!(".probe-time-{}", std::process::id()));
    fs::write(&path, "")?;
    let time = fs::metadata(&path)?.modified();
    fs::remove_file(&path)?;
    time
}

/// How many files of the folder rows name.
pub fn present(folder: &Path, named: &Named) -> io::Result<usize> {
    let mut present = 0;
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_type()?.is_dir() {
            for file in fs::read_dir(entry.path())? {
                present += usize::from(file?.file_name().to_str().is_some_and(|name| named.has(name)));
            }
        }
    }
    Ok(present)
}

/// Takes an orphan away; false: a row names it by now. `named` was read after the orphan was found.
pub fn remove(orphan: &Orphan, named: &Named) -> io::Result<bool> {
    if orphan.name.as_ref().is_some_and(|name| named.has(name.as_str())) {
        return Ok(false);
    }
    match fs::remove_file(&orphan.path) {
        Err(fault) if fault.kind() != io::ErrorKind::NotFound => Err(fault),
        Ok(()) | Err(_) => Ok(true),
    }
}

impl Orphan {
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// Half a photo, which nobody was ever told is kept.
    pub fn is_half(&self) -> bool {
        self.name.is_none()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAY: Duration = Duration::from_secs(24 * 3_600);

    /// A file of this name in its folder, last written so long ago.
    fn file(folder: &Path, name: &str, old: Duration) -> PathBuf {
        let within = folder.join(&name[..2]);
        fs::create_dir_all(&within).unwrap();
        let path = if name.starts_with('.') { folder.join(name) } else { within.join(name) };
        fs::write(&path, "bytes").unwrap();
        let written = disk_time(folder).unwrap() - old;
        fs::File::options().write(true).open(&path).unwrap().set_modified(written).unwrap();
        path
    }

    #[test]
    fn only_what_no_row_names_and_is_a_day_old_is_found_and_nothing_foreign() {
        let folder = tempfile::tempdir().unwrap();
        let name = |letter: &str| letter.repeat(64);
        let named = Named([bytes_of(&name("a")).unwrap()].into());
        file(folder.path(), &name("a"), DAY * 30);
        let orphan = file(folder.path(), &name("b"), DAY);
        file(folder.path(), &name("c"), DAY - Duration::from_secs(60));
        let half = file(folder.path(), &format!("{}#12", name("a")), DAY * 2);
        file(folder.path(), &format!("{}#1", name("d")), Duration::ZERO);
        let probe = file(folder.path(), ".probe-77", DAY * 2);
        for foreign in ["notes.txt", "letter#1", "..sneaky"] {
            file(folder.path(), foreign, DAY * 30);
        }
        let mut paths: Vec<PathBuf> =
            find(folder.path(), &named, DAY).unwrap().into_iter().map(|orphan| orphan.path).collect();
        let mut expected = vec![orphan, half, probe];
        paths.sort();
        expected.sort();
        assert_eq!(paths, expected);
    }

    #[test]
    fn what_got_its_row_meanwhile_stays() {
        let folder = tempfile::tempdir().unwrap();
        let name = "b".repeat(64);
        let path = file(folder.path(), &name, DAY);
        let orphan = find(folder.path(), &Named::default(), DAY).unwrap().remove(0);
        let by_now = Named([bytes_of(&name).unwrap()].into());
        assert!(!remove(&orphan, &by_now).unwrap());
        assert!(path.exists());
        assert!(remove(&orphan, &Named::default()).unwrap());
        assert!(!path.exists());
        assert!(remove(&orphan, &Named::default()).unwrap(), "gone already");
    }
}
