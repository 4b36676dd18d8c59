//! How many wound checks came when: counted for the forecast, without reading what they say.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::StoreError;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::triage::Urgency;

/// Checks of one class in one hour of the week.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Arrived {
    pub urgency: Urgency,
    /// 0–167, from Monday midnight.
    pub hour_of_week: usize,
    pub checks: u64,
}

/// What came from `from` to before `until`, by the hour of the week of a clock that is `offset_ms` ahead of the world's.
/// Hours in which nothing came are absent. Over years the database returns at most 840 rows.
pub async fn by_hour_of_week(
    conn: &mut Conn,
    practice: PracticeId,
    from: Timestamp,
    until: Timestamp,
    offset_ms: i64,
) -> Stored<Vec<Arrived>> {
    // Time is counted from a Thursday, 72 hours into its week.
    const SQL: &str = "SELECT urgency, hour_of_week, COUNT(*) AS checks FROM \
                       (SELECT urgency, ((received_ms + $4) / 3600000 + 72) % 168 AS hour_of_week FROM wound_check \
                       WHERE practice_id = $1 AND received_ms >= $2 AND received_ms < $3) counted \
                       GROUP BY urgency, hour_of_week ORDER BY urgency, hour_of_week";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(from.as_millisecond())
        .bind(until.as_millisecond())
        .bind(offset_ms)
        .fetch_all(conn)
        .await?
        .iter()
        .map(arrived)
        .collect()
}

/// When the practice's first check came. `None`: none has yet.
pub async fn first(conn: &mut Conn, practice: PracticeId) -> Stored<Option<Timestamp>> {
    const SQL: &str = "SELECT MIN(received_ms) AS first_ms FROM wound_check WHERE practice_id = $1";
    sqlx::query(SQL).bind(practice.to_string()).fetch_one(conn).await?.time_maybe("first_ms")
}

fn arrived(row: &AnyRow) -> Stored<Arrived> {
    let rank = row.whole("urgency")?;
    let urgency = u8::try_from(rank).ok().and_then(Urgency::from_rank);
    let nobodys =
        || StoreError::Unreadable { column: "urgency", because: format!("no urgency has rank {rank}") };
    Ok(Arrived {
        urgency: urgency.ok_or_else(nobodys)?,
        hour_of_week: counted(row, "hour_of_week")?,
        checks: counted(row, "checks")?,
    })
}

fn counted<T: TryFrom<i64, Error: std::fmt::Display>>(row: &AnyRow, column: &'static str) -> Stored<T> {
    T::try_from(row.whole(column)?)
        .map_err(|fault| StoreError::Unreadable { column, because: fault.to_string() })
}
