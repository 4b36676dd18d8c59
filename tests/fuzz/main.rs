//! Whatever strangers send is broken on purpose, thousands of times, and each time something is demanded of what came of it.
//!
//! Every target starts from good samples and breaks them: a few seconds each, from one seed, so that a run can be had again.
//! `FUZZ_SECONDS=600` breaks longer, `FUZZ_SEED=7` breaks otherwise. What makes a target fail is kept in a file whose name is said;
//! `FUZZ_INPUT=file cargo test --test fuzz NAME` tries that one alone.

mod breaking;
mod card;
mod form;
mod link;
mod photo;
mod protocol;

#[path = "../photo_samples/mod.rs"]
mod photo_samples;
#[path = "../support/mod.rs"]
mod support;

use std::fs;
use std::panic::AssertUnwindSafe;
use std::panic::catch_unwind;
use std::path::Path;
use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use rand::SeedableRng;
use rand::rngs::StdRng;
use sha2::Digest;
use sha2::Sha256;
use tokio::time::Instant;

use breaking::Breaker;

/// What a target did with what it was given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Came {
    Taken,
    Refused,
}

/// What strangers may send, and what it may cost.
pub struct Target {
    pub name: &'static str,
    /// All of them are taken as they are.
    pub samples: Vec<Vec<u8>>,
    /// Pieces that mean something there, slipped in now and then.
    pub pieces: &'static [&'static [u8]],
    /// For one input, on a busy machine.
    pub within: Duration,
    /// Beyond what the process had before, for one input.
    pub most_kib: u64,
}

/// Without `FUZZ_SECONDS`.
const SECONDS: u64 = 4;
/// A slow machine tries so many all the same.
const LEAST_RUNS: usize = 60;

/// One target at a time: memory is that of the whole process.
static ALONE: Mutex<()> = Mutex::new(());

impl Target {
    /// Breaks samples until the time is up. `demand` panics when what came of an input is not as it must be.
    pub fn run(&self, mut demand: impl FnMut(&[u8]) -> Came) {
        let _alone = ALONE.lock().unwrap_or_else(PoisonError::into_inner);
        if let Ok(path) = std::env::var("FUZZ_INPUT") {
            println!("{:?}", self.try_one(&fs::read(path).unwrap(), &mut demand));
            return;
        }
        for sample in &self.samples {
            assert_eq!(self.try_one(sample, &mut demand), Came::Taken, "{}: a good sample", self.name);
        }
        let seed = number("FUZZ_SEED").unwrap_or(1);
        let time = Duration::from_secs(number("FUZZ_SECONDS").unwrap_or(SECONDS));
        let mut breaker = Breaker::new(StdRng::seed_from_u64(seed), self.pieces);
        let (began, mut taken, mut refused) = (Instant::now(), 0_usize, 0_usize);
        while began.elapsed() < time || taken + refused < LEAST_RUNS {
            match self.try_one(&breaker.broken(&self.samples), &mut demand) {
                Came::Taken => taken += 1,
                Came::Refused => refused += 1,
            }
        }
        println!("{}: seed {seed}, {taken} taken, {refused} refused", self.name);
        assert!(
            taken > 0 && refused > 0,
            "{}: {taken} taken, {refused} refused: it tries nothing",
            self.name
        );
    }

    fn try_one(&self, input: &[u8], demand: &mut impl FnMut(&[u8]) -> Came) -> Came {
        let before_kib = memory::settle();
        let began = Instant::now();
        let ends = self.watch(input.to_vec());
        let came = catch_unwind(AssertUnwindSafe(|| demand(input)));
        drop(ends);
        let took = began.elapsed();
        let grew_kib = memory::peak_kib().saturating_sub(before_kib);
        let fault = match &came {
            Err(_) => Some("it panicked, as said above".to_owned()),
            Ok(_) if took > self.within => Some(format!("it took {took:?}, and may take {:?}", self.within)),
            Ok(_) if grew_kib > self.most_kib => {
                Some(format!("it took {grew_kib} KiB, and may take {}", self.most_kib))
            }
            Ok(_) => None,
        };
        if let Some(fault) = fault {
            panic!("{}: {fault}. Try it again with FUZZ_INPUT={}", self.name, self.keep(input).display());
        }
        came.unwrap_or(Came::Refused)
    }

