//! The drill of safety promise B2: the invented practice of the demo, and one of five thousand checks, are backed up and brought back,
//! the record verified and every photo opened, and how long each takes is printed.

mod support;

use std::time::Duration;

use tokio::time::Instant;

use closewatch::care::Desk;
use closewatch::cli::seed;
use closewatch::ids::Chance;
use closewatch::photo::Limits;
use closewatch::store::Blobs;
use closewatch::store::Db;
use closewatch::store::key_file;
use closewatch::store::sealed_blobs;
use closewatch::triage::Protocol;
use closewatch::web::App;
use closewatch::web::Clock;

use support::Crowd;
use support::Due;
use support::Place;
use support::Practice;
use support::Safe;
use support::fill;
use support::in_each_place;
use support::jpeg;
use support::no_danger;
use support::said_by;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_demos_practice_comes_back_whole_and_its_record_verified() {
    in_each_place(async |place| {
        let keys = place.folder.path().join("sealing-keys");
        let ring = key_file::make_keys(&keys, None, &Chance::OperatingSystem).unwrap();
        let blobs = Blobs::in_folder(&place.folder.path().join("photos")).unwrap();
        let blobs = blobs.sealed_by(ring, &keys, Chance::OperatingSystem);
        let db = Db::open(&place.url).await.unwrap();
        let desk = Desk::new(db, blobs, Protocol::built_in().clone(), Limits::default());
        let app = App::new(desk, Clock::Machine, Chance::OperatingSystem, "http://127.0.0.1:8080");
        seed::seed(&app, app.now()).await.unwrap();
        app.desk.db.close().await;

        let safe = Safe::new();
        let begun = Instant::now();
        let from = safe.backs_up(place);
        let first = begun.elapsed();
        let begun = Instant::now();
        let again = safe.backing_up(place).output().unwrap();
        let second = begun.elapsed();
        assert!(said_by(&again).contains(" 0 of them new"), "{}", said_by(&again));
        let to = match place.engine_name() {
            "SQLite" => Place::sqlite(),
            _ => Place::postgres(&std::env::var("TEST_PG_URL").unwrap()).await,
        };
        let begun = Instant::now();
        let data = to.folder.path().join("restored");
        let restored = safe.restoring(&from, place, &data, &to.url).output().unwrap();
        let took = begun.elapsed();
        let said = said_by(&restored);
        assert!(restored.status.success() && !said.contains("WRONG"), "{said}");
        for words in
            ["lines, whole, and the last is the signed one", "opened, every hash right", "active leads"]
        {
            assert!(said.contains(words), "{said}");
        }
        println!(
            "{}: back-up {first:.1?}, again {second:.1?}, restore {took:.1?}\n{said}",
            place.engine_name()
        );
        to.clear().await;
    })
    .await;
}

/// Checks of the large practice, each with a photo.
const ITEMS: usize = 5_000;
/// What is stored of one photo, roughly.
const PHOTO_BYTES: usize = 40_000;
/// Promised: a hundred thousand items are back within an hour.
const HOUR_HOLDS: usize = 100_000;

/// Gives each check of the practice a photo of its own.
async fn photos_for_all(practice: &Practice) {
    let checks: Vec<String> =
        sqlx::query_scalar("SELECT check_id FROM photo WHERE small_sha256 = 'small' ORDER BY check_id")
            .fetch_all(&mut *practice.books().await)
            .await
            .unwrap();
    assert_eq!(checks.len() + 1, ITEMS);
    let desk = practice.desk();
    for some in checks.chunks(250) {
        let mut kept = Vec::new();
        for check in some {
            let mut bytes = vec![0; PHOTO_BYTES];
            bytes[..check.len()].copy_from_slice(check.as_bytes());
            kept.push((check, desk.blobs.put(bytes).await.unwrap()));
        }
        let mut tx = desk.db.write().await.unwrap();
        for (check, blob) in kept {
            sealed_blobs::insert(&mut tx, practice.id, &blob, practice.now()).await.unwrap();
            sqlx::query("UPDATE photo SET small_sha256 = $1 WHERE check_id = $2")
                .bind(blob.name.as_str())
                .bind(check)
                .execute(&mut *tx)
                .await
                .unwrap();
        }
        tx.commit().await.unwrap();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn five_thousand_checks_with_photos_come_back_whole() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    practice.lead().await;
    let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
    phone.sends("first", no_danger(), &[jpeg(1)]).await;
    fill(&practice, Crowd { kept: ITEMS, waiting: 300, due: Due::Later }).await;
    photos_for_all(&practice).await;
    practice.desk().db.close().await;

    let safe = Safe::new();
    let begun = Instant::now();
    let from = safe.backs_up(&place);
    let backed_up = begun.elapsed();
    let to = Place::sqlite();
    let begun = Instant::now();
    let restored =
        safe.restoring(&from, &place, &to.folder.path().join("restored"), &to.url).output().unwrap();
    let back = begun.elapsed();
    let said = said_by(&restored);
    assert!(restored.status.success() && !said.contains("WRONG"), "{said}");
    let hour_share =
        Duration::from_secs(3_600) * u32::try_from(ITEMS).unwrap() / u32::try_from(HOUR_HOLDS).unwrap();
    println!(
        "{ITEMS} checks with photos: back-up {backed_up:.1?}, restore {back:.1?}; their share of the promised hour is {hour_share:?}\n{said}"
    );
    let db = Db::open(&to.url).await.unwrap();
    let kept: i64 = sqlx::query_scalar("SELECT COUNT(*) FROM wound_check")
        .fetch_one(&mut *db.read().await.unwrap())
        .await
        .unwrap();
    assert_eq!(kept, i64::try_from(ITEMS).unwrap());
}
