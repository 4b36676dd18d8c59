//! Photos on their way into a back-up's folder and out of it: each is read whole, held against its name, and on the disk
//! before it is there.

use std::collections::BTreeSet;
use std::fs;
use std::fs::File;
use std::io;
use std::io::Read;
use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use crate::care::backup::carried_path;
use crate::care::backup::make_private;
use crate::care::backup::photo_path;
use crate::care::backup::sync_folder;
use crate::store::BlobName;
use crate::store::backup_key::BackupIdentity;
use crate::store::backup_key::BackupKey;
use crate::store::backup_part;
use crate::store::backup_part::PartFault;
use crate::store::backup_part::PartWriter;
use crate::store::books::PhotoFile;

/// What carrying came to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Carried {
    /// Written in this pass; the others were there.
    pub new: usize,
    /// Of all of them, as they lie in the photo folder.
    pub bytes: u64,
    /// Not there, or not what their name says.
    pub lost: Vec<String>,
}

/// Carries photos from the server's folder into a target's. One that is there already with the right length stays.
pub fn into_target(
    files: &mut [PhotoFile],
    from: &Path,
    target: &Path,
    key: &BackupKey,
) -> io::Result<Carried> {
    make_private(target)?;
    let (mut carried, mut folders) = (Carried::default(), BTreeSet::new());
    for photo in files {
        let to = carried_path(target, photo);
        if is_there(photo, &to)? {
            carried.bytes += photo.bytes.unwrap_or(0);
            continue;
        }
        let Some(bytes) = read_whole(&photo_path(from, photo), photo)? else {
            carried.lost.push(photo.file.clone());
            continue;
        };
        photo.bytes = Some(bytes.len() as u64);
        carried.bytes += bytes.len() as u64;
        if photo.key_version > 0 {
            write_synced(&to, &bytes, &mut folders)?;
        } else {
            encrypt(&to, &bytes, key, &mut folders)?;
        }
        carried.new += 1;
    }
    finish(&folders, target)?;
    Ok(carried)
}

/// What was encrypted has a length of its own; it was renamed into place when it was whole.
fn is_there(photo: &PhotoFile, to: &Path) -> io::Result<bool> {
    match fs::metadata(to) {
        Ok(found) if photo.key_version > 0 => Ok(Some(found.len()) == photo.bytes),
        Ok(found) => Ok(found.is_file()),
        Err(fault) if fault.kind() == io::ErrorKind::NotFound => Ok(false),
        Err(fault) => Err(fault),
    }
}

/// The file's bytes; `None`: it is gone, or no longer what its name says.
fn read_whole(path: &Path, photo: &PhotoFile) -> io::Result<Option<Vec<u8>>> {
    match fs::read(path) {
        Ok(bytes) => Ok((BlobName::of(&bytes).as_str() == photo.file).then_some(bytes)),
        Err(fault) if fault.kind() == io::ErrorKind::NotFound => Ok(None),
        // The disk itself says that it cannot be read: that photo is lost, the others are not.
        Err(fault) if fault.raw_os_error() == Some(rustix::io::Errno::IO.raw_os_error()) => Ok(None),
        Err(fault) => Err(fault),
    }
}

fn half_of(to: &Path, folders: &mut BTreeSet<PathBuf>) -> io::Result<PathBuf> {
    let folder = to.parent().unwrap_or(Path::new("."));
    if folders.insert(folder.to_owned()) {
        make_private(folder)?;
    }
    let half = to.with_extension("half");
    match fs::remove_file(&half) {
        Err(fault) if fault.kind() != io::ErrorKind::NotFound => Err(fault),
        Ok(()) | Err(_) => Ok(half),
    }
}

fn write_synced(to: &Path, bytes: &[u8], folders: &mut BTreeSet<PathBuf>) -> io::Result<()> {
    let half = half_of(to, folders)?;
    let mut file = File::create_new(&half)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    fs::rename(half, to)
}

fn encrypt(to: &Path, bytes: &[u8], key: &BackupKey, folders: &mut BTreeSet<PathBuf>) -> io::Result<()> {
    let half = half_of(to, folders)?;
    let (folder, name) = (half.parent().unwrap_or(Path::new(".")), half.file_name().unwrap_or_default());
    let mut part = PartWriter::create(folder, &name.to_string_lossy(), key)?;
    part.write_all(bytes)?;
    part.finish()?;
    fs::rename(half, to)
}

