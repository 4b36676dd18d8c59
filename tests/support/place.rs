//! Where a test keeps its rows and photos: a fresh SQLite file, or a fresh database on PostgreSQL.

use std::panic::AssertUnwindSafe;
use std::panic::resume_unwind;
use std::path::Path;

use futures::FutureExt;
use sqlx::AnyConnection;
use sqlx::AssertSqlSafe;
use sqlx::Connection;
use sqlx::Executor;
use tempfile::TempDir;

use closewatch::ids::Chance;

use super::Practice;
use super::blank;

/// A fresh database and photo folder, gone when the test ends.
pub struct Place {
    pub url: String,
    pub folder: TempDir,
    /// On PostgreSQL: the server's own address and the name of the database made for this test.
    made: Option<(String, String)>,
}

impl Place {
    pub fn sqlite() -> Place {
        sqlx::any::install_default_drivers();
        let folder = tempfile::tempdir().unwrap();
        let url = format!("sqlite:{}", folder.path().join("test.sqlite").display());
        Place { url, folder, made: None }
    }

    /// On another disk.
    pub fn sqlite_on(disk: &Path) -> Place {
        sqlx::any::install_default_drivers();
        let folder = tempfile::tempdir_in(disk).unwrap();
        let url = format!("sqlite:{}", folder.path().join("test.sqlite").display());
        Place { url, folder, made: None }
    }

    /// `server` as in `postgres://postgres@127.0.0.1:5433/postgres`.
    pub async fn postgres(server: &str) -> Place {
        Place::postgres_like(server, "template0").await
    }

    async fn postgres_like(server: &str, template: &str) -> Place {
        sqlx::any::install_default_drivers();
        let unique = Chance::OperatingSystem.bytes::<8>();
        let name = format!("t_{}", data_encoding::HEXLOWER.encode(&unique));
        let mut admin = AnyConnection::connect(server).await.unwrap();
        admin.execute(AssertSqlSafe(format!("CREATE DATABASE {name} TEMPLATE {template}"))).await.unwrap();
        admin.close().await.unwrap();
        let (before, _) = server.rsplit_once('/').expect("TEST_PG_URL ends in /database");
        Place {
            url: format!("{before}/{name}"),
            folder: tempfile::tempdir().unwrap(),
            made: Some((server.to_owned(), name)),
        }
    }

    /// A fresh place on every engine at hand.
    pub async fn each() -> Vec<Place> {
        Place::each_like(async |_| "template0").await
    }

    /// The same; on PostgreSQL each is a copy of a database of the server's.
    async fn each_like(template: impl AsyncFn(&str) -> &'static str) -> Vec<Place> {
        let mut places = vec![Place::sqlite()];
        match std::env::var("TEST_PG_URL") {
            Ok(server) => places.push(Place::postgres_like(&server, template(&server).await).await),
            Err(_) => eprintln!("TEST_PG_URL is not set: PostgreSQL was not tested"),
        }
        places
    }

    pub fn engine_name(&self) -> &'static str {
        if self.made.is_some() { "PostgreSQL" } else { "SQLite" }
    }

    /// Lays blank books where there is no SQLite file yet: it is what opening it would make, in a tenth of the time.
    pub async fn lay_blank_books(&self) {
        let file = self.folder.path().join("test.sqlite");
        if self.made.is_none() && !file.exists() {
            std::fs::write(file, blank::sqlite().await).unwrap();
        }
    }

    /// Takes the database away, whoever is still connected.
    pub async fn clear(self) {
        let Some((server, name)) = self.made else { return };
        let mut admin = AnyConnection::connect(&server).await.unwrap();
        admin.execute(AssertSqlSafe(format!("DROP DATABASE {name} WITH (FORCE)"))).await.unwrap();
        admin.close().await.unwrap();
    }
}

/// Runs a test in a fresh practice on every engine at hand.
pub async fn on_each_engine(test: impl AsyncFn(Practice)) {
    let places = Place::each_like(async |server| blank::postgres(server).await).await;
    in_places(places, async |place| test(Practice::open(place).await).await).await;
}

/// Runs a test in a fresh place, without a practice in it, on every engine at hand.
pub async fn in_each_place(test: impl AsyncFn(&Place)) {
    in_places(Place::each().await, test).await;
}

async fn in_places(places: Vec<Place>, test: impl AsyncFn(&Place)) {
    for place in places {
        let engine = place.engine_name();
        let outcome = AssertUnwindSafe(test(&place)).catch_unwind().await;
        place.clear().await;
        if let Err(panic) = outcome {
            eprintln!("this happened on {engine}");
            resume_unwind(panic);
        }
    }
}
