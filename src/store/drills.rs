//! Drills: when each began, and who opened it how soon.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::DrillId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

/// One drill.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drill {
    pub id: DrillId,
    pub practice: PracticeId,
    /// `None`: the calendar began it.
    pub begun_by: Option<StaffId>,
    pub begun: Timestamp,
    /// Who opened it or said that they see to it, and when; `None`: nobody yet.
    pub answered: Option<(StaffId, Timestamp)>,
}

fn drill(row: &AnyRow) -> Stored<Drill> {
    let (by, at) = (row.parsed_maybe("answered_by")?, row.time_maybe("answered_ms")?);
    Ok(Drill {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        begun_by: row.parsed_maybe("begun_by")?,
        begun: row.time("begun_ms")?,
        answered: by.zip(at),
    })
}

/// Begins a drill. `None`: one runs already.
pub async fn begin(
    conn: &mut Conn,
    practice: PracticeId,
    by: Option<StaffId>,
    moment: &Moment,
) -> Stored<Option<Drill>> {
    const SQL: &str = "INSERT INTO drill (id, practice_id, begun_by, begun_ms) VALUES ($1, $2, $3, $4) \
                       ON CONFLICT (practice_id) WHERE answered_ms IS NULL DO NOTHING RETURNING *";
    sqlx::query(SQL)
        .bind(DrillId::mint(moment).to_string())
        .bind(practice.to_string())
        .bind(by.map(|by| by.to_string()))
        .bind(moment.now.as_millisecond())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(drill)
        .transpose()
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: DrillId) -> Stored<Option<Drill>> {
    sqlx::query("SELECT * FROM drill WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(drill)
        .transpose()
}

/// The drill that nobody has opened yet.
pub async fn running(conn: &mut Conn, practice: PracticeId) -> Stored<Option<Drill>> {
    sqlx::query("SELECT * FROM drill WHERE practice_id = $1 AND answered_ms IS NULL")
        .bind(practice.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(drill)
        .transpose()
}

/// A person answered it. False: somebody did before, or there is none.
pub async fn answer(
    conn: &mut Conn,
    practice: PracticeId,
    id: DrillId,
    by: StaffId,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE drill SET answered_by = $3, answered_ms = $4 WHERE practice_id = $1 AND id = $2 \
                       AND answered_ms IS NULL";
    let answered = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(by.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(answered.rows_affected() == 1)
}

/// The newest drills, newest first.
pub async fn newest(conn: &mut Conn, practice: PracticeId, limit: i64) -> Stored<Vec<Drill>> {
    sqlx::query("SELECT * FROM drill WHERE practice_id = $1 ORDER BY begun_ms DESC, id DESC LIMIT $2")
        .bind(practice.to_string())
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(drill)
        .collect()
}
