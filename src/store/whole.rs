//! Whether the books are whole, as far as their engine and their own sums can tell.

use std::io;
use std::thread;

use tokio::sync::oneshot;

use crate::store::Db;
use crate::store::Engine;
use crate::store::StoreError;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::store::row_sums;

/// Of 19; ordinary work has 0.
const NICE: i32 = 19;

/// How much is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Depth {
    /// Every page, without comparing indexes with their tables: at a start.
    Pages,
    /// Everything, and every row's own sum.
    Whole,
}

/// What is wrong, in the engine's words or by the sums of the rows; at most ten lines, empty: nothing.
///
/// SQLite reads every page and follows every pointer. It has no checksum of what a page holds: a letter changed within a text
/// is seen by what is kept beside it (the row's sum, the record's chain, a seal). PostgreSQL checks the sum of each page
/// it reads where the cluster was made with `data_checksums` (from version 18 on by default), and counts what failed.
pub async fn faults(db: &Db, depth: Depth) -> Stored<Vec<String>> {
    match db.engine() {
        Engine::Sqlite => apart(db, depth).await,
        Engine::Postgres => look(db, depth).await,
    }
}

/// The same by a thread and a connection of their own, which stand back for whoever wants a page meanwhile: reading two gigabytes
/// takes most of a minute, and a core of it.
async fn apart(db: &Db, depth: Depth) -> Stored<Vec<String>> {
    let (told, told_of) = oneshot::channel();
    let address = db.address();
    thread::spawn(move || {
        // On Linux this is the thread's, and that of the threads it starts: the driver's is one. Where it is refused, the look is
        // as urgent as everything else.
        let _ = rustix::process::setpriority_process(None, NICE);
        let looked = || -> Stored<Vec<String>> {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
            runtime.block_on(async {
                let db = Db::connect(&address).await?;
                let faults = look(&db, depth).await;
                db.close().await;
                faults
            })
        };
        let _ = told.send(looked());
    });
    told_of.await.unwrap_or_else(|_| Err(io::Error::other("the look at the books fell over").into()))
}

async fn look(db: &Db, depth: Depth) -> Stored<Vec<String>> {
    let faults = match db.engine() {
        Engine::Sqlite => sqlite_faults(db, depth).await?,
        Engine::Postgres => postgres_faults(db).await?,
    };
    // Rows of a file whose pages do not hang together say nothing more.
    if depth == Depth::Pages || !faults.is_empty() {
        return Ok(faults);
    }
    row_sums::faults(&mut *db.read().await?).await
}

async fn sqlite_faults(db: &Db, depth: Depth) -> Stored<Vec<String>> {
    let (sql, column) = match depth {
        Depth::Pages => ("PRAGMA quick_check(10)", "quick_check"),
        Depth::Whole => ("PRAGMA integrity_check(10)", "integrity_check"),
    };
    let found = match sqlx::query(sql).fetch_all(&mut *db.read().await?).await {
        Ok(rows) => rows.iter().map(|row| row.text(column)).collect::<Stored<Vec<String>>>()?,
        Err(fault) => {
            let fault = StoreError::from(fault);
            if !fault.is_damage() {
                return Err(fault);
            }
            vec![fault.to_string()]
        }
    };
    Ok(found.into_iter().filter(|line| line != "ok").collect())
}

async fn postgres_faults(db: &Db) -> Stored<Vec<String>> {
    const SQL: &str = "SELECT COALESCE(SUM(checksum_failures), 0)::BIGINT AS many FROM pg_stat_database \
                       WHERE datname = current_database()";
    let failed = sqlx::query(SQL).fetch_one(&mut *db.read().await?).await?.whole("many")?;
    Ok(if failed > 0 { vec![format!("{failed} pages did not match their checksum")] } else { Vec::new() })
}
