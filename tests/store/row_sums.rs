//! What the disk does to a row is told, whichever column it is; what the program does to it never is.

use closewatch::care::books;
use closewatch::store;
use closewatch::store::Engine;
use closewatch::store::alarms;
use closewatch::store::alarms::AlarmKind;
use closewatch::store::row_sums;
use closewatch::store::whole::Depth;
use sqlx::AssertSqlSafe;
use sqlx::Row;

use crate::isolation::busy;
use crate::support::Practice;
use crate::support::jpeg;
use crate::support::no_danger;
use crate::support::on_each_engine;

/// Tables whose rows carry no sum, and why.
const BESIDE: &[(&str, &[&str])] = &[
    ("its lines are chained", &["audit"]),
    ("it is empty outside a transaction", &["unsummed"]),
    (
        "what they hold is a hash, a key or sealed, and opens nothing once it changed",
        &[
            "authenticator",
            "calendar_feed",
            "passkey",
            "recovery_code",
            "sealed_blob",
            "sealed_code",
            "set_up",
        ],
    ),
    (
        "it is over in hours or days, or made anew by the next look",
        &[
            "alarm",
            "canary",
            "check_draft",
            "clock_seen",
            "drill",
            "known_browser",
            "link_address",
            "measuring_job",
            "page_beat",
            "patient_session",
            "protocol_draft",
            "purged_file",
            "server_state",
            "staff_session",
            "unknown_name",
            "unreadable_text",
        ],
    ),
];

#[test]
fn every_table_is_summed_or_its_reason_is_named() {
    let beside = BESIDE.iter().flat_map(|(_, tables)| tables.iter().copied());
    let mut named: Vec<&str> = row_sums::tables().chain(beside).collect();
    named.sort_unstable();
    let mut all: Vec<&str> = store::books::TABLES.iter().map(|table| table.name).collect();
    all.sort_unstable();
    assert_eq!(named, all);
}

async fn faults(practice: &Practice) -> Vec<String> {
    row_sums::faults(&mut *practice.books().await).await.unwrap()
}

async fn how_many(practice: &Practice, sql: String) -> i64 {
    let mut books = practice.books().await;
    sqlx::query(AssertSqlSafe(sql)).fetch_one(&mut *books).await.unwrap().try_get(0).unwrap()
}

