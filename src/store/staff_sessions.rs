//! Sessions of staff: half after the password, whole after the second step.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::ids::StaffSessionId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::store::staff;
use crate::store::staff::StaffMember;

coded! {
    /// How far somebody has come in.
    pub enum Stage {
        /// The password was right, and nothing opens yet.
        Half = "half",
        Whole = "whole",
    }
}

/// A staff member's session.
#[derive(Clone, Debug)]
pub struct StaffSession {
    pub id: StaffSessionId,
    pub member: StaffMember,
    pub stage: Stage,
    pub created: Timestamp,
    pub last_seen: Timestamp,
    /// When its holder last proved who they are.
    pub fresh: Timestamp,
    /// The kind of browser it was begun in.
    pub browser: String,
}

fn session(row: &AnyRow) -> Stored<StaffSession> {
    Ok(StaffSession {
        id: row.parsed("session_id")?,
        member: staff::member(row)?,
        stage: row.parsed("stage")?,
        created: row.time("began_ms")?,
        last_seen: row.time("seen_ms")?,
        fresh: row.time("fresh_ms")?,
        browser: row.text("browser")?,
    })
}

pub async fn begin(conn: &mut Conn, token_sha256: &str, session: &StaffSession) -> Stored<()> {
    const SQL: &str = "INSERT INTO staff_session (token_sha256, id, practice_id, staff_id, stage, created_ms, \
                       last_seen_ms, fresh_ms, browser) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)";
    sqlx::query(SQL)
        .bind(token_sha256)
        .bind(session.id.to_string())
        .bind(session.member.practice.to_string())
        .bind(session.member.id.to_string())
        .bind(session.stage.code())
        .bind(session.created.as_millisecond())
        .bind(session.last_seen.as_millisecond())
        .bind(session.fresh.as_millisecond())
        .bind(&session.browser)
        .execute(&mut *conn)
        .await?;
    if session.stage == Stage::Whole {
        sqlx::query("UPDATE staff SET last_sign_in_ms = $3 WHERE practice_id = $1 AND id = $2")
            .bind(session.member.practice.to_string())
            .bind(session.member.id.to_string())
            .bind(session.created.as_millisecond())
            .execute(conn)
            .await?;
    }
    Ok(())
}

/// The session behind a token, of an active member; its age is the caller's business.
pub async fn find(conn: &mut Conn, token_sha256: &str) -> Stored<Option<StaffSession>> {
    const SQL: &str = "SELECT staff.*, staff_session.id AS session_id, staff_session.stage, \
                       staff_session.created_ms AS began_ms, staff_session.last_seen_ms AS seen_ms, \
                       staff_session.fresh_ms, staff_session.browser \
                       FROM staff_session JOIN staff ON staff.id = staff_session.staff_id \
                       WHERE staff_session.token_sha256 = $1 AND staff.active = 1";
    sqlx::query(SQL).bind(token_sha256).fetch_optional(conn).await?.as_ref().map(session).transpose()
}

/// Whole sessions of a member, the one used last first.
pub async fn of_member(conn: &mut Conn, practice: PracticeId, id: StaffId) -> Stored<Vec<StaffSession>> {
    const SQL: &str = "SELECT staff.*, staff_session.id AS session_id, staff_session.stage, \
                       staff_session.created_ms AS began_ms, staff_session.last_seen_ms AS seen_ms, \
                       staff_session.fresh_ms, staff_session.browser \
                       FROM staff_session JOIN staff ON staff.id = staff_session.staff_id \
                       WHERE staff_session.practice_id = $1 AND staff_session.staff_id = $2 \
                       AND staff_session.stage = 'whole' \
                       ORDER BY staff_session.last_seen_ms DESC, staff_session.id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(session)
        .collect()
}

pub async fn touch(conn: &mut Conn, token_sha256: &str, now: Timestamp) -> Stored<()> {
    sqlx::query("UPDATE staff_session SET last_seen_ms = $2 WHERE token_sha256 = $1")
        .bind(token_sha256)
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Ends the session behind a token; false: there was none.
pub async fn end(conn: &mut Conn, token_sha256: &str) -> Stored<bool> {
    let ended = sqlx::query("DELETE FROM staff_session WHERE token_sha256 = $1")
        .bind(token_sha256)
        .execute(conn)
        .await?;
    Ok(ended.rows_affected() == 1)
}

/// Ends one of a member's sessions by its id; false: there is none.
pub async fn end_one(
    conn: &mut Conn,
    practice: PracticeId,
    staff: StaffId,
    id: StaffSessionId,
) -> Stored<bool> {
    const SQL: &str = "DELETE FROM staff_session WHERE practice_id = $1 AND staff_id = $2 AND id = $3";
    let ended = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(staff.to_string())
        .bind(id.to_string())
        .execute(conn)
        .await?;
    Ok(ended.rows_affected() == 1)
}

pub async fn end_all(conn: &mut Conn, practice: PracticeId, id: StaffId) -> Stored<()> {
    sqlx::query("DELETE FROM staff_session WHERE practice_id = $1 AND staff_id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .execute(conn)
        .await?;
    Ok(())
}

/// Ends all sessions of a member but one.
pub async fn end_others(
    conn: &mut Conn,
    practice: PracticeId,
    id: StaffId,
    kept: StaffSessionId,
) -> Stored<()> {
    sqlx::query("DELETE FROM staff_session WHERE practice_id = $1 AND staff_id = $2 AND id <> $3")
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(kept.to_string())
        .execute(conn)
        .await?;
    Ok(())
}

/// Keeps what a passkey is asked to sign, until then; what was asked before counts no more.
pub async fn ask(conn: &mut Conn, token_sha256: &str, ceremony: &str, until: Timestamp) -> Stored<()> {
    sqlx::query("UPDATE staff_session SET ceremony = $2, ceremony_until_ms = $3 WHERE token_sha256 = $1")
        .bind(token_sha256)
        .bind(ceremony)
        .bind(until.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Takes what a passkey was asked to sign: it is answered once. `None`: nothing was asked, or its time is over.
pub async fn take_asked(conn: &mut Conn, token_sha256: &str, now: Timestamp) -> Stored<Option<String>> {
    const SQL: &str = "SELECT ceremony FROM staff_session WHERE token_sha256 = $1 AND ceremony_until_ms > $2";
    let asked =
        sqlx::query(SQL).bind(token_sha256).bind(now.as_millisecond()).fetch_optional(&mut *conn).await?;
    let ceremony = asked.map(|row| row.text_maybe("ceremony")).transpose()?.flatten();
    let taken = sqlx::query(
        "UPDATE staff_session SET ceremony = NULL, ceremony_until_ms = NULL WHERE token_sha256 = $1 \
         AND ceremony IS NOT NULL",
    )
    .bind(token_sha256)
    .execute(conn)
    .await?;
    Ok(ceremony.filter(|_| taken.rows_affected() == 1))
}
