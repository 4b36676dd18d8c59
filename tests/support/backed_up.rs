//! `closewatch` as whoever looks after a server runs it: back-ups of it, and restores.

use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Output;

use tempfile::TempDir;

use super::Place;

/// The program, with these words behind its name.
pub fn closewatch(words: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_closewatch"));
    command.args(words);
    command
}

/// Everything it said.
pub fn said_by(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// A path as a word of the command line.
pub fn word(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Where back-ups go, and the key they are made for.
pub struct Safe {
    pub folder: TempDir,
    pub recipient: String,
}

impl Safe {
    /// Makes the key pair by the program itself.
    pub fn new() -> Safe {
        let folder = tempfile::tempdir().unwrap();
        let identity = folder.path().join("identity");
        let made = closewatch(&["backup", "new-key", "--to", word(&identity)]).output().unwrap();
        assert!(made.status.success(), "{}", said_by(&made));
        let recipient = String::from_utf8(made.stdout).unwrap().lines().next().unwrap().to_owned();
        Safe { folder, recipient }
    }

    pub fn identity(&self) -> PathBuf {
        self.folder.path().join("identity")
    }

    pub fn target(&self) -> PathBuf {
        self.folder.path().join("back-ups")
    }

    /// Not yet run.
    pub fn backing_up(&self, place: &Place) -> Command {
        let mut command =
            closewatch(&["backup", "--to", word(&self.target()), "--recipient", &self.recipient]);
        command.args(["--data", word(place.folder.path()), "--database-url", &place.url]);
        command
    }

    /// Makes a back-up, and says in which folder it is.
    pub fn backs_up(&self, place: &Place) -> PathBuf {
        let made = self.backing_up(place).output().unwrap();
        assert!(made.status.success(), "{}", said_by(&made));
        self.backups().pop().unwrap()
    }

    /// The back-ups there are, oldest first: whatever looks like one.
    pub fn backups(&self) -> Vec<PathBuf> {
        let Ok(entries) = fs::read_dir(self.target()) else { return Vec::new() };
        let mut found: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
        found.retain(|path| path.file_name().unwrap().to_str().unwrap().starts_with("books-"));
        found.sort();
        found
    }

    /// Not yet run: `from` comes back into `data`, with the sealing keys of `place`.
    pub fn restoring(&self, from: &Path, place: &Place, data: &Path, url: &str) -> Command {
        let mut command =
            closewatch(&["restore", "--from", word(from), "--identity", word(&self.identity())]);
        command.args(["--data", word(data), "--database-url", url, "--sealing-keys-file"]);
        command.arg(place.folder.path().join("sealing-keys"));
        command
    }
}
