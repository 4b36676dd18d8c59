//! Protocols: every version a practice ever sorted by, and the draft of the next.

use jiff::Timestamp;
use serde::Deserialize;
use serde::Serialize;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::store::row::to_json;
use crate::triage::Edits;

coded! {
    /// Where a version comes from.
    pub enum ProtocolOrigin { Program = "program", Practice = "practice" }
}

/// One lead's yes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Approval {
    pub by: StaffId,
    pub at: Timestamp,
    /// Why, in the lead's own words. About the protocol, never about a patient.
    pub reason: String,
}

/// One version, as kept.
#[derive(Clone, Debug)]
pub struct KeptProtocol {
    pub practice: PracticeId,
    pub version: String,
    /// Order of coming, from 1.
    pub number: i64,
    pub origin: ProtocolOrigin,
    /// The protocol's file, as [`crate::triage::Protocol::to_json`] writes it.
    pub text: String,
    pub in_force: Timestamp,
    pub approvals: Vec<Approval>,
}

/// A change being thought about. `T` is what a trial found.
#[derive(Clone, Debug)]
pub struct ProtocolDraft<T> {
    pub practice: PracticeId,
    /// The version it changes.
    pub based_on: String,
    pub edits: Edits,
    pub changed_by: StaffId,
    pub changed: Timestamp,
    /// `None`: these edits have not been tried yet.
    pub trial: Option<T>,
    pub approvals: Vec<Approval>,
}

fn kept(row: &AnyRow) -> Stored<KeptProtocol> {
    Ok(KeptProtocol {
        practice: row.parsed("practice_id")?,
        version: row.text("version")?,
        number: row.whole("number")?,
        origin: row.parsed("origin")?,
        text: row.text("text")?,
        in_force: row.time("in_force_ms")?,
        approvals: row.json("approvals")?,
    })
}

/// Keeps a version; one that is there already stays as it is.
pub async fn keep(conn: &mut Conn, protocol: &KeptProtocol) -> Stored<()> {
    const SQL: &str = "INSERT INTO protocol (practice_id, version, number, origin, text, in_force_ms, approvals) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT DO NOTHING";
    sqlx::query(SQL)
        .bind(protocol.practice.to_string())
        .bind(&protocol.version)
        .bind(protocol.number)
        .bind(protocol.origin.code())
        .bind(&protocol.text)
        .bind(protocol.in_force.as_millisecond())
        .bind(to_json(&protocol.approvals)?)
        .execute(conn)
        .await?;
    Ok(())
}

/// The next version's number. Exact only while the practice's row is held.
pub async fn next_number(conn: &mut Conn, practice: PracticeId) -> Stored<i64> {
    const SQL: &str = "SELECT COALESCE(MAX(number), 0) + 1 AS next FROM protocol WHERE practice_id = $1";
    sqlx::query(SQL).bind(practice.to_string()).fetch_one(conn).await?.whole("next")
}

/// The version with this name; `None`: the practice never sorted by it.
pub async fn find(conn: &mut Conn, practice: PracticeId, version: &str) -> Stored<Option<KeptProtocol>> {
    sqlx::query("SELECT * FROM protocol WHERE practice_id = $1 AND version = $2")
        .bind(practice.to_string())
        .bind(version.to_owned())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(kept)
        .transpose()
}

/// The names of the versions the practice approved, the last one first; empty: it never changed anything.
pub async fn approved_versions(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<String>> {
    const SQL: &str =
        "SELECT version FROM protocol WHERE practice_id = $1 AND origin = 'practice' ORDER BY number DESC";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.text("version"))
        .collect()
}

/// Every version, newest first.
pub async fn of_practice(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<KeptProtocol>> {
    sqlx::query("SELECT * FROM protocol WHERE practice_id = $1 ORDER BY number DESC")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(kept)
        .collect()
}

/// The practice's draft; `None`: there is none.
pub async fn draft<T: for<'de> Deserialize<'de>>(
    conn: &mut Conn,
    practice: PracticeId,
) -> Stored<Option<ProtocolDraft<T>>> {
    let found = sqlx::query("SELECT * FROM protocol_draft WHERE practice_id = $1")
        .bind(practice.to_string())
        .fetch_optional(conn)
        .await?;
    let Some(row) = found else { return Ok(None) };
    let trial = match row.text_maybe("trial")? {
        Some(_) => Some(row.json("trial")?),
        None => None,
    };
    Ok(Some(ProtocolDraft {
        practice: row.parsed("practice_id")?,
        based_on: row.text("based_on")?,
        edits: row.json("edits")?,
        changed_by: row.parsed("changed_by")?,
        changed: row.time("changed_ms")?,
        trial,
        approvals: row.json("approvals")?,
    }))
}

/// Keeps the draft as it is now.
pub async fn keep_draft<T: Serialize>(conn: &mut Conn, draft: &ProtocolDraft<T>) -> Stored<()> {
    const SQL: &str = "INSERT INTO protocol_draft (practice_id, based_on, edits, changed_by, changed_ms, trial, \
                       approvals) VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT (practice_id) DO UPDATE SET \
                       based_on = excluded.based_on, edits = excluded.edits, changed_by = excluded.changed_by, \
                       changed_ms = excluded.changed_ms, trial = excluded.trial, approvals = excluded.approvals";
    sqlx::query(SQL)
        .bind(draft.practice.to_string())
        .bind(&draft.based_on)
        .bind(to_json(&draft.edits)?)
        .bind(draft.changed_by.to_string())
        .bind(draft.changed.as_millisecond())
        .bind(draft.trial.as_ref().map(to_json).transpose()?)
        .bind(to_json(&draft.approvals)?)
        .execute(conn)
        .await?;
    Ok(())
}

/// Ends the draft.
pub async fn drop_draft(conn: &mut Conn, practice: PracticeId) -> Stored<()> {
    sqlx::query("DELETE FROM protocol_draft WHERE practice_id = $1")
        .bind(practice.to_string())
        .execute(conn)
        .await?;
    Ok(())
}
