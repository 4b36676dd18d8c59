//! The database: one address, two engines, one set of queries.

use std::borrow::Cow;
use std::fmt;
use std::ops::Deref;
use std::ops::DerefMut;
use std::path::Path;
use std::sync::Arc;
use std::sync::Once;
use std::time::Duration;

use futures::future::BoxFuture;
use futures::stream::BoxStream;
use sqlx::Any;
use sqlx::AnyConnection;
use sqlx::AnyPool;
use sqlx::Connection;
use sqlx::Describe;
use sqlx::Either;
use sqlx::Execute;
use sqlx::Executor;
use sqlx::SqlStr;
use sqlx::any::AnyPoolOptions;
use sqlx::any::AnyQueryResult;
use sqlx::any::AnyRow;
use sqlx::any::AnyStatement;
use sqlx::any::AnyTypeInfo;
use sqlx::migrate::Migrator;
use sqlx::pool::PoolConnection;

#[cfg(feature = "doubles")]
use crate::guards;
#[cfg(feature = "doubles")]
use crate::guards::Guard;
use crate::store::StoreError;
use crate::store::Stored;
use crate::store::append_only;
use crate::store::books;
use crate::store::free_text::Texts;
use crate::store::row_sums;
use crate::store::seals::Seals;

static MIGRATOR: Migrator = sqlx::migrate!("./migrations");

/// Which engine the address named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Engine {
    Sqlite,
    Postgres,
}

/// The database, open and migrated. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Db {
    pool: AnyPool,
    engine: Engine,
    address: Arc<str>,
    texts: Texts,
    /// Whether rows carry sums: not yet in books as an older program made them.
    sums: bool,
}

impl Db {
    /// Opens and migrates. `url`: `sqlite:PATH` (made when absent) or `postgres://…`.
    pub async fn open(url: &str) -> Stored<Db> {
        let db = Db::connect(url).await?;
        MIGRATOR.run(&db.pool).await?;
        append_only::guard(&db.pool, db.engine).await?;
        row_sums::guard(&db.pool, db.engine).await?;
        Ok(Db { sums: true, ..db })
    }

    /// Whether there can be books at this address. False: it names an SQLite file that is not there, which opening it would make.
    pub fn can_be_there(url: &str) -> bool {
        let Some(path) = url.strip_prefix("sqlite:") else { return true };
        Path::new(path.trim_start_matches("//").split('?').next().unwrap_or_default()).exists()
    }

    /// Makes the books as they were at one version of the schema, in a database that holds nothing. `None`: it holds something,
    /// and was left alone.
    pub async fn make_blank(url: &str, schema_version: i64) -> Stored<Option<Db>> {
        let db = Db::connect(url).await?;
        if !books::tables_there(&mut *db.read().await?, db.engine).await?.is_empty() {
            db.close().await;
            return Ok(None);
        }
        let until: Vec<_> =
            MIGRATOR.iter().filter(|migration| migration.version <= schema_version).cloned().collect();
        Migrator { migrations: Cow::Owned(until), ..Migrator::DEFAULT }.run(&db.pool).await?;
        Ok(Some(db))
    }

    /// The version of the schema that this program works with.
    pub fn newest_schema() -> i64 {
        MIGRATOR.iter().map(|migration| migration.version).max().unwrap_or(0)
    }

