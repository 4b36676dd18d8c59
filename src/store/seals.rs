//! The keys that seal, held by everything that seals and opens: the photo store, and each connection to the books.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::PoisonError;
use std::sync::RwLock;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::Ordering;

use crate::ids::Chance;
use crate::store::keyring::KeyRing;
use crate::store::keyring::SealFault;

/// Cheap to clone; all clones change together.
#[derive(Clone, Debug)]
pub struct Seals(Arc<Held>);

#[derive(Debug)]
struct Held {
    ring: RwLock<Arc<KeyRing>>,
    chance: Chance,
    /// Where the keys are read again; `None`: they never change.
    file: Option<PathBuf>,
    /// No text lies in the books as it was typed: one that does was put there by somebody else.
    all_sealed: AtomicBool,
}

impl Seals {
    /// `file`: where the keys are read again; `None`: they never change.
    pub fn new(ring: KeyRing, chance: Chance, file: Option<PathBuf>) -> Seals {
        let ring = RwLock::new(Arc::new(ring));
        Seals(Arc::new(Held { ring, chance, file, all_sealed: AtomicBool::new(false) }))
    }

    pub fn ring(&self) -> Arc<KeyRing> {
        Arc::clone(&self.0.ring.read().unwrap_or_else(PoisonError::into_inner))
    }

    pub(in crate::store) fn chance(&self) -> &Chance {
        &self.0.chance
    }

    /// Reads the key file again. A file that cannot be used changes nothing.
    pub fn reload(&self) -> Result<(), String> {
        let Some(file) = &self.0.file else { return Ok(()) };
        let text = std::fs::read_to_string(file).map_err(|fault| format!("{}: {fault}", file.display()))?;
        let ring = KeyRing::from_text(&text).map_err(|why| format!("{}: {why}", file.display()))?;
        *self.0.ring.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(ring);
        Ok(())
    }

    /// Seals something small with a key of its own, for the place `about` names.
    pub fn seal(&self, plain: &[u8], about: &str) -> Vec<u8> {
        self.ring().seal(plain, about, self.chance())
    }

    /// Opens what was sealed so; with a key that came since, when it needs one.
    pub fn open(&self, sealed: &[u8], about: &str) -> Result<Vec<u8>, SealFault> {
        match self.ring().open(sealed, about) {
            Err(SealFault::UnknownKey { .. }) if self.reload().is_ok() => self.ring().open(sealed, about),
            opened => opened,
        }
    }

    /// From now on a text that lies in the books as typed is not believed.
    pub fn note_all_sealed(&self) {
        self.0.all_sealed.store(true, Ordering::Relaxed);
    }

    pub(in crate::store) fn is_all_sealed(&self) -> bool {
        self.0.all_sealed.load(Ordering::Relaxed)
    }
}
