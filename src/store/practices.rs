//! The practice itself: its name, phone, hours, and the counters that number its checks and audit lines.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use sqlx::Row;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::photo::CardIssue;
use crate::plan::coded;
use crate::sheet::Paper;
use crate::store::Conn;
use crate::store::StoreError;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::store::row::to_json;
use crate::triage::LadderTimes;

/// A practice as set up.
#[derive(Clone, Debug)]
pub struct Practice {
    pub id: PracticeId,
    pub name: String,
    pub phone: String,
    /// Where the practice is: 911, 112, …
    pub emergency_number: String,
    pub zone: TimeZone,
    pub paper: Paper,
    /// Local minutes after midnight between which somebody answers, Monday to Friday.
    pub opens_minute: i64,
    pub closes_minute: i64,
}

coded! {
    /// Whether photos are measured.
    pub enum Measuring { On = "on", Off = "off" }
}

/// How the practice has its photos measured.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuringSettings {
    pub measuring: Measuring,
    pub cards: CardIssue,
}

/// Kept in whole micrometres.
const UM_IN_MM: f64 = 1_000.0;

fn practice(row: &AnyRow) -> Stored<Practice> {
    let zone_name = row.text("time_zone")?;
    Ok(Practice {
        id: row.parsed("id")?,
        name: row.text("name")?,
        phone: row.text("phone")?,
        emergency_number: row.text("emergency_number")?,
        zone: TimeZone::get(&zone_name)
            .map_err(|fault| StoreError::Unreadable { column: "time_zone", because: fault.to_string() })?,
        paper: row.parsed("paper")?,
        opens_minute: row.whole("opens_minute")?,
        closes_minute: row.whole("closes_minute")?,
    })
}

