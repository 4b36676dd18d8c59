//! The real program, killed again and again while checks come in: whatever it had acknowledged is there afterwards,
//! whole, and once.
//!
//! What the kills left in the photo folder is cleared away by the next start, and nothing that a row names.
//!
//! `KILL_ROUNDS` (50; a fifth of it on PostgreSQL) kills, each 0 to 300 ms after the phones began to send; `KILL_STORM_S` seconds
//! (12) of a kill every two seconds, however far the program had come by then.

mod support;

use std::fs;
use std::path::Path;
use std::time::Duration;

use tokio::time::Instant;

use closewatch::ids::Chance;
use closewatch::store::Db;
use closewatch::store::orphans;
use closewatch::store::orphans::Named;

use support::Place;
use support::READY_WITHIN;
use support::Served;
use support::Told;
use support::compare;
use support::in_each_place;
use support::retry;
use support::send_for;
use support::senders;

const PHONES: usize = 4;
const LATEST_KILL_MS: u32 = 300;
/// Between two kills of the storm.
const STORM: Duration = Duration::from_secs(2);

/// A number from the environment.
fn asked(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).map_or(otherwise, |text| text.parse().expect("a whole number"))
}

/// Starts once more, sends again what was never answered, and compares.
async fn whatever_was_acknowledged_is_there(place: &Place, told: &Told, kills: u64) {
    let mut served = Served::start(place);
    served.until_ready();
    retry(&served.address, told).await;
    served.kill();
    let found = compare(place, told).await;
    println!("{}: {kills} kills, {}", place.engine_name(), found.line());
    assert!(found.is_whole(), "{found:?}");
    assert!(found.receipts > 0 && found.photos > 0, "nothing was tried");
    what_the_kills_left_is_cleared_away(place, kills).await;
    assert_eq!(compare(place, told).await, found, "the sweep took something away");
}

/// Makes every file of the photo folder older than a day, starts, and waits for the sweep.
async fn what_the_kills_left_is_cleared_away(place: &Place, kills: u64) {
    let folder = place.folder.path().join("photos");
    let named = {
        let db = Db::open(&place.url).await.unwrap();
        let named = orphans::named(&mut db.read().await.unwrap()).await.unwrap();
        db.close().await;
        named
    };
    let left = |named: &Named| orphans::find(&folder, named, Duration::ZERO).unwrap();
    let before = left(&named);
    // Between the first and the last kill nothing was swept: all of it is younger than a day.
    // Each kill leaves a photo of each phone, and one more that was kept, not answered, and sent again.
    let most = usize::try_from(kills).unwrap() * PHONES * 3 * 2 + 2;
    assert!(before.len() <= most, "{} files left by {kills} kills", before.len());
    // One for certain, whatever the kills left.
    let orphan = folder.join("ab").join("ab".repeat(32));
    fs::create_dir_all(orphan.parent().unwrap()).unwrap();
    fs::write(&orphan, "of nothing").unwrap();
    let served = Served::start(place);
    tokio::time::sleep(Duration::from_millis(500)).await;
    assert!(orphan.exists(), "younger than a day, and gone");
    served.kill();
    make_all_older(&folder, Duration::from_secs(25 * 3_600));
    let served = Served::start(place);
    let begun = Instant::now();
    while !left(&named).is_empty() && begun.elapsed() < Duration::from_secs(10) {
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    assert_eq!(left(&named).len(), 0, "of {} still there: {}", before.len(), served.words());
    assert!(!orphan.exists());
    served.kill();
    println!(
        "{} files that no row named, and 1 of our own, cleared away; {} named ones stay",
        before.len(),
        named.len()
    );
}

fn make_all_older(folder: &Path, by: Duration) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            make_all_older(&path, by);
        } else {
            let written = fs::metadata(&path).unwrap().modified().unwrap() - by;
            fs::File::options().write(true).open(&path).unwrap().set_modified(written).unwrap();
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn what_was_acknowledged_survives_every_kill_and_a_retry_makes_no_second_check() {
    in_each_place(async |place| {
        // PostgreSQL's own durability is not ours: here it is only the way from it to the phone.
        let rounds = asked("KILL_ROUNDS", 50).div_ceil(if place.engine_name() == "SQLite" { 1 } else { 5 });
        let phones = senders(place, PHONES).await;
        let (chance, told) = (Chance::seeded(41), Told::default());
        let (mut slowest, mut all_ready) = (Duration::ZERO, Duration::ZERO);
        let (mut retried, begun) = (Duration::ZERO, Instant::now());
        for round in 0..rounds {
            let mut served = Served::start(place);
            let ready = served.until_ready();
            assert!(ready <= READY_WITHIN, "round {round}: ready only after {ready:?}");
            slowest = slowest.max(ready);
            all_ready += ready;
            let retrying = Instant::now();
            retry(&served.address, &told).await;
            retried += retrying.elapsed();
            let (address, name) = (served.address.clone(), format!("round{round}"));
            let delay = Duration::from_millis(u64::from(chance.below(LATEST_KILL_MS + 1)));
            send_for(&address, &phones, &told, &name, delay, || served.kill()).await;
        }
        println!(
            "{}: {rounds} rounds in {:.1} s: {:.1} s until ready (slowest {slowest:.1?}), {:.1} s sending again",
            place.engine_name(),
            begun.elapsed().as_secs_f64(),
            all_ready.as_secs_f64(),
            retried.as_secs_f64(),
        );
        whatever_was_acknowledged_is_there(place, &told, rounds).await;
    })
    .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_storm_of_restarts_loses_nothing_either() {
    let kills = asked("KILL_STORM_S", 12) / STORM.as_secs();
    let place = Place::sqlite();
    let phones = senders(&place, PHONES).await;
    let told = Told::default();
    for kill in 0..kills {
        let begun = Instant::now();
        let served = Served::start(&place);
        let (address, name) = (served.address.clone(), format!("storm{kill}"));
        let left = STORM.saturating_sub(begun.elapsed());
        send_for(&address, &phones, &told, &name, left, || served.kill()).await;
    }
    whatever_was_acknowledged_is_there(&place, &told, kills).await;
    place.clear().await;
}
