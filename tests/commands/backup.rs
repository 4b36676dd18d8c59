//! `closewatch backup` and `closewatch restore`, as whoever looks after a server runs them: while checks come in, killed in the
//! middle, with a byte changed, with the wrong key; and what a restored server does until it is armed.
//!
//! `BACKUP_ROUNDS` says how many back-ups are made while checks come in; the promise stands on 50, and a usual run makes a few.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::Ordering;
use std::time::Duration;

use tempfile::TempDir;
use tokio::time::Instant;

use closewatch::ids::Chance;
use closewatch::store::Db;
use closewatch::store::audit;
use closewatch::store::books;
use closewatch::store::checks;
use closewatch::store::practices;
use closewatch::web::Clock;

use crate::support;
use crate::support::Phone;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Safe;
use crate::support::Sender;
use crate::support::Served;
use crate::support::in_each_place;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::rows_of;
use crate::support::said_by;
use crate::support::send_answers;
use crate::support::send_photo;
use crate::support::word;

/// A practice with a lead and a patient, on the machine's clock like the program.
async fn lived_in(place: &Place) -> (Practice, Phone) {
    let practice = Practice::open_by(place, Clock::Machine).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    practice.lead().await;
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    (practice, phone)
}

/// An empty place: a folder that is not there yet, and books of either engine.
struct Empty {
    place: Place,
}

impl Empty {
    /// Of the other engine than `of`, where there is one.
    async fn across(of: &Place) -> Empty {
        let place = match (of.engine_name(), std::env::var("TEST_PG_URL")) {
            ("SQLite", Ok(server)) => Place::postgres(&server).await,
            _ => Place::sqlite(),
        };
        Empty { place }
    }

    fn data(&self) -> PathBuf {
        self.place.folder.path().join("restored")
    }

    /// On SQLite the books lie in the data folder, as they do by default.
    fn url(&self) -> String {
        match self.place.engine_name() {
            "SQLite" => format!("sqlite:{}", self.data().join("closewatch.sqlite").display()),
            _ => self.place.url.clone(),
        }
    }
}

/// Restores and wants every check to be well.
fn restores(safe: &Safe, from: &Path, place: &Place, to: &Empty) -> String {
    let told = safe.restoring(from, place, &to.data(), &to.url()).output().unwrap();
    let said = said_by(&told);
    assert!(told.status.success() && !said.contains("WRONG"), "{said}");
    for check in
        ["manifest", "parts", "sealing keys", "photo files", "counts", "database", "record", "photos"]
    {
        assert!(said.lines().any(|line| line.starts_with(check) && line.contains(" ok ")), "{check}: {said}");
    }
    said
}

/// Restores, wants it to be refused, and gives what it says.
fn refuses(safe: &Safe, from: &Path, place: &Place, data: &Path) -> (Option<i32>, String) {
    let url = format!("sqlite:{}", data.join("closewatch.sqlite").display());
    let told = safe.restoring(from, place, data, &url).output().unwrap();
    assert!(!told.status.success(), "{}", said_by(&told));
    (told.status.code(), said_by(&told))
}

#[tokio::test]
async fn every_table_of_either_engine_is_one_that_back_ups_know_in_an_order_that_restores() {
    in_each_place(async |place| {
        let db = Db::open(&place.url).await.unwrap();
        let mut there = books::tables_there(&mut db.read().await.unwrap(), db.engine()).await.unwrap();
        let mut known: Vec<&str> = books::TABLES.iter().map(|table| table.name).collect();
        there.sort();
        known.sort_unstable();
        assert_eq!(
            there, known,
            "a new table belongs into TABLES of src/store/books.rs, behind what it points at"
        );
        assert!(Db::make_blank(&place.url, Db::newest_schema()).await.unwrap().is_none(), "it is not empty");
        db.close().await;
    })
    .await;
}

