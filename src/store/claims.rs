//! Claims: who has a check before them, and until when.

use jiff::Timestamp;

use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::ids::WoundCheckId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::checks::Claim;
use crate::store::row::Columns;

/// Claims a check for a surgeon until `claim.until`; false when somebody else's claim still runs or it is closed.
pub async fn claim_for(
    conn: &mut Conn,
    practice: PracticeId,
    id: WoundCheckId,
    claim: Claim,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE wound_check SET claimed_by = $3, claimed_until_ms = $4, \
                       state = CASE state WHEN 'queued' THEN 'in_review' ELSE state END \
                       WHERE practice_id = $1 AND id = $2 AND state IN ('queued', 'in_review') \
                       AND (claimed_by IS NULL OR claimed_by = $3 OR claimed_until_ms <= $5)";
    let claimed = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(claim.by.to_string())
        .bind(claim.until.as_millisecond())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(claimed.rows_affected() == 1)
}

/// The checks a member has claimed at `now`, the most urgent first.
pub async fn of_member(
    conn: &mut Conn,
    practice: PracticeId,
    member: StaffId,
    now: Timestamp,
) -> Stored<Vec<WoundCheckId>> {
    const SQL: &str = "SELECT id FROM wound_check WHERE practice_id = $1 AND state = 'in_review' \
                       AND claimed_by = $2 AND claimed_until_ms > $3 ORDER BY urgency, due_ms, sequence";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(member.to_string())
        .bind(now.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("id"))
        .collect()
}

/// Gives `from`'s running claim to somebody else; false: it is no longer theirs.
pub async fn pass_on(
    conn: &mut Conn,
    practice: PracticeId,
    check: WoundCheckId,
    from: StaffId,
    to: Claim,
) -> Stored<bool> {
    const SQL: &str = "UPDATE wound_check SET claimed_by = $4, claimed_until_ms = $5 \
                       WHERE practice_id = $1 AND id = $2 AND state = 'in_review' AND claimed_by = $3";
    let passed = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(check.to_string())
        .bind(from.to_string())
        .bind(to.by.to_string())
        .bind(to.until.as_millisecond())
        .execute(conn)
        .await?;
    Ok(passed.rows_affected() == 1)
}
