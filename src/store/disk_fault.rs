//! A disk that did not keep what it was given: the program ends, and starts anew from what is really there.
//!
//! Linux marks a page clean whose write-back failed: the next fsync of the file reports success while nothing is on the disk,
//! and whoever reads the file is shown what was lost. PostgreSQL found this in 2018 and has stopped at a failed fsync since
//! (its release notes of 14 February 2019: `data_sync_retry`); Rebello et al., "Can Applications Recover from fsync
//! Failures?", USENIX ATC 2020, measured it for ext4, XFS and Btrfs, with SQLite among the programs that lose data by it. So
//! nothing is tried again in this process, and [`from_the_disk`] comes before the next one opens its books.
//!
//! A full disk is no such fault: what does not fit is refused, and it ends by itself once there is room.

use std::error::Error;
use std::fmt::Display;
use std::fs::File;
use std::io;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use rustix::io::Errno;

/// The program's status when it ends for a disk that failed: `EX_IOERR` of BSD's sysexits.h.
pub const STATUS: i32 = 74;

/// SQLite's codes (sqlite.org/rescode.html) for a file that did not take a write, a sync, the sync of its folder, or a cut.
/// A full disk has a code of its own, 13.
const SQLITE_FAILED: [&str; 4] = ["778", "1034", "1290", "1546"];

/// Looks at a fault of the database. Does not come back when the books' disk failed.
pub(in crate::store) fn heed_database(fault: &sqlx::Error) {
    if let sqlx::Error::Database(inner) = fault
        && inner.code().is_some_and(|code| is_sqlite(inner.as_ref()) && SQLITE_FAILED.contains(&&*code))
    {
        end("the books", fault);
    }
}

/// PostgreSQL's codes have five signs, and it sees to its own disk: it ends all work at a failed fsync.
fn is_sqlite(fault: &dyn sqlx::error::DatabaseError) -> bool {
    fault.code().is_some_and(|code| code.len() < 5 && code.chars().all(|sign| sign.is_ascii_digit()))
}

/// Looks at a fault of the photo folder. Does not come back when its disk failed.
pub(in crate::store) fn heed_folder(fault: &(dyn Error + 'static)) {
    if failed(fault) {
        end("a photo", fault);
    }
}

fn failed(fault: &(dyn Error + 'static)) -> bool {
    stands_on(fault, &[Errno::IO])
}

/// Whether the disk was full, or its owner's share of it.
pub(in crate::store) fn is_no_room(fault: &(dyn Error + 'static)) -> bool {
    stands_on(fault, &[Errno::NOSPC, Errno::DQUOT])
}

/// Whether one of these errors is at the bottom of it.
fn stands_on(fault: &(dyn Error + 'static), errors: &[Errno]) -> bool {
    let mut next = Some(fault);
    while let Some(one) = next {
        let code = one.downcast_ref::<io::Error>().and_then(io::Error::raw_os_error);
        if code.is_some_and(|code| errors.iter().any(|error| error.raw_os_error() == code)) {
            return true;
        }
        next = one.source();
    }
    false
}

/// Nothing is flushed or closed: whatever was acknowledged is on the disk, and nothing else shall be.
fn end(what: &str, why: &dyn Display) -> ! {
    let _ = writeln!(
        io::stderr(),
        "closewatch: the disk did not keep {what} ({why}). What was not acknowledged may be lost. The program ends here, and \
         starts anew from what is really on the disk. If this comes again, the disk is failing: bring the back-up to another."
    );
    std::process::exit(STATUS)
}

/// The files an SQLite address names: the books and their log. Empty for another engine.
fn files_of(database_url: &str) -> Vec<PathBuf> {
    let Some(path) = database_url.strip_prefix("sqlite:") else { return Vec::new() };
    let path = path.trim_start_matches("//").split('?').next().unwrap_or_default();
    [path.to_owned(), format!("{path}-wal")].map(PathBuf::from).into()
}

/// Sees to it that what is read of the books from now on comes from the disk, not from what an earlier program left in
/// memory: writes out what still can be, and has the rest forgotten. Only before the books are opened: closing a file takes
/// the locks with it that this process has on it.
pub fn from_the_disk(database_url: &str) -> io::Result<()> {
    for path in files_of(database_url) {
        match File::open(&path) {
            Ok(file) => forget_cached(&file, &path)?,
            Err(fault) if fault.kind() == io::ErrorKind::NotFound => {}
            Err(fault) => return Err(fault),
        }
    }
    Ok(())
}

fn forget_cached(file: &File, path: &Path) -> io::Result<()> {
    file.sync_all().map_err(|fault| io::Error::new(fault.kind(), format!("{}: {fault}", path.display())))?;
    #[cfg(target_os = "linux")]
    rustix::fs::fadvise(file, 0, None, rustix::fs::Advice::DontNeed)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, thiserror::Error)]
    #[error("put")]
    struct Put(#[source] io::Error);

    #[test]
    fn an_input_or_output_error_is_found_below_others_and_a_full_disk_is_none() {
        let of = |errno: Errno| Put(io::Error::from_raw_os_error(errno.raw_os_error()));
        assert!(failed(&of(Errno::IO)));
        for other in [Errno::NOSPC, Errno::DQUOT, Errno::MFILE, Errno::ACCESS, Errno::ROFS] {
            assert!(!failed(&of(other)), "{other}");
        }
        assert!(
            is_no_room(&of(Errno::NOSPC)) && is_no_room(&of(Errno::DQUOT)) && !is_no_room(&of(Errno::IO))
        );
    }

    #[test]
    fn an_address_names_the_books_and_their_log() {
        let both = |path: &str| vec![PathBuf::from(path), PathBuf::from(format!("{path}-wal"))];
        assert_eq!(files_of("sqlite:data/closewatch.sqlite"), both("data/closewatch.sqlite"));
        assert_eq!(files_of("sqlite:///var/a.sqlite?mode=rwc"), both("/var/a.sqlite"));
        assert_eq!(files_of("postgres://somebody@host/a"), Vec::<PathBuf>::new());
    }

    #[test]
    fn books_that_are_not_there_yet_are_no_fault() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.sqlite");
        let address = format!("sqlite:{}", path.display());
        from_the_disk(&address).unwrap();
        std::fs::write(&path, "rows").unwrap();
        from_the_disk(&address).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"rows");
    }
}