    /// Opens books as they are, without migrating them. An SQLite file that is not there is made, and empty.
    pub(in crate::store) async fn connect(url: &str) -> Stored<Db> {
        install_drivers();
        let engine = match url.split(':').next() {
            Some("sqlite") => Engine::Sqlite,
            Some("postgres" | "postgresql") => Engine::Postgres,
            _ => return Err(StoreError::UnknownEngine),
        };
        let address = match engine {
            Engine::Sqlite if !url.contains('?') => format!("{url}?mode=rwc"),
            Engine::Sqlite | Engine::Postgres => url.to_owned(),
        };
        // The pool tries again and again, and then says only that it took too long. PostgreSQL may come up yet; a file that
        // cannot be opened stays so, and the first connection says why.
        if engine == Engine::Sqlite {
            let mut first = AnyConnection::connect(&address).await?;
            prepare(&mut first, engine).await?;
            first.close().await?;
        }
        let pool = AnyPoolOptions::new()
            .max_connections(8)
            .acquire_timeout(Duration::from_secs(10))
            .after_connect(move |connection, _| Box::pin(async move { prepare(connection, engine).await }))
            // A commit that a full disk refused was undone by SQLite itself; the driver does not learn of it (sqlx 0.9.0
            // keeps its depth when COMMIT fails), and would refuse every transaction of this connection from then on.
            .before_acquire(move |connection, _| {
                let is_clean = engine == Engine::Postgres || !connection.is_in_transaction();
                Box::pin(async move { Ok(is_clean) })
            })
            .connect(&address)
            .await?;
        Ok(Db { pool, engine, address: address.into(), texts: Texts::default(), sums: false })
    }

    /// The same books, with the keys of what is typed. Without them no text is written, and no sealed one read.
    pub fn sealed_with(self, seals: Option<Seals>) -> Db {
        Db { texts: Texts::by(seals), ..self }
    }

    pub fn engine(&self) -> Engine {
        self.engine
    }

    /// What [`Db::connect`] opens the same books by.
    pub(in crate::store) fn address(&self) -> Arc<str> {
        Arc::clone(&self.address)
    }

    /// A connection to read with.
    pub async fn read(&self) -> Stored<Reader> {
        Ok(Reader(self.conn(Line::Pooled(self.pool.acquire().await?))))
    }

    fn conn(&self, line: Line) -> Conn {
        Conn { line, texts: self.texts.clone(), sums: self.sums }
    }

    /// A transaction to write in; dropped without [`Tx::commit`] it leaves nothing behind.
    ///
    /// SQLite must take its write lock at once: a deferred transaction that reads first loses to "database is
    /// locked" in spite of the busy timeout.
    pub async fn write(&self) -> Stored<Tx> {
        #[cfg(feature = "doubles")]
        if !guards::stands(Guard::OneTransaction) {
            // Every statement for itself: what a program without transactions would do.
            return Ok(Tx(self.conn(Line::Pooled(self.pool.acquire().await?))));
        }
        let begun = match self.engine {
            Engine::Sqlite => self.pool.begin_with("BEGIN IMMEDIATE").await?,
            #[expect(clippy::disallowed_methods, reason = "PostgreSQL has no immediate transactions")]
            Engine::Postgres => self.pool.begin().await?,
        };
        Ok(Tx(self.conn(Line::Begun(begun))))
    }

    /// Moves what stands in SQLite's log into the books themselves, synced: rows that were read back from the log of a program
    /// that died are then on the disk, whatever became of the log's own sync. Harmless at any time; leaves to later what
    /// somebody still reads. PostgreSQL does this by itself.
    pub async fn settle(&self) -> Stored<()> {
        match self.engine {
            Engine::Sqlite => {
                sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").fetch_all(&self.pool).await?;
            }
            Engine::Postgres => {}
        }
        Ok(())
    }

    /// A transaction to read in: it sees the books as they stand at its first query, whatever is written meanwhile, and holds
    /// nobody up. On SQLite that is what reading a write-ahead log is; PostgreSQL is told so.
    pub async fn snapshot(&self) -> Stored<Tx> {
        let begin = match self.engine {
            Engine::Sqlite => "BEGIN DEFERRED",
            Engine::Postgres => "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY",
        };
        Ok(Tx(self.conn(Line::Begun(self.pool.begin_with(begin).await?))))
    }

    /// Writes the books anew without what was deleted or replaced in them: SQLite leaves old letters lying in pages it has no more
    /// use for. Whoever writes waits meanwhile. PostgreSQL clears up by itself, in its own time.
    pub async fn clear_remains(&self) -> Stored<()> {
        match self.engine {
            Engine::Sqlite => {
                sqlx::query("VACUUM").execute(&self.pool).await?;
                self.settle().await
            }
            Engine::Postgres => Ok(()),
        }
    }

