//! Photos as blobs, named by what they hold. A local folder now; another object store later without touching callers.

use std::fmt;
use std::path::Path;
use std::path::PathBuf;
use std::str::FromStr;
use std::sync::Arc;

use bytes::Bytes;
use data_encoding::HEXLOWER;
use object_store::ObjectStore;
use object_store::ObjectStoreExt;
use object_store::PutMode;
use object_store::PutPayload;
use object_store::local::LocalFileSystem;
use sha2::Digest;
use sha2::Sha256;

use crate::ids::Chance;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::keyring::KeyRing;
use crate::store::keyring::SealFault;
use crate::store::keyring::SealedApart;
use crate::store::sealed_blobs;
use crate::store::seals::Seals;

/// A blob's name: the SHA-256 of its bytes as 64 hex letters. Nothing a user typed can become one.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct BlobName(String);

impl BlobName {
    pub fn of(bytes: &[u8]) -> BlobName {
        BlobName(HEXLOWER.encode(&Sha256::digest(bytes)))
    }

    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Spread over 256 folders by the first two letters.
    fn path(&self) -> object_store::path::Path {
        object_store::path::Path::from_iter([&self.0[..2], &self.0])
    }
}

impl fmt::Display for BlobName {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.0)
    }
}

/// Not 64 lower-case hex letters.
#[derive(Clone, Copy, Debug, thiserror::Error)]
#[error("not a blob name")]
pub struct NotABlobName;

impl FromStr for BlobName {
    type Err = NotABlobName;
    fn from_str(text: &str) -> Result<BlobName, NotABlobName> {
        let hex = text.len() == 64 && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'));
        if hex { Ok(BlobName(text.to_owned())) } else { Err(NotABlobName) }
    }
}

/// The photo store. What it holds is sealed as soon as it has keys.
#[derive(Clone, Debug)]
pub struct Blobs {
    files: Arc<dyn ObjectStore>,
    /// `None`: they lie in no folder of this machine.
    folder: Option<PathBuf>,
    /// `None`: nothing is sealed; only tests go without.
    keys: Option<Seals>,
}

/// A blob whose file is durable; its row in the books makes it findable, in the transaction of what it belongs to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptBlob {
    /// Of what it holds.
    pub name: BlobName,
    /// Of the file it lies in.
    pub file: BlobName,
    /// 0: not sealed.
    pub key_version: u32,
    pub wrapped_key: Vec<u8>,
    pub bytes: usize,
}

impl Blobs {
    /// A local folder, made when absent. Each put is synced: the file, its rename and its folder.
    pub fn in_folder(folder: &Path) -> Stored<Blobs> {
        make_durable(folder).map_err(|source| object_store::Error::Generic {
            store: "photo folder",
            source: Box::new(source),
        })?;
        let files = LocalFileSystem::new_with_prefix(folder)?.with_fsync(true);
        Ok(Blobs { files: Arc::new(files), folder: Some(folder.to_owned()), keys: None })
    }

    /// Where the files lie; `None`: not on this machine.
    pub fn folder(&self) -> Option<&Path> {
        self.folder.as_deref()
    }

    /// The same store, whose blobs are sealed from now on.
    pub fn sealed_with(self, ring: KeyRing, chance: Chance) -> Blobs {
        self.sealed(ring, chance, None)
    }

    /// The same, with keys that are read again from their file: whenever one is missing, and by [`Blobs::reload_keys`].
    pub fn sealed_by(self, ring: KeyRing, file: &Path, chance: Chance) -> Blobs {
        self.sealed(ring, chance, Some(file.to_owned()))
    }

    fn sealed(self, ring: KeyRing, chance: Chance, file: Option<PathBuf>) -> Blobs {
        Blobs { keys: Some(Seals::new(ring, chance, file)), ..self }
    }

    /// The keys it seals with; `None`: it does not.
    pub fn seals(&self) -> Option<Seals> {
        self.keys.clone()
    }

