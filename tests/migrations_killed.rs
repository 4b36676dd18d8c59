//! The real program killed while it builds its books: the next start finishes; and an older program refuses newer books.
//!
//! Which write it dies in goes up by a third each time; `MIGRATION_KILLS=all` takes every single one.

mod support;

use std::process::Command;

use sqlx::Connection;
use sqlx::Executor;
use sqlx::Row;
use sqlx::SqliteConnection;

use support::DiskFault;
use support::How;
use support::Place;
use support::READY_WITHIN;
use support::Served;
use support::Switch;
use support::in_each_place;
use support::serve;

/// Tables, indexes and triggers, and which changes were made.
async fn built(place: &Place) -> Vec<String> {
    let mut conn = SqliteConnection::connect(&place.url).await.unwrap();
    let mut all = Vec::new();
    for sql in [
        "SELECT type || ' ' || name || ': ' || COALESCE(sql, '') FROM sqlite_master ORDER BY 1",
        "SELECT 'change ' || version || ' ' || success || ' ' || hex(checksum) FROM _sqlx_migrations ORDER BY 1",
        "SELECT 'check ' || integrity_check FROM pragma_integrity_check",
    ] {
        for row in conn.fetch_all(sql).await.unwrap() {
            all.push(row.get::<String, _>(0));
        }
    }
    conn.close().await.unwrap();
    all
}

/// Kills a first start in this write to the books; false: it never came to it.
async fn dies_in(place: &Place, from: u32) -> bool {
    let (switch, mut command) = (Switch::off(), serve(place));
    let fault = DiskFault { op: "any", path: "test.sqlite", from, count: Some(1), how: How::Kill };
    switch.without_gate(&mut command, &fault);
    match Served::try_start(command) {
        Err(ended) => {
            assert_eq!(ended.status.code(), None, "it ended by itself: {}", ended.words);
            true
        }
        Ok(served) => {
            served.kill();
            false
        }
    }
}

#[tokio::test]
async fn a_start_that_was_killed_while_it_built_its_books_is_finished_by_the_next() {
    let whole = {
        let place = Place::sqlite();
        Served::start(&place).kill();
        built(&place).await
    };
    assert!(whole.len() > 60 && whole.contains(&"check ok".to_owned()), "{}", whole.len());
    let every = std::env::var("MIGRATION_KILLS").is_ok_and(|text| text == "all");
    let (mut from, mut kills) = (1, 0);
    loop {
        let place = Place::sqlite();
        if !dies_in(&place, from).await {
            break;
        }
        kills += 1;
        let mut served = Served::start(&place);
        assert!(served.until_ready() <= READY_WITHIN);
        served.kill();
        assert_eq!(built(&place).await, whole, "killed in write {from}");
        from = if every { from + 1 } else { from + (from / 3).max(1) };
    }
    println!(
        "{kills} kills up to write {from} of a first start: each was finished by the next, none by hand"
    );
    assert!(kills >= 10, "{kills}");
}

#[tokio::test]
async fn books_of_a_newer_program_are_refused_in_words_and_left_as_they_are() {
    in_each_place(async |place| {
        Served::start(place).kill();
        let mut conn = sqlx::AnyConnection::connect(&place.url).await.unwrap();
        let newer = "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) \
                     SELECT 9999, 'of tomorrow', success, checksum, execution_time FROM _sqlx_migrations \
                     WHERE version = 1";
        conn.execute(newer).await.unwrap();
        let mut command: Command = serve(place);
        command.env("RUST_LOG", "error");
        let Err(ended) = Served::try_start(command) else { panic!("it serves newer books") };
        println!("{}: {}", place.engine_name(), ended.words.trim());
        assert!(ended.words.contains("opened by a newer program") && ended.words.contains("number 9999"));
        assert!(!ended.status.success());
        let changes: i64 =
            sqlx::query_scalar("SELECT COUNT(*) FROM _sqlx_migrations").fetch_one(&mut conn).await.unwrap();
        assert!(changes > 15);
        conn.close().await.unwrap();
    })
    .await;
}
