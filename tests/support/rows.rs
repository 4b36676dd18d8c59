//! What stands in the books, table by table, to be compared before and after.

use std::collections::BTreeMap;

use sqlx::AssertSqlSafe;
use sqlx::Column;
use sqlx::Row;
use sqlx::any::AnyRow;

use closewatch::ids::PracticeId;
use closewatch::store::Conn;
use closewatch::store::text_columns;

use super::Practice;

/// Every table whose rows belong to one practice.
pub const TABLES: &[&str] = &[
    "staff",
    "staff_session",
    "passkey",
    "authenticator",
    "recovery_code",
    "known_browser",
    "patient",
    "wound",
    "plan_step",
    "plan_change",
    "plan_text",
    "strip_attempt",
    "calendar_feed",
    "patient_link",
    "patient_session",
    "late_knock",
    "check_draft",
    "wound_check",
    "answers_version",
    "assessment",
    "photo",
    "measurement",
    "measuring_job",
    "review",
    "message",
    "callback",
    "call_attempt",
    "reply_text",
    "protocol",
    "protocol_draft",
    "audit",
    "notice",
    "job",
    "ladder",
    "ladder_rung",
    "staff_address",
    "link_address",
    "opt_out",
    "delivery",
    "alarm",
    "silence",
    "silence_call",
    "antibiotic_course",
    "practice_hours",
    "holiday",
    "duty_weekly",
    "duty_dated",
    "duty_away",
    "page_beat",
    "drill",
    "canary",
    "sealed_blob",
    "unreadable_text",
    "sealed_code",
    "sealed_look",
    "keeping",
    "legal_hold",
    "tombstone",
    "purged_file",
    "correction",
    "export_agreement",
];

/// Every row of one practice, its own row among them, by table. Equal before and after: nothing of it changed.
pub async fn rows_of(conn: &mut Conn, practice: PracticeId) -> BTreeMap<String, Vec<String>> {
    let mut all = BTreeMap::new();
    let own = rows(conn, "SELECT * FROM practice WHERE id = $1", practice).await;
    all.insert("practice".to_owned(), own);
    for table in TABLES {
        let sql = format!("SELECT * FROM {table} WHERE practice_id = $1");
        all.insert((*table).to_owned(), rows(conn, &sql, practice).await);
    }
    all
}

async fn rows(conn: &mut Conn, sql: &str, practice: PracticeId) -> Vec<String> {
    let found =
        sqlx::query(AssertSqlSafe(sql.to_owned())).bind(practice.to_string()).fetch_all(conn).await.unwrap();
    let mut lines: Vec<String> = found.iter().map(line).collect();
    lines.sort();
    lines
}

/// Everything of a practice that is sealed, opened, by the name of its column.
pub async fn opened_texts(practice: &Practice) -> Vec<(&'static str, String)> {
    let seals = practice.desk().blobs.seals().unwrap();
    let mut all = Vec::new();
    for column in text_columns::ALL {
        let texts = text_columns::after(&mut *practice.books().await, practice.id, column, "", 10_000).await;
        for text in texts.unwrap() {
            all.push((column.name, text.sealed.open(&seals, column, &text.sealed_for).unwrap()));
        }
    }
    all
}

/// One row as `column=value` pairs.
pub fn line(row: &AnyRow) -> String {
    let mut pairs: Vec<String> = row
        .columns()
        .iter()
        .map(|column| {
            let name = column.name();
            let value = match row.try_get::<Option<String>, _>(name) {
                Ok(text) => text,
                Err(_) => match row.try_get::<Option<i64>, _>(name) {
                    Ok(whole) => whole.map(|whole| whole.to_string()),
                    Err(_) => row
                        .try_get::<Option<Vec<u8>>, _>(name)
                        .unwrap()
                        .map(|bytes| data_encoding::HEXLOWER.encode(&bytes)),
                },
            };
            format!("{name}={}", value.unwrap_or_else(|| "NULL".to_owned()))
        })
        .collect();
    pairs.sort();
    pairs.join(" ")
}

/// How many rows a table has, whoever they belong to.
pub async fn count(conn: &mut Conn, table: &str) -> i64 {
    let sql = format!("SELECT COUNT(*) AS rows FROM {table}");
    sqlx::query(AssertSqlSafe(sql)).fetch_one(conn).await.unwrap().try_get("rows").unwrap()
}