    /// Version of the key that seals what comes; 0: nothing is sealed.
    pub fn newest_key(&self) -> u32 {
        self.keys.as_ref().map_or(0, |seals| seals.ring().newest())
    }

    /// Reads the key file again, so that what comes is sealed with the newest key.
    pub fn reload_keys(&self) -> Result<(), String> {
        self.keys.as_ref().map_or(Ok(()), Seals::reload)
    }

    /// Keeps the bytes durably, and says under which name and in which file. The books do not know of it yet.
    pub async fn put(&self, bytes: Vec<u8>) -> Stored<KeptBlob> {
        let (name, length) = (BlobName::of(&bytes), bytes.len());
        let Some(seals) = &self.keys else {
            let file = self.write(bytes).await?;
            return Ok(KeptBlob { name, file, key_version: 0, wrapped_key: Vec::new(), bytes: length });
        };
        let ring = seals.ring();
        let SealedApart { wrapped_key, object } = ring.seal_apart(&bytes, name.as_str(), seals.chance());
        let file = self.write(object).await?;
        Ok(KeptBlob { name, file, key_version: ring.newest(), wrapped_key, bytes: length })
    }

    /// What a kept blob holds; `None` when its file is gone. What was changed since is an error, never a wrong picture.
    pub async fn open(&self, kept: &KeptBlob) -> Stored<Option<Bytes>> {
        let Some(bytes) = self.read(&kept.file).await? else { return Ok(None) };
        let plain = match (&self.keys, kept.key_version) {
            (_, 0) => bytes,
            (None, version) => return Err(SealFault::UnknownKey { version }.into()),
            (Some(seals), _) => {
                let open =
                    |ring: Arc<KeyRing>| ring.open_apart(&kept.wrapped_key, &bytes, kept.name.as_str());
                let opened = match open(seals.ring()) {
                    // A key that came since: what was wrapped anew needs it.
                    Err(SealFault::UnknownKey { .. }) if seals.reload().is_ok() => open(seals.ring()),
                    opened => opened,
                };
                Bytes::from(opened?)
            }
        };
        if BlobName::of(&plain) != kept.name {
            return Err(SealFault::Broken.into());
        }
        Ok(Some(plain))
    }

    /// The bytes under a name, by the books of the practice; `None` when there are none.
    pub async fn get(&self, conn: &mut Conn, practice: PracticeId, name: &BlobName) -> Stored<Option<Bytes>> {
        match sealed_blobs::find(conn, practice, name).await? {
            Some(kept) => self.open(&kept).await,
            // From before anything was sealed.
            None => self.read(name).await,
        }
    }

    /// Seals something small that lies in the books, under its name; without keys it lies open, behind a nought.
    pub fn seal(&self, plain: &[u8], about: &str) -> Vec<u8> {
        match &self.keys {
            Some(seals) => seals.seal(plain, about),
            None => [&[0], plain].concat(),
        }
    }

    /// Opens what was sealed so.
    pub fn unseal(&self, sealed: &[u8], about: &str) -> Stored<Vec<u8>> {
        match (&self.keys, sealed) {
            (None, [0, plain @ ..]) => Ok(plain.to_vec()),
            (None, _) => Err(SealFault::Broken.into()),
            (Some(seals), _) => Ok(seals.open(sealed, about)?),
        }
    }

    /// A file is named by what it holds: one that is there is complete, for it was renamed into place after it was synced.
    async fn write(&self, bytes: Vec<u8>) -> Stored<BlobName> {
        let name = BlobName::of(&bytes);
        let put = self.files.put_opts(&name.path(), PutPayload::from(bytes), PutMode::Create.into()).await;
        match put {
            Ok(_) | Err(object_store::Error::AlreadyExists { .. }) => Ok(name),
            Err(fault) => Err(fault.into()),
        }
    }

