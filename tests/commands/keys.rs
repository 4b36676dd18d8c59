//! `closewatch keys`, while the practice works on: a key is added, everything is wrapped by it, the old one is taken out, and
//! no photo is unreadable at any time.
#![expect(clippy::disallowed_methods, reason = "no process is started here that ends with its thread")]

use std::fs;
use std::io::BufRead;
use std::io::BufReader;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;
use std::time::Duration;

use closewatch::care::knock::PinTry;
use closewatch::care::pins;
use closewatch::care::sealing_keys;
use closewatch::care::sealing_keys::Beside;
use closewatch::care::sealing_keys::RUNS_WITHIN;
use closewatch::care::thread as asking;
use closewatch::ids::Chance;
use closewatch::store::BlobName;
use closewatch::store::key_file;
use closewatch::store::keyring::KeyRing;
use closewatch::store::photos;
use closewatch::store::sealed_blobs;
use closewatch::store::sealing_servers;
use closewatch::store::sealing_servers::SealingServer;
use closewatch::store::server;
use closewatch::store::text_columns;
use closewatch::store::thread;
use closewatch::triage::Decision;
use closewatch::web::Clock;

use crate::support;
use crate::support::Phone;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Served;
use crate::support::in_each_place;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::serve;
use crate::support::with_words;

fn keys(place: &Place, command: &str, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_closewatch"))
        .args([
            "keys",
            command,
            "--data",
            place.folder.path().to_str().unwrap(),
            "--database-url",
            &place.url,
        ])
        .args(more)
        .output()
        .unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// How many renditions the phone’s photos have, each read. The pictures are small: full and review are one blob.
async fn all_readable(practice: &Practice, phone: &Phone) -> usize {
    let mut conn = practice.books().await;
    let mut read = 0;
    for check in phone.checks().await {
        for photo in photos::of_check(&mut conn, practice.id, check.id).await.unwrap() {
            let renditions = photo.renditions.unwrap();
            for name in [&renditions.full, &renditions.review, &renditions.small] {
                let bytes = practice.desk().blobs.get(&mut conn, practice.id, name).await.unwrap().unwrap();
                assert_eq!(&BlobName::of(&bytes), name);
                read += 1;
            }
        }
    }
    read
}

/// As if the file had been written five minutes earlier.
fn five_minutes_ago(path: &Path) {
    let file = fs::File::options().append(true).open(path).unwrap();
    let written = file.metadata().unwrap().modified().unwrap();
    file.set_modified(written - Duration::from_secs(300)).unwrap();
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { found.extend(files(&path)) } else { found.push(path) }
    }
    found
}

async fn versions(practice: &Practice) -> Vec<(u32, i64)> {
    sealed_blobs::count_by_key(&mut *practice.books().await, practice.id).await.unwrap()
}

