//! Making a back-up, while the server works: the books in one moment first, then the photos they name.

use std::fs;
use std::fs::File;
use std::io;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use data_encoding::BASE32_NOPAD;
use jiff::SignedDuration;
use jiff::Timestamp;
use rustix::fs::FlockOperation;
use rustix::fs::flock;

use crate::care::CareError;
use crate::care::Done;
use crate::care::backup::Carried;
use crate::care::backup::FORMAT;
use crate::care::backup::MANIFEST;
use crate::care::backup::Manifest;
use crate::care::backup::PHOTO_LIST;
use crate::care::backup::PHOTOS;
use crate::care::backup::PhotoList;
use crate::care::backup::PhotosPart;
use crate::care::backup::SIGNATURE;
use crate::care::backup::TablePart;
use crate::care::backup::carry;
use crate::care::backup::make_private;
use crate::care::backup::sync_folder;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::record_head;
use crate::care::record_head::RecordKey;
use crate::care::record_head::SignedHead;
use crate::care::sealing_keys;
use crate::care::sha256_hex;
use crate::ids::Moment;
use crate::store::Db;
use crate::store::Engine;
use crate::store::StoreError;
use crate::store::backup_key::BackupKey;
use crate::store::backup_part::Part;
use crate::store::backup_part::PartWriter;
use crate::store::books;
use crate::store::books::PhotoFile;
use crate::store::practices;
use crate::store::server;
use crate::store::server::Noted;

/// A code from a back-up older than this proves nothing any more.
const PROVES_FOR: SignedDuration = SignedDuration::from_hours(24 * 100);
/// What is being written has such a name, and nobody takes it for a back-up.
const HALF: &str = ".half-";
const LOCK: &str = ".closewatch-backup.lock";

/// What a back-up is made of, and where it goes.
#[derive(Debug)]
pub struct Taking<'a> {
    pub db: &'a Db,
    /// The server's photo folder.
    pub photos: &'a Path,
    /// The folder that holds the back-ups.
    pub target: &'a Path,
    pub key: &'a BackupKey,
    pub record_key: &'a RecordKey,
}

/// A back-up that was made.
#[derive(Clone, Debug)]
pub struct Taken {
    pub folder: PathBuf,
    pub manifest: Manifest,
    /// Photos that were not in the target folder before.
    pub new_photos: usize,
}

fn failed(told: impl Into<String>) -> CareError {
    CareError::Work(told.into())
}

/// What the books hold, written out.
struct BooksPart {
    schema_version: i64,
    tables: Vec<TablePart>,
    photos: Vec<PhotoFile>,
    /// Versions of the keys that open what is sealed in it.
    sealing_keys: Vec<u32>,
    heads: Vec<SignedHead>,
}

/// Makes a back-up. Killed at any moment it leaves either a whole one, or none; what it had written of a half one goes with
/// the next.
pub async fn take(taking: Taking<'_>, moment: &Moment) -> Done<Taken> {
    make_private(taking.target).map_err(|fault| at(taking.target, fault))?;
    let _alone = alone(taking.target)?;
    clear_halves(taking.target).map_err(|fault| at(taking.target, fault))?;
    let name = format!("books-{}", moment.now.strftime("%Y%m%dT%H%M%S%3fZ"));
    let (half, whole) = (taking.target.join(format!("{HALF}{name}")), taking.target.join(&name));
    if whole.exists() {
        return Err(failed(format!("{} is there already: try again", whole.display())));
    }
    make_private(&half).map_err(|fault| at(&half, fault))?;
    let books = write_books(&taking, &half, moment.now).await?;
    let code = BASE32_NOPAD.encode(&moment.chance.bytes::<15>());
    let (manifest, new_photos) =
        write_rest(&taking, &half, books, &code, moment.now).map_err(|fault| at(&half, fault))?;
    fs::rename(&half, &whole).map_err(|fault| at(&whole, fault))?;
    sync_folder(taking.target).map_err(|fault| at(taking.target, fault))?;
    note(taking.db, &manifest, &code, moment.now).await?;
    Ok(Taken { folder: whole, manifest, new_photos })
}

fn at(path: &Path, fault: io::Error) -> CareError {
    failed(format!("{}: {fault}", path.display()))
}

/// Two at once would take each other's halves for left ones.
fn alone(target: &Path) -> Done<File> {
    let path = target.join(LOCK);
    let file = File::options().write(true).create(true).truncate(false).open(&path);
    let file = file.map_err(|fault| at(&path, fault))?;
    flock(&file, FlockOperation::NonBlockingLockExclusive)
        .map_err(|_| failed(format!("another back-up is being written to {}", target.display())))?;
    Ok(file)
}

