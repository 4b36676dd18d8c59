//! The memory of a process and of those that it began, together, looked at again and again while they run.

use std::fs;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::AtomicU64;
use std::sync::atomic::Ordering;
use std::thread;
use std::time::Duration;

/// A photo of 12 megapixels is being read for fifteen times as long.
const EVERY: Duration = Duration::from_millis(20);

/// The largest sum that was seen. Dropped, nobody looks any more.
pub struct Together {
    most_kib: Arc<AtomicU64>,
    is_over: Arc<AtomicBool>,
}

impl Together {
    /// Begins to look at this process.
    pub fn of(process: u32) -> Together {
        let together = Together { most_kib: Arc::default(), is_over: Arc::default() };
        let (most_kib, is_over) = (Arc::clone(&together.most_kib), Arc::clone(&together.is_over));
        thread::spawn(move || {
            while !is_over.load(Ordering::Relaxed) {
                most_kib.fetch_max(held_kib(process), Ordering::Relaxed);
                thread::sleep(EVERY);
            }
        });
        together
    }

    /// The largest sum since the beginning, or since [`Together::forget`], MiB.
    pub fn most_mib(&self) -> f64 {
        self.most_kib.load(Ordering::Relaxed) as f64 / 1_024.0
    }

    pub fn forget(&self) {
        self.most_kib.store(0, Ordering::Relaxed);
    }
}

impl Drop for Together {
    fn drop(&mut self) {
        self.is_over.store(true, Ordering::Relaxed);
    }
}

/// What the process holds now, and the most that each it began has held so far: they are gone soon, and none is to be missed between
/// two looks. Pages that they share are counted for each of them.
fn held_kib(process: u32) -> u64 {
    let words = |of: u32| fs::read(format!("/proc/{of}/cmdline")).unwrap_or_default();
    let entries = fs::read_dir("/proc").into_iter().flatten();
    let others = entries.filter_map(|entry| entry.ok()?.file_name().to_str()?.parse::<u32>().ok());
    let own_words = words(process);
    let begun = others.filter_map(|other| {
        let status = fs::read_to_string(format!("/proc/{other}/status")).ok()?;
        // Until it runs the other program, its memory is the first one's.
        let runs = status_number(&status, "PPid:") == Some(process.into()) && words(other) != own_words;
        runs.then(|| status_number(&status, "VmHWM:").unwrap_or(0))
    });
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    status_number(&status, "VmRSS:").unwrap_or(0) + begun.sum::<u64>()
}

/// The number behind this name in `/proc/PID/status`.
pub fn status_number(status: &str, name: &str) -> Option<u64> {
    status.lines().find_map(|line| line.strip_prefix(name))?.split_whitespace().next()?.parse().ok()
}
