//! What the figures are counted from: a few columns of every check of a period, and of its reviews.

use futures::TryStreamExt;
use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::WoundCheckId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::triage::Assessment;
use crate::triage::Decision;
use crate::triage::Urgency;

/// One check, without its answers and its assessment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CountedCheck {
    pub id: WoundCheckId,
    /// The class as it stands now.
    pub urgency: Urgency,
    pub received: Timestamp,
    /// As it stands now: a question asked back has moved it.
    pub due: Timestamp,
    /// Oldest first; empty: nobody reviewed it yet.
    pub reviews: Vec<CountedReview>,
}

/// One review, without its note.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CountedReview {
    pub decision: Decision,
    pub come_in: Option<Timestamp>,
    pub urgency_shown: Urgency,
    /// `None`: decided before this was kept.
    pub due_shown: Option<Timestamp>,
    /// `None`: the surgeon left it to the decision to say.
    pub urgency_judged: Option<Urgency>,
    pub call_due: Option<Timestamp>,
    pub decided: Timestamp,
}

fn review(row: &AnyRow) -> Stored<Option<CountedReview>> {
    let Some(decision) = row.parsed_maybe("decision")? else { return Ok(None) };
    Ok(Some(CountedReview {
        decision,
        come_in: row.time_maybe("come_in_ms")?,
        urgency_shown: row.urgency("urgency_shown")?,
        due_shown: row.time_maybe("due_shown_ms")?,
        urgency_judged: row.urgency_maybe("urgency_judged")?,
        call_due: row.time_maybe("call_due_ms")?,
        decided: row.time("decided_ms")?,
    }))
}

/// Hands every check received from `begins` on to `each`, oldest first, one at a time: a practice's years are never in
/// memory at once. Everything is read from the index `wound_check_by_time` and the reviews.
pub async fn each_check(
    conn: &mut Conn,
    practice: PracticeId,
    begins: Timestamp,
    mut each: impl FnMut(CountedCheck),
) -> Stored<()> {
    const SQL: &str = "SELECT wound_check.id AS check_id, wound_check.urgency AS urgency, wound_check.received_ms, \
                       wound_check.due_ms, review.decision, review.come_in_ms, review.urgency_shown, \
                       review.due_shown_ms, review.urgency_judged, review.call_due_ms, review.decided_ms \
                       FROM wound_check LEFT JOIN review ON review.check_id = wound_check.id \
                       AND review.practice_id = wound_check.practice_id \
                       WHERE wound_check.practice_id = $1 AND wound_check.received_ms >= $2 \
                       ORDER BY wound_check.received_ms, wound_check.sequence, review.decided_ms, review.id";
    let mut rows =
        sqlx::query(SQL).bind(practice.to_string()).bind(begins.as_millisecond()).fetch(&mut *conn);
    let mut open: Option<(String, CountedCheck)> = None;
    while let Some(row) = rows.try_next().await? {
        let id = row.text("check_id")?;
        // The join repeats a check for each of its reviews.
        if open.as_ref().is_none_or(|(opened, _)| *opened != id) {
            let check = CountedCheck {
                id: row.parsed("check_id")?,
                urgency: row.urgency("urgency")?,
                received: row.time("received_ms")?,
                due: row.time("due_ms")?,
                reviews: Vec::new(),
            };
            if let Some((_, done)) = open.replace((id, check)) {
                each(done);
            }
        }
        if let Some((_, check)) = &mut open {
            check.reviews.extend(review(&row)?);
        }
    }
    if let Some((_, last)) = open {
        each(last);
    }
    Ok(())
}

/// Every review of the checks between two places in the order of arrival: after the first, up to the second.
pub async fn reviews_between(
    conn: &mut Conn,
    practice: PracticeId,
    after: i64,
    up_to: i64,
) -> Stored<Vec<(WoundCheckId, CountedReview)>> {
    const SQL: &str = "SELECT review.* FROM wound_check JOIN review ON review.check_id = wound_check.id \
                       WHERE wound_check.practice_id = $1 AND wound_check.sequence > $2 AND wound_check.sequence <= $3";
    let rows = sqlx::query(SQL).bind(practice.to_string()).bind(after).bind(up_to).fetch_all(conn).await?;
    let mut reviews = Vec::new();
    for row in &rows {
        if let Some(found) = review(row)? {
            reviews.push((row.parsed("check_id")?, found));
        }
    }
    Ok(reviews)
}

/// What a patient can read out of one check, and what it was assessed as; `None`: no such check.
pub async fn named(
    conn: &mut Conn,
    practice: PracticeId,
    id: WoundCheckId,
) -> Stored<Option<(String, Assessment)>> {
    sqlx::query("SELECT receipt, assessment FROM wound_check WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .map(|row| Ok((row.text("receipt")?, row.json("assessment")?)))
        .transpose()
}