/// From here on an UPDATE leaves the sum where it is, as a disk does.
async fn as_the_disk_does(practice: &Practice) {
    let mut tx = practice.desk().db.write().await.unwrap();
    for table in row_sums::tables() {
        let sql = match practice.desk().db.engine() {
            Engine::Sqlite => format!("DROP TRIGGER {table}_unsummed_changed"),
            Engine::Postgres => format!("ALTER TABLE {table} DISABLE TRIGGER {table}_unsummed_changed"),
        };
        sqlx::query(AssertSqlSafe(sql)).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
}

/// Counters of a practice that its record and its checks come to; they move with every line, and the chain tells of them.
const COUNTERS: &[&str] = &["audit_sequence", "audit_head", "check_sequence"];

/// Columns of a table by what they hold.
async fn columns(practice: &Practice, table: &str) -> Vec<(String, String)> {
    let sql = match practice.desk().db.engine() {
        Engine::Sqlite => format!("SELECT name, type AS kind FROM pragma_table_info('{table}')"),
        Engine::Postgres => format!(
            "SELECT CAST(column_name AS TEXT) AS name, CAST(data_type AS TEXT) AS kind FROM information_schema.columns \
             WHERE table_schema = current_schema() AND CAST(table_name AS TEXT) = '{table}'"
        ),
    };
    let rows = sqlx::query(AssertSqlSafe(sql)).fetch_all(&mut *practice.books().await).await.unwrap();
    rows.iter().map(|row| (row.get("name"), row.get::<String, _>("kind").to_lowercase())).collect()
}

/// Another value for a column, for what is in it and for nothing at all.
fn other_value(column: &str, kind: &str) -> String {
    match kind {
        "text" => format!("COALESCE({column}, '') || 'x'"),
        "bytea" => format!("CASE WHEN {column} IS NULL THEN CAST('x' AS BYTEA) ELSE NULL END"),
        _ => format!("CASE WHEN {column} = 1 THEN 0 ELSE COALESCE({column}, 0) + 1 END"),
    }
}

#[tokio::test]
async fn whatever_column_changes_without_the_program_the_row_is_named() {
    on_each_engine(async |practice| {
        let practice = busy(practice).await.practice;
        assert_eq!(faults(&practice).await, Vec::<String>::new());
        as_the_disk_does(&practice).await;
        let (mut told, mut refused, mut empty) = (0, 0, Vec::new());
        for table in row_sums::tables() {
            if how_many(&practice, format!("SELECT COUNT(*) FROM {table}")).await == 0 {
                empty.push(table);
                continue;
            }
            for (column, kind) in columns(&practice, table).await {
                let mut tx = practice.desk().db.write().await.unwrap();
                let value = other_value(&column, &kind);
                let row = match practice.desk().db.engine() {
                    Engine::Sqlite => "rowid = (SELECT MIN(rowid) FROM",
                    Engine::Postgres => "ctid = (SELECT MIN(ctid) FROM",
                };
                let sql = format!("UPDATE {table} SET {column} = {value} WHERE {row} {table})");
                // What a constraint of the table refuses, its engine would tell of.
                if sqlx::query(AssertSqlSafe(sql)).execute(&mut *tx).await.is_err() {
                    refused += 1;
                    continue;
                }
                let faults = row_sums::faults(&mut tx).await.unwrap();
                if COUNTERS.contains(&column.as_str()) {
                    assert!(faults.is_empty(), "{table}.{column}: {faults:?}");
                    continue;
                }
                assert_eq!(faults.len(), 1, "{table}.{column}: {faults:?}");
                assert!(faults[0].starts_with(table), "{table}.{column}: {faults:?}");
                told += 1;
            }
        }
        println!("{told} columns changed and told, {refused} refused by their tables, no rows in {empty:?}");
        assert!(told >= 250 && empty.len() <= 4, "{told} told, {refused} refused, {empty:?}");
        assert_eq!(faults(&practice).await, Vec::<String>::new());
    })
    .await;
}

#[tokio::test]
async fn each_transaction_sums_what_it_wrote_and_what_an_older_program_wrote_is_summed_by_the_daily_look() {
    on_each_engine(async |practice| {
        let busy = busy(practice).await;
        let practice = &busy.practice;
        let mut rows = 0;
        for table in row_sums::tables() {
            let without = format!("SELECT COUNT(*) FROM {table} WHERE row_sum = ''");
            assert_eq!(how_many(practice, without).await, 0, "{table}");
            rows += how_many(practice, format!("SELECT COUNT(*) FROM {table}")).await;
        }
        assert!(rows > 100, "{rows}");
        assert_eq!(how_many(practice, "SELECT COUNT(*) FROM unsummed".to_owned()).await, 0);
        // As a migration leaves them.
        let mut tx = practice.desk().db.write().await.unwrap();
        for table in row_sums::tables() {
            let sql = format!("UPDATE {table} SET row_sum = ''");
            sqlx::query(AssertSqlSafe(sql)).execute(&mut *tx).await.unwrap();
        }
        tx.commit().await.unwrap();
        assert_eq!(faults(practice).await, Vec::<String>::new());
        assert_eq!(row_sums::catch_up(&practice.desk().db).await.unwrap(), rows as u64);
        assert_eq!(row_sums::catch_up(&practice.desk().db).await.unwrap(), 0);
        for table in row_sums::tables() {
            let summed = format!("SELECT COUNT(*) FROM {table} WHERE length(row_sum) <> 64");
            assert_eq!(how_many(practice, summed).await, 0, "{table}");
        }
        assert_eq!(faults(practice).await, Vec::<String>::new());
    })
    .await;
}

async fn damage_is_alarmed(practice: &Practice) -> bool {
    let open = alarms::open(&mut *practice.books().await, practice.id).await.unwrap();
    open.iter().any(|alarm| alarm.kind == AlarmKind::BooksDamaged)
}

#[tokio::test]
async fn a_bit_that_changed_in_a_due_time_is_an_alarm_until_the_row_reads_as_it_was_written() {
    on_each_engine(async |practice| {
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        let phone = patient.opens_link().await;
        let sent = phone.sends("form 1", no_danger(), &[jpeg(1)]).await;
        let (desk, check) = (practice.desk(), sent.check);
        let changes = async |by: i64| {
            let sql = format!("UPDATE wound_check SET due_ms = due_ms + {by} WHERE id = '{check}'");
            let mut tx = desk.db.write().await.unwrap();
            sqlx::query(AssertSqlSafe(sql)).execute(&mut *tx).await.unwrap();
            tx.commit().await.unwrap();
        };
        as_the_disk_does(&practice).await;
        changes(1 << 40).await;
        let found = books::check(desk, Depth::Whole, &practice.moment()).await.unwrap();
        assert_eq!(found, [format!("wound_check {check} does not read as it was written")]);
        assert!(damage_is_alarmed(&practice).await);
        changes(-(1 << 40)).await;
        assert!(books::check(desk, Depth::Whole, &practice.moment()).await.unwrap().is_empty());
        assert!(!damage_is_alarmed(&practice).await);
    })
    .await;
}