fn finish(folders: &BTreeSet<PathBuf>, top: &Path) -> io::Result<()> {
    for folder in folders {
        sync_folder(folder)?;
    }
    sync_folder(top)
}

/// A photo's file as it comes out of a target; `None`: it is not there, or was changed.
pub fn out_of_target(
    photo: &PhotoFile,
    target: &Path,
    identity: &BackupIdentity,
) -> io::Result<Option<Vec<u8>>> {
    let path = carried_path(target, photo);
    if photo.key_version > 0 {
        return read_whole(&path, photo);
    }
    let mut bytes = Vec::new();
    match backup_part::open(&path, identity) {
        Ok(mut part) => {
            let is_whole =
                part.read_to_end(&mut bytes).is_ok() && BlobName::of(&bytes).as_str() == photo.file;
            Ok(is_whole.then_some(bytes))
        }
        Err(PartFault::OtherKey | PartFault::Broken) => Ok(None),
        Err(PartFault::File(fault)) if fault.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(PartFault::File(fault)) => Err(fault),
    }
}

/// Carries photos out of a target into a server's empty folder.
pub fn out_of_target_into(
    files: &[PhotoFile],
    target: &Path,
    to: &Path,
    identity: &BackupIdentity,
) -> io::Result<Carried> {
    make_private(to)?;
    let (mut carried, mut folders) = (Carried::default(), BTreeSet::new());
    for photo in files {
        match out_of_target(photo, target, identity)? {
            Some(bytes) => {
                write_synced(&photo_path(to, photo), &bytes, &mut folders)?;
                carried.new += 1;
                carried.bytes += bytes.len() as u64;
            }
            None => carried.lost.push(photo.file.clone()),
        }
    }
    finish(&folders, to)?;
    Ok(carried)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kept(folder: &Path, bytes: &[u8], key_version: u32) -> PhotoFile {
        let file = BlobName::of(bytes).as_str().to_owned();
        let photo = PhotoFile { file, key_version, bytes: (key_version > 0).then_some(bytes.len() as u64) };
        let path = photo_path(folder, &photo);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
        photo
    }

    #[test]
    fn a_photo_is_carried_once_and_comes_back_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let (from, target, back) =
            (folder.path().join("from"), folder.path().join("to"), folder.path().join("back"));
        let identity = BackupIdentity::make();
        let (sealed, plain) = (b"sealed already".as_slice(), b"a picture from before".as_slice());
        let mut files = [kept(&from, sealed, 1), kept(&from, plain, 0)];
        let first = into_target(&mut files, &from, &target, &identity.public()).unwrap();
        assert_eq!((first.new, first.bytes, first.lost.len()), (2, 35, 0));
        let again = into_target(&mut files, &from, &target, &identity.public()).unwrap();
        assert_eq!((again.new, again.bytes), (0, 35));
        let lies = fs::read(carried_path(&target, &files[1])).unwrap();
        assert!(!lies.windows(plain.len()).any(|window| window == plain), "it lies there in the open");
        let out = out_of_target_into(&files, &target, &back, &identity).unwrap();
        assert_eq!((out.new, out.bytes), (2, 35));
        assert_eq!(fs::read(photo_path(&back, &files[1])).unwrap(), plain);
    }

    #[test]
    fn one_that_was_half_written_is_written_again_and_one_that_is_not_what_it_says_is_lost() {
        let folder = tempfile::tempdir().unwrap();
        let (from, target) = (folder.path().join("from"), folder.path().join("to"));
        let key = BackupIdentity::make();
        let mut files = [kept(&from, b"one", 1), kept(&from, b"another", 1), kept(&from, b"a third", 1)];
        fs::create_dir_all(carried_path(&target, &files[0]).parent().unwrap()).unwrap();
        fs::write(carried_path(&target, &files[0]), b"on").unwrap();
        fs::write(photo_path(&from, &files[1]), b"ANOTHER").unwrap();
        fs::remove_file(photo_path(&from, &files[2])).unwrap();
        let carried = into_target(&mut files, &from, &target, &key.public()).unwrap();
        assert_eq!(carried.new, 1);
        assert_eq!(carried.lost, [files[1].file.clone(), files[2].file.clone()]);
        assert_eq!(fs::read(carried_path(&target, &files[0])).unwrap(), b"one");
        fs::write(carried_path(&target, &files[0]), b"onE").unwrap();
        assert_eq!(out_of_target(&files[0], &target, &key).unwrap(), None);
    }
}