#[tokio::test]
async fn a_key_is_rotated_under_a_working_practice_and_every_photo_can_be_read_all_the_while() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    phone.sends("one", no_danger(), &[jpeg(1), jpeg(2)]).await;
    let key_file = place.folder.path().join("sealing-keys");
    // Four pictures, what two people's authenticator apps began with, and the pepper of the PINs; beside them a wound's words.
    assert!(said(&keys(&place, "show", &[])).contains("7 objects are opened by key 1."));

    let told = keys(&place, "add", &[]);
    assert!(told.status.success() && said(&told).contains("Key 2 was added."), "{}", said(&told));
    assert_eq!(all_readable(&practice, &phone).await, 6);
    // The server has not read it yet: what comes is sealed with the old one, and nothing is lost.
    phone.sends("two", no_danger(), &[jpeg(3)]).await;
    assert_eq!(versions(&practice).await, [(1, 6)]);
    assert!(said(&keys(&place, "rewrap", &[])).contains("10 keys were wrapped anew by key 2."));
    // Now it meets a key it does not know, and reads the file.
    assert_eq!(all_readable(&practice, &phone).await, 9);
    assert_eq!(phone.types_pin().await, PinTry::Right);
    phone.sends("three", no_danger(), &[jpeg(4)]).await;
    assert_eq!(versions(&practice).await, [(2, 8)]);
    assert!(said(&keys(&place, "rewrap", &[])).contains("0 keys were wrapped anew"));

    let told = keys(&place, "remove", &["1"]);
    assert_eq!(told.status.code(), Some(2));
    assert!(said(&told).contains("wait two minutes"), "{}", said(&told));
    five_minutes_ago(&key_file);
    assert!(said(&keys(&place, "remove", &["2"])).contains("cannot be taken out"), "the newest seals");
    assert!(keys(&place, "remove", &["1"]).status.success());
    practice.desk().blobs.reload_keys().unwrap();
    assert_eq!(all_readable(&practice, &phone).await, 12);
    assert_eq!(phone.types_pin().await, PinTry::Right, "the pepper is the same under the new key");
    assert!(!fs::read_to_string(&key_file).unwrap().lines().any(|line| line.starts_with("1 ")));
}

/// Everything the patient and the surgeon wrote to each other, and what was typed in the first check.
async fn words_of(practice: &Practice, phone: &Phone) -> Vec<String> {
    let wound = phone.patient.enrolled.wound.id;
    let messages = thread::of_wound(&mut *practice.books().await, practice.id, wound).await.unwrap();
    let mut words: Vec<String> = messages.iter().map(|message| message.body.to_string()).collect();
    words.push(phone.checks().await.pop().unwrap().answers.words);
    words
}

async fn texts(practice: &Practice) -> Vec<(u32, i64)> {
    text_columns::count_by_key(&mut *practice.books().await, practice.id).await.unwrap()
}

#[tokio::test]
async fn a_key_is_rotated_under_a_working_practice_and_every_word_can_be_read_all_the_while() {
    in_each_place(async |place| {
        let practice = Practice::open(place).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        let check = phone.sends("one", with_words("It smells."), &[]).await.check;
        surgeon.decides(check, Decision::HealingAsExpected, "All is well.").await.unwrap();
        // The wound, the check and its version, the note and the answer.
        assert_eq!(texts(&practice).await, [(1, 5)]);
        let said_now = said(&keys(place, "show", &[]));
        assert!(said_now.contains("5 texts are opened by key 1."), "{said_now}");
        assert_eq!(words_of(&practice, &phone).await, ["All is well.", "It smells."]);

        assert!(keys(place, "add", &[]).status.success());
        let asks = async |key: &str, words: &str| {
            let (desk, moment) = (practice.desk(), practice.moment());
            asking::ask(desk, &phone.holder().await, key, words, &moment).await.unwrap();
        };
        asks("ask 1", "May I swim?").await;
        assert_eq!(texts(&practice).await, [(1, 6)], "the server has not read the new one yet");
        five_minutes_ago(&place.folder.path().join("sealing-keys"));
        let told = keys(place, "remove", &["1"]);
        assert!(
            said(&told).contains("key 1 still opens") && told.status.code() == Some(2),
            "{}",
            said(&told)
        );
        assert!(keys(place, "rewrap", &[]).status.success());
        assert_eq!(texts(&practice).await, [(2, 6)]);
        assert_eq!(words_of(&practice, &phone).await, ["All is well.", "May I swim?", "It smells."]);
        asks("ask 2", "And run?").await;
        assert_eq!(texts(&practice).await, [(2, 7)]);
        assert!(said(&keys(place, "rewrap", &[])).contains("0 keys were wrapped anew"));
        assert!(keys(place, "remove", &["1"]).status.success());
        practice.desk().blobs.reload_keys().unwrap();
        assert_eq!(
            words_of(&practice, &phone).await,
            ["All is well.", "May I swim?", "And run?", "It smells."]
        );
    })
    .await;
}

