//! Books with every table and nothing in them, made once and copied: most tests begin with such, and a schema of many steps is built
//! in a second on PostgreSQL.

use std::fs;
use std::path::Path;

use data_encoding::HEXLOWER;
use sha2::Digest;
use sha2::Sha256;
use sqlx::AnyConnection;
use sqlx::AssertSqlSafe;
use sqlx::Connection;
use sqlx::Executor;
use tokio::sync::OnceCell;

use closewatch::store::Db;

use super::Place;

/// The bytes of an SQLite file.
pub async fn sqlite() -> &'static [u8] {
    static MADE: OnceCell<Vec<u8>> = OnceCell::const_new();
    let made = MADE.get_or_init(async || {
        let place = Place::sqlite();
        make(&place.url).await;
        fs::read(place.folder.path().join("test.sqlite")).unwrap()
    });
    made.await
}

/// The name of a database on that server; test programs of the same schema share it, one of an older schema goes.
pub async fn postgres(server: &str) -> &'static str {
    static MADE: OnceCell<String> = OnceCell::const_new();
    let made = MADE.get_or_init(async || {
        let name = format!("blank_{}", schema());
        let mut admin = AnyConnection::connect(server).await.unwrap();
        // Until the connection ends.
        admin.execute("SELECT pg_advisory_lock(20261128)").await.unwrap();
        let there: Vec<String> = sqlx::query_scalar(
            "SELECT CAST(datname AS TEXT) FROM pg_database WHERE CAST(datname AS TEXT) LIKE 'blank!_%' ESCAPE '!'",
        )
        .fetch_all(&mut admin)
        .await
        .unwrap();
        if !there.contains(&name) {
            for old in there {
                let drop = format!("DROP DATABASE IF EXISTS {old} WITH (FORCE)");
                admin.execute(AssertSqlSafe(drop)).await.unwrap();
            }
            let (before, _) = server.rsplit_once('/').expect("TEST_PG_URL ends in /database");
            admin
                .execute(AssertSqlSafe(format!("CREATE DATABASE {name}_made TEMPLATE template0")))
                .await
                .unwrap();
            make(&format!("{before}/{name}_made")).await;
            admin
                .execute(AssertSqlSafe(format!("ALTER DATABASE {name}_made RENAME TO {name}")))
                .await
                .unwrap();
        }
        admin.close().await.unwrap();
        name
    });
    made.await
}

async fn make(url: &str) {
    let db = Db::open(url).await.unwrap();
    db.settle().await.unwrap();
    db.close().await;
}

/// A name for the schema: whatever builds it is in these two folders.
fn schema() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut sum = Sha256::new();
    for folder in ["migrations", "src/store"] {
        let mut files: Vec<_> =
            fs::read_dir(root.join(folder)).unwrap().map(|file| file.unwrap().path()).collect();
        files.sort();
        for file in files.iter().filter(|file| file.is_file()) {
            sum.update(fs::read(file).unwrap());
        }
    }
    HEXLOWER.encode(&sum.finalize()[..8])
}