#[tokio::test]
async fn every_row_comes_back_as_it_was_in_either_engine() {
    in_each_place(async |place| {
        let (practice, phone) = lived_in(place).await;
        phone.sends("one", no_danger(), &[jpeg(1), jpeg(2)]).await;
        practice.works().await;
        let before = rows_of(&mut *practice.books().await, practice.id).await;
        let safe = Safe::new();
        let from = safe.backs_up(place);
        let to = Empty::across(place).await;
        restores(&safe, &from, place, &to);
        let db = Db::open(&to.url()).await.unwrap();
        let mut after = rows_of(&mut db.read().await.unwrap(), practice.id).await;
        // The restore adds a line to the record, and the practice notes it as the last one.
        let record = after.remove("audit").unwrap();
        assert_eq!(record.len(), before["audit"].len() + 1);
        assert!(before["audit"].iter().all(|line| record.contains(line)));
        for (table, rows) in &after {
            let unnoted = |rows: &[String]| -> Vec<String> {
                let noted =
                    |word: &&str| !word.starts_with("audit_head=") && !word.starts_with("audit_sequence=");
                rows.iter().map(|row| row.split(' ').filter(noted).collect::<Vec<_>>().join(" ")).collect()
            };
            assert_eq!(unnoted(rows), unnoted(&before[table]), "{table}");
        }
        db.close().await;
        to.place.clear().await;
    })
    .await;
}

/// What phones were told: form key and receipt of each check whose photo is in too.
type Told = Arc<Mutex<BTreeMap<String, String>>>;

