//! One file of a back-up, encrypted to its key: written whole and to the disk, and read only while nothing in it was changed.

use std::fs::File;
use std::io;
use std::io::BufRead;
use std::io::BufReader;
use std::io::Read;
use std::io::Write;
use std::path::Path;

use age::Decryptor;
use age::Encryptor;
use age::stream::StreamWriter;
use data_encoding::HEXLOWER;
use serde::Deserialize;
use serde::Serialize;
use sha2::Digest;
use sha2::Sha256;

use crate::store::backup_key::BackupIdentity;
use crate::store::backup_key::BackupKey;

const BUFFER_BYTES: usize = 64 * 1_024;

/// A file as it was written: encrypted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Part {
    /// Its name within the back-up's folder.
    pub file: String,
    pub bytes: u64,
    pub sha256: String,
}

/// Why a part cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum PartFault {
    #[error(transparent)]
    File(#[from] io::Error),
    /// Made for another key.
    #[error("this private key does not open it")]
    OtherKey,
    /// Cut off, changed, or never a part.
    #[error("it was changed since it was written, or cut off")]
    Broken,
}

/// Counts and hashes whatever goes into a file.
#[derive(Debug)]
struct Hashing<W> {
    out: W,
    sha256: Sha256,
    bytes: u64,
}

impl<W: Write> Write for Hashing<W> {
    fn write(&mut self, buffer: &[u8]) -> io::Result<usize> {
        let written = self.out.write(buffer)?;
        self.sha256.update(&buffer[..written]);
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

/// A part being written. Without [`PartWriter::finish`] it is none.
pub struct PartWriter {
    encrypting: StreamWriter<Hashing<File>>,
    file: String,
}

impl PartWriter {
    /// Begins `file` within `folder`.
    pub fn create(folder: &Path, file: &str, key: &BackupKey) -> io::Result<PartWriter> {
        let out = Hashing { out: File::create_new(folder.join(file))?, sha256: Sha256::new(), bytes: 0 };
        let encryptor = Encryptor::with_recipients(std::iter::once(&key.0 as &dyn age::Recipient))
            .map_err(io::Error::other)?;
        Ok(PartWriter { encrypting: encryptor.wrap_output(out)?, file: file.to_owned() })
    }

    /// Ends it, and waits until the disk has it.
    pub fn finish(self) -> io::Result<Part> {
        let Hashing { out, sha256, bytes } = self.encrypting.finish()?;
        out.sync_all()?;
        Ok(Part { file: self.file, bytes, sha256: HEXLOWER.encode(&sha256.finalize()) })
    }
}

impl Write for PartWriter {
    fn write(&mut self, buffer: &[u8]) -> io::Result<usize> {
        self.encrypting.write(buffer)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.encrypting.flush()
    }
}

/// Opens a part to read what it holds.
pub fn open(path: &Path, identity: &BackupIdentity) -> Result<impl BufRead + Send + use<>, PartFault> {
    let file = BufReader::with_capacity(BUFFER_BYTES, File::open(path)?);
    let decryptor = Decryptor::new_buffered(file).map_err(|_| PartFault::Broken)?;
    let reading = decryptor.decrypt(std::iter::once(&identity.0 as &dyn age::Identity));
    match reading {
        Ok(reading) => Ok(BufReader::with_capacity(BUFFER_BYTES, reading)),
        Err(age::DecryptError::NoMatchingKeys) => Err(PartFault::OtherKey),
        Err(age::DecryptError::Io(fault)) => Err(PartFault::File(fault)),
        Err(_) => Err(PartFault::Broken),
    }
}

/// Length and SHA-256 of a file as it lies there.
pub fn measure(path: &Path) -> io::Result<(u64, String)> {
    let (mut file, mut sha256, mut bytes) = (File::open(path)?, Sha256::new(), 0);
    let mut buffer = vec![0; BUFFER_BYTES];
    loop {
        match file.read(&mut buffer)? {
            0 => return Ok((bytes, HEXLOWER.encode(&sha256.finalize()))),
            read => {
                sha256.update(&buffer[..read]);
                bytes += read as u64;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(folder: &Path, key: &BackupKey, what: &[u8]) -> Part {
        let mut part = PartWriter::create(folder, "part.age", key).unwrap();
        part.write_all(what).unwrap();
        part.finish().unwrap()
    }

    fn read(path: &Path, identity: &BackupIdentity) -> Result<Vec<u8>, PartFault> {
        let mut all = Vec::new();
        open(path, identity)?.read_to_end(&mut all)?;
        Ok(all)
    }

    #[test]
    fn a_part_comes_back_by_its_own_key_alone() {
        let folder = tempfile::tempdir().unwrap();
        let (identity, other) = (BackupIdentity::make(), BackupIdentity::make());
        let long: Vec<u8> = (0..200_000_u32).flat_map(u32::to_le_bytes).collect();
        let part = written(folder.path(), &identity.public(), &long);
        let path = folder.path().join("part.age");
        assert_eq!(measure(&path).unwrap(), (part.bytes, part.sha256));
        assert_eq!(read(&path, &identity).unwrap(), long);
        assert!(matches!(read(&path, &other), Err(PartFault::OtherKey)));
        assert!(
            PartWriter::create(folder.path(), "part.age", &identity.public()).is_err(),
            "never written over"
        );
    }

    #[test]
    fn a_part_that_was_changed_or_cut_off_is_never_read_as_whole() {
        let folder = tempfile::tempdir().unwrap();
        let identity = BackupIdentity::make();
        let part = written(folder.path(), &identity.public(), &[7; 100_000]);
        let path = folder.path().join("part.age");
        let whole = std::fs::read(&path).unwrap();
        for place in [0, 40, whole.len() / 2, whole.len() - 1] {
            let mut changed = whole.clone();
            changed[place] ^= 1;
            std::fs::write(&path, &changed).unwrap();
            assert!(read(&path, &identity).is_err(), "byte {place}");
            assert_ne!(measure(&path).unwrap().1, part.sha256);
            std::fs::write(&path, &whole[..place]).unwrap();
            assert!(read(&path, &identity).is_err(), "cut at {place}");
        }
    }
}
