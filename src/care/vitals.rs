//! Signs of life of the running program itself: its runner's last step, its clock, the machine it stands on.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::AtomicI64;
use std::sync::atomic::Ordering;

use jiff::Timestamp;
use tokio::sync::Mutex;

use crate::care::ready::Readiness;

/// What the program stands on.
#[derive(Clone, Debug)]
pub struct Machine {
    /// Where photos are kept; `None`: nowhere that could fill up (tests).
    pub data_folder: Option<PathBuf>,
    /// Less room than this is not enough to go on (ours: some three checks with six photos each).
    pub least_free_bytes: u64,
    /// Secrets that must be there and readable.
    pub key_files: Vec<PathBuf>,
    /// How much faster than the machine's clock the practice's goes; 1 in earnest.
    pub speed: f64,
    /// Somebody else backs it up: no back-up of the program's own is missed.
    pub backups_elsewhere: bool,
}

impl Default for Machine {
    fn default() -> Machine {
        Machine {
            data_folder: None,
            least_free_bytes: 256 * 1_024 * 1_024,
            key_files: Vec::new(),
            speed: 1.0,
            backups_elsewhere: false,
        }
    }
}

/// Cheap to clone; every clone is the same.
#[derive(Clone, Debug, Default)]
pub struct Vitals(Arc<Inner>);

#[derive(Debug, Default)]
struct Inner {
    machine: Machine,
    /// Epoch milliseconds; 0: never.
    runner_ms: AtomicI64,
    clock_lags: AtomicBool,
    /// The last answer to "ready?", and when it was found.
    pub(in crate::care) ready: Mutex<Option<(Timestamp, Readiness)>>,
}

impl Vitals {
    pub fn on(machine: Machine) -> Vitals {
        Vitals(Arc::new(Inner { machine, ..Inner::default() }))
    }

    pub fn machine(&self) -> &Machine {
        &self.0.machine
    }

    /// The runner takes a step.
    pub fn runner_steps(&self, now: Timestamp) {
        self.0.runner_ms.store(now.as_millisecond(), Ordering::Relaxed);
    }

    /// When the runner took its last step; `None`: it has not begun.
    pub fn runner_stepped(&self) -> Option<Timestamp> {
        match self.0.runner_ms.load(Ordering::Relaxed) {
            0 => None,
            ms => Timestamp::from_millisecond(ms).ok(),
        }
    }

    /// Whether the practice's clock fell behind one that nobody sets, within the last minute.
    pub fn clock_lags(&self) -> bool {
        self.0.clock_lags.load(Ordering::Relaxed)
    }

    pub fn set_clock_lags(&self, lags: bool) {
        self.0.clock_lags.store(lags, Ordering::Relaxed);
    }

    pub(in crate::care) fn ready(&self) -> &Mutex<Option<(Timestamp, Readiness)>> {
        &self.0.ready
    }
}
