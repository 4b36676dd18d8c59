//! Every row of the record carries the SHA-256 of everything else in it: what the disk does to a row is seen, though SQLite has no
//! checksums of its own. It is no seal: whoever can write in the books can sum as well; that is what the record's chain is for.
//!
//! Nobody needs to think of it. Triggers of the engine note which rows are new or changed by a statement, in the table `unsummed`;
//! a transaction sums those before it commits, and leaves that table empty. What changes a row without a statement leaves its old
//! sum beside it.

use std::collections::BTreeSet;

use data_encoding::HEXLOWER;
use futures::TryStreamExt;
use sha2::Digest;
use sha2::Sha256;
use sqlx::AnyPool;
use sqlx::Connection;
use sqlx::Executor;
use sqlx::any::AnyRow;

use crate::store::Conn;
use crate::store::Db;
use crate::store::StoreError;
use crate::store::Stored;
use crate::store::db::Engine;
use crate::store::row::Columns;
use crate::store::row::line;

/// Rows that an older program wrote are summed so many at a time.
const OLD_AT_ONCE: i64 = 500;
/// No more lines than that say what is wrong.
const MOST_FAULTS: usize = 10;
/// What a row's sum is not of. The three counters of a practice say where its record and its checks have come to: they move with
/// each line of the record, which is chained, and a row whose counter moved keeps its sum.
const BESIDE: &[&str] =
    &["row_sum", "first_key", "second_key", "audit_sequence", "audit_head", "check_sequence"];