fn clear_halves(target: &Path) -> io::Result<()> {
    for entry in fs::read_dir(target)? {
        let entry = entry?;
        if entry.file_name().to_string_lossy().starts_with(HALF) {
            fs::remove_dir_all(entry.path())?;
        }
    }
    Ok(())
}

/// Everything the books hold, in one transaction that only reads: whatever is written meanwhile is not in it.
async fn write_books(taking: &Taking<'_>, half: &Path, now: Timestamp) -> Done<BooksPart> {
    let engine = taking.db.engine();
    let mut snapshot = taking.db.snapshot().await?;
    let there = books::tables_there(&mut snapshot, engine).await?;
    if let Some(unknown) = there.iter().find(|name| books::table(name).is_none()) {
        return Err(failed(format!(
            "the table {unknown} is no table of this program's: nothing was backed up"
        )));
    }
    let mut tables = Vec::new();
    for table in books::TABLES {
        let mut part =
            PartWriter::create(half, &format!("{}.age", table.name), taking.key).map_err(StoreError::from)?;
        let rows = {
            let mut out = io::BufWriter::new(&mut part);
            let rows = books::read_out(&mut snapshot, engine, table, &mut out).await?;
            out.flush().map_err(StoreError::from)?;
            rows
        };
        tables.push(TablePart {
            name: table.name.to_owned(),
            rows,
            part: part.finish().map_err(StoreError::from)?,
        });
    }
    if let Some(damage) = books::damage(&mut snapshot, engine).await? {
        return Err(failed(format!(
            "the database itself is damaged ({damage}): nothing was backed up. Keep the back-ups you have, and restore one."
        )));
    }
    let heads = record_head::sign_within(&mut snapshot, taking.record_key, now).await?;
    Ok(BooksPart {
        schema_version: books::schema_version(&mut snapshot).await?,
        tables,
        photos: books::photo_files(&mut snapshot).await?,
        sealing_keys: sealing_keys::needed(&mut snapshot).await?,
        heads: heads.into_iter().map(|(_, head)| head).collect(),
    })
}

/// Photos, their list, the manifest.
fn write_rest(
    taking: &Taking<'_>,
    half: &Path,
    books: BooksPart,
    code: &str,
    now: Timestamp,
) -> io::Result<(Manifest, usize)> {
    let mut files = books.photos;
    let Carried { new, bytes, lost } =
        carry::into_target(&mut files, taking.photos, &taking.target.join(PHOTOS), taking.key)?;
    let mut sealing_keys: Vec<u32> = files
        .iter()
        .map(|photo| photo.key_version)
        .chain(books.sealing_keys)
        .filter(|key| *key > 0)
        .collect();
    sealing_keys.sort_unstable();
    sealing_keys.dedup();
    let count = files.len();
    let list = write_list(half, PhotoList { code: code.to_owned(), files }, taking.key)?;
    let manifest = Manifest {
        format: FORMAT,
        program: env!("CARGO_PKG_VERSION").to_owned(),
        schema_version: books.schema_version,
        engine: match taking.db.engine() {
            Engine::Sqlite => "sqlite".to_owned(),
            Engine::Postgres => "postgres".to_owned(),
        },
        taken: now,
        key: taking.key.to_string(),
        tables: books.tables,
        photos: PhotosPart { files: count, bytes, lost, list },
        sealing_keys,
        heads: books.heads,
        record_key: taking.record_key.public().to_pem().map_err(io::Error::other)?,
    };
    let text = serde_json::to_string_pretty(&manifest)?;
    write_synced(&half.join(SIGNATURE), &taking.record_key.vouch(&text))?;
    // The last of all: a folder without it is no back-up.
    write_synced(&half.join(MANIFEST), &text)?;
    sync_folder(half)?;
    Ok((manifest, new))
}

fn write_list(half: &Path, list: PhotoList, key: &BackupKey) -> io::Result<Part> {
    let mut part = PartWriter::create(half, PHOTO_LIST, key)?;
    serde_json::to_writer(io::BufWriter::new(&mut part), &list)?;
    part.finish()
}

fn write_synced(path: &Path, text: &str) -> io::Result<()> {
    let mut file = File::create_new(path)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()
}

/// The books learn that they were backed up, and by what a restore of it is known.
async fn note(db: &Db, manifest: &Manifest, code: &str, now: Timestamp) -> Done<()> {
    let mut tx = db.write().await?;
    server::note(&mut tx, Noted::LastBackup, manifest.taken).await?;
    server::keep_proof(&mut tx, &sha256_hex(code), manifest.taken, now - PROVES_FOR).await?;
    let detail = format!("photos={} lost={}", manifest.photos.files, manifest.photos.lost.len());
    for practice in practices::all(&mut tx).await? {
        let subject = format!("practice:{}", practice.id);
        record::note(&mut tx, practice.id, Actor::Program, "backup.make", &subject, &detail, now).await?;
    }
    Ok(tx.commit().await?)
}
