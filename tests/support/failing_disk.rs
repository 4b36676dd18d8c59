//! A disk that fails on demand under the real program: `tests/faults/iofault.c`, built here and preloaded.

use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::sync::OnceLock;

use tempfile::TempDir;

/// Numbers of errors as the kernel has them.
pub const EIO: i32 = 5;
pub const ENOSPC: i32 = 28;

/// What goes wrong with which files.
#[derive(Clone, Debug)]
pub struct DiskFault {
    /// `write`, `fsync` or `any`.
    pub op: &'static str,
    /// A part of the file's path; with a `$` behind it, its end.
    pub path: &'static str,
    /// The first call that goes wrong, from 1.
    pub from: u32,
    /// How many do from there on. `None`: all.
    pub count: Option<u32>,
    pub how: How,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// The call fails with this error.
    Error(i32),
    /// The call does nothing and says that all went well.
    Lies,
    /// The call takes so much longer.
    Slow { delay_ms: u32 },
    /// The process is killed in the middle of it.
    Kill,
    /// Writes fail with this error once so many bytes were written.
    After { bytes: u64, error: i32 },
}

/// The files by which a fault is switched on, and seen.
#[derive(Debug)]
pub struct Switch {
    folder: TempDir,
}

impl Switch {
    /// A switch that is off.
    pub fn off() -> Switch {
        Switch { folder: tempfile::tempdir().unwrap() }
    }

    fn gate(&self) -> PathBuf {
        self.folder.path().join("gate")
    }

    fn report(&self) -> PathBuf {
        self.folder.path().join("report")
    }

    /// From now on calls go wrong, and are counted.
    pub fn turn_on(&self) {
        std::fs::write(self.gate(), "").unwrap();
    }

    /// The disk is as it should be again.
    pub fn turn_off(&self) {
        std::fs::remove_file(self.gate()).unwrap();
    }

    /// How many calls went wrong.
    pub fn hits(&self) -> u64 {
        std::fs::metadata(self.report()).map_or(0, |about| about.len())
    }

    /// Has the program meet this fault while the switch is on.
    pub fn under(&self, command: &mut Command, fault: &DiskFault) {
        self.without_gate(command, fault);
        command.env("IOF_GATE", self.gate());
    }

    /// Has the program meet this fault from its first breath on.
    pub fn without_gate(&self, command: &mut Command, fault: &DiskFault) {
        command.env("LD_PRELOAD", library());
        command.env("IOF_OP", fault.op).env("IOF_PATH", fault.path).env("IOF_REPORT", self.report());
        command.env("IOF_FROM", fault.from.to_string());
        command.env("IOF_COUNT", fault.count.unwrap_or(0).to_string());
        match fault.how {
            How::Error(error) => command.env("IOF_ERRNO", error.to_string()),
            How::Lies => command.env("IOF_ERRNO", "0"),
            How::Slow { delay_ms } => command.env("IOF_DELAY_MS", delay_ms.to_string()),
            How::Kill => command.env("IOF_KILL", "1"),
            How::After { bytes, error } => {
                command.env("IOF_BYTES", bytes.to_string()).env("IOF_ERRNO", error.to_string())
            }
        };
    }
}

/// The library, built once for each test binary.
fn library() -> &'static Path {
    static BUILT: OnceLock<(TempDir, PathBuf)> = OnceLock::new();
    let (_, path) = BUILT.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("iofault.so");
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/faults/iofault.c");
        let built = Command::new("cc")
            .args(["-O2", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-o"])
            .arg(&path)
            .arg(source)
            .arg("-ldl")
            .output()
            .expect("a C compiler");
        assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
        (folder, path)
    });
    path
}
