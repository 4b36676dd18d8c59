//! Disks of a test's own: a small one in memory, and one in a file that can be copied as it is at any moment. Only root may
//! mount; whoever is not is told so.

use std::path::Path;
use std::path::PathBuf;
use std::process::Command;

use tempfile::TempDir;

/// A disk that is mounted, until it is dropped.
pub struct Mounted {
    at: TempDir,
}

impl Mounted {
    /// In memory. `None`: this machine does not let us, and it was said.
    pub fn in_memory(mib: u32) -> Option<Mounted> {
        let at = tempfile::tempdir().unwrap();
        let mut mount = Command::new("mount");
        mount.args(["-t", "tmpfs", "-o", &format!("size={mib}m"), "tmpfs"]).arg(at.path());
        Mounted::by(mount, at)
    }

    /// ext4 in a file, which writes by itself only every ten minutes: what nobody synced is not in the file.
    pub fn image(image: &Path) -> Option<Mounted> {
        let at = tempfile::tempdir().unwrap();
        let mut mount = Command::new("mount");
        mount.args(["-t", "ext4", "-o", "loop,commit=600"]).arg(image).arg(at.path());
        Mounted::by(mount, at)
    }

    fn by(mut mount: Command, at: TempDir) -> Option<Mounted> {
        let done = mount.output().expect("mount is there");
        if !done.status.success() {
            println!("NOT TRIED: {mount:?} says {}", String::from_utf8_lossy(&done.stderr).trim());
            return None;
        }
        Some(Mounted { at })
    }

    pub fn path(&self) -> PathBuf {
        self.at.path().to_owned()
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        let done = Command::new("umount").arg(self.at.path()).output().unwrap();
        if !done.status.success() {
            eprintln!("{}", String::from_utf8_lossy(&done.stderr));
            let _ = Command::new("umount").arg("-l").arg(self.at.path()).status();
        }
    }
}

/// An empty ext4 of this size in a file.
pub fn make_image(image: &Path, mib: u64) {
    std::fs::File::create(image).unwrap().set_len(mib * 1_024 * 1_024).unwrap();
    let made = Command::new("mkfs.ext4").arg("-q").arg(image).output().expect("mkfs.ext4 is there");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
}
