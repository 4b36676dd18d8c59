//! Putting a back-up back: into books and a folder that are empty, and held from the first moment.

use std::io;
use std::path::Path;

use crate::care::Done;
use crate::care::backup::Backup;
use crate::care::backup::Carried;
use crate::care::backup::Fault;
use crate::care::backup::carry;
use crate::ids::Moment;
use crate::store::Db;
use crate::store::StoreError;
use crate::store::backup_key::BackupIdentity;
use crate::store::backup_part;
use crate::store::books;
use crate::store::books::PhotoFile;
use crate::store::server;
use crate::store::server::Noted;

/// What came of putting the books back.
#[derive(Debug)]
pub enum PutBack {
    /// They are open, and went through every migration that came since.
    Done { db: Db, rows: i64 },
    /// The database holds something: nothing was touched.
    NotEmpty,
    /// A part could not be read, or holds other rows than the manifest says. The database holds nothing of it.
    Refused(Fault),
}

/// Writes every table of a back-up into an empty database, in one transaction, and holds the server: no letter of before is
/// sent, whatever happens next.
pub async fn put_back(
    backup: &Backup,
    identity: &BackupIdentity,
    url: &str,
    moment: &Moment,
) -> Done<PutBack> {
    let manifest = &backup.manifest;
    let Some(db) = Db::make_blank(url, manifest.schema_version).await? else { return Ok(PutBack::NotEmpty) };
    let (mut tx, mut all) = (db.write().await?, 0);
    // In the order in which the program made them: what a row points at is there before it.
    for table in books::TABLES {
        let Some(written) = manifest.tables.iter().find(|written| written.name == table.name) else {
            continue;
        };
        let file = &written.part.file;
        let mut part = match backup_part::open(&backup.path(file), identity) {
            Ok(part) => part,
            Err(fault) => return Ok(PutBack::Refused(backup.words(file, fault))),
        };
        let rows = match books::write_in(&mut tx, db.engine(), table, &mut part).await {
            Ok(rows) => rows,
            Err(fault @ (StoreError::File(_) | StoreError::Unreadable { .. })) => {
                return Ok(PutBack::Refused(Fault::Changed(format!("{file}: {fault}"))));
            }
            Err(fault) => return Err(fault.into()),
        };
        if rows != written.rows || books::count(&mut tx, table).await? != written.rows {
            let told = format!("{file} holds {rows} rows, and the manifest says {}", written.rows);
            return Ok(PutBack::Refused(Fault::Changed(told)));
        }
        all += rows;
    }
    server::note(&mut tx, Noted::Held, moment.now).await?;
    server::note(&mut tx, Noted::Restored, moment.now).await?;
    server::note(&mut tx, Noted::RestoredFrom, manifest.taken).await?;
    server::note(&mut tx, Noted::LastBackup, manifest.taken).await?;
    tx.commit().await?;
    db.close().await;
    Ok(PutBack::Done { db: Db::open(url).await?, rows: all })
}

/// Brings the photos into the server's folder, which is empty.
pub fn put_back_photos(
    backup: &Backup,
    files: &[PhotoFile],
    to: &Path,
    identity: &BackupIdentity,
) -> io::Result<Carried> {
    carry::out_of_target_into(files, &backup.photos(), to, identity)
}

/// The photos of a back-up that are not there as they were, by name.
pub fn lost_photos(
    backup: &Backup,
    files: &[PhotoFile],
    identity: &BackupIdentity,
) -> io::Result<Vec<String>> {
    let mut lost = Vec::new();
    for photo in files {
        if carry::out_of_target(photo, &backup.photos(), identity)?.is_none() {
            lost.push(photo.file.clone());
        }
    }
    Ok(lost)
}