    pub async fn close(&self) {
        self.pool.close().await;
    }
}

/// FULL is what makes an acknowledged check survive a power cut: with NORMAL the write-ahead log is not synced at
/// commit. Checked on every connection by a test.
const SQLITE_PRAGMAS: &[&str] = &[
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA busy_timeout = 10000",
    "PRAGMA foreign_keys = ON",
    // What is deleted or replaced is written over with noughts: drafts of a check, keys of photos.
    "PRAGMA secure_delete = ON",
];

async fn prepare(connection: &mut AnyConnection, engine: Engine) -> sqlx::Result<()> {
    if engine == Engine::Sqlite {
        for pragma in SQLITE_PRAGMAS {
            connection.execute(*pragma).await?;
        }
    }
    Ok(())
}

fn install_drivers() {
    static ONCE: Once = Once::new();
    ONCE.call_once(sqlx::any::install_default_drivers);
}

/// One connection, inside a transaction or not, and the keys of what is typed: whoever reads or writes a text through it opens
/// or seals it.
pub struct Conn {
    line: Line,
    texts: Texts,
    sums: bool,
}

enum Line {
    Pooled(PoolConnection<Any>),
    Begun(sqlx::Transaction<'static, Any>),
}

impl Conn {
    /// The keys of what is typed.
    pub fn texts(&self) -> &Texts {
        &self.texts
    }

    fn line(&mut self) -> &mut AnyConnection {
        match &mut self.line {
            Line::Pooled(connection) => connection,
            Line::Begun(transaction) => transaction,
        }
    }
}

impl fmt::Debug for Conn {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self.line {
            Line::Pooled(_) => "Conn",
            Line::Begun(_) => "Conn in a transaction",
        })
    }
}

/// Queries go to the connection within.
impl<'c> Executor<'c> for &'c mut Conn {
    type Database = Any;

    fn fetch_many<'e, 'q: 'e, E>(
        self,
        query: E,
    ) -> BoxStream<'e, sqlx::Result<Either<AnyQueryResult, AnyRow>>>
    where
        'c: 'e,
        E: 'q + Execute<'q, Any>,
    {
        self.line().fetch_many(query)
    }

    fn fetch_optional<'e, 'q: 'e, E>(self, query: E) -> BoxFuture<'e, sqlx::Result<Option<AnyRow>>>
    where
        'c: 'e,
        E: 'q + Execute<'q, Any>,
    {
        self.line().fetch_optional(query)
    }

    fn prepare_with<'e>(
        self,
        sql: SqlStr,
        parameters: &'e [AnyTypeInfo],
    ) -> BoxFuture<'e, sqlx::Result<AnyStatement>>
    where
        'c: 'e,
    {
        self.line().prepare_with(sql, parameters)
    }

    fn describe<'e>(self, sql: SqlStr) -> BoxFuture<'e, sqlx::Result<Describe<Any>>>
    where
        'c: 'e,
    {
        self.line().describe(sql)
    }
}

/// A connection to read with.
#[derive(Debug)]
pub struct Reader(Conn);

impl Deref for Reader {
    type Target = Conn;
    fn deref(&self) -> &Conn {
        &self.0
    }
}

impl DerefMut for Reader {
    fn deref_mut(&mut self) -> &mut Conn {
        &mut self.0
    }
}

/// A write transaction.
#[derive(Debug)]
pub struct Tx(Conn);

impl Tx {
    /// Sums the rows that were written, and makes everything durable. An error here leaves it in doubt whether it was.
    pub async fn commit(mut self) -> Stored<()> {
        if self.0.sums && matches!(self.0.line, Line::Begun(_)) {
            row_sums::write(&mut self.0).await?;
        }
        match self.0.line {
            Line::Begun(transaction) => Ok(transaction.commit().await?),
            Line::Pooled(_) => Ok(()),
        }
    }
}

impl Deref for Tx {
    type Target = Conn;
    fn deref(&self) -> &Conn {
        &self.0
    }
}

impl DerefMut for Tx {
    fn deref_mut(&mut self) -> &mut Conn {
        &mut self.0
    }
}
