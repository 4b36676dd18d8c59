//! Every row of the record carries the SHA-256 of everything else in it: what the disk does to a row is seen, though SQLite has no
//! checksums of its own. It is no seal: whoever can write in the books can sum as well; that is what the record's chain is for.
//!
//! Nobody needs to think of it. A row that is new, or that an UPDATE changed, has no sum (a trigger of the engine takes it away),
//! and a transaction sums such rows before it commits. What changes a row without a statement leaves its old sum beside it.

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

/// One table whose rows carry sums. Its rows are found by two keys, the second of which may be nothing.
struct Summed {
    name: &'static str,
    read: &'static str,
    put: &'static str,
    all: &'static str,
    ask_for_old: &'static str,
    sqlite_trigger: &'static str,
    postgres_trigger: &'static str,
}

macro_rules! second {
    () => {
        "''"
    };
    ($key:literal) => {
        $key
    };
}

macro_rules! summed {
    ($($name:literal by $first:literal $(and $second:literal)? $(beside $counter:literal)*;)*) => {
        const TABLES: &[Summed] = &[$(Summed {
            name: $name,
            read: concat!("SELECT * FROM ", $name, " WHERE ", $first, " = $1 AND ", second!($($second)?), " = $2"),
            put: concat!("UPDATE ", $name, " SET row_sum = $3 WHERE ", $first, " = $1 AND ", second!($($second)?), " = $2"),
            all: concat!("SELECT ", $first, " AS first_key, ", second!($($second)?), " AS second_key, ", $name,
                ".* FROM ", $name, " WHERE row_sum NOT IN ('', '-')"),
            ask_for_old: concat!("UPDATE ", $name, " SET row_sum = '' WHERE (", $first, ", ", second!($($second)?),
                ") IN (SELECT ", $first, ", ", second!($($second)?), " FROM ", $name,
                " WHERE row_sum < '0' AND row_sum = '-' LIMIT $1)"),
            sqlite_trigger: concat!("CREATE TRIGGER IF NOT EXISTS ", $name, "_loses_its_sum AFTER UPDATE ON ", $name,
                " WHEN NEW.row_sum = OLD.row_sum AND OLD.row_sum <> ''",
                $(" AND NEW.", $counter, " = OLD.", $counter,)* " BEGIN UPDATE ", $name,
                " SET row_sum = '' WHERE rowid = NEW.rowid; END"),
            postgres_trigger: concat!("CREATE OR REPLACE TRIGGER row_loses_its_sum BEFORE UPDATE ON ", $name,
                " FOR EACH ROW WHEN (true", $(" AND NEW.", $counter, " = OLD.", $counter,)*
                ") EXECUTE FUNCTION row_loses_its_sum()"),
        }),*];

        /// Rows without a sum, in every table. The first condition is the index's, which holds no others.
        const UNSUMMED: &str = concat!($("SELECT '", $name, "' AS name, ", $first, " AS first_key, ", second!($($second)?),
            " AS second_key FROM ", $name, " WHERE row_sum < '0' AND row_sum = '' UNION ALL ",)*
            "SELECT '' AS name, '' AS first_key, '' AS second_key WHERE 1 = 0");
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
    "plan_text" by "practice_id" and "CAST(version AS TEXT)";
    "strip_attempt" by "id";
    "patient_link" by "id";
    "late_knock" by "id";
    "wound_check" by "id";
    "answers_version" by "id";
    "assessment" by "check_id" and "CAST(number AS TEXT)";
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
    "ladder_rung" by "ladder_id" and "CAST(number AS TEXT)";
    "job" by "id";
    "notice" by "id";
    "delivery" by "id";
    "staff_address" by "id";
    "opt_out" by "practice_id" and "channel || ':' || address";
    "practice_hours" by "practice_id" and "CAST(weekday AS TEXT)";
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
    "CREATE OR REPLACE FUNCTION row_loses_its_sum() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN \
     IF NEW.row_sum = OLD.row_sum THEN NEW.row_sum := ''; END IF; RETURN NEW; END $$",
];

const POSTGRES_TRIGGERS: &str = "SELECT COUNT(*) FROM pg_trigger WHERE tgname = 'row_loses_its_sum' AND tgenabled = 'O' \
     AND tgrelid IN (SELECT oid FROM pg_class WHERE relnamespace = current_schema()::regnamespace)";

/// Sees to it that a row that is changed loses its sum: whenever the books are opened, for each engine says it in its own words.
pub(in crate::store) async fn guard(pool: &AnyPool, engine: Engine) -> Stored<()> {
    let mut conn = pool.acquire().await?;
    match engine {
        Engine::Sqlite => {
            for table in TABLES {
                conn.execute(table.sqlite_trigger).await?;
            }
        }
        Engine::Postgres => {
            let there: i64 = sqlx::query_scalar(POSTGRES_TRIGGERS).fetch_one(&mut *conn).await?;
            if there >= TABLES.len() as i64 {
                return Ok(());
            }
            let mut tx = conn.begin().await?;
            for sql in
                POSTGRES_BEFORE.iter().copied().chain(TABLES.iter().map(|table| table.postgres_trigger))
            {
                tx.execute(sql).await?;
            }
            tx.commit().await?;
        }
    }
    Ok(())
}

fn sum_of(row: &AnyRow) -> Stored<String> {
    Ok(HEXLOWER.encode(&Sha256::digest(line(row, BESIDE)?)))
}

/// Sums every row that has no sum: what the transaction at hand wrote.
pub(in crate::store) async fn write(conn: &mut Conn) -> Stored<()> {
    for new in sqlx::query(UNSUMMED).fetch_all(&mut *conn).await? {
        let (name, first, second) = (new.text("name")?, new.text("first_key")?, new.text("second_key")?);
        let Some(table) = TABLES.iter().find(|table| table.name == name) else { continue };
        let Some(row) = sqlx::query(table.read).bind(&first).bind(&second).fetch_optional(&mut *conn).await?
        else {
            continue;
        };
        sqlx::query(table.put).bind(first).bind(second).bind(sum_of(&row)?).execute(&mut *conn).await?;
    }
    Ok(())
}

/// Sums what an older program wrote, a few rows at a time. How many there were.
pub async fn catch_up(db: &Db) -> Stored<u64> {
    let mut many = 0;
    for table in TABLES {
        loop {
            let mut tx = db.write().await?;
            let asked = sqlx::query(table.ask_for_old).bind(OLD_AT_ONCE).execute(&mut *tx).await?;
            tx.commit().await?;
            many += asked.rows_affected();
            if asked.rows_affected() == 0 {
                break;
            }
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
                let place = format!("{} {} {}", table.name, key("first_key"), key("second_key"));
                faults.push(format!("{} does not read as it was written", place.trim_end()));
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
