//! Once a day the program looks whether its books are whole, and clears away photo files that belong to nothing.

use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::time::Duration;
use std::time::SystemTime;

use sqlx::Executor;

use closewatch::care::books;
use closewatch::care::canary;
use closewatch::care::ready;
use closewatch::care::sweep;
use closewatch::store::Engine;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::whole::Depth;

use crate::support::Practice;
use crate::support::actions;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;

/// A file in the photo folder that no row names, last written so long ago.
fn stray(practice: &Practice, letter: &str, old: Duration) -> PathBuf {
    let folder = practice.desk().blobs.folder().unwrap().join(letter.repeat(2));
    fs::create_dir_all(&folder).unwrap();
    let path = folder.join(letter.repeat(64));
    fs::write(&path, "of nothing").unwrap();
    age(&path, old);
    path
}

fn age(path: &Path, by: Duration) {
    let written: SystemTime = fs::metadata(path).unwrap().modified().unwrap() - by;
    fs::File::options().write(true).open(path).unwrap().set_modified(written).unwrap();
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let folders = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    folders.flat_map(|folder| fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path())).collect()
}

#[tokio::test]
async fn the_daily_jobs_come_after_a_day_and_again_after_another() {
    on_each_engine(async |practice| {
        canary::ensure(practice.desk(), &practice.moment()).await.unwrap();
        books::ensure(practice.desk(), &practice.moment()).await.unwrap();
        books::ensure(practice.desk(), &practice.moment()).await.unwrap();
        for letter in ["a", "b"] {
            let orphan = stray(&practice, letter, sweep::AGE * 2);
            practice.minutes_pass(23 * 60);
            practice.works().await;
            assert!(orphan.exists(), "before a day was over");
            practice.minutes_pass(61);
            practice.works().await;
            assert!(!orphan.exists());
        }
    })
    .await;
}

#[tokio::test]
async fn what_a_row_names_stays_however_old_it_is_and_what_is_young_stays_though_no_row_names_it() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("form", no_danger(), &[jpeg(1), jpeg(2)]).await;
        let folder = practice.desk().blobs.folder().unwrap().to_owned();
        let named = files(&folder);
        // Their rows give each rendition its own name and that of its sealed file.
        assert_eq!(named.len(), 4, "two photos, each with two different renditions");
        for path in &named {
            age(path, sweep::AGE * 400);
        }
        let (old, young) =
            (stray(&practice, "c", sweep::AGE), stray(&practice, "d", sweep::AGE - Duration::from_secs(60)));
        let swept = sweep::pass(practice.desk()).await.unwrap();
        assert_eq!((swept.named, swept.photos, swept.halves, swept.left_alone), (8, 1, 0, 0), "{swept:?}");
        assert!(!old.exists() && young.exists());
        assert!(named.iter().all(|path| path.exists()));
    })
    .await;
}

#[tokio::test]
async fn the_wrong_books_for_a_folder_take_nothing_away() {
    on_each_engine(async |practice| {
        let folder = practice.desk().blobs.folder().unwrap().join("ee");
        fs::create_dir_all(&folder).unwrap();
        for number in 0..101 {
            let path = folder.join(format!("{number:064x}"));
            fs::write(&path, "a photo of other books").unwrap();
            age(&path, sweep::AGE * 2);
        }
        let swept = sweep::pass(practice.desk()).await.unwrap();
        assert_eq!((swept.photos, swept.left_alone), (0, 101));
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 101);
    })
    .await;
}

/// Makes SQLite's check find something that hurts nothing else: a rule that no row of the table keeps.
async fn break_rule(practice: &Practice, from: &str, to: &str, version: u32) {
    let mut conn = practice.books().await;
    let statements = [
        "PRAGMA writable_schema = ON".to_owned(),
        format!("UPDATE sqlite_master SET sql = replace(sql, '{from}', '{to}') WHERE name = 'staff'"),
        format!("PRAGMA schema_version = {version}"),
        "PRAGMA writable_schema = OFF".to_owned(),
    ];
    for sql in statements {
        conn.execute(sqlx::AssertSqlSafe(sql)).await.unwrap();
    }
}

#[tokio::test]
async fn books_that_do_not_pass_their_check_are_an_alarm_a_line_in_the_record_and_not_ready() {
    on_each_engine(async |practice| {
        practice.surgeon().await;
        let check = async || books::check(practice.desk(), Depth::Whole, &practice.moment()).await.unwrap();
        let is_raised = async || {
            let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
            open.iter().any(|alarm| alarm.kind == AlarmKind::BooksDamaged)
        };
        assert_eq!(check().await, Vec::<String>::new());
        assert!(!is_raised().await);
        if practice.desk().db.engine() == Engine::Postgres {
            // A page cannot be damaged from here; that the count of failed sums can be read is all that is seen.
            return;
        }
        let (rule, broken) = ("name TEXT NOT NULL,", "name TEXT NOT NULL CHECK (length(name) > 1000),");
        break_rule(&practice, rule, broken, 70_001).await;
        let faults = check().await;
        assert!(faults.iter().any(|fault| fault.contains("CHECK constraint failed in staff")), "{faults:?}");
        assert!(is_raised().await);
        assert!(actions(&practice).await.contains(&"books.damaged".to_owned()));
        assert!(!ready::readiness(practice.desk(), practice.now()).await.database);
        break_rule(&practice, broken, rule, 70_002).await;
        assert_eq!(check().await, Vec::<String>::new());
        assert!(!is_raised().await);
        assert!(actions(&practice).await.contains(&"books.whole_again".to_owned()));
    })
    .await;
}