    /// Takes a file away that no row names any more. One that is gone already is no fault.
    pub async fn remove(&self, file: &BlobName) -> Stored<()> {
        match self.files.delete(&file.path()).await {
            Ok(()) | Err(object_store::Error::NotFound { .. }) => Ok(()),
            Err(fault) => Err(fault.into()),
        }
    }

    async fn read(&self, name: &BlobName) -> Stored<Option<Bytes>> {
        match self.files.get(&name.path()).await {
            Ok(found) => Ok(Some(found.bytes().await?)),
            Err(object_store::Error::NotFound { .. }) => Ok(None),
            Err(fault) => Err(fault.into()),
        }
    }
}

/// A folder that a power cut does not take away again: what is in it is synced with each put, itself only here.
fn make_durable(folder: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    let above = folder.parent().filter(|above| !above.as_os_str().is_empty()).unwrap_or(Path::new("."));
    std::fs::File::open(above)?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::StoreError;

    fn ring() -> KeyRing {
        KeyRing::from_text(&KeyRing::new_line(None, &Chance::seeded(1))).unwrap()
    }

    #[tokio::test]
    async fn unsealed_a_blob_comes_back_by_its_content_name_and_twice_is_once() {
        let folder = tempfile::tempdir().unwrap();
        let blobs = Blobs::in_folder(folder.path()).unwrap();
        let kept = blobs.put(b"picture".to_vec()).await.unwrap();
        assert_eq!(blobs.put(b"picture".to_vec()).await.unwrap(), kept);
        assert_eq!(blobs.open(&kept).await.unwrap().unwrap().as_ref(), b"picture");
        // From Python: hashlib.sha256(b"picture").hexdigest()
        let name = "2cea274d0bedc39ec4ab6ba9e59ec889e3ed6fb56a1cf088a64d9b383378dc97";
        assert_eq!((kept.name.as_str(), kept.file.as_str(), kept.bytes), (name, name, 7));
    }

    #[tokio::test]
    async fn sealed_no_file_tells_what_it_holds_and_a_flipped_bit_is_an_error() {
        let folder = tempfile::tempdir().unwrap();
        let blobs = Blobs::in_folder(folder.path()).unwrap().sealed_with(ring(), Chance::seeded(2));
        let (one, other) =
            (blobs.put(b"picture".to_vec()).await.unwrap(), blobs.put(b"picture".to_vec()).await.unwrap());
        assert_eq!(one.name, other.name);
        assert_ne!(one.file, other.file, "sealed twice, it looks different");
        assert_eq!(blobs.open(&one).await.unwrap().unwrap().as_ref(), b"picture");
        let path = folder.path().join(&one.file.as_str()[..2]).join(one.file.as_str());
        let mut bytes = std::fs::read(&path).unwrap();
        assert!(!bytes.windows(7).any(|window| window == b"picture"));
        bytes[30] ^= 1;
        std::fs::write(&path, &bytes).unwrap();
        assert!(matches!(blobs.open(&one).await, Err(StoreError::Sealed(SealFault::Broken))));
        // Another blob's row does not open it, nor does a store without the key.
        let moved = KeptBlob { file: other.file.clone(), ..one.clone() };
        assert!(matches!(blobs.open(&moved).await, Err(StoreError::Sealed(SealFault::Broken))));
        let bare = Blobs::in_folder(folder.path()).unwrap();
        assert!(matches!(
            bare.open(&other).await,
            Err(StoreError::Sealed(SealFault::UnknownKey { version: 1 }))
        ));
        std::fs::remove_file(&path).unwrap();
        assert!(blobs.open(&one).await.unwrap().is_none());
    }

    #[test]
    fn only_hex_of_the_right_length_is_a_name() {
        assert!("../../etc/passwd".parse::<BlobName>().is_err());
        assert!("A".repeat(64).parse::<BlobName>().is_err());
        assert!("0".repeat(63).parse::<BlobName>().is_err());
        assert!("0a".repeat(32).parse::<BlobName>().is_ok());
    }
}
