//! Photos as blobs, named by what they hold. A local folder now; another object store later without touching callers.

use std::fmt;
use std::path::Path;
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

use crate::store::Stored;

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

/// The photo store.
#[derive(Clone, Debug)]
pub struct Blobs(Arc<dyn ObjectStore>);

impl Blobs {
    /// A local folder, made when absent. Each put is synced: the file, its rename and its folder.
    pub fn in_folder(folder: &Path) -> Stored<Blobs> {
        std::fs::create_dir_all(folder).map_err(|source| object_store::Error::Generic {
            store: "photo folder",
            source: Box::new(source),
        })?;
        Ok(Blobs(Arc::new(LocalFileSystem::new_with_prefix(folder)?.with_fsync(true))))
    }

    /// Keeps the bytes durably and says their name. Keeping the same bytes again changes nothing: the blob is named by
    /// its content, so one that is there is complete (it was renamed into place after it was synced).
    pub async fn put(&self, bytes: Vec<u8>) -> Stored<BlobName> {
        let name = BlobName::of(&bytes);
        let put = self.0.put_opts(&name.path(), PutPayload::from(bytes), PutMode::Create.into()).await;
        match put {
            Ok(_) | Err(object_store::Error::AlreadyExists { .. }) => Ok(name),
            Err(fault) => Err(fault.into()),
        }
    }

    /// The bytes; `None` when there is no such blob.
    pub async fn get(&self, name: &BlobName) -> Stored<Option<Bytes>> {
        match self.0.get(&name.path()).await {
            Ok(found) => Ok(Some(found.bytes().await?)),
            Err(object_store::Error::NotFound { .. }) => Ok(None),
            Err(fault) => Err(fault.into()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_blob_comes_back_by_its_content_name_and_twice_is_once() {
        let folder = tempfile::tempdir().unwrap();
        let blobs = Blobs::in_folder(folder.path()).unwrap();
        let name = blobs.put(b"picture".to_vec()).await.unwrap();
        assert_eq!(blobs.put(b"picture".to_vec()).await.unwrap(), name);
        assert_eq!(blobs.get(&name).await.unwrap().unwrap().as_ref(), b"picture");
        // From Python: hashlib.sha256(b"picture").hexdigest()
        assert_eq!(name.as_str(), "2cea274d0bedc39ec4ab6ba9e59ec889e3ed6fb56a1cf088a64d9b383378dc97");
    }

    #[tokio::test]
    async fn an_absent_blob_is_none() {
        let folder = tempfile::tempdir().unwrap();
        let blobs = Blobs::in_folder(folder.path()).unwrap();
        assert!(blobs.get(&BlobName::of(b"never kept")).await.unwrap().is_none());
    }

    #[test]
    fn only_hex_of_the_right_length_is_a_name() {
        assert!("../../etc/passwd".parse::<BlobName>().is_err());
        assert!("A".repeat(64).parse::<BlobName>().is_err());
        assert!("0".repeat(63).parse::<BlobName>().is_err());
        assert!("0a".repeat(32).parse::<BlobName>().is_ok());
    }
}
