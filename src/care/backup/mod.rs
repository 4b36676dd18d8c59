//! Back-ups: the books as they stood in one moment and every photo they name, in a folder that only its key's owner can read;
//! and the way back.
//!
//! A target folder holds `books-TIME` for each back-up, with a manifest that anybody may read and one encrypted part for each
//! table, and `photos`, which all of them share: a photo never changes, so each is carried there once. Photos lie sealed
//! already, and what opens them stands in the books, wrapped by a key that is in no back-up: they are carried as they are. One
//! from before anything was sealed is encrypted on the way.

use std::fs;
use std::fs::File;
use std::io;
use std::path::Path;
use std::path::PathBuf;

use jiff::Timestamp;
use serde::Deserialize;
use serde::Serialize;

mod carry;
mod put_back;
mod read;
mod take;

pub mod noted;
pub mod verified;

pub use carry::Carried;
pub use put_back::PutBack;
pub use put_back::lost_photos;
pub use put_back::put_back;
pub use put_back::put_back_photos;
pub use read::Backup;
pub use read::Fault;
pub use read::Listed;
pub use read::from_before;
pub use take::Taken;
pub use take::Taking;
pub use take::take;

use crate::care::record_head::SignedHead;
use crate::store::backup_part::Part;
use crate::store::books::PhotoFile;

/// The way the files are laid out; another way has another number.
const FORMAT: u32 = 1;
const MANIFEST: &str = "manifest.json";
const SIGNATURE: &str = "manifest.signature";
const PHOTO_LIST: &str = "photos.age";
/// Beside the back-ups, in the target folder.
const PHOTOS: &str = "photos";

/// What a back-up holds, and what it needs. No name and nothing of anybody's health is in it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    pub format: u32,
    /// Version of the program that made it.
    pub program: String,
    /// The last migration that the books went through.
    pub schema_version: i64,
    /// `sqlite` or `postgres`; it can be restored into either.
    pub engine: String,
    /// The moment at which the books stood like this.
    pub taken: Timestamp,
    /// The public key whose private half reads it.
    pub key: String,
    pub tables: Vec<TablePart>,
    pub photos: PhotosPart,
    /// Versions of the keys without which its photos and texts cannot be opened.
    pub sealing_keys: Vec<u32>,
    /// The last line of each practice's record, signed.
    pub heads: Vec<SignedHead>,
    /// Public half, in PEM, of the key that signed the heads and this manifest.
    pub record_key: String,
}

/// One table.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TablePart {
    pub name: String,
    pub rows: i64,
    pub part: Part,
}

/// The photos.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PhotosPart {
    pub files: usize,
    /// Of all the files together, as they lie in the photo folder.
    pub bytes: u64,
    /// Files that could not be read when the back-up was made, nor were in the target folder from before.
    pub lost: Vec<String>,
    /// Which files they are.
    pub list: Part,
}

impl Manifest {
    /// Every encrypted part.
    pub fn parts(&self) -> impl Iterator<Item = &Part> {
        self.tables.iter().map(|table| &table.part).chain([&self.photos.list])
    }
}

/// What the list of photos holds, as JSON.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct PhotoList {
    /// Known to nobody but whoever reads this: told to the server, it proves that the back-up was restored.
    code: String,
    files: Vec<PhotoFile>,
}

/// Where a photo's file lies below the folder of the target, or of the server: spread over 256 folders.
fn photo_path(photos: &Path, photo: &PhotoFile) -> PathBuf {
    photos.join(photo.file.get(..2).unwrap_or_default()).join(&photo.file)
}

/// The same within a target folder: what was not sealed lies encrypted.
fn carried_path(photos: &Path, photo: &PhotoFile) -> PathBuf {
    let path = photo_path(photos, photo);
    if photo.key_version > 0 { path } else { path.with_extension("age") }
}

/// Waits until the disk has a folder's names.
fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

fn make_private(folder: &Path) -> io::Result<()> {
    use std::os::unix::fs::DirBuilderExt;
    fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)
}