    /// What never ends cannot be broken off: unless the sender is dropped in time, the input is kept, and the whole run ends.
    fn watch(&self, input: Vec<u8>) -> mpsc::Sender<()> {
        let (name, most) = (self.name, self.within * 3);
        let (ends, ended) = mpsc::channel();
        thread::spawn(move || {
            if ended.recv_timeout(most) == Err(mpsc::RecvTimeoutError::Timeout) {
                let kept = keep(name, &input);
                eprintln!("{name}: not done after {most:?}. Try it again with FUZZ_INPUT={}", kept.display());
                std::process::exit(70);
            }
        });
        ends
    }

    fn keep(&self, input: &[u8]) -> PathBuf {
        keep(self.name, input)
    }
}

fn keep(target: &str, input: &[u8]) -> PathBuf {
    let name = data_encoding::HEXLOWER.encode(&Sha256::digest(input)[..8]);
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("fuzz-{target}-{name}"));
    fs::write(&path, input).unwrap();
    path
}

fn number(variable: &str) -> Option<u64> {
    std::env::var(variable).ok().map(|text| text.parse().expect("a whole number"))
}

#[cfg(target_os = "linux")]
mod memory {
    use std::fs;

    fn status_kib(name: &str) -> u64 {
        let status = fs::read_to_string("/proc/self/status").unwrap();
        let line = status.lines().find(|line| line.starts_with(name)).unwrap();
        line.split_whitespace().nth(1).unwrap().parse().unwrap()
    }

    /// Forgets the peak so far; what the process has now, KiB.
    pub fn settle() -> u64 {
        // 5 sets the peak back to what is resident now (proc_pid_clear_refs(5)).
        fs::write("/proc/self/clear_refs", "5").unwrap();
        status_kib("VmRSS:")
    }

    pub fn peak_kib() -> u64 {
        status_kib("VmHWM:")
    }
}

#[cfg(not(target_os = "linux"))]
mod memory {
    pub fn settle() -> u64 {
        0
    }

    pub fn peak_kib() -> u64 {
        0
    }
}

/// A target that panics, dawdles or swallows memory must be noticed: what notices it is tried on three that do.
#[test]
fn a_fault_is_noticed_and_its_input_kept() {
    let target = |name| Target {
        name,
        samples: vec![b"fine".to_vec()],
        pieces: &[],
        within: Duration::from_millis(400),
        most_kib: 8 * 1024,
    };
    let slip: fn(&[u8]) -> Came = |input| if input == b"fine" { Came::Taken } else { panic!("made to fall") };
    let dawdle: fn(&[u8]) -> Came = |input| {
        std::thread::sleep(Duration::from_millis(if input == b"fine" { 0 } else { 500 }));
        Came::Taken
    };
    let swallow: fn(&[u8]) -> Came = |input| {
        let bytes = vec![1_u8; if input == b"fine" { 1 } else { 64 * 1024 * 1024 }];
        if std::hint::black_box(&bytes).iter().all(|byte| *byte == 1) { Came::Taken } else { Came::Refused }
    };
    for (name, demand, said) in [
        ("slip", slip, "it panicked"),
        ("dawdle", dawdle, "it took"),
        ("swallow", swallow, "KiB, and may take"),
    ] {
        let noticed = catch_unwind(|| target(name).run(demand)).expect_err("it goes unnoticed");
        let words = noticed.downcast_ref::<String>().unwrap();
        assert!(words.contains(said), "{words}");
        let kept = words.rsplit("FUZZ_INPUT=").next().unwrap();
        assert!(fs::read(kept).unwrap() != b"fine");
        fs::remove_file(kept).unwrap();
    }
}

/// Run by the test below, in a process of its own.
#[test]
#[ignore = "never ends"]
fn endless() {
    let target = Target {
        name: "endless",
        samples: vec![b"fine".to_vec()],
        pieces: &[],
        within: Duration::from_millis(100),
        most_kib: 8 * 1024,
    };
    target.run(|input| {
        if input != b"fine" {
            loop {
                thread::yield_now();
            }
        }
        Came::Taken
    });
}

#[test]
fn what_never_ends_is_noticed_and_its_input_kept() {
    let program = std::env::current_exe().unwrap();
    let ran = std::process::Command::new(program)
        .args(["--exact", "--ignored", "--nocapture", "endless"])
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&ran.stderr);
    assert_eq!(ran.status.code(), Some(70), "{said}");
    let kept = said.split("FUZZ_INPUT=").nth(1).unwrap().lines().next().unwrap();
    assert!(fs::read(kept).unwrap() != b"fine");
    fs::remove_file(kept).unwrap();
}
