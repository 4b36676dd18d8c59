//! Signs of life of the running program itself: its runner's last step, its clock, the machine it stands on.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::PoisonError;
use std::sync::RwLock;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::AtomicI64;
use std::sync::atomic::Ordering;

use jiff::Timestamp;
use tokio::sync::Mutex;

use crate::care::ready::Readiness;
use crate::ids::PracticeId;
use crate::store::practices::Practice;

pub const MIB: u64 = 1_024 * 1_024;

/// What the program stands on.
#[derive(Clone, Debug)]
pub struct Machine {
    /// Where photos are kept; `None`: nowhere that could fill up (tests).
    pub data_folder: Option<PathBuf>,
    /// Less room than this is not enough to go on (ours: some three checks with six photos each).
    pub least_free_bytes: u64,
    /// Photos are refused with less room than this, or than this part of the disk (10: a tenth), whichever is less (safety
    /// promise U10): a tenth of a large disk is more than a year of photos.
    pub photos_need_bytes: u64,
    pub photos_need_part: u64,
    /// Checks with photos that one link may send within 24 hours, at least 1 (safety promises A35 and L6).
    pub photo_checks_a_day: usize,
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
            least_free_bytes: 256 * MIB,
            photos_need_bytes: 2_048 * MIB,
            photos_need_part: 10,
            photo_checks_a_day: 20,
            key_files: Vec::new(),
            speed: 1.0,
            backups_elsewhere: false,
        }
    }
}

/// Whom a patient rings, remembered for when the books cannot be asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Numbers {
    pub practice: PracticeId,
    pub phone: String,
    pub emergency: String,
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
    books_damaged: AtomicBool,
    /// Of each practice.
    numbers: RwLock<Vec<Numbers>>,
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

    /// Remembers whom the patients of a practice ring.
    pub fn remember(&self, practice: &Practice) {
        let mut all = self.0.numbers.write().unwrap_or_else(PoisonError::into_inner);
        all.retain(|one| one.practice != practice.id);
        all.push(Numbers {
            practice: practice.id,
            phone: practice.phone.clone(),
            emergency: practice.emergency_number.clone(),
        });
    }

    /// Whom the patients of this practice ring. Where nobody knows which practice it is, the only one there is. `None`: it is
    /// not remembered, or there are several.
    pub fn numbers(&self, practice: Option<PracticeId>) -> Option<Numbers> {
        let all = self.0.numbers.read().unwrap_or_else(PoisonError::into_inner);
        match (practice, all.as_slice()) {
            (Some(practice), all) => all.iter().find(|one| one.practice == practice).cloned(),
            (None, [only]) => Some(only.clone()),
            (None, _) => None,
        }
    }

    /// Whether the practice's clock fell behind one that nobody sets, within the last minute.
    pub fn clock_lags(&self) -> bool {
        self.0.clock_lags.load(Ordering::Relaxed)
    }

    pub fn set_clock_lags(&self, lags: bool) {
        self.0.clock_lags.store(lags, Ordering::Relaxed);
    }

    /// The books did not pass their check. Only a start on whole ones takes it back.
    pub(in crate::care) fn books_are_damaged(&self) {
        self.0.books_damaged.store(true, Ordering::Relaxed);
    }

    pub fn are_books_damaged(&self) -> bool {
        self.0.books_damaged.load(Ordering::Relaxed)
    }

    pub(in crate::care) fn ready(&self) -> &Mutex<Option<(Timestamp, Readiness)>> {
        &self.0.ready
    }
}
