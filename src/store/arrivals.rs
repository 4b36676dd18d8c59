//! How many wound checks came when: counted for the forecast, without reading what they say.

use futures::TryStreamExt;
use jiff::Timestamp;
use sqlx::Row;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::StoreError;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::triage::Urgency;

/// Every time zone's clock has been a whole number of quarter hours from the world's since 1972, so all of a quarter
/// hour falls into the same local hour.
const QUARTER_HOUR_MS: i64 = 900_000;

/// Checks of one class, received within one quarter of an hour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Arrived {
    pub urgency: Urgency,
    /// When the quarter hour began.
    pub from: Timestamp,
    pub checks: u64,
}

/// What came from `from` to before `until`, oldest first. Quarters in which nothing came are absent.
pub async fn between(
    conn: &mut Conn,
    practice: PracticeId,
    from: Timestamp,
    until: Timestamp,
) -> Stored<Vec<Arrived>> {
    const SQL: &str = "SELECT urgency, received_ms / 900000 AS quarter, COUNT(*) AS checks FROM wound_check \
                       WHERE practice_id = $1 AND received_ms >= $2 AND received_ms < $3 \
                       GROUP BY urgency, received_ms / 900000 ORDER BY quarter, urgency";
    let mut rows = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(from.as_millisecond())
        .bind(until.as_millisecond())
        .fetch(conn);
    let mut all = Vec::new();
    while let Some(row) = rows.try_next().await? {
        all.push(arrived(&row)?);
    }
    Ok(all)
}

/// When the practice's first check came. `None`: none has yet.
pub async fn first(conn: &mut Conn, practice: PracticeId) -> Stored<Option<Timestamp>> {
    const SQL: &str = "SELECT MIN(received_ms) AS first_ms FROM wound_check WHERE practice_id = $1";
    sqlx::query(SQL).bind(practice.to_string()).fetch_one(conn).await?.time_maybe("first_ms")
}

fn arrived(row: &AnyRow) -> Stored<Arrived> {
    let unreadable = |column, because: String| StoreError::Unreadable { column, because };
    let rank = row.whole("urgency")?;
    let urgency = u8::try_from(rank).ok().and_then(Urgency::from_rank);
    let quarter: i64 = row.try_get("quarter")?;
    let from = Timestamp::from_millisecond(quarter.saturating_mul(QUARTER_HOUR_MS));
    Ok(Arrived {
        urgency: urgency.ok_or_else(|| unreadable("urgency", format!("no urgency has rank {rank}")))?,
        from: from.map_err(|fault| unreadable("received_ms", fault.to_string()))?,
        checks: u64::try_from(row.whole("checks")?)
            .map_err(|fault| unreadable("checks", fault.to_string()))?,
    })
}
