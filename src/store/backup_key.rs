//! The key pair of back-ups (X25519 of the age format, version 1): whoever has the public half can make one, and nobody but
//! whoever has the private half can read it.

use std::fmt;
use std::fs;
use std::path::Path;
use std::str::FromStr;

use age::secrecy::ExposeSecret;
use age::x25519::Identity;
use age::x25519::Recipient;

/// Who can read a back-up.
#[derive(Clone)]
pub struct BackupKey(pub(super) Recipient);

impl BackupKey {
    /// As typed, `age1…`, or the file it stands in; also the file of the private half, which names it.
    pub fn read(typed: &str) -> Result<BackupKey, String> {
        if let Ok(key) = Recipient::from_str(typed.trim()) {
            return Ok(BackupKey(key));
        }
        let text = fs::read_to_string(typed).map_err(|fault| {
            format!("`{typed}` is no public key (age1…), and no file that can be read: {fault}")
        })?;
        let words = text.lines().filter_map(|line| line.split_whitespace().last());
        let found = words.filter_map(|word| Recipient::from_str(word).ok()).next();
        found.map(BackupKey).ok_or_else(|| format!("{typed}: no public key (age1…) stands in it"))
    }
}

impl fmt::Display for BackupKey {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(out)
    }
}

impl fmt::Debug for BackupKey {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "BackupKey {}", self.0)
    }
}

/// The private half. Never shown.
pub struct BackupIdentity(pub(super) Identity);

impl BackupIdentity {
    /// Draws a new pair.
    pub fn make() -> BackupIdentity {
        BackupIdentity(Identity::generate())
    }

    pub fn public(&self) -> BackupKey {
        BackupKey(self.0.to_public())
    }

    pub fn read(path: &Path) -> Result<BackupIdentity, String> {
        let told = |why: &dyn fmt::Display| format!("{}: {why}", path.display());
        let text = fs::read_to_string(path).map_err(|fault| told(&fault))?;
        let mut keys = text.lines().filter_map(|line| Identity::from_str(line.trim()).ok());
        keys.next().map(BackupIdentity).ok_or_else(|| {
            told(&"it is no private key of back-ups (a line that begins with AGE-SECRET-KEY-1)")
        })
    }

    /// What is written to the file of the private half.
    pub fn to_text(&self) -> String {
        format!(
            "# The private half of the key of back-ups. It must not stay on the server: take it away, and keep two copies.\n\
             # Whoever loses it can read no back-up any more; whoever finds it can read them all.\n\
             # public half: {}\n{}\n",
            self.public(),
            self.0.to_string().expose_secret()
        )
    }
}

impl fmt::Debug for BackupIdentity {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("BackupIdentity")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_halves_go_through_their_files_and_the_public_one_through_words() {
        let folder = tempfile::tempdir().unwrap();
        let made = BackupIdentity::make();
        let private = folder.path().join("private");
        fs::write(&private, made.to_text()).unwrap();
        let again = BackupIdentity::read(&private).unwrap();
        assert_eq!(again.public().to_string(), made.public().to_string());
        let public = folder.path().join("public");
        fs::write(&public, format!("# for back-ups\n{}\n", made.public())).unwrap();
        for typed in [made.public().to_string(), path(&public), path(&private)] {
            assert_eq!(BackupKey::read(&typed).unwrap().to_string(), made.public().to_string());
        }
        assert_eq!(format!("{made:?}"), "BackupIdentity");
    }

    fn path(path: &Path) -> String {
        path.to_str().unwrap().to_owned()
    }

    #[test]
    fn what_is_no_key_is_refused_with_words() {
        let folder = tempfile::tempdir().unwrap();
        let other = folder.path().join("other");
        fs::write(&other, "no key\n").unwrap();
        assert!(BackupKey::read("age1nonsense").unwrap_err().contains("is no public key"));
        assert!(BackupKey::read(&path(&other)).unwrap_err().contains("no public key (age1…) stands in it"));
        assert!(BackupIdentity::read(&other).unwrap_err().contains("no private key of back-ups"));
    }
}