pub async fn insert(conn: &mut Conn, practice: &Practice, created: Timestamp) -> Stored<()> {
    const SQL: &str = "INSERT INTO practice (id, name, phone, emergency_number, time_zone, paper, opens_minute, \
                       closes_minute, created_ms) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)";
    sqlx::query(SQL)
        .bind(practice.id.to_string())
        .bind(&practice.name)
        .bind(&practice.phone)
        .bind(&practice.emergency_number)
        .bind(practice.zone.iana_name().unwrap_or("UTC").to_owned())
        .bind(practice.paper.code())
        .bind(practice.opens_minute)
        .bind(practice.closes_minute)
        .bind(created.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

pub async fn find(conn: &mut Conn, id: PracticeId) -> Stored<Option<Practice>> {
    sqlx::query("SELECT * FROM practice WHERE id = $1")
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(practice)
        .transpose()
}

/// Every practice that people work in, oldest first; the canary's is not among them.
pub async fn all(conn: &mut Conn) -> Stored<Vec<Practice>> {
    sqlx::query("SELECT * FROM practice WHERE purpose = 'care' ORDER BY created_ms, id")
        .fetch_all(conn)
        .await?
        .iter()
        .map(practice)
        .collect()
}

/// Locks the practice's row until the transaction ends.
pub async fn hold(conn: &mut Conn, id: PracticeId) -> Stored<()> {
    sqlx::query("UPDATE practice SET name = name WHERE id = $1").bind(id.to_string()).execute(conn).await?;
    Ok(())
}

/// The next check's number. Locks the practice's row until the transaction ends, so that numbers follow commits.
pub async fn next_check_sequence(conn: &mut Conn, id: PracticeId) -> Stored<i64> {
    const SQL: &str = "UPDATE practice SET check_sequence = check_sequence + 1 WHERE id = $1 RETURNING check_sequence AS taken";
    Ok(sqlx::query(SQL).bind(id.to_string()).fetch_one(conn).await?.try_get("taken")?)
}

/// Minutes to each rung of the ladders. `None`: no such practice.
pub async fn ladder_times(conn: &mut Conn, id: PracticeId) -> Stored<Option<LadderTimes>> {
    let row = sqlx::query("SELECT ladder_times FROM practice WHERE id = $1")
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?;
    match row {
        None => Ok(None),
        Some(row) if row.text("ladder_times")?.is_empty() => Ok(Some(LadderTimes::default())),
        Some(row) => Ok(Some(row.json("ladder_times")?)),
    }
}

pub async fn set_ladder_times(conn: &mut Conn, id: PracticeId, times: &LadderTimes) -> Stored<()> {
    sqlx::query("UPDATE practice SET ladder_times = $2 WHERE id = $1")
        .bind(id.to_string())
        .bind(to_json(times)?)
        .execute(conn)
        .await?;
    Ok(())
}

/// How photos are measured. `None`: no such practice.
pub async fn measuring(conn: &mut Conn, id: PracticeId) -> Stored<Option<MeasuringSettings>> {
    let row =
        sqlx::query("SELECT * FROM practice WHERE id = $1").bind(id.to_string()).fetch_optional(conn).await?;
    row.as_ref().map(measuring_settings).transpose()
}

fn measuring_settings(row: &AnyRow) -> Stored<MeasuringSettings> {
    let tag_id = |column: &'static str| {
        u32::try_from(row.whole(column)?)
            .map_err(|fault| StoreError::Unreadable { column, because: fault.to_string() })
    };
    Ok(MeasuringSettings {
        measuring: row.parsed("measuring")?,
        cards: CardIssue {
            ids: tag_id("card_id_first")?..=tag_id("card_id_last")?,
            tag_edge_mm: row.whole("card_tag_edge_um")? as f64 / UM_IN_MM,
        },
    })
}

pub async fn set_measuring(conn: &mut Conn, id: PracticeId, settings: &MeasuringSettings) -> Stored<()> {
    const SQL: &str = "UPDATE practice SET measuring = $2, card_id_first = $3, card_id_last = $4, \
                       card_tag_edge_um = $5 WHERE id = $1";
    sqlx::query(SQL)
        .bind(id.to_string())
        .bind(settings.measuring.code())
        .bind(i64::from(*settings.cards.ids.start()))
        .bind(i64::from(*settings.cards.ids.end()))
        .bind((settings.cards.tag_edge_mm * UM_IN_MM).round() as i64)
        .execute(conn)
        .await?;
    Ok(())
}

/// What is mixed into the hashes of PINs, sealed. `None`: none was needed yet, or there is no such practice.
pub async fn sealed_pin_pepper(conn: &mut Conn, id: PracticeId) -> Stored<Option<Vec<u8>>> {
    let row =
        sqlx::query("SELECT * FROM practice WHERE id = $1").bind(id.to_string()).fetch_optional(conn).await?;
    Ok(row.map(|row| row.bytes_maybe("sealed_pin_pepper")).transpose()?.flatten())
}

/// Keeps a pepper where there was none.
pub async fn keep_pin_pepper(conn: &mut Conn, id: PracticeId, sealed: &[u8]) -> Stored<()> {
    const SQL: &str =
        "UPDATE practice SET sealed_pin_pepper = $2 WHERE id = $1 AND sealed_pin_pepper IS NULL";
    sqlx::query(SQL).bind(id.to_string()).bind(sealed.to_vec()).execute(conn).await?;
    Ok(())
}

/// The same pepper under another key, or another one; false: it was replaced meanwhile.
pub async fn replace_pin_pepper(
    conn: &mut Conn,
    id: PracticeId,
    before: &[u8],
    sealed: &[u8],
) -> Stored<bool> {
    const SQL: &str = "UPDATE practice SET sealed_pin_pepper = $3 WHERE id = $1 AND sealed_pin_pepper = $2";
    let replaced = sqlx::query(SQL)
        .bind(id.to_string())
        .bind(before.to_vec())
        .bind(sealed.to_vec())
        .execute(conn)
        .await?;
    Ok(replaced.rows_affected() == 1)
}