async fn send_until(stop: Arc<AtomicBool>, address: String, by: Sender, told: Told, sender: u64) {
    for number in 0.. {
        if stop.load(Ordering::Relaxed) {
            return;
        }
        let (form_key, picture) = (format!("sender{sender}number{number}"), jpeg(sender * 10_000 + number));
        let receipt = send_answers(&address, &by, &form_key).await.expect("the server is up all the while");
        send_photo(&address, &by, &form_key, &picture).await.expect("the server is up all the while");
        told.lock().unwrap().insert(form_key, receipt);
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
#[expect(clippy::disallowed_methods, reason = "no process is started here that ends with its thread")]
async fn back_ups_made_while_checks_come_in_are_each_restored_with_every_hash_right() {
    let rounds: usize = std::env::var("BACKUP_ROUNDS").map_or(3, |typed| typed.parse().unwrap());
    in_each_place(async |place| {
        let (practice, phone) = lived_in(place).await;
        practice.desk().db.close().await;
        let mut server = Served::start(place);
        tokio::task::block_in_place(|| server.until_ready());
        let by = Sender::of(&phone);
        let (told, stop) = (Told::default(), Arc::new(AtomicBool::new(false)));
        let sending: Vec<_> = (0..2)
            .map(|sender| {
                let (stop, told) = (Arc::clone(&stop), Arc::clone(&told));
                tokio::spawn(send_until(stop, server.address.clone(), by.clone(), told, sender))
            })
            .collect();
        let safe = Safe::new();
        for round in 0..rounds {
            tokio::time::sleep(Duration::from_millis(300)).await;
            let acknowledged = told.lock().unwrap().clone();
            let from = tokio::task::block_in_place(|| safe.backs_up(place));
            // Every second one goes into the other engine.
            let to =
                if round % 2 == 0 { Empty { place: Place::sqlite() } } else { Empty::across(place).await };
            tokio::task::block_in_place(|| restores(&safe, &from, place, &to));
            let db = Db::open(&to.url()).await.unwrap();
            let mut conn = db.read().await.unwrap();
            for (form_key, receipt) in &acknowledged {
                let link = phone.patient.issued.link.id;
                let check = checks::by_form_key(&mut conn, link, form_key).await.unwrap();
                assert_eq!(check.map(|check| check.receipt).as_ref(), Some(receipt), "{form_key}");
            }
            drop(conn);
            db.close().await;
            println!(
                "{}: round {round}: {} checks acknowledged before it, all there",
                place.engine_name(),
                acknowledged.len()
            );
            to.place.clear().await;
        }
        stop.store(true, Ordering::Relaxed);
        for sender in sending {
            sender.await.unwrap();
        }
        assert!(told.lock().unwrap().len() > rounds, "nothing came in");
    })
    .await;
}

#[tokio::test]
async fn a_back_up_killed_anywhere_leaves_a_whole_one_or_none() {
    let place = Place::sqlite();
    let (practice, phone) = lived_in(&place).await;
    for number in 0..8 {
        phone.sends(&format!("check {number}"), no_danger(), &[jpeg(number * 2), jpeg(number * 2 + 1)]).await;
    }
    practice.desk().db.close().await;
    let whole = Safe::new();
    let begun = Instant::now();
    whole.backs_up(&place);
    let takes = begun.elapsed();
    let (mut halves, mut none) = (0, 0);
    let safe = Safe::new();
    for kill in 0..16_u32 {
        let mut running = safe.backing_up(&place).stdout(std::process::Stdio::null()).spawn().unwrap();
        tokio::time::sleep(takes * kill / 16).await;
        running.kill().unwrap();
        running.wait().unwrap();
        let left = fs::read_dir(safe.target()).map_or(0, |entries| {
            entries
                .filter(|entry| entry.as_ref().unwrap().file_name().to_str().unwrap().starts_with(".half-"))
                .count()
        });
        halves += left;
        assert!(left <= 1, "what was left of the one before is gone");
        match safe.backups().pop() {
            None => none += 1,
            Some(from) => {
                restores(&safe, &from, &place, &Empty { place: Place::sqlite() });
                fs::remove_dir_all(from).unwrap();
            }
        }
        // Every one has all the photos to carry.
        let _ = fs::remove_dir_all(safe.target().join("photos"));
    }
    println!("of 16 back-ups killed within {takes:?}, {halves} were half and {none} were none");
    assert!(halves >= 3 && none >= 3, "it was never killed in the middle: {halves} halves, {none} none");
    let from = safe.backs_up(&place);
    restores(&safe, &from, &place, &Empty { place: Place::sqlite() });
    assert!(
        fs::read_dir(safe.target())
            .unwrap()
            .all(|entry| { !entry.unwrap().file_name().to_str().unwrap().starts_with(".half-") })
    );
}

#[tokio::test]
async fn a_byte_changed_anywhere_is_found_and_its_file_named_before_anything_is_restored() {
    let place = Place::sqlite();
    let (_practice, phone) = lived_in(&place).await;
    phone.sends("one", no_danger(), &[jpeg(1)]).await;
    let safe = Safe::new();
    let from = safe.backs_up(&place);
    let chance = Chance::seeded(17);
    let data = safe.folder.path().join("never");
    let mut files: Vec<PathBuf> = fs::read_dir(&from).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    assert_eq!(
        files.len(),
        books::TABLES.len() + 3,
        "a part for each table, the photos' list, manifest, signature"
    );
    let photos = safe.target().join("photos");
    let spread = fs::read_dir(&photos).unwrap().map(|entry| entry.unwrap().path());
    let photo = spread.flat_map(|folder| fs::read_dir(folder).unwrap()).next().unwrap().unwrap().path();
    files.push(photo);
    for file in files {
        let whole = fs::read(&file).unwrap();
        let mut changed = whole.clone();
        changed[chance.below(whole.len() as u32) as usize] ^= 1 << chance.below(8);
        fs::write(&file, &changed).unwrap();
        let (_, said) = refuses(&safe, &from, &place, &data);
        let name = file.file_name().unwrap().to_str().unwrap();
        let named = if name.starts_with("manifest") { "manifest" } else { name };
        assert!(said.contains(named) || said.contains("is no back-up"), "{name}: {said}");
        assert!(!data.join("closewatch.sqlite").exists(), "{name}: something was restored");
        fs::write(&file, &whole).unwrap();
    }
    restores(&safe, &from, &place, &Empty { place: Place::sqlite() });
}

#[tokio::test]
async fn another_private_key_is_told_apart_from_a_damaged_back_up() {
    let place = Place::sqlite();
    lived_in(&place).await;
    let (safe, other) = (Safe::new(), Safe::new());
    let from = safe.backs_up(&place);
    let data = safe.folder.path().join("never");
    let (status, said) = refuses(&other, &from, &place, &data);
    assert_eq!(status, Some(2));
    assert!(said.contains("this private key does not open it: it was made for age1"), "{said}");
    assert!(!data.join("closewatch.sqlite").exists());
}

#[tokio::test]
async fn a_manifest_signed_by_another_key_is_not_believed() {
    let place = Place::sqlite();
    lived_in(&place).await;
    let safe = Safe::new();
    let from = safe.backs_up(&place);
    let told = |key: &Path| {
        let data = safe.folder.path().join("tried");
        let mut command = safe.restoring(&from, &place, &data, "sqlite:unused");
        command.args(["--verify-only", "--public-key", word(key)]).output().unwrap()
    };
    let own = told(&place.folder.path().join("record-key.pub.pem"));
    assert!(
        own.status.success() && said_by(&own).contains("signed by the record's key"),
        "{}",
        said_by(&own)
    );
    let elsewhere = Place::sqlite();
    lived_in(&elsewhere).await;
    Safe::new().backs_up(&elsewhere);
    let other = told(&elsewhere.folder.path().join("record-key.pub.pem"));
    assert!(said_by(&other).contains("its signature is wrong"), "{}", said_by(&other));
    assert_eq!(other.status.code(), Some(1));
}

#[tokio::test]
async fn a_folder_or_database_that_holds_something_is_left_alone() {
    let place = Place::sqlite();
    lived_in(&place).await;
    let safe = Safe::new();
    let from = safe.backs_up(&place);
    let (status, said) = refuses(&safe, &from, &place, place.folder.path());
    assert_eq!(status, Some(2));
    assert!(said.contains("is not empty"), "{said}");
    let data = safe.folder.path().join("empty");
    let told = safe.restoring(&from, &place, &data, &place.url).output().unwrap();
    assert_eq!(told.status.code(), Some(2));
    assert!(said_by(&told).contains("the database holds something already"), "{}", said_by(&told));
    // The keys may be there: that is where the server looks for them.
    let to = Empty { place: Place::sqlite() };
    fs::create_dir(to.data()).unwrap();
    fs::copy(place.folder.path().join("sealing-keys"), to.data().join("sealing-keys")).unwrap();
    let mut command =
        support::closewatch(&["restore", "--from", word(&from), "--identity", word(&safe.identity())]);
    let told = command.args(["--data", word(&to.data())]).output().unwrap();
    assert!(told.status.success(), "{}", said_by(&told));
}

#[tokio::test]
async fn a_sealing_key_that_is_missing_is_named_before_anything_is_restored() {
    let place = Place::sqlite();
    let (_practice, phone) = lived_in(&place).await;
    phone.sends("one", no_danger(), &[jpeg(1)]).await;
    let keys = place.folder.path().join("sealing-keys");
    let first = fs::read(&keys).unwrap();
    for command in ["add", "rewrap"] {
        let mut keys = support::closewatch(&["keys", command, "--data", word(place.folder.path())]);
        assert!(keys.args(["--database-url", &place.url]).status().unwrap().success());
    }
    let safe = Safe::new();
    let from = safe.backs_up(&place);
    let manifest = fs::read_to_string(from.join("manifest.json")).unwrap();
    assert!(manifest.replace([' ', '\n'], "").contains("\"sealing_keys\":[2]"), "{manifest}");
    fs::write(&keys, first).unwrap();
    let data = safe.folder.path().join("never");
    let (status, said) = refuses(&safe, &from, &place, &data);
    assert_eq!(status, Some(2));
    assert!(said.contains("sealing key 2 is missing") && said.contains("holds 1"), "{said}");
    assert!(!data.join("closewatch.sqlite").exists());
}

#[tokio::test]
async fn a_back_up_of_books_whose_first_key_is_lost_for_good_comes_back_with_the_rest() {
    let place = Place::sqlite();
    let (_practice, phone) = lived_in(&place).await;
    phone.sends("one", no_danger(), &[jpeg(1)]).await;
    fs::remove_file(place.folder.path().join("sealing-keys")).unwrap();
    let mut keys = support::closewatch(&["keys", "new", "--data", word(place.folder.path())]);
    assert!(keys.args(["--database-url", &place.url]).status().unwrap().success());
    let safe = Safe::new();
    let from = safe.backs_up(&place);
    let (status, said) = refuses(&safe, &from, &place, &safe.folder.path().join("never"));
    assert_eq!(status, Some(2));
    assert!(said.contains("sealing key 1 is missing") && said.contains("--lost-key"), "{said}");
    let to = Empty { place: Place::sqlite() };
    let mut restoring = safe.restoring(&from, &place, &to.data(), &to.url());
    let told = restoring.args(["--lost-key", "1"]).output().unwrap();
    let said = said_by(&told);
    assert!(told.status.success() && !said.contains("WRONG"), "{said}");
    assert!(said.contains("0 of the 1 it needs are there"), "{said}");
    assert!(said.contains("2 stay closed, for their key is lost"), "two files of the photo: {said}");
}

async fn puts_pepper(practice: &Practice, sealed: &[u8]) {
    let mut tx = practice.desk().db.write().await.unwrap();
    let query = sqlx::query("UPDATE practice SET sealed_pin_pepper = $1").bind(sealed.to_vec());
    assert_eq!(query.execute(&mut *tx).await.unwrap().rows_affected(), 1);
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn what_pins_are_known_by_has_its_key_in_the_manifest_and_is_opened_by_a_restore() {
    let place = Place::sqlite();
    let (practice, _phone) = lived_in(&place).await;
    let kept = practices::sealed_pin_pepper(&mut *practice.books().await, practice.id).await.unwrap();
    let mut pepper = kept.expect("a PIN was issued");
    for command in ["add", "rewrap"] {
        let mut keys = support::closewatch(&["keys", command, "--data", word(place.folder.path())]);
        assert!(keys.args(["--database-url", &place.url]).status().unwrap().success());
    }
    // Nothing else needs key 1 any more.
    puts_pepper(&practice, &pepper).await;
    let safe = Safe::new();
    let from = safe.backs_up(&place);
    let manifest = fs::read_to_string(from.join("manifest.json")).unwrap();
    assert!(manifest.replace([' ', '\n'], "").contains("\"sealing_keys\":[1,2]"), "{manifest}");
    let said = restores(&safe, &from, &place, &Empty { place: Place::sqlite() });
    // The pepper, and the seeds of three people's apps.
    assert!(said.contains("PINs and apps  ok     4 opened"), "{said}");

    let last = pepper.len() - 1;
    pepper[last] ^= 1;
    puts_pepper(&practice, &pepper).await;
    let from = safe.backs_up(&place);
    let (status, said) = refuses(&safe, &from, &place, &safe.folder.path().join("data"));
    assert_eq!(status, Some(1));
    assert!(said.contains(&format!("pin_pepper:{} cannot be opened", practice.id)), "{said}");
}

#[tokio::test]
async fn a_photo_the_server_lost_does_not_keep_the_rest_from_being_backed_up_and_is_named() {
    let place = Place::sqlite();
    let (_practice, phone) = lived_in(&place).await;
    phone.sends("one", no_danger(), &[jpeg(1)]).await;
    let photos = place.folder.path().join("photos");
    let spread = fs::read_dir(&photos).unwrap().map(|entry| entry.unwrap().path());
    let photo = spread.flat_map(|folder| fs::read_dir(folder).unwrap()).next().unwrap().unwrap().path();
    let name = photo.file_name().unwrap().to_str().unwrap().to_owned();
    let whole = fs::read(&photo).unwrap();
    fs::remove_file(&photo).unwrap();
    let safe = Safe::new();
    let told = safe.backing_up(&place).output().unwrap();
    assert_eq!(told.status.code(), Some(1));
    assert!(said_by(&told).contains(&format!("{name}: cannot be read")), "{}", said_by(&told));
    assert_eq!(safe.backups().len(), 1);
    let to = Empty { place: Place::sqlite() };
    let told = safe.restoring(&safe.backups()[0], &place, &to.data(), &to.url()).output().unwrap();
    assert_eq!(told.status.code(), Some(1));
    assert!(said_by(&told).contains(&format!("{name}: it could not be read when")), "{}", said_by(&told));
    assert!(to.data().join("closewatch.sqlite").exists(), "the rest is there");
    // One that an earlier back-up carried is not lost.
    fs::write(&photo, &whole).unwrap();
    safe.backs_up(&place);
    fs::remove_file(&photo).unwrap();
    let from = safe.backs_up(&place);
    restores(&safe, &from, &place, &Empty { place: Place::sqlite() });
}

#[tokio::test]
async fn a_code_that_only_a_restore_shows_proves_it_to_the_server() {
    let place = Place::sqlite();
    let (practice, phone) = lived_in(&place).await;
    phone.sends("one", no_danger(), &[jpeg(1)]).await;
    let safe = Safe::new();
    safe.backs_up(&place);
    let temporary = TempDir::new().unwrap();
    let mut command = safe.restoring(&safe.target(), &place, temporary.path(), "sqlite:unused");
    let told = command.args(["--verify-only"]).env("TMPDIR", temporary.path()).output().unwrap();
    let said = said_by(&told);
    assert!(told.status.success(), "{said}");
    assert_eq!(fs::read_dir(temporary.path()).unwrap().count(), 0, "the trial's folder is gone");
    let code = said.lines().last().unwrap().rsplit(' ').next().unwrap();
    let proves = |code: &str| {
        let mut command =
            support::closewatch(&["backup", "prove", code, "--data", word(place.folder.path())]);
        command.args(["--database-url", &place.url]).output().unwrap()
    };
    let wrong = proves("AAAABBBBCCCCDDDDEEEEFFFF");
    assert_eq!(wrong.status.code(), Some(2));
    assert!(said_by(&wrong).contains("this code is in no back-up"), "{}", said_by(&wrong));
    let proved = proves(code);
    assert!(proved.status.success() && said_by(&proved).contains("can be restored"), "{}", said_by(&proved));
    let lines = audit::newest(&mut *practice.books().await, practice.id, 2).await.unwrap();
    let done: Vec<&str> = lines.iter().map(|line| line.action.as_str()).collect();
    assert_eq!(done, ["backup.prove", "backup.make"]);
}
