//! A byte that changed on the disk, in the books, their log or a photo: told, or without any effect; and never a wrong picture.
//!
//! `DAMAGES` (200) bytes are changed, one at a time, in copies of a practice's folder.

mod support;

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::path::PathBuf;

use closewatch::ids::Chance;
use closewatch::store::BlobName;
use closewatch::store::Blobs;
use closewatch::store::Db;
use closewatch::store::audit;
use closewatch::store::key_file;
use closewatch::store::log_whole;
use closewatch::store::photos;
use closewatch::store::row_sums;
use closewatch::store::whole;
use closewatch::store::whole::Depth;

use support::Place;
use support::Sender;
use support::Served;
use support::Told;
use support::rows_of;
use support::send_check;
use support::senders;
use support::serve_in;

/// What came of one changed byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Came {
    /// The start or the check of the books says so.
    Told,
    /// Reading stumbles over it.
    Stumbled,
    /// Every row and photo is as it was.
    Nothing,
    /// Rows read otherwise than they were written, and nobody says so: those of sessions, drafts, queues of measuring, keys and
    /// hashes, which carry no sum.
    Otherwise,
}

/// The tables in which rows differ.
fn differing(before: &[String], after: &[String]) -> BTreeSet<String> {
    let (before, after): (BTreeSet<_>, BTreeSet<_>) = (before.iter().collect(), after.iter().collect());
    let table = |row: &&String| row.split(' ').next().unwrap().to_owned();
    before.symmetric_difference(&after).map(table).collect()
}

/// Changes one bit; says in which byte.
fn flip(path: &Path, chance: &Chance) -> usize {
    let mut bytes = fs::read(path).unwrap();
    let at = chance.below(u32::try_from(bytes.len()).unwrap()) as usize;
    bytes[at] ^= 1 << chance.below(8);
    fs::write(path, bytes).unwrap();
    at
}

/// Everything a practice has, as text; an error where reading stumbles.
async fn read_all(db: &Db, of: &Sender) -> Result<Vec<String>, String> {
    let practice = of.practice;
    let mut conn = db.read().await.map_err(|fault| fault.to_string())?;
    let rows = tokio::spawn(async move { rows_of(&mut conn, practice).await });
    let rows = rows.await.map_err(|fell| fell.to_string())?;
    Ok(rows
        .into_iter()
        .flat_map(|(table, rows)| rows.into_iter().map(move |row| format!("{table} {row}")))
        .collect())
}

/// What came of it, and where nobody sees it. Everything is asked that a server asks of its books in a day.
async fn come_of(folder: &Path, of: &Sender, before: &[String]) -> (Came, BTreeSet<String>) {
    let url = format!("sqlite:{}", folder.join("test.sqlite").display());
    let nowhere = BTreeSet::new();
    let Ok(db) = Db::open(&url).await else { return (Came::Told, nowhere) };
    let is_told = match whole::faults(&db, Depth::Whole).await {
        Ok(faults) if faults.is_empty() => !chain_is_whole(&db, of).await,
        Ok(_) | Err(_) => true,
    };
    let found = if is_told {
        (Came::Told, nowhere)
    } else {
        match read_all(&db, of).await {
            Err(_) => (Came::Stumbled, nowhere),
            Ok(rows) if rows == before => (Came::Nothing, nowhere),
            Ok(rows) => (Came::Otherwise, differing(before, &rows)),
        }
    };
    db.close().await;
    found
}

async fn chain_is_whole(db: &Db, of: &Sender) -> bool {
    let mut conn = db.read().await.unwrap();
    matches!(audit::read_chain(&mut conn, of.practice, &[]).await, Ok(Ok(_)))
}

/// A folder in memory where there is one: nothing here must outlive anything, and opening books syncs them.
fn in_memory() -> tempfile::TempDir {
    tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir()).unwrap()
}

fn asked() -> u32 {
    std::env::var("DAMAGES").map_or(200, |text| text.parse().expect("a whole number"))
}

/// A phone that sent six checks with photos, and what it was told. Killed, the program leaves its log as it is.
async fn killed_after_six_checks() -> (Place, Sender, Told) {
    let place = Place::sqlite();
    let phone = senders(&place, 1).await.remove(0);
    let served = Served::start(&place);
    let told = Told::default();
    for number in 0..6 {
        assert!(send_check(&served.address, &phone, &told, &format!("form{number}"), number).await);
    }
    served.kill();
    (place, phone, told)
}

