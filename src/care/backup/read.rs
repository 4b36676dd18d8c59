//! Reading a back-up: is it one, is every part as it was written, and can its reader read it?

use std::fs;
use std::io;
use std::path::Path;
use std::path::PathBuf;

use jiff::Timestamp;

use crate::care::backup::FORMAT;
use crate::care::backup::MANIFEST;
use crate::care::backup::Manifest;
use crate::care::backup::PHOTOS;
use crate::care::backup::PhotoList;
use crate::care::backup::SIGNATURE;
use crate::care::record_head::RecordPublicKey;
use crate::store::backup_key::BackupIdentity;
use crate::store::backup_part;
use crate::store::backup_part::PartFault;
use crate::store::books::PhotoFile;

/// Why a back-up, or a part of it, is not believed.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    #[error("{0}: {1}")]
    File(String, io::Error),
    #[error("{0} is no back-up: {1}")]
    NoBackup(String, String),
    #[error("this private key does not open it: it was made for {0}")]
    OtherKey(String),
    #[error("{0}")]
    Changed(String),
}

/// A back-up's folder, its manifest read.
#[derive(Clone, Debug)]
pub struct Backup {
    pub folder: PathBuf,
    pub manifest: Manifest,
    /// As it stands in its file.
    text: String,
}

/// What the list of photos says.
#[derive(Debug)]
pub struct Listed {
    pub files: Vec<PhotoFile>,
    /// Told to the server, it proves that the back-up was restored.
    pub code: String,
}

impl Backup {
    /// Opens one: its own folder, or the newest in a folder of back-ups.
    pub fn open(from: &Path) -> Result<Backup, Fault> {
        let folder = if from.join(MANIFEST).exists() { from.to_owned() } else { newest(from)? };
        let path = folder.join(MANIFEST);
        let told = |why: String| Fault::NoBackup(folder.display().to_string(), why);
        let text = fs::read_to_string(&path).map_err(|fault| told(fault.to_string()))?;
        let manifest: Manifest = serde_json::from_str(&text).map_err(|fault| told(fault.to_string()))?;
        if manifest.format != FORMAT {
            return Err(told(format!("it is of form {}, and this program knows {FORMAT}", manifest.format)));
        }
        Ok(Backup { folder, manifest, text })
    }

    /// Whether the holder of the record's key made this manifest. `key`: one that was kept elsewhere; without it the one that
    /// lies in the back-up itself, which whoever changes the one can change too.
    pub fn is_vouched_for(&self, key: Option<&RecordPublicKey>) -> bool {
        let signature = fs::read_to_string(self.folder.join(SIGNATURE)).unwrap_or_default();
        match key {
            Some(key) => key.vouches(&self.text, &signature),
            None => self.own_key().is_some_and(|key| key.vouches(&self.text, &signature)),
        }
    }

    /// The key that the back-up itself says it was signed with.
    pub fn own_key(&self) -> Option<RecordPublicKey> {
        RecordPublicKey::from_pem(&self.manifest.record_key).ok()
    }

    /// Every part that is not there as it was written, by name.
    pub fn changed_parts(&self) -> Vec<String> {
        let mut changed = Vec::new();
        for part in self.manifest.parts() {
            match backup_part::measure(&self.path(&part.file)) {
                Ok((bytes, sha256)) if bytes == part.bytes && sha256 == part.sha256 => {}
                Ok(_) => changed
                    .push(format!("{} was changed: its hash is not the one in the manifest", part.file)),
                Err(fault) => changed.push(format!("{}: {fault}", part.file)),
            }
        }
        changed
    }

    /// Where a part lies. Its name comes from the manifest and never leads out of the folder.
    pub fn path(&self, file: &str) -> PathBuf {
        self.folder.join(Path::new(file).file_name().unwrap_or_default())
    }

    /// Where its photos lie.
    pub fn photos(&self) -> PathBuf {
        self.folder.parent().unwrap_or(Path::new(".")).join(PHOTOS)
    }

    pub fn list(&self, identity: &BackupIdentity) -> Result<Listed, Fault> {
        let file = &self.manifest.photos.list.file;
        let part = backup_part::open(&self.path(file), identity).map_err(|fault| self.words(file, fault))?;
        let list: PhotoList =
            serde_json::from_reader(part).map_err(|fault| Fault::Changed(format!("{file}: {fault}")))?;
        Ok(Listed { files: list.files, code: list.code })
    }

    /// A fault of one part, in words.
    pub(in crate::care::backup) fn words(&self, file: &str, fault: PartFault) -> Fault {
        match fault {
            PartFault::OtherKey => Fault::OtherKey(self.manifest.key.clone()),
            PartFault::Broken => Fault::Changed(format!("{file}: {fault}")),
            PartFault::File(fault) => Fault::File(file.to_owned(), fault),
        }
    }
}

/// The back-ups in a folder of them that stand for an earlier moment, oldest first: what went since is still in them.
pub fn from_before(target: &Path, moment: Timestamp) -> Result<Vec<PathBuf>, Fault> {
    let mut older = all(target)?;
    older.retain(|path| Backup::open(path).is_ok_and(|backup| backup.manifest.taken < moment));
    Ok(older)
}

fn newest(target: &Path) -> Result<PathBuf, Fault> {
    all(target)?.pop().ok_or_else(|| {
        Fault::NoBackup(target.display().to_string(), "no folder in it is a whole back-up".to_owned())
    })
}

/// Every whole back-up in a folder of them, oldest first.
fn all(target: &Path) -> Result<Vec<PathBuf>, Fault> {
    let told = |fault| Fault::File(target.display().to_string(), fault);
    let mut found = Vec::new();
    for entry in fs::read_dir(target).map_err(told)? {
        let path = entry.map_err(told)?.path();
        let is_ours = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with("books-"));
        if is_ours && path.join(MANIFEST).exists() {
            found.push(path);
        }
    }
    // Their names are their times.
    found.sort();
    Ok(found)
}