#[tokio::test]
async fn a_key_that_still_opens_something_is_not_taken_out() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    phone.sends("one", no_danger(), &[jpeg(1)]).await;
    assert!(keys(&place, "add", &[]).status.success());
    let key_file = place.folder.path().join("sealing-keys");
    five_minutes_ago(&key_file);
    let told = keys(&place, "remove", &["1"]);
    assert_eq!(told.status.code(), Some(2));
    // Two sizes of the picture, what two people's authenticator apps began with, the pepper of the PINs, a wound's words.
    assert!(said(&told).contains("key 1 still opens 6 objects"), "{}", said(&told));
}

#[tokio::test]
async fn no_file_of_the_photo_folder_begins_like_a_picture() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("one", no_danger(), &[jpeg(1), jpeg(2)]).await;
        assert_eq!(all_readable(&practice, &phone).await, 6);
        let kept = versions(&practice).await;
        assert_eq!(kept, [(1, 4)]);
    })
    .await;
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    phone.sends("one", no_danger(), &[jpeg(1), jpeg(2)]).await;
    let found = files(&place.folder.path().join("photos"));
    assert_eq!(found.len(), 4);
    for path in found {
        let bytes = fs::read(&path).unwrap();
        assert!(!bytes.windows(3).take(64).any(|window| window == [0xff, 0xd8, 0xff]), "{}", path.display());
        assert!(!bytes.windows(4).any(|window| window == b"JFIF"), "{}", path.display());
        // Sealed bytes are as good as chance: every value comes about as often (a chi-square far beyond any doubt is 600).
        let mut counts = [0f64; 256];
        bytes.iter().for_each(|byte| counts[usize::from(*byte)] += 1.0);
        let expected = bytes.len() as f64 / 256.0;
        let chi: f64 = counts.iter().map(|count| (count - expected).powi(2) / expected).sum();
        assert!(chi < 600.0, "{}: {chi}", path.display());
    }
}

/// What a server says when it starts, until it listens.
fn start_says(place: &Place) -> String {
    let data = place.folder.path().to_str().unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_closewatch"))
        .args(["serve", "--port", "0", "--data", data, "--database-url", &place.url])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
    let said: Vec<String> = lines.take_while(|line| !line.starts_with("Closewatch listens")).collect();
    child.kill().unwrap();
    child.wait().unwrap();
    said.join("\n")
}

#[tokio::test]
async fn every_start_asks_for_a_copy_of_the_keys_until_one_that_holds_them_all_was_shown() {
    let place = Place::sqlite();
    Practice::open(&place).await.desk().db.close().await;
    for _ in 0..2 {
        let said = start_says(&place);
        assert!(said.contains("NO COPY") && said.contains("closewatch keys copied"), "{said}");
    }
    let (file, copy) = (place.folder.path().join("sealing-keys"), place.folder.path().join("stick"));
    let show = |copy: &Path| keys(&place, "copied", &["--copy", copy.to_str().unwrap()]);
    assert!(said(&show(&file)).contains("is the file itself"));
    assert!(!show(&copy).status.success(), "there is none yet");
    let text = fs::read_to_string(&file).unwrap();
    fs::write(&copy, &text[..text.trim_end().len() - 1]).unwrap();
    assert!(!show(&copy).status.success(), "a letter is missing");
    fs::copy(&file, &copy).unwrap();
    assert!(said(&show(&copy)).contains("holds every key"), "{}", said(&show(&copy)));
    assert!(!start_says(&place).contains("NO COPY"));
    // A new key is not in the old copy.
    assert!(keys(&place, "add", &[]).status.success());
    assert!(start_says(&place).contains("NO COPY"));
    assert!(said(&show(&copy)).contains("key 2 is not in it"), "{}", said(&show(&copy)));
    fs::copy(&file, &copy).unwrap();
    assert!(show(&copy).status.success());
    assert!(!start_says(&place).contains("NO COPY"));
}

