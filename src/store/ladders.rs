//! Ladders and the rungs that fired.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::LadderId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::triage::LadderKind;
use crate::triage::Told;

coded! {
    /// Where a ladder stands.
    pub enum LadderState {
        Running = "running",
        /// A person acted.
        Stopped = "stopped",
        /// A more urgent one goes on in its place.
        Replaced = "replaced",
    }
}

/// One ladder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ladder {
    pub id: LadderId,
    pub practice: PracticeId,
    /// `check:ID` or `callback:ID`.
    pub about: String,
    pub kind: LadderKind,
    /// From 1 for each `about`.
    pub round: i64,
    pub state: LadderState,
    pub begun: Timestamp,
    pub ended: Option<Timestamp>,
    /// Who stopped it; `None` while it runs, and where another one replaced it.
    pub stopped_by: Option<StaffId>,
}

/// One rung that fired.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FiredRung {
    pub ladder: LadderId,
    /// From 0.
    pub number: i64,
    pub told: Told,
    /// People or phones told; 0: nobody was there to be told.
    pub reached: i64,
    pub fired: Timestamp,
}

fn ladder(row: &AnyRow) -> Stored<Ladder> {
    Ok(Ladder {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        about: row.text("about")?,
        kind: row.parsed("kind")?,
        round: row.whole("round")?,
        state: row.parsed("state")?,
        begun: row.time("begun_ms")?,
        ended: row.time_maybe("ended_ms")?,
        stopped_by: row.parsed_maybe("stopped_by")?,
    })
}

fn fired(row: &AnyRow) -> Stored<FiredRung> {
    Ok(FiredRung {
        ladder: row.parsed("ladder_id")?,
        number: row.whole("number")?,
        told: row.parsed("told")?,
        reached: row.whole("reached")?,
        fired: row.time("fired_ms")?,
    })
}

/// Begins a ladder. The caller holds what it is about, and has seen that none runs.
pub async fn begin(
    conn: &mut Conn,
    practice: PracticeId,
    about: &str,
    kind: LadderKind,
    moment: &Moment,
) -> Stored<Ladder> {
    const SQL: &str = "INSERT INTO ladder (id, practice_id, about, kind, round, state, begun_ms) \
                       SELECT $1, $2, $3, $4, COALESCE(MAX(round), 0) + 1, 'running', $5 FROM ladder \
                       WHERE practice_id = $2 AND about = $3 RETURNING *";
    let row = sqlx::query(SQL)
        .bind(LadderId::mint(moment).to_string())
        .bind(practice.to_string())
        .bind(about)
        .bind(kind.code())
        .bind(moment.now.as_millisecond())
        .fetch_one(conn)
        .await?;
    ladder(&row)
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: LadderId) -> Stored<Option<Ladder>> {
    sqlx::query("SELECT * FROM ladder WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(ladder)
        .transpose()
}

/// The ladder, its row locked until the transaction ends.
pub async fn hold(conn: &mut Conn, practice: PracticeId, id: LadderId) -> Stored<Option<Ladder>> {
    sqlx::query("UPDATE ladder SET round = round WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .execute(&mut *conn)
        .await?;
    find(conn, practice, id).await
}

/// The ladder that runs about something.
pub async fn running(conn: &mut Conn, practice: PracticeId, about: &str) -> Stored<Option<Ladder>> {
    sqlx::query("SELECT * FROM ladder WHERE practice_id = $1 AND about = $2 AND state = 'running'")
        .bind(practice.to_string())
        .bind(about)
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(ladder)
        .transpose()
}

/// Every ladder of the practice that runs, first begun first.
pub async fn all_running(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<Ladder>> {
    sqlx::query("SELECT * FROM ladder WHERE practice_id = $1 AND state = 'running' ORDER BY begun_ms, id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(ladder)
        .collect()
}

/// When a person last stopped a ladder about something; `None`: never.
pub async fn last_stopped(conn: &mut Conn, practice: PracticeId, about: &str) -> Stored<Option<Timestamp>> {
    const SQL: &str = "SELECT ended_ms FROM ladder WHERE practice_id = $1 AND about = $2 AND state = 'stopped' \
                       ORDER BY ended_ms DESC LIMIT 1";
    let row = sqlx::query(SQL).bind(practice.to_string()).bind(about).fetch_optional(conn).await?;
    row.as_ref().map(|row| row.time("ended_ms")).transpose()
}

/// Ladders that a person stopped since then, first stopped first.
pub async fn stopped_since(conn: &mut Conn, practice: PracticeId, since: Timestamp) -> Stored<Vec<Ladder>> {
    const SQL: &str = "SELECT * FROM ladder WHERE practice_id = $1 AND state = 'stopped' AND ended_ms > $2 \
                       ORDER BY ended_ms, id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(since.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(ladder)
        .collect()
}

/// Every ladder about something, first round first.
pub async fn about(conn: &mut Conn, practice: PracticeId, about: &str) -> Stored<Vec<Ladder>> {
    sqlx::query("SELECT * FROM ladder WHERE practice_id = $1 AND about = $2 ORDER BY round")
        .bind(practice.to_string())
        .bind(about)
        .fetch_all(conn)
        .await?
        .iter()
        .map(ladder)
        .collect()
}

/// A person acted. False: none runs.
pub async fn stop(
    conn: &mut Conn,
    practice: PracticeId,
    about: &str,
    by: StaffId,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE ladder SET state = 'stopped', ended_ms = $4, stopped_by = $3 \
                       WHERE practice_id = $1 AND about = $2 AND state = 'running'";
    let stopped = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(about)
        .bind(by.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(stopped.rows_affected() > 0)
}

/// A more urgent ladder takes this one's place, in the same transaction.
pub async fn replace(conn: &mut Conn, old: &Ladder, now: Timestamp) -> Stored<()> {
    const SQL: &str = "UPDATE ladder SET state = 'replaced', ended_ms = $3 \
                       WHERE practice_id = $1 AND id = $2 AND state = 'running'";
    sqlx::query(SQL)
        .bind(old.practice.to_string())
        .bind(old.id.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Keeps that a rung fires. False: it fired before.
pub async fn fire(conn: &mut Conn, practice: PracticeId, rung: &FiredRung) -> Stored<bool> {
    const SQL: &str = "INSERT INTO ladder_rung (ladder_id, practice_id, number, told, reached, fired_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT (ladder_id, number) DO NOTHING";
    let fired = sqlx::query(SQL)
        .bind(rung.ladder.to_string())
        .bind(practice.to_string())
        .bind(rung.number)
        .bind(rung.told.code())
        .bind(rung.reached)
        .bind(rung.fired.as_millisecond())
        .execute(conn)
        .await?;
    Ok(fired.rows_affected() == 1)
}

/// The rungs of a ladder that fired, in order.
pub async fn rungs(conn: &mut Conn, practice: PracticeId, id: LadderId) -> Stored<Vec<FiredRung>> {
    sqlx::query("SELECT * FROM ladder_rung WHERE practice_id = $1 AND ladder_id = $2 ORDER BY number")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(fired)
        .collect()
}
