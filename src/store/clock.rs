//! The latest time that was seen, so that a clock set back is noticed; and what waits is then moved nearer by as much.

use jiff::Timestamp;

use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

/// The latest time seen. `None`: never looked.
pub async fn seen(conn: &mut Conn) -> Stored<Option<Timestamp>> {
    sqlx::query("SELECT seen_ms FROM clock_seen WHERE id = 1")
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(|row| row.time("seen_ms"))
        .transpose()
}

/// Keeps the time as seen, also where it is earlier than what was seen before.
pub async fn see(conn: &mut Conn, now: Timestamp) -> Stored<()> {
    const SQL: &str = "INSERT INTO clock_seen (id, seen_ms) VALUES (1, $1) \
                       ON CONFLICT (id) DO UPDATE SET seen_ms = $1";
    sqlx::query(SQL).bind(now.as_millisecond()).execute(conn).await?;
    Ok(())
}

/// What is due, by table: the column, and the rows that still wait.
const DUE: [&str; 17] = [
    "UPDATE job SET due_ms = due_ms - $1, leased_until_ms = leased_until_ms - $1 WHERE state = 'waiting'",
    "UPDATE ladder SET begun_ms = begun_ms - $1 WHERE state = 'running'",
    "UPDATE wound_check SET due_ms = due_ms - $1, claimed_until_ms = claimed_until_ms - $1 WHERE state <> 'closed'",
    "UPDATE callback SET due_ms = due_ms - $1 WHERE state = 'open'",
    "UPDATE late_knock SET due_ms = due_ms - $1 WHERE dealt_ms IS NULL",
    "UPDATE silence SET next_ms = next_ms - $1, by_ms = by_ms - $1 WHERE state = 'open'",
    "UPDATE message SET read_by_ms = read_by_ms - $1 WHERE sender = 'practice' AND read_ms IS NULL",
    "UPDATE alarm SET told_ms = told_ms - $1 WHERE ended_ms IS NULL AND told_ms IS NOT NULL",
    // Nobody is signed in for longer, and no wait after a wrong try is.
    "UPDATE staff_session SET created_ms = created_ms - $1, last_seen_ms = last_seen_ms - $1, fresh_ms = fresh_ms - $1, \
     ceremony_until_ms = ceremony_until_ms - $1",
    "UPDATE patient_session SET created_ms = created_ms - $1, expires_ms = expires_ms - $1, \
     reading_until_ms = reading_until_ms - $1",
    "UPDATE sealed_look SET until_ms = until_ms - $1 WHERE ended_ms IS NULL",
    "UPDATE patient_link SET next_pin_ms = next_pin_ms - $1 WHERE wrong_pins > 0",
    "UPDATE staff SET next_try_ms = next_try_ms - $1 WHERE failed_sign_ins > 0",
    "UPDATE known_browser SET next_try_ms = next_try_ms - $1 WHERE failed_sign_ins > 0",
    "UPDATE unknown_name SET next_try_ms = next_try_ms - $1 WHERE failed_sign_ins > 0",
    "UPDATE measuring_job SET due_ms = due_ms - $1, leased_until_ms = leased_until_ms - $1",
    "UPDATE export_agreement SET until_ms = until_ms - $1 WHERE taken_ms IS NULL AND withdrawn_ms IS NULL",
];

/// Moves whatever is due, of every practice, nearer by `by_ms`: the clock went back by as much, and nothing may come later
/// for it.
pub async fn bring_nearer(conn: &mut Conn, by_ms: i64) -> Stored<()> {
    for sql in DUE {
        sqlx::query(sql).bind(by_ms).execute(&mut *conn).await?;
    }
    Ok(())
}

/// Moves what a person stopped after `since` back by `by_ms` too: whoever said that they see to it gets no longer for it.
pub async fn bring_stops_nearer(conn: &mut Conn, since: Timestamp, by_ms: i64) -> Stored<()> {
    const SQL: &str = "UPDATE ladder SET ended_ms = ended_ms - $1 WHERE practice_id <> '' AND state = 'stopped' \
                       AND ended_ms > $2";
    sqlx::query(SQL).bind(by_ms).bind(since.as_millisecond()).execute(conn).await?;
    Ok(())
}
