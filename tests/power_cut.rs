//! Power cuts: the disk as it is at any moment, without what was never synced, is enough for everything that was acknowledged.
//!
//! The books and photos lie on an ext4 in a file that writes by itself only every ten minutes. While phones send, the program is
//! stopped, the file is copied, and the program goes on: the copy is what a power cut would have left. `POWER_CUTS` (10) cuts.
//! Two control runs, on disks that only say that they synced, must lose something: otherwise the test would see nothing.
//!
//! A program is stopped between two calls to the system, so that a cut falls between them, not within one.

mod support;

use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::sync::Mutex;
use std::time::Duration;

use closewatch::ids::Chance;

use support::DiskFault;
use support::Found;
use support::How;
use support::Mounted;
use support::Place;
use support::READY_WITHIN;
use support::Sender;
use support::Served;
use support::Switch;
use support::Told;
use support::all_send;
use support::compare_in;
use support::make_image;
use support::senders;
use support::serve;
use support::serve_in;

const DISK_MIB: u64 = 192;
/// As it says, this disk would never do.
const SMALL_DISK: [&str; 2] = ["--least-free-mib", "8"];
const PHONES: usize = 3;

fn tell(served: &Served, signal: &str) {
    let done = Command::new("kill").args([signal, &served.id().to_string()]).status().unwrap();
    assert!(done.success());
}

/// What the phones were told until now.
fn so_far(told: &Told) -> Told {
    Arc::new(Mutex::new(told.lock().unwrap().clone()))
}

/// Copies the disk's file as it is now, while the program stands still; what had been acknowledged by then comes with it.
fn cut(served: &Served, told: &Told, image: &Path, copy: &Path) -> Told {
    tell(served, "-STOP");
    // An answer on its way to a phone was given before the cut.
    std::thread::sleep(Duration::from_millis(50));
    let acknowledged = so_far(told);
    let done = Command::new("cp").arg("--sparse=always").arg(image).arg(copy).status().unwrap();
    tell(served, "-CONT");
    assert!(done.success());
    acknowledged
}

/// Starts on what the cut left, as a machine does that gets its power back, and compares.
async fn after(copy: &Path, within: &Path, acknowledged: &Told) -> Found {
    let disk = Mounted::image(copy).expect("it was mounted before");
    let folder = disk.path().join(within);
    let url = format!("sqlite:{}", folder.join("test.sqlite").display());
    let mut command = serve_in(&folder, &url);
    command.args(SMALL_DISK);
    let mut served = Served::try_start(command).unwrap_or_else(|ended| panic!("{ended:?}"));
    assert!(served.until_ready() <= READY_WITHIN);
    served.kill();
    compare_in(&folder, &url, acknowledged).await
}

/// Cuts while phones send; what each cut came to. `None`: no disk can be mounted here.
async fn cuts(how_many: u32, lie: Option<&'static str>) -> Option<Vec<Found>> {
    let files = tempfile::tempdir().unwrap();
    let image = files.path().join("disk");
    make_image(&image, DISK_MIB);
    let disk = Mounted::image(&image)?;
    let place = Place::sqlite_on(&disk.path());
    let phones: Vec<Sender> = senders(&place, PHONES).await;
    // What was made before the phones came is on the disk.
    assert!(Command::new("sync").arg("-f").arg(place.folder.path()).status().unwrap().success());
    let mut command = serve(&place);
    command.args(SMALL_DISK);
    let switch = Switch::off();
    if let Some(path) = lie {
        let fault = DiskFault { op: "fsync", path, from: 1, count: None, how: How::Lies };
        switch.without_gate(&mut command, &fault);
    }
    let mut served = Served::try_start(command).unwrap_or_else(|ended| panic!("{ended:?}"));
    served.until_ready();
    let (told, chance) = (Told::default(), Chance::seeded(5));
    let mut left = Vec::new();
    let within = place.folder.path().file_name().unwrap().to_owned();
    let sending = all_send(&served.address, &phones, &told, "cut");
    for number in 0..how_many {
        tokio::time::sleep(Duration::from_millis(200 + u64::from(chance.below(400)))).await;
        let copy = files.path().join(format!("cut{number}"));
        let acknowledged = cut(&served, &told, &image, &copy);
        left.push((copy, acknowledged));
    }
    served.kill();
    sending.ends().await;
    let mut found = Vec::new();
    for (copy, acknowledged) in &left {
        found.push(after(copy, Path::new(&within), acknowledged).await);
        std::fs::remove_file(copy).unwrap();
    }
    drop(place);
    Some(found)
}

fn sum(found: &[Found]) -> Found {
    found.iter().fold(Found::default(), |all, one| Found {
        receipts: all.receipts + one.receipts,
        photos: all.photos + one.photos,
        lost_checks: all.lost_checks + one.lost_checks,
        lost_photos: all.lost_photos + one.lost_photos,
        broken_photos: all.broken_photos + one.broken_photos,
        doubles: all.doubles + one.doubles,
    })
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn what_was_acknowledged_before_a_power_cut_is_on_the_disk() {
    let how_many = std::env::var("POWER_CUTS").map_or(10, |text| text.parse().expect("a whole number"));
    let Some(found) = cuts(how_many, None).await else { return };
    let all = sum(&found);
    println!("{how_many} power cuts, {} (each check counted at each cut after it)", all.line());
    assert!(all.is_whole(), "{found:?}");
    assert!(all.receipts > 10 && all.photos > 10, "nothing was tried");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn on_a_disk_that_only_says_it_synced_the_log_the_same_test_finds_what_is_lost() {
    let Some(found) = cuts(3, Some("-wal")).await else { return };
    let all = sum(&found);
    println!("control, the log is never synced: {}", all.line());
    assert!(all.lost_checks > 0, "the test sees nothing: {found:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn on_a_disk_that_only_says_it_synced_photos_the_same_test_finds_them_broken() {
    let Some(found) = cuts(3, Some("/photos")).await else { return };
    let all = sum(&found);
    println!("control, photos are never synced: {}", all.line());
    assert!(all.broken_photos > 0, "the test sees nothing: {found:?}");
}
