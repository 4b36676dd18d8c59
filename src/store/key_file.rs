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

/// Reads the keys that seal. `None`: the file is not there.
pub fn read_keys(path: &Path) -> Result<Option<KeyRing>, String> {
    let told = |why: &dyn std::fmt::Display| format!("{}: {why}", path.display());
    match fs::read_to_string(path) {
        Ok(text) => KeyRing::from_text(&text).map(Some).map_err(|why| told(&why)),
        Err(fault) if fault.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(fault) => Err(told(&fault)),
    }
}

/// Makes the file with one key: the first, or the next after the version `before`. Only where there is no file, and where nothing
/// that the books hold is sealed with a key of this version or a later one: two keys of one version open each other's things never.
pub fn make_keys(path: &Path, before: Option<u32>, chance: &Chance) -> Result<KeyRing, String> {
    let told = |why: &dyn std::fmt::Display| format!("{}: {why}", path.display());
    let text = format!("{TOLD}{}", KeyRing::new_line(before, chance));
    write_new(path, &text, 0o600).map_err(|fault| told(&fault))?;
    KeyRing::from_text(&text).map_err(|why| told(&why))
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
    fn keys_are_made_and_read_again_and_readable_by_their_owner_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("sealing-keys");
        assert!(read_keys(&path).unwrap().is_none());
        let ring = make_keys(&path, None, &Chance::seeded(1)).unwrap();
        assert_eq!(ring.newest(), 1);
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        let sealed = ring.seal(b"a text", "message:1", &Chance::seeded(2));
        let again = read_keys(&path).unwrap().unwrap();
        assert_eq!(again.open(&sealed, "message:1").unwrap(), b"a text");
        let other = folder.path().join("other");
        assert_eq!(make_keys(&other, Some(7), &Chance::seeded(3)).unwrap().newest(), 8);
        fs::write(&path, "nonsense").unwrap();
        assert!(read_keys(&path).unwrap_err().contains("line 1: "));
    }
}