/// One table whose rows carry sums. A row is found by two keys; the second is made of no column, one or more.
struct Summed {
    name: &'static str,
    read: &'static str,
    /// A sum that stays as it is would be noted as a change of something else.
    put: &'static str,
    all: &'static str,
    without: &'static str,
    ask_for: &'static str,
    sqlite_triggers: [&'static str; 2],
    postgres_triggers: [&'static str; 2],
}

/// Two triggers of a table, in the words of one engine: `$note` is what they do.
macro_rules! triggers {
    ($create:literal, $name:literal, $row:literal, [$($counter:literal)*], $begin:literal, $note:expr, $end:literal) => {
        [
            concat!($create, $name, "_unsummed_new AFTER INSERT ON ", $name, $row, " WHEN (NEW.row_sum = '')", $begin, $note, $end),
            concat!($create, $name, "_unsummed_changed AFTER UPDATE ON ", $name, $row, " WHEN (NEW.row_sum = OLD.row_sum",
                $(" AND NEW.", $counter, " = OLD.", $counter,)* ")", $begin, $note, $end),
        ]
    };
}

/// The second key of a row, in SQL: every part behind a colon, or nothing. `$of` stands before each column.
macro_rules! second {
    ($of:literal, [$($part:literal)*]) => {
        concat!("''", $(" || ':' || CAST(", $of, $part, " AS TEXT)",)*)
    };
}

macro_rules! summed {
    ($($name:literal by $first:literal $(and $second:literal)* $(beside $counter:literal)*;)*) => {
        const TABLES: &[Summed] = &[$(Summed {
            name: $name,
            read: concat!("SELECT * FROM ", $name, " WHERE ", $first, " = $1 AND ", second!("", [$($second)*]), " = $2"),
            put: concat!("UPDATE ", $name, " SET row_sum = $3 WHERE ", $first, " = $1 AND ", second!("", [$($second)*]), " = $2 AND row_sum <> $3"),
            all: concat!("SELECT ", $first, " AS first_key, ", second!("", [$($second)*]), " AS second_key, ", $name,
                ".* FROM ", $name, " WHERE row_sum <> ''"),
            without: concat!("SELECT ", $first, " AS first_key, ", second!("", [$($second)*]), " AS second_key FROM ", $name,
                " WHERE row_sum = '' AND (", $first, ", ", second!("", [$($second)*]), ") > ($1, $2) ORDER BY 1, 2 LIMIT $3"),
            ask_for: concat!("UPDATE ", $name, " SET row_sum = '' WHERE row_sum = '' AND (", $first, ", ",
                second!("", [$($second)*]), ") > ($1, $2) AND (", $first, ", ", second!("", [$($second)*]), ") <= ($3, $4)"),
            sqlite_triggers: triggers!("CREATE TRIGGER IF NOT EXISTS ", $name, " FOR EACH ROW", [$($counter)*], " BEGIN ",
                concat!("INSERT INTO unsummed (table_name, first_key, second_key) VALUES ('", $name, "', NEW.", $first, ", ",
                    second!("NEW.", [$($second)*]), ")"), "; END"),
            postgres_triggers: triggers!("CREATE OR REPLACE TRIGGER ", $name, " FOR EACH ROW", [$($counter)*],
                " EXECUTE FUNCTION ", concat!("row_is_unsummed('", $first, "'", $(", '", $second, "'",)*), ")"),
        }),*];
    };
}

// All but what is chained (the record), sealed as a whole or named by its hash (photos, keys), or soon gone (sessions, drafts,
// beats).
summed! {
    "practice" by "id" beside "audit_sequence" beside "audit_head" beside "check_sequence";
    "staff" by "id";
    "patient" by "id";
    "wound" by "id";
    "plan_step" by "id";
    "plan_change" by "id";
    "plan_text" by "practice_id" and "version";
    "strip_attempt" by "id";
    "patient_link" by "id";
    "late_knock" by "id";
    "wound_check" by "id";
    "answers_version" by "id";
    "assessment" by "check_id" and "number";
    "photo" by "id";
    "measurement" by "id";
    "review" by "id";
    "message" by "id";
    "callback" by "id";
    "call_attempt" by "id";
    "correction" by "id";
    "antibiotic_course" by "id";
    "silence" by "id";
    "silence_call" by "id";
    "protocol" by "practice_id" and "version";
    "reply_text" by "id";
    "ladder" by "id";
    "ladder_rung" by "ladder_id" and "number";
    "job" by "id";
    "notice" by "id";
    "delivery" by "id";
    "staff_address" by "id";
    "opt_out" by "practice_id" and "channel" and "address";
    "practice_hours" by "practice_id" and "weekday";
    "holiday" by "practice_id" and "day";
    "duty_weekly" by "id";
    "duty_dated" by "id";
    "duty_away" by "id";
    "legal_hold" by "id";
    "keeping" by "practice_id";
    "tombstone" by "id";
    "sealed_look" by "id";
    "export_agreement" by "id";
}

/// Every table whose rows carry sums.
pub fn tables() -> impl Iterator<Item = &'static str> {
    TABLES.iter().map(|table| table.name)
}

/// The same for PostgreSQL needs a function, and a lock that keeps several servers from making it at once.
const POSTGRES_BEFORE: &[&str] = &[
    "SELECT pg_advisory_xact_lock(20261127)",
    "CREATE OR REPLACE FUNCTION row_is_unsummed() RETURNS trigger LANGUAGE plpgsql AS $$ \
     DECLARE new_row jsonb := to_jsonb(NEW); second text := ''; \
     BEGIN \
     FOR place IN 1 .. TG_NARGS - 1 LOOP second := second || ':' || (new_row ->> TG_ARGV[place]); END LOOP; \
     INSERT INTO unsummed (table_name, first_key, second_key) VALUES (TG_TABLE_NAME, new_row ->> TG_ARGV[0], second); \
     RETURN NULL; END $$",
];

const SQLITE_TRIGGERS: &str = "SELECT COUNT(*) FROM sqlite_master WHERE type = 'trigger' AND (name GLOB '*_unsummed_new' OR name GLOB '*_unsummed_changed')";

const POSTGRES_TRIGGERS: &str = "SELECT COUNT(*) FROM pg_trigger WHERE tgname ~ '_unsummed_(new|changed)$' AND tgenabled = 'O' \
     AND tgrelid IN (SELECT oid FROM pg_class WHERE relnamespace = current_schema()::regnamespace)";

/// Sees to it that a row that is new or changed is noted: whenever the books are opened, for each engine says it in its own words.
pub(in crate::store) async fn guard(pool: &AnyPool, engine: Engine) -> Stored<()> {
    let mut conn = pool.acquire().await?;
    let count = match engine {
        Engine::Sqlite => SQLITE_TRIGGERS,
        Engine::Postgres => POSTGRES_TRIGGERS,
    };
    let there: i64 = sqlx::query_scalar(count).fetch_one(&mut *conn).await?;
    if there >= 2 * TABLES.len() as i64 {
        return Ok(());
    }
    let (begin, before) = match engine {
        Engine::Sqlite => ("BEGIN IMMEDIATE", &[][..]),
        Engine::Postgres => ("BEGIN", POSTGRES_BEFORE),
    };
    let triggers = TABLES.iter().flat_map(|table| match engine {
        Engine::Sqlite => table.sqlite_triggers,
        Engine::Postgres => table.postgres_triggers,
    });
    let mut tx = conn.begin_with(begin).await?;
    for sql in before.iter().copied().chain(triggers) {
        tx.execute(sql).await?;
    }
    Ok(tx.commit().await?)
}

fn sum_of(row: &AnyRow) -> Stored<String> {
    Ok(HEXLOWER.encode(&Sha256::digest(line(row, BESIDE)?)))
}

/// Sums every row that is noted: what the transaction at hand wrote.
pub(in crate::store) async fn write(conn: &mut Conn) -> Stored<()> {
    const NOTED: &str = "DELETE FROM unsummed RETURNING table_name, first_key, second_key";
    let noted = sqlx::query(NOTED).fetch_all(&mut *conn).await?;
    let noted: Stored<BTreeSet<(String, String, String)>> = noted
        .iter()
        .map(|row| Ok((row.text("table_name")?, row.text("first_key")?, row.text("second_key")?)))
        .collect();
    for (name, first, second) in noted? {
        let Some(table) = TABLES.iter().find(|table| table.name == name) else { continue };
        let row = sqlx::query(table.read).bind(&first).bind(&second).fetch_optional(&mut *conn).await?;
        // What is not there went again in the same transaction.
        let Some(row) = row else { continue };
        sqlx::query(table.put).bind(first).bind(second).bind(sum_of(&row)?).execute(&mut *conn).await?;
    }
    Ok(())
}

/// Sums what an older program wrote, a few rows at a time. How many there were.
pub async fn catch_up(db: &Db) -> Stored<u64> {
    let mut many = 0;
    for table in TABLES {
        let mut after = (String::new(), String::new());
        loop {
            let mut tx = db.write().await?;
            let without = sqlx::query(table.without).bind(&after.0).bind(&after.1).bind(OLD_AT_ONCE);
            let without = without.fetch_all(&mut *tx).await?;
            let Some(last) = without.last() else { break };
            let until = (last.text("first_key")?, last.text("second_key")?);
            let asked =
                sqlx::query(table.ask_for).bind(&after.0).bind(&after.1).bind(&until.0).bind(&until.1);
            many += asked.execute(&mut *tx).await?.rows_affected();
            tx.commit().await?;
            after = until;
        }
    }
    Ok(many)
}

/// The rows that do not read as they were written, a line each; at most ten, empty: none.
pub async fn faults(conn: &mut Conn) -> Stored<Vec<String>> {
    let mut faults = Vec::new();
    for table in TABLES {
        let mut rows = sqlx::query(table.all).fetch(&mut *conn);
        loop {
            let row = match rows.try_next().await.map_err(StoreError::from) {
                Ok(Some(row)) => row,
                Ok(None) => break,
                Err(fault) if fault.is_damage() || fault.is_unreadable_row() => {
                    faults.push(format!("{} cannot be read: {fault}", table.name));
                    break;
                }
                Err(fault) => return Err(fault),
            };
            if !reads_as_written(&row) {
                let key = |column| row.text(column).unwrap_or_default();
                let (first, second) = (key("first_key"), key("second_key"));
                faults.push(format!("{} {first}{second} does not read as it was written", table.name));
            }
            if faults.len() == MOST_FAULTS {
                return Ok(faults);
            }
        }
    }
    Ok(faults)
}

/// A value that cannot be read at all was never written so.
fn reads_as_written(row: &AnyRow) -> bool {
    match (sum_of(row), row.text("row_sum")) {
        (Ok(sum), Ok(kept)) => sum == kept,
        (Ok(_) | Err(_), Ok(_) | Err(_)) => false,
    }
}
