//! What the program keeps of itself, and whether its disk takes what it is given.

use std::path::Path;

use jiff::Timestamp;

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

/// A moment that the server keeps of itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Noted {
    /// When the program was first started on these books.
    FirstStart,
    /// As of when the books stand in the last back-up.
    LastBackup,
    /// When it was last proved that a back-up can be restored.
    LastRestoreProof,
    /// The server was last started with back-ups made by other means. Gone once it is started without.
    BackupsElsewhere,
    /// Nothing is sent since. Gone once somebody armed the server.
    Held,
    /// When the books came out of a back-up. It stays.
    Restored,
    /// As of when the books stood in that back-up. It stays.
    RestoredFrom,
    /// When the program last began to seal what an older one had left as typed. It stays.
    TextsSealing,
    /// Since when nothing typed lies in the books unsealed. It stays.
    TextsSealed,
}

impl Noted {
    fn name(self) -> &'static str {
        match self {
            Noted::FirstStart => "first_start_ms",
            Noted::LastBackup => "last_backup_ms",
            Noted::LastRestoreProof => "last_restore_proof_ms",
            Noted::BackupsElsewhere => "backups_elsewhere_ms",
            Noted::Held => "held_ms",
            Noted::Restored => "restored_ms",
            Noted::RestoredFrom => "restored_from_ms",
            Noted::TextsSealing => "texts_sealing_ms",
            Noted::TextsSealed => "texts_sealed_ms",
        }
    }
}

/// `None`: it never was.
pub async fn noted(conn: &mut Conn, what: Noted) -> Stored<Option<Timestamp>> {
    sqlx::query("SELECT value FROM server_state WHERE name = $1")
        .bind(what.name())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(|row| row.time("value"))
        .transpose()
}

pub async fn note(conn: &mut Conn, what: Noted, at: Timestamp) -> Stored<()> {
    set(conn, what.name(), at.as_millisecond()).await
}

/// As if it had never been.
pub async fn forget(conn: &mut Conn, what: Noted) -> Stored<()> {
    sqlx::query("DELETE FROM server_state WHERE name = $1").bind(what.name()).execute(conn).await?;
    Ok(())
}

/// Notes the first start, unless it was noted before.
pub async fn note_first_start(conn: &mut Conn, now: Timestamp) -> Stored<()> {
    const SQL: &str = "INSERT INTO server_state (name, value) VALUES ($1, $2) ON CONFLICT (name) DO NOTHING";
    sqlx::query(SQL).bind(Noted::FirstStart.name()).bind(now.as_millisecond()).execute(conn).await?;
    Ok(())
}

const KEYS_COPIED: &str = "sealing_keys_copied";

/// The newest sealing key that somebody showed a copy of; `None`: nobody ever did.
pub async fn keys_copied(conn: &mut Conn) -> Stored<Option<u32>> {
    let row = sqlx::query("SELECT value FROM server_state WHERE name = $1")
        .bind(KEYS_COPIED)
        .fetch_optional(conn)
        .await?;
    row.map(|row| Ok(u32::try_from(row.whole("value")?).unwrap_or(0))).transpose()
}

pub async fn note_keys_copied(conn: &mut Conn, version: u32) -> Stored<()> {
    set(conn, KEYS_COPIED, i64::from(version)).await
}

const PROOF: &str = "backup_proof:";

/// Keeps by what a restore of the back-up made at `taken` is known: the SHA-256 of a code that only its reader finds. Codes of
/// before `forgotten` are known no more.
pub async fn keep_proof(
    conn: &mut Conn,
    code_sha256: &str,
    taken: Timestamp,
    forgotten: Timestamp,
) -> Stored<()> {
    const SQL: &str = "DELETE FROM server_state WHERE name LIKE 'backup_proof:%' AND value < $1";
    sqlx::query(SQL).bind(forgotten.as_millisecond()).execute(&mut *conn).await?;
    set(conn, &format!("{PROOF}{code_sha256}"), taken.as_millisecond()).await
}

/// When the back-up was made that this code was found in; `None`: in none of ours.
pub async fn proof(conn: &mut Conn, code_sha256: &str) -> Stored<Option<Timestamp>> {
    sqlx::query("SELECT value FROM server_state WHERE name = $1")
        .bind(format!("{PROOF}{code_sha256}"))
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(|row| row.time("value"))
        .transpose()
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
