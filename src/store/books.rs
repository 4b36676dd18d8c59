//! All the books, table by table: read as they stood in one moment, and written into books that are empty. The rows on their
//! way are text of one form, whichever engine they come from or go to.
//!
//! A part begins with a line that says which table and columns it holds; then every row is a line of its own: a JSON array in
//! the order of those columns. Bytes are base64.

use std::io::BufRead;
use std::io::Write;

use data_encoding::BASE64;
use futures::TryStreamExt;
use serde::Deserialize;
use serde::Serialize;
use serde_json::Value;
use sqlx::AssertSqlSafe;
use sqlx::Row;
use sqlx::any::AnyRow;

use crate::store::BlobName;
use crate::store::Conn;
use crate::store::Engine;
use crate::store::StoreError;
use crate::store::Stored;
use crate::store::keyring::OBJECT_SEAL_BYTES;
use crate::store::row::Columns;

/// One table of the books.
#[derive(Clone, Copy, Debug)]
pub struct Table {
    pub name: &'static str,
    read: &'static str,
    count: &'static str,
}

macro_rules! tables {
    ($($name:literal)*) => {
        /// Every table there is, in the order in which they were made: what a row points at stands before it.
        pub const TABLES: &[Table] = &[$(Table {
            name: $name,
            read: concat!("SELECT * FROM ", $name),
            count: concat!("SELECT COUNT(*) AS many FROM ", $name),
        }),*];
    };
}

tables! {
    "practice" "staff" "staff_session" "passkey" "authenticator" "recovery_code" "known_browser" "unknown_name" "set_up" "patient" "wound" "plan_step" "patient_link" "patient_session" "late_knock"
    "wound_check" "answers_version" "photo" "review" "message" "callback" "call_attempt" "reply_text" "audit" "notice"
    "protocol" "protocol_draft" "assessment" "check_draft" "measurement" "measuring_job" "job" "clock_seen" "ladder"
    "ladder_rung" "staff_address" "opt_out" "delivery" "alarm" "practice_hours" "holiday" "duty_weekly" "duty_dated"
    "duty_away" "plan_change" "plan_text" "strip_attempt" "calendar_feed" "silence" "silence_call" "antibiotic_course"
    "link_address" "page_beat" "drill" "canary" "server_state" "sealed_blob" "unreadable_text" "sealed_code"
    "sealed_look" "keeping" "legal_hold" "tombstone" "purged_file" "correction" "export_agreement"
    "unsummed"
}

