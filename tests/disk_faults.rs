//! The real program on a disk that fails: every request is kept or refused, after a failed write or sync the program ends and
//! the next one finds everything that was acknowledged, and a full disk is sat out.
//!
//! Which call fails advances until a check goes through without meeting it: every sync in turn, every write by a third further.
//! `DISK_FAULTS=all` takes every write in turn too, and every case both once and for ever.

mod support;

use std::time::Duration;

use tokio::time::Instant;

use closewatch::store::disk_fault;

use support::DiskFault;
use support::EIO;
use support::ENOSPC;
use support::How;
use support::Place;
use support::READY_WITHIN;
use support::Sender;
use support::Served;
use support::Switch;
use support::Told;
use support::compare;
use support::retry;
use support::send_check;
use support::senders;
use support::serve;

/// A run in which the n-th call is never met ends each case; more than so many would be a case that never ends.
const MOST_CALLS: u32 = 5_000;
/// The last words come with the fault; a busy machine may need a moment.
const ENDS_WITHIN: Duration = Duration::from_secs(5);

/// What a whole case came to.
#[derive(Default)]
struct Tally {
    runs: u32,
    ended: u32,
    refused: u32,
}

fn start(place: &Place, switch: &Switch, fault: &DiskFault) -> Served {
    let mut command = serve(place);
    switch.under(&mut command, fault);
    let mut served = Served::try_start(command).unwrap_or_else(|ended| panic!("{fault:?}: {ended:?}"));
    assert!(served.until_ready() <= READY_WITHIN);
    served
}

/// One run: the n-th call goes wrong while one check is sent. `None`: it was not met.
async fn run(place: &Place, phone: &Sender, told: &Told, fault: &DiskFault, tally: &mut Tally) -> Option<()> {
    let switch = Switch::off();
    let mut served = start(place, &switch, fault);
    retry(&served.address, told).await;
    switch.turn_on();
    let number = told.lock().unwrap().len();
    let form_key = format!("{}{}{number}", fault.op, fault.from);
    let came = send_check(&served.address, phone, told, &form_key, number as u64).await;
    if switch.hits() == 0 {
        assert!(came, "nothing went wrong, and it was refused");
        return None;
    }
    tally.runs += 1;
    tally.refused += u32::from(!came);
    match fault.how {
        How::Error(EIO) => {
            let status = served.ends_within(ENDS_WITHIN).unwrap_or_else(|| panic!("{fault:?}: it goes on"));
            assert_eq!(status.code(), Some(disk_fault::STATUS), "{fault:?}: {}", served.words());
            let words = served.words();
            let last = words.lines().last().unwrap_or_default().to_owned();
            assert!(last.contains("the disk did not keep"), "{fault:?}: {words}");
            tally.ended += 1;
        }
        _ => {
            switch.turn_off();
            // It recovers by itself: the same program takes the same check.
            retry(&served.address, told).await;
            assert_eq!(served.ended(), None, "{fault:?}: {}", served.words());
            assert!(served.until_ready() > Duration::ZERO);
        }
    }
    Some(())
}

/// A whole case, on books of its own.
async fn case(op: &'static str, path: &'static str, count: Option<u32>, how: How) {
    let place = Place::sqlite();
    let phones = senders(&place, 1).await;
    let (told, mut tally) = (Told::default(), Tally::default());
    let mut from = 1;
    loop {
        assert!(from < MOST_CALLS, "{op} {path} goes on for ever");
        let fault = DiskFault { op, path, from, count, how };
        if run(&place, &phones[0], &told, &fault, &mut tally).await.is_none() {
            break;
        }
        from += if op == "fsync" || all() { 1 } else { (from / 3).max(1) };
    }
    let served = Served::start(&place);
    retry(&served.address, &told).await;
    served.kill();
    let found = compare(&place, &told).await;
    let often = if count.is_some() { "once" } else { "for ever" };
    let Tally { runs, ended, refused } = tally;
    println!(
        "{how:?} at {op} of {path}, {often}: {runs} faults, {refused} checks refused at first, {ended} ends of the \
         program; {}",
        found.line()
    );
    assert!(found.is_whole(), "{found:?}");
    assert!(runs > 0, "the fault was never met");
    place.clear().await;
}

fn all() -> bool {
    std::env::var("DISK_FAULTS").is_ok_and(|text| text == "all")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn after_a_sync_of_the_log_that_failed_the_program_ends_and_the_next_one_has_all_that_was_acknowledged()
{
    case("fsync", "-wal", Some(1), How::Error(EIO)).await;
    if all() {
        case("fsync", "-wal", None, How::Error(EIO)).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn after_a_write_of_the_log_that_failed_the_program_ends_too() {
    if all() {
        case("write", "-wal", Some(1), How::Error(EIO)).await;
    }
    case("write", "-wal", None, How::Error(EIO)).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn after_a_photo_that_could_not_be_synced_or_written_the_program_ends_and_no_row_is_without_its_photo()
{
    case("fsync", "/photos", Some(1), How::Error(EIO)).await;
    case("write", "/photos", Some(1), How::Error(EIO)).await;
    if all() {
        case("any", "/photos", None, How::Error(EIO)).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_a_full_disk_nothing_ends_and_what_was_refused_is_taken_once_there_is_room() {
    case("write", "-wal", None, How::Error(ENOSPC)).await;
    case("write", "/photos", None, How::Error(ENOSPC)).await;
}

#[tokio::test]
async fn books_that_cannot_be_settled_at_the_start_are_not_served_from() {
    let place = Place::sqlite();
    let phones = senders(&place, 1).await;
    let told = Told::default();
    let served = Served::start(&place);
    assert!(send_check(&served.address, &phones[0], &told, "before", 1).await);
    served.kill();
    let (switch, mut command) = (Switch::off(), serve(&place));
    let how = How::Error(EIO);
    let fault = DiskFault { op: "fsync", path: "test.sqlite$", from: 1, count: None, how };
    switch.without_gate(&mut command, &fault);
    let Err(ended) = Served::try_start(command) else { panic!("it serves from a disk that does not sync") };
    println!("{} ({})", ended.words.trim(), ended.status);
    assert!(!ended.status.success() && !ended.words.is_empty());
    assert!(compare(&place, &told).await.is_whole());
    place.clear().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_a_slow_disk_what_is_said_comes_late_and_nothing_is_lost() {
    let place = Place::sqlite();
    let phones = senders(&place, 1).await;
    let (told, switch) = (Told::default(), Switch::off());
    let how = How::Slow { delay_ms: 2_000 };
    let fault = DiskFault { op: "fsync", path: "-wal", from: 1, count: None, how };
    let served = start(&place, &switch, &fault);
    switch.turn_on();
    let began = Instant::now();
    // Whoever writes waits for the others, and may be refused: a phone sends again until it is told.
    let mut refused = 0;
    while !send_check(&served.address, &phones[0], &told, "slow", 1).await {
        refused += 1;
        assert!(began.elapsed() < Duration::from_secs(60), "never acknowledged: {}", served.words());
    }
    let took = began.elapsed();
    // Answers and photo are each a transaction.
    assert!(took >= Duration::from_secs(4), "acknowledged before it was synced: {took:?}");
    served.kill();
    let found = compare(&place, &told).await;
    println!(
        "fsync takes 2 s more: a check is acknowledged after {took:.1?}, {refused} times refused before; {}",
        found.line()
    );
    assert!(found.is_whole() && found.receipts == 1 && found.photos == 1, "{found:?}");
    place.clear().await;
}
