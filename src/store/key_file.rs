//! Files with keys: made once, whole or not at all, and readable by their owner alone.

use std::fs;
use std::io;
use std::io::Write;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

use crate::ids::Chance;
use crate::store::keyring::KeyRing;

const TOLD: &str = "# Keys that seal the photos and texts of this practice. Whoever loses this file loses all of them for ever:\n\
                    # keep a copy away from this machine, and away from its back-ups.\n";

/// Reads the keys that seal, or makes the first one. True: it was made just now.
pub fn open_keys(path: &Path, chance: &Chance) -> Result<(KeyRing, bool), String> {
    let told = |why: &dyn std::fmt::Display| format!("{}: {why}", path.display());
    match fs::read_to_string(path) {
        Ok(text) => Ok((KeyRing::from_text(&text).map_err(|why| told(&why))?, false)),
        Err(fault) if fault.kind() == io::ErrorKind::NotFound => {
            let text = format!("{TOLD}{}", KeyRing::new_line(None, chance));
            write_new(path, &text, 0o600).map_err(|fault| told(&fault))?;
            Ok((KeyRing::from_text(&text).map_err(|why| told(&why))?, true))
        }
        Err(fault) => Err(told(&fault)),
    }
}

/// Writes a file that is there whole or not at all, also after a power cut.
pub fn write_new(path: &Path, text: &str, mode: u32) -> io::Result<()> {
    let half = path.with_extension("half");
    let mut file = fs::OpenOptions::new().write(true).create(true).truncate(true).mode(mode).open(&half)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    fs::rename(&half, path)?;
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    fs::File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    #[test]
    fn keys_are_made_once_and_readable_by_their_owner_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("sealing-keys");
        let (ring, is_new) = open_keys(&path, &Chance::seeded(1)).unwrap();
        assert!(is_new);
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        let sealed = ring.seal(b"a text", "message:1", &Chance::seeded(2));
        let (again, is_new) = open_keys(&path, &Chance::seeded(3)).unwrap();
        assert!(!is_new);
        assert_eq!(again.open(&sealed, "message:1").unwrap(), b"a text");
        fs::write(&path, "nonsense").unwrap();
        assert!(open_keys(&path, &Chance::seeded(4)).unwrap_err().contains("line 1: "));
    }
}
