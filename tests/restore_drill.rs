//! The drill of safety promise B2: the invented practice of the demo is backed up and brought back, its record verified and its
//! photos opened, and how long each takes is printed.

mod support;

use tokio::time::Instant;

use closewatch::care::Desk;
use closewatch::cli::seed;
use closewatch::ids::Chance;
use closewatch::photo::Limits;
use closewatch::store::Blobs;
use closewatch::store::Db;
use closewatch::store::key_file;
use closewatch::triage::Protocol;
use closewatch::web::App;
use closewatch::web::Clock;

use support::Place;
use support::Safe;
use support::in_each_place;
use support::said_by;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_demos_practice_comes_back_whole_and_its_record_verified() {
    in_each_place(async |place| {
        let keys = place.folder.path().join("sealing-keys");
        let (ring, _) = key_file::open_keys(&keys, &Chance::OperatingSystem).unwrap();
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
