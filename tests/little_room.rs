//! The real program on a disk that fills up: nothing that was acknowledged is lost, photos are refused before answers, and once
//! there is room everything is taken again without anybody's doing.
//!
//! The disks are small ones in memory, which only root may mount.

mod support;

use std::io::Write;
use std::path::PathBuf;
use std::time::Duration;

use support::Mounted;
use support::Place;
use support::READY_WITHIN;
use support::Served;
use support::Told;
use support::compare;
use support::jpeg;
use support::post_answers;
use support::post_photo;
use support::retry;
use support::send_check;
use support::senders;
use support::serve;

/// Fills a disk to the brim, or leaves so much.
struct Ballast {
    path: PathBuf,
}

impl Ballast {
    fn leaving(disk: &Mounted, bytes: u64) -> Ballast {
        let path = disk.path().join("ballast");
        let about = rustix::fs::statvfs(disk.path().as_path()).unwrap();
        let free = about.f_bavail * about.f_frsize;
        let mut file = std::fs::File::create(&path).unwrap();
        let page = [0x5a; 4_096];
        for _ in 0..free.saturating_sub(bytes) / 4_096 {
            // The program writes too: it may be full before we are done.
            if file.write_all(&page).is_err() {
                break;
            }
        }
        Ballast { path }
    }

    fn away(self) {
        std::fs::remove_file(&self.path).unwrap();
    }
}

/// On a disk of so many MiB, filled step by step while checks are sent.
async fn on_a_disk_of(mib: u32) -> Option<()> {
    let disk = Mounted::in_memory(mib)?;
    let place = Place::sqlite_on(&disk.path());
    let phones = senders(&place, 1).await;
    let mut command = serve(&place);
    // A tenth of this disk for photos; "not ready" below a thirtieth.
    command.args(["--least-free-mib", &(mib / 30).to_string()]);
    let mut served = Served::try_start(command).unwrap_or_else(|ended| panic!("{ended:?}"));
    assert!(served.until_ready() <= READY_WITHIN);
    let told = Told::default();
    let mut words_only = 0;
    assert!(send_check(&served.address, &phones[0], &told, "before", 1).await);

    // Below the mark: answers yes, photos no, in words.
    let bytes = u64::from(mib) * 1_024 * 1_024;
    let ballast = Ballast::leaving(&disk, bytes / 12);
    for number in 0..3_u64 {
        let key = format!("low{number}");
        assert!(
            !send_check(&served.address, &phones[0], &told, &key, 10 + number).await,
            "a photo was taken"
        );
        assert!(told.lock().unwrap()[&key].receipt.is_some(), "the answers were refused");
        let (status, body) = post_photo(&served.address, &phones[0], &key, &jpeg(10 + number)).await.unwrap();
        assert_eq!(status, 507);
        assert!(body.contains("We have your answers. The photo could not be kept."), "{body}");
        words_only += 1;
    }
    ballast.away();
    retry(&served.address, &told).await;

    // To the last byte: an acknowledgement, or a plain no.
    let ballast = Ballast::leaving(&disk, 0);
    let (mut taken, mut refused) = (0, 0);
    for number in 0..40_u64 {
        let key = format!("full{number}");
        send_check(&served.address, &phones[0], &told, &key, 50 + number).await;
        match told.lock().unwrap()[&key].receipt {
            Some(_) => taken += 1,
            None => refused += 1,
        }
        if refused == 3 {
            break;
        }
    }
    let last = post_answers(&served.address, &phones[0], "the last").await;
    if let Some((status, body)) = &last
        && *status != 200
    {
        assert!(body.contains("We did NOT get this") && body.contains("202-555-0100"), "{status} {body}");
    }
    assert_eq!(served.ended(), None, "a full disk is no reason to end: {}", served.words());
    ballast.away();
    tokio::time::sleep(Duration::from_millis(500)).await;
    retry(&served.address, &told).await;
    served.until_ready();
    assert!(
        send_check(&served.address, &phones[0], &told, "after", 99).await,
        "it does not recover by itself"
    );
    served.kill();
    let found = compare(&place, &told).await;
    println!(
        "{mib} MiB: {words_only} times answers without photos, then {taken} taken and {refused} refused on a full disk; {}",
        found.line()
    );
    assert!(found.is_whole(), "{found:?}");
    assert!(refused > 0, "the disk was never full");
    Some(())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_small_disks_that_fill_up_nothing_acknowledged_is_lost_and_all_goes_on_once_there_is_room() {
    for mib in [16, 64] {
        if on_a_disk_of(mib).await.is_none() {
            return;
        }
    }
}