/// A practice with some checks and photos, its books settled.
async fn practice() -> (Place, Sender) {
    let (place, phone, _) = killed_after_six_checks().await;
    let db = Db::open(&place.url).await.unwrap();
    db.settle().await.unwrap();
    db.close().await;
    (place, phone)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_photo_with_a_changed_byte_is_an_error_and_never_a_picture() {
    let (place, phone) = practice().await;
    let db = Db::open(&place.url).await.unwrap();
    let keys = key_file::read_keys(&place.folder.path().join("sealing-keys")).unwrap().unwrap();
    let folder = place.folder.path().join("photos");
    let blobs = Blobs::in_folder(&folder).unwrap().sealed_with(keys, Chance::seeded(2));
    let mut conn = db.read().await.unwrap();
    let checks =
        closewatch::store::checks::by_form_key(&mut conn, phone.link, "form1").await.unwrap().unwrap();
    let photo = photos::of_check(&mut conn, phone.practice, checks.id).await.unwrap().remove(0);
    let name: BlobName = photo.renditions.unwrap().full;
    let kept =
        closewatch::store::sealed_blobs::find(&mut conn, phone.practice, &name).await.unwrap().unwrap();
    let path: PathBuf = folder.join(&kept.file.as_str()[..2]).join(kept.file.as_str());
    let (whole, chance) = (fs::read(&path).unwrap(), Chance::seeded(3));
    let tries = asked();
    for _ in 0..tries {
        flip(&path, &chance);
        assert!(blobs.open(&kept).await.is_err(), "a changed photo opens");
        fs::write(&path, &whole).unwrap();
    }
    assert!(blobs.open(&kept).await.unwrap().is_some());
    println!("{tries} photos with one changed bit: {tries} errors, 0 pictures");
    drop(conn);
    db.close().await;
    place.clear().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_changed_byte_in_the_books_comes_to_is_counted_and_the_program_does_not_start_on_damage_it_knows()
 {
    let (place, phone) = practice().await;
    let db = Db::open(&place.url).await.unwrap();
    let before = read_all(&db, &phone).await.unwrap();
    db.close().await;
    let (chance, tries) = (Chance::seeded(7), asked());
    let (mut counts, mut unseen_in) = (BTreeMap::<Came, u32>::new(), BTreeMap::<String, u32>::new());
    let mut refused = 0;
    for number in 0..tries {
        let copy = in_memory();
        fs::copy(place.folder.path().join("test.sqlite"), copy.path().join("test.sqlite")).unwrap();
        flip(&copy.path().join("test.sqlite"), &chance);
        let (came, unseen) = come_of(copy.path(), &phone, &before).await;
        for table in unseen {
            assert!(!row_sums::tables().any(|summed| summed == table), "{number}: {table}");
            *unseen_in.entry(table).or_default() += 1;
        }
        *counts.entry(came).or_default() += 1;
        // A start is dear: the first few that are told are started.
        if came == Came::Told && refused < 5 {
            fs::copy(place.folder.path().join("sealing-keys"), copy.path().join("sealing-keys")).unwrap();
            let url = format!("sqlite:{}", copy.path().join("test.sqlite").display());
            if let Err(ended) = Served::try_start(serve_in(copy.path(), &url)) {
                assert!(!ended.status.success() && !ended.words.trim().is_empty());
                refused += 1;
            } else {
                println!("{number}: only the whole check, not the one at the start, sees it");
            }
        }
    }
    println!("{tries} changed bits in the books: {counts:?}; {refused} starts on damaged books refused");
    assert!(counts[&Came::Told] > 0 && refused > 0);
    let silent = counts.get(&Came::Otherwise).copied().unwrap_or(0);
    println!("{silent} of them changed what a row says and were not told: {unseen_in:?}");
    assert!(silent * 50 <= tries, "{silent} of {tries}");
    place.clear().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_changed_byte_in_the_log_is_told_before_anything_behind_it_is_lost() {
    let (place, _, told) = killed_after_six_checks().await;
    let name = |ending: &str| format!("test.sqlite{ending}");
    let log = fs::read(place.folder.path().join(name("-wal"))).unwrap();
    assert!(log.len() > 100_000, "{} bytes", log.len());
    let (chance, tries) = (Chance::seeded(9), asked());
    let (mut told_of, mut quiet) = (0, Vec::new());
    for _ in 0..tries {
        let copy = in_memory();
        fs::copy(place.folder.path().join(name("")), copy.path().join(name(""))).unwrap();
        fs::write(copy.path().join(name("-wal")), &log).unwrap();
        let at = flip(&copy.path().join(name("-wal")), &chance);
        let url = format!("sqlite:{}", copy.path().join(name("")).display());
        match log_whole::cut_short(&url).unwrap() {
            Some(_) => told_of += 1,
            None => quiet.push(at),
        }
    }
    // What is not told lies in the last change, of which nobody can say whether it was ever finished.
    let first_quiet = quiet.iter().min().copied().unwrap_or(log.len());
    println!(
        "{tries} changed bits in a log of {} bytes: {told_of} told, {} in the last change, from byte {first_quiet} on",
        log.len(),
        quiet.len()
    );
    assert!(told_of > tries / 2);
    // One of those that are told is started: it does not serve.
    let copy = tempfile::tempdir().unwrap();
    for ending in ["", "-wal"] {
        fs::copy(place.folder.path().join(name(ending)), copy.path().join(name(ending))).unwrap();
    }
    let mut changed = log.clone();
    changed[32 + 24 + 100] ^= 1;
    fs::write(copy.path().join(name("-wal")), &changed).unwrap();
    fs::copy(place.folder.path().join("sealing-keys"), copy.path().join("sealing-keys")).unwrap();
    let url = format!("sqlite:{}", copy.path().join(name("")).display());
    let Err(ended) = Served::try_start(serve_in(copy.path(), &url)) else { panic!("it serves half a log") };
    println!("{}", ended.words.trim());
    assert!(ended.words.contains("damaged at frame 1") && !ended.status.success(), "{}", ended.words);
    assert_eq!(fs::read(copy.path().join(name("-wal"))).unwrap(), changed, "the evidence was written over");
    assert!(support::compare(&place, &told).await.is_whole());
    place.clear().await;
}
