//! Whether somebody is there: pages that answered, sign-ins, and how long the oldest waits.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::triage::Urgency;

/// When the weekly drill begins, in the practice's own clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DrillTime {
    /// 1: Monday, 7: Sunday.
    pub weekday: i64,
    /// After midnight, 0–1439.
    pub minute: i64,
}

/// What a lead sets about being watched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WatchSettings {
    /// A check that has waited longer is an alarm, 1–168.
    pub queue_oldest_hours: i64,
    /// `None`: drills are begun by hand only.
    pub drill: Option<DrillTime>,
    /// Since when there is a practice.
    pub since: Timestamp,
}

/// A page of this person answered a beat.
pub async fn note_beat(
    conn: &mut Conn,
    practice: PracticeId,
    staff: StaffId,
    heard: Timestamp,
) -> Stored<()> {
    const SQL: &str = "INSERT INTO page_beat (staff_id, practice_id, heard_ms) VALUES ($1, $2, $3) \
                       ON CONFLICT (staff_id) DO UPDATE SET heard_ms = excluded.heard_ms \
                       WHERE page_beat.practice_id = excluded.practice_id";
    sqlx::query(SQL)
        .bind(staff.to_string())
        .bind(practice.to_string())
        .bind(heard.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// When a page of each person last answered, latest first.
pub async fn beats(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<(StaffId, Timestamp)>> {
    sqlx::query("SELECT * FROM page_beat WHERE practice_id = $1 ORDER BY heard_ms DESC, staff_id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| Ok((row.parsed("staff_id")?, row.time("heard_ms")?)))
        .collect()
}

/// When anybody last signed in; `None`: nobody ever did.
pub async fn last_sign_in(conn: &mut Conn, practice: PracticeId) -> Stored<Option<Timestamp>> {
    const SQL: &str =
        "SELECT MAX(last_sign_in_ms) AS at_ms FROM staff WHERE practice_id = $1 AND last_sign_in_ms > 0";
    sqlx::query(SQL).bind(practice.to_string()).fetch_one(conn).await?.time_maybe("at_ms")
}

/// When the check that waits longest for a surgeon came in, by class as assessed; those that somebody has open are not
/// among them. A class nobody waits in is absent.
pub async fn oldest_waiting(
    conn: &mut Conn,
    practice: PracticeId,
    now: Timestamp,
) -> Stored<Vec<(Urgency, Timestamp)>> {
    const SQL: &str = "SELECT urgency, MIN(received_ms) AS oldest_ms FROM wound_check WHERE practice_id = $1 \
                       AND state IN ('queued', 'in_review') \
                       AND (claimed_until_ms IS NULL OR claimed_until_ms <= $2) GROUP BY urgency ORDER BY urgency";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(now.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| Ok((row.urgency("urgency")?, row.time("oldest_ms")?)))
        .collect()
}

/// Whether a check waits past its due time with nobody at it.
pub async fn any_check_late(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Stored<bool> {
    const SQL: &str = "SELECT id FROM wound_check WHERE practice_id = $1 AND state IN ('queued', 'in_review') \
                       AND due_ms < $2 AND (claimed_until_ms IS NULL OR claimed_until_ms <= $2) LIMIT 1";
    let late =
        sqlx::query(SQL).bind(practice.to_string()).bind(now.as_millisecond()).fetch_optional(conn).await?;
    Ok(late.is_some())
}

/// Whether a call was to be made before now.
pub async fn any_call_late(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Stored<bool> {
    const SQL: &str =
        "SELECT id FROM callback WHERE practice_id = $1 AND state = 'open' AND due_ms < $2 LIMIT 1";
    let late =
        sqlx::query(SQL).bind(practice.to_string()).bind(now.as_millisecond()).fetch_optional(conn).await?;
    Ok(late.is_some())
}

/// When the outside last took a letter; `None`: never.
pub async fn last_sent(conn: &mut Conn, practice: PracticeId) -> Stored<Option<Timestamp>> {
    const SQL: &str = "SELECT MAX(sent_ms) AS at_ms FROM delivery WHERE practice_id = $1";
    sqlx::query(SQL).bind(practice.to_string()).fetch_one(conn).await?.time_maybe("at_ms")
}

/// `None`: no such practice.
pub async fn settings(conn: &mut Conn, practice: PracticeId) -> Stored<Option<WatchSettings>> {
    let row = sqlx::query("SELECT * FROM practice WHERE id = $1")
        .bind(practice.to_string())
        .fetch_optional(conn)
        .await?;
    row.as_ref().map(watch_settings).transpose()
}

fn watch_settings(row: &AnyRow) -> Stored<WatchSettings> {
    let drill = match (row.whole_maybe("drill_weekday")?, row.whole_maybe("drill_minute")?) {
        (Some(weekday), Some(minute)) => Some(DrillTime { weekday, minute }),
        (Some(_), None) | (None, _) => None,
    };
    Ok(WatchSettings {
        queue_oldest_hours: row.whole("queue_oldest_hours")?,
        drill,
        since: row.time("created_ms")?,
    })
}

pub async fn set_queue_oldest(conn: &mut Conn, practice: PracticeId, hours: i64) -> Stored<()> {
    sqlx::query("UPDATE practice SET queue_oldest_hours = $2 WHERE id = $1")
        .bind(practice.to_string())
        .bind(hours)
        .execute(conn)
        .await?;
    Ok(())
}

pub async fn set_drill_time(conn: &mut Conn, practice: PracticeId, drill: Option<DrillTime>) -> Stored<()> {
    sqlx::query("UPDATE practice SET drill_weekday = $2, drill_minute = $3 WHERE id = $1")
        .bind(practice.to_string())
        .bind(drill.map(|drill| drill.weekday))
        .bind(drill.map(|drill| drill.minute))
        .execute(conn)
        .await?;
    Ok(())
}