/// The table of this name; `None`: the program knows none.
pub fn table(name: &str) -> Option<&'static Table> {
    TABLES.iter().find(|table| table.name == name)
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Kind {
    Text,
    Whole,
    Bytes,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Column {
    name: String,
    kind: Kind,
}

/// The first line of a part.
#[derive(Debug, Serialize, Deserialize)]
struct Head {
    table: String,
    columns: Vec<Column>,
}

fn unreadable(column: &'static str, because: impl Into<String>) -> StoreError {
    StoreError::Unreadable { column, because: because.into() }
}

async fn columns(conn: &mut Conn, engine: Engine, table: &Table) -> Stored<Vec<Column>> {
    const SQLITE: &str = "SELECT name, type AS kind FROM pragma_table_info($1) ORDER BY cid";
    const POSTGRES: &str = "SELECT CAST(column_name AS TEXT) AS name, CAST(data_type AS TEXT) AS kind \
                            FROM information_schema.columns WHERE table_schema = current_schema() \
                            AND CAST(table_name AS TEXT) = $1 ORDER BY ordinal_position";
    let sql = match engine {
        Engine::Sqlite => SQLITE,
        Engine::Postgres => POSTGRES,
    };
    let rows = sqlx::query(sql).bind(table.name).fetch_all(conn).await?;
    rows.iter()
        .map(|row| {
            let (name, kind) = (row.text("name")?, row.text("kind")?.to_lowercase());
            let kind = match kind.as_str() {
                "text" => Kind::Text,
                "bigint" | "smallint" => Kind::Whole,
                "bytea" => Kind::Bytes,
                _ => return Err(unreadable("kind", format!("{}.{name} is of kind {kind}", table.name))),
            };
            Ok(Column { name, kind })
        })
        .collect()
}

fn value(row: &AnyRow, column: &Column) -> Stored<Value> {
    let name = column.name.as_str();
    Ok(match column.kind {
        Kind::Text => row.try_get::<Option<String>, _>(name)?.map_or(Value::Null, Value::from),
        Kind::Whole => row.try_get::<Option<i64>, _>(name)?.map_or(Value::Null, Value::from),
        Kind::Bytes => {
            let bytes: Option<Vec<u8>> = row.try_get(name)?;
            bytes.map_or(Value::Null, |bytes| Value::from(BASE64.encode(&bytes)))
        }
    })
}

/// Writes a table out, and says how many rows it has.
pub async fn read_out(
    conn: &mut Conn,
    engine: Engine,
    table: &Table,
    out: &mut (dyn Write + Send),
) -> Stored<i64> {
    let columns = columns(conn, engine, table).await?;
    let head = Head { table: table.name.to_owned(), columns };
    write_line(out, &serde_json::to_value(&head).map_err(|fault| unreadable("head", fault.to_string()))?)?;
    let (mut rows, mut many) = (sqlx::query(table.read).fetch(conn), 0);
    while let Some(row) = rows.try_next().await? {
        let values: Stored<Vec<Value>> = head.columns.iter().map(|column| value(&row, column)).collect();
        write_line(out, &Value::Array(values?))?;
        many += 1;
    }
    Ok(many)
}

fn write_line(out: &mut (dyn Write + Send), line: &Value) -> Stored<()> {
    Ok(writeln!(out, "{line}")?)
}

/// Writes a part's rows into its table, which is empty, and says how many there were. A part of another table, or with other
/// columns than the table has, is refused.
pub async fn write_in(
    conn: &mut Conn,
    engine: Engine,
    table: &Table,
    from: &mut (dyn BufRead + Send),
) -> Stored<i64> {
    let mut line = String::new();
    from.read_line(&mut line)?;
    let head: Head = serde_json::from_str(&line).map_err(|fault| unreadable("head", fault.to_string()))?;
    let here = columns(conn, engine, table).await?;
    let is_alike = head.table == table.name
        && head.columns.len() == here.len()
        && head.columns.iter().all(|column| here.contains(column));
    if !is_alike {
        return Err(unreadable("head", format!("the part is not of the table {} as it is here", table.name)));
    }
    // Every name in it was found in the catalogue of these books.
    let names: Vec<&str> = head.columns.iter().map(|column| column.name.as_str()).collect();
    let places: Vec<String> = (1..=names.len()).map(|place| format!("${place}")).collect();
    let insert = format!("INSERT INTO {} ({}) VALUES ({})", table.name, names.join(", "), places.join(", "));
    let mut many = 0;
    loop {
        line.clear();
        if from.read_line(&mut line)? == 0 {
            return Ok(many);
        }
        let values: Vec<Value> =
            serde_json::from_str(&line).map_err(|fault| unreadable("row", fault.to_string()))?;
        if values.len() != head.columns.len() {
            return Err(unreadable("row", "it has another number of columns than its table"));
        }
        let mut query = sqlx::query(AssertSqlSafe(insert.clone()));
        for (value, column) in values.into_iter().zip(&head.columns) {
            query = match (column.kind, value) {
                (Kind::Text, Value::Null) => query.bind(None::<String>),
                (Kind::Whole, Value::Null) => query.bind(None::<i64>),
                (Kind::Bytes, Value::Null) => query.bind(None::<Vec<u8>>),
                (Kind::Text, Value::String(text)) => query.bind(text),
                (Kind::Bytes, Value::String(text)) => {
                    let bytes = BASE64.decode(text.as_bytes());
                    query.bind(bytes.map_err(|fault| unreadable("row", fault.to_string()))?)
                }
                (Kind::Whole, Value::Number(whole)) => {
                    let whole = whole.as_i64().ok_or_else(|| unreadable("row", "no whole number"))?;
                    query.bind(whole)
                }
                (Kind::Text | Kind::Whole | Kind::Bytes, _) => {
                    return Err(unreadable("row", format!("{} holds something else", column.name)));
                }
            };
        }
        query.execute(&mut *conn).await?;
        many += 1;
    }
}

/// How many rows a table has, whoever they belong to.
pub async fn count(conn: &mut Conn, table: &Table) -> Stored<i64> {
    sqlx::query(table.count).fetch_one(conn).await?.whole("many")
}

/// The version of the last migration that these books went through.
pub async fn schema_version(conn: &mut Conn) -> Stored<i64> {
    sqlx::query("SELECT MAX(version) AS version FROM _sqlx_migrations")
        .fetch_one(conn)
        .await?
        .whole("version")
}

/// The tables that the database really has, but for the one that keeps the migrations.
pub async fn tables_there(conn: &mut Conn, engine: Engine) -> Stored<Vec<String>> {
    const SQLITE: &str = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' \
                          AND name <> '_sqlx_migrations' ORDER BY name";
    const POSTGRES: &str = "SELECT CAST(table_name AS TEXT) AS name FROM information_schema.tables \
                            WHERE table_schema = current_schema() AND table_name <> '_sqlx_migrations' ORDER BY 1";
    let sql = match engine {
        Engine::Sqlite => SQLITE,
        Engine::Postgres => POSTGRES,
    };
    sqlx::query(sql).fetch_all(conn).await?.iter().map(|row| row.text("name")).collect()
}

/// What the database says of its own pages and indexes; `None`: all is well, or the engine keeps no such count of itself.
pub async fn damage(conn: &mut Conn, engine: Engine) -> Stored<Option<String>> {
    match engine {
        Engine::Postgres => Ok(None),
        Engine::Sqlite => {
            let rows = sqlx::query("PRAGMA integrity_check(5)").fetch_all(conn).await?;
            let said: Result<Vec<String>, _> = rows.iter().map(|row| row.try_get::<String, _>(0)).collect();
            let said = said?.join("; ");
            Ok((said != "ok").then_some(said))
        }
    }
}

/// A file of the photo folder that the books name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PhotoFile {
    /// SHA-256 of the file: its name in the photo folder.
    pub file: String,
    /// 0: it was kept before anything was sealed, and is a picture that anybody can look at.
    pub key_version: u32,
    /// Of the file; `None`: the books do not say.
    pub bytes: Option<u64>,
}

