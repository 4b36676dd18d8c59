//! What the program keeps of itself, and whether its disk takes what it is given.

use std::path::Path;

use crate::store::Conn;
use crate::store::Db;
use crate::store::Stored;
use crate::store::disk_fault;
use crate::store::row::Columns;

/// A write that is only kept when the disk has it: the same way a check is kept.
pub async fn probe(db: &Db, value: i64) -> Stored<()> {
    let mut tx = db.write().await?;
    set(&mut tx, "probe", value).await?;
    tx.commit().await
}

/// The next number of a sign of life: higher than any before, and at least `least`, so that it goes on rising after an
/// old back-up came back.
pub async fn next_beat(conn: &mut Conn, least: i64) -> Stored<i64> {
    const SQL: &str = "INSERT INTO server_state (name, value) VALUES ('beat', $1) ON CONFLICT (name) DO UPDATE \
                       SET value = CASE WHEN server_state.value >= $1 THEN server_state.value + 1 ELSE $1 END \
                       RETURNING value";
    sqlx::query(SQL).bind(least).fetch_one(conn).await?.whole("value")
}

async fn set(conn: &mut Conn, name: &str, value: i64) -> Stored<()> {
    const SQL: &str = "INSERT INTO server_state (name, value) VALUES ($1, $2) \
                       ON CONFLICT (name) DO UPDATE SET value = excluded.value";
    sqlx::query(SQL).bind(name).bind(value).execute(conn).await?;
    Ok(())
}

/// Writes a small file into a folder, to the disk itself, and takes it away again. Does not come back from a disk that failed.
pub fn probe_folder(folder: &Path) -> std::io::Result<()> {
    let tried = try_folder(folder);
    if let Err(fault) = &tried {
        disk_fault::heed_folder(fault);
    }
    tried
}

fn try_folder(folder: &Path) -> std::io::Result<()> {
    use std::io::Write;
    // Several programs on one folder must not take each other's file away.
    let name = folder.join(format!(".probe-{}", std::process::id()));
    let mut file = std::fs::File::create(&name)?;
    file.write_all(&[0x5a; 4_096])?;
    file.sync_all()?;
    drop(file);
    std::fs::remove_file(&name)
}

/// Room on a disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Space {
    /// What a program without privileges may still write.
    pub free_bytes: u64,
    /// Of the whole disk.
    pub size_bytes: u64,
}

/// The room where `folder` lies.
pub fn space(folder: &Path) -> std::io::Result<Space> {
    let about = rustix::fs::statvfs(folder)?;
    let bytes = |blocks: u64| blocks.saturating_mul(about.f_frsize);
    Ok(Space { free_bytes: bytes(about.f_bavail), size_bytes: bytes(about.f_blocks) })
}

/// How many files this process may have open at once. `None`: the system does not say so here.
pub fn most_files() -> Option<usize> {
    let limits = std::fs::read_to_string("/proc/self/limits").ok()?;
    let line = limits.lines().find_map(|line| line.strip_prefix("Max open files"))?;
    line.split_whitespace().next()?.parse().ok()
}