/// A practice with a check in words and a photo, on the machine's clock like the program.
async fn lived_in(place: &Place) -> (Practice, Phone) {
    let practice = Practice::open_by(place, Clock::Machine).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    phone.sends("one", with_words("It smells."), &[jpeg(1)]).await;
    (practice, phone)
}

fn closewatch_on(place: &Place, words: &[&str]) -> Output {
    let mut command = support::closewatch(words);
    command.args(["--data", place.folder.path().to_str().unwrap(), "--database-url", &place.url]);
    command.output().unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_start_that_does_not_find_the_keys_makes_no_others_and_says_what_to_do() {
    in_each_place(async |place| {
        let (practice, phone) = lived_in(place).await;
        let file = place.folder.path().join("sealing-keys");
        let elsewhere = place.folder.path().join("elsewhere");
        fs::rename(&file, &elsewhere).unwrap();
        let refused = |status: Option<i32>, words: &str| {
            assert_eq!(status, Some(2), "{words}");
            assert!(
                words.contains("CLOSEWATCH_SEALING_KEYS_FILE") && words.contains("put its copy"),
                "{words}"
            );
            assert!(!file.exists(), "it made others");
        };
        let ended = tokio::task::block_in_place(|| Served::try_start(serve(place)));
        let ended = ended.err().expect("it started");
        refused(ended.status.code(), &ended.words);
        for words in [&["measure", "--again"][..], &["staff", "re-enrol", "nobody"]] {
            let told = closewatch_on(place, words);
            refused(told.status.code(), &said(&told));
        }
        let shown = said(&keys(place, "show", &[]));
        assert!(shown.contains("the file is MISSING"), "{shown}");
        assert!(shown.contains("are opened by key 1, and this key is MISSING"), "{shown}");
        // Put back, everything is as it was.
        fs::rename(&elsewhere, &file).unwrap();
        tokio::task::block_in_place(|| Served::start(place).until_ready());
        assert_eq!(words_of(&practice, &phone).await, ["It smells."]);
        assert_eq!(all_readable(&practice, &phone).await, 3);
    })
    .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_start_that_finds_the_keys_of_other_books_says_so_and_seals_nothing_with_them() {
    in_each_place(async |place| {
        let (practice, phone) = lived_in(place).await;
        let file = place.folder.path().join("sealing-keys");
        let right = fs::read(&file).unwrap();
        let others = KeyRing::new_line(None, &Chance::seeded(41));
        fs::write(&file, &others).unwrap();
        let ended = tokio::task::block_in_place(|| Served::try_start(serve(place)));
        let ended = ended.err().expect("it started");
        assert_eq!(ended.status.code(), Some(2), "{}", ended.words);
        assert!(ended.words.contains("holds another key 1"), "{}", ended.words);
        let told = closewatch_on(place, &["measure", "--again"]);
        assert!(said(&told).contains("holds another key 1"), "{}", said(&told));
        assert_eq!(fs::read_to_string(&file).unwrap(), others, "it is not the program's to change");
        // One photo that is damaged makes no other key of the right one.
        fs::write(&file, &right).unwrap();
        let mut tx = practice.desk().db.write().await.unwrap();
        let damage = "UPDATE sealed_blob SET wrapped_key = practice.sealed_pin_pepper FROM practice WHERE sha256 = \
                      (SELECT MIN(sha256) FROM sealed_blob)";
        assert_eq!(sqlx::query(damage).execute(&mut *tx).await.unwrap().rows_affected(), 1);
        tx.commit().await.unwrap();
        tokio::task::block_in_place(|| Served::start(place).until_ready());
        assert_eq!(words_of(&practice, &phone).await, ["It smells."]);
    })
    .await;
}

async fn named(practice: &Practice) -> Option<u32> {
    sealing_keys::newest_named(&mut *practice.books().await).await.unwrap()
}

fn ring_after(before: u32) -> KeyRing {
    KeyRing::from_text(&KeyRing::new_line(Some(before), &Chance::seeded(31))).unwrap()
}

#[tokio::test]
async fn the_books_name_a_key_as_soon_as_anything_is_sealed_or_noted_with_it() {
    on_each_engine(async |practice| {
        assert_eq!(named(&practice).await, None, "the first start may make a key");
        let pepper = ring_after(1).seal(&[7; 32], &pins::about(practice.id), &Chance::seeded(32));
        let mut tx = practice.desk().db.write().await.unwrap();
        sqlx::query("UPDATE practice SET sealed_pin_pepper = $1")
            .bind(pepper)
            .execute(&mut *tx)
            .await
            .unwrap();
        tx.commit().await.unwrap();
        assert_eq!(named(&practice).await, Some(2));
        let mut tx = practice.desk().db.write().await.unwrap();
        sqlx::query("UPDATE practice SET sealed_pin_pepper = NULL").execute(&mut *tx).await.unwrap();
        tx.commit().await.unwrap();
        // The seed of an app, sealed by the practice's own key.
        practice.lead().await;
        assert_eq!(named(&practice).await, Some(1));
        let mut tx = practice.desk().db.write().await.unwrap();
        server::note_keys_copied(&mut tx, 4).await.unwrap();
        tx.commit().await.unwrap();
        assert_eq!(named(&practice).await, Some(4));
        for (key_version, name) in [(6, "one"), (5, "other")] {
            let mut tx = practice.desk().db.write().await.unwrap();
            let server = SealingServer { name: name.to_owned(), key_version, noted: practice.now() };
            sealing_servers::note(&mut tx, &server, practice.now()).await.unwrap();
            tx.commit().await.unwrap();
            assert_eq!(named(&practice).await, Some(6), "once a server worked with it");
        }
    })
    .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn after_the_keys_are_lost_the_new_one_is_above_all_that_the_books_name_and_old_lines_still_fit() {
    in_each_place(async |place| {
        let (practice, _phone) = lived_in(place).await;
        let file = place.folder.path().join("sealing-keys");
        let first = fs::read_to_string(&file).unwrap();
        fs::remove_file(&file).unwrap();
        let made = keys(place, "new", &[]);
        assert!(made.status.success(), "{}", said(&made));
        assert!(
            said(&made).contains("It holds key 2") && said(&made).contains("STAYS CLOSED"),
            "{}",
            said(&made)
        );
        let second = key_file::read_keys(&file).unwrap().unwrap();
        assert_eq!(second.versions().collect::<Vec<_>>(), [2]);
        tokio::task::block_in_place(|| Served::start(place).until_ready());
        let shown = said(&keys(place, "show", &[]));
        assert!(shown.contains("are opened by key 1, and this key is MISSING"), "{shown}");
        // What cannot be opened does not keep the rest from being wrapped anew.
        assert!(keys(place, "add", &[]).status.success());
        let mut tx = practice.desk().db.write().await.unwrap();
        // The server was killed a moment ago.
        sqlx::query("DELETE FROM server_state WHERE name LIKE 'seals:%'").execute(&mut *tx).await.unwrap();
        tx.commit().await.unwrap();
        let told = keys(place, "rewrap", &[]);
        assert!(told.status.success(), "{}", said(&told));
        assert!(said(&told).contains("cannot be opened with these keys and were left"), "{}", said(&told));

        // The old file is found: both fit into one, and everything opens.
        let now = fs::read_to_string(&file).unwrap();
        fs::write(&file, format!("{first}{now}")).unwrap();
        let ring = key_file::read_keys(&file).unwrap().unwrap();
        assert_eq!(ring.versions().collect::<Vec<_>>(), [1, 2, 3]);
        let told = keys(place, "rewrap", &[]);
        assert!(!said(&told).contains("cannot be opened"), "{}", said(&told));
        assert!(!said(&keys(place, "show", &[])).contains("MISSING"));

        // A copy of the file from long ago: what is added is no second key 2.
        fs::write(&file, &first).unwrap();
        let told = keys(place, "add", &[]);
        assert!(said(&told).contains("Key 4 was added."), "{}", said(&told));
    })
    .await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn while_a_server_works_with_a_copy_of_the_old_keys_nothing_is_wrapped_anew_and_none_is_taken_out() {
    let place = Place::sqlite();
    let (practice, phone) = lived_in(&place).await;
    let (file, handed) = (place.folder.path().join("sealing-keys"), place.folder.path().join("handed"));
    // As a unit does that loads it as a credential: a copy, made when it starts.
    let start = || {
        fs::copy(&file, &handed).unwrap();
        let mut command = serve(&place);
        command.args(["--sealing-keys-file", handed.to_str().unwrap()]);
        let mut served = Served::try_start(command).unwrap();
        served.until_ready();
        served
    };
    let served = tokio::task::block_in_place(start);
    let told = keys(&place, "add", &[]);
    assert!(said(&told).contains("must be restarted"), "{}", said(&told));
    five_minutes_ago(&file);
    for (command, more) in [("rewrap", &[][..]), ("remove", &["1"])] {
        let told = keys(&place, command, more);
        assert_eq!(told.status.code(), Some(2), "{}", said(&told));
        assert!(
            said(&told).contains("a server that runs seals with key 1")
                && said(&told).contains("restart the server"),
            "{}",
            said(&told)
        );
    }
    assert!(texts(&practice).await.iter().all(|(version, _)| *version == 1), "something was wrapped anew");
    assert!(versions(&practice).await.iter().all(|(version, _)| *version == 1));

    drop(served);
    let _served = tokio::task::block_in_place(start);
    let told = keys(&place, "rewrap", &[]);
    assert!(told.status.success(), "{}", said(&told));
    five_minutes_ago(&file);
    let told = keys(&place, "remove", &["1"]);
    assert!(told.status.success(), "{}", said(&told));
    practice.desk().blobs.reload_keys().unwrap();
    assert_eq!(words_of(&practice, &phone).await, ["It smells."]);
    assert_eq!(all_readable(&practice, &phone).await, 3);
}

#[tokio::test]
async fn only_servers_that_noted_themselves_lately_are_waited_for() {
    on_each_engine(async |practice| {
        let (desk, now) = (practice.desk(), practice.now());
        let other = async |newest: u32, at: jiff::Timestamp| {
            sealing_keys::other_in_use(&mut *practice.books().await, newest, at).await.unwrap()
        };
        assert_eq!(other(2, now).await, None, "no server runs");
        sealing_keys::note_server(desk, "one", Beside::Others, now).await.unwrap();
        assert_eq!(other(1, now).await, None, "it has the newest");
        let second = jiff::SignedDuration::from_secs(1);
        assert_eq!(other(2, now + RUNS_WITHIN - second).await, Some(1));
        assert_eq!(other(2, now + RUNS_WITHIN).await, None, "it ended without a word");
        // Of two that work beside each other, the one that ends is waited for no more; nor is one in whose place another stands.
        let later = now + second;
        sealing_keys::note_server(desk, "two", Beside::Others, later).await.unwrap();
        sealing_keys::forget_server(desk, "one").await.unwrap();
        assert_eq!(other(2, later).await, Some(1));
        sealing_keys::note_server(desk, "three", Beside::Nobody, later + second).await.unwrap();
        let noted = sealing_servers::all(&mut *practice.books().await).await.unwrap();
        assert_eq!(noted.iter().map(|server| server.name.as_str()).collect::<Vec<_>>(), ["three"]);
        sealing_keys::forget_server(desk, "three").await.unwrap();
        assert_eq!(other(2, later).await, None);
    })
    .await;
}