impl PhotoFile {
    pub fn name(&self) -> Stored<BlobName> {
        self.file.parse().map_err(|_| unreadable("file", "no name of a photo"))
    }
}

/// Every file of the photo folder that the books name, each once.
pub async fn photo_files(conn: &mut Conn) -> Stored<Vec<PhotoFile>> {
    const SEALED: &str = "SELECT sealed_sha256 AS file, MAX(key_version) AS key_version, MAX(bytes) AS bytes \
                          FROM sealed_blob GROUP BY sealed_sha256 ORDER BY sealed_sha256";
    const BEFORE: &str = "SELECT full_sha256 AS file FROM photo WHERE full_sha256 IS NOT NULL AND NOT EXISTS \
        (SELECT sha256 FROM sealed_blob WHERE sealed_blob.practice_id = photo.practice_id AND sha256 = full_sha256) \
        UNION SELECT review_sha256 FROM photo WHERE review_sha256 IS NOT NULL AND NOT EXISTS \
        (SELECT sha256 FROM sealed_blob WHERE sealed_blob.practice_id = photo.practice_id AND sha256 = review_sha256) \
        UNION SELECT small_sha256 FROM photo WHERE small_sha256 IS NOT NULL AND NOT EXISTS \
        (SELECT sha256 FROM sealed_blob WHERE sealed_blob.practice_id = photo.practice_id AND sha256 = small_sha256)";
    let mut files = Vec::new();
    for row in sqlx::query(SEALED).fetch_all(&mut *conn).await? {
        let key_version = row.whole("key_version")? as u32;
        let added = if key_version > 0 { OBJECT_SEAL_BYTES } else { 0 };
        let bytes = Some((row.whole("bytes")? as usize + added) as u64);
        files.push(PhotoFile { file: row.text("file")?, key_version, bytes });
    }
    let known = files.len();
    for row in sqlx::query(BEFORE).fetch_all(conn).await? {
        let file = row.text("file")?;
        if files[..known].binary_search_by(|one| one.file.cmp(&file)).is_err() {
            files.push(PhotoFile { file, key_version: 0, bytes: None });
        }
    }
    Ok(files)
}
