//! Reviews: what a surgeon decided about a check, and when.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::ReviewId;
use crate::ids::StaffId;
use crate::ids::WoundCheckId;
use crate::ids::WoundId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::text_columns::REVIEW_NOTE;
use crate::triage::Decision;
use crate::triage::Urgency;

/// One decision. A check can be decided again; nothing is overwritten.
#[derive(Clone, Debug)]
pub struct Review {
    pub id: ReviewId,
    pub practice: PracticeId,
    pub check: WoundCheckId,
    pub surgeon: StaffId,
    pub decision: Decision,
    /// For "come in": when.
    pub come_in: Option<Timestamp>,
    /// For staff only.
    pub note: FreeText,
    /// The class the surgeon saw when deciding.
    pub urgency_shown: Urgency,
    /// By when the answer was due, as the surgeon saw it; `None`: decided before this was kept.
    pub due_shown: Option<Timestamp>,
    /// How urgent the surgeon said it was; `None`: they left it to the decision to say.
    pub urgency_judged: Option<Urgency>,
    /// For decisions that ask the office to ring: by when, as asked.
    pub call_due: Option<Timestamp>,
    pub decided: Timestamp,
    /// For "come in": what the patient answered; `None`: nothing yet.
    pub come_in_answer: Option<ComeInAnswer>,
}

coded! {
    /// What a patient answers to "come in".
    pub enum ComeInAnswer {
        WillCome = "will_come",
        CannotThen = "cannot_then",
    }
}

fn review(row: &AnyRow, texts: &Texts) -> Stored<Review> {
    let id: ReviewId = row.parsed("id")?;
    let rank = row.whole("urgency_shown")?;
    Ok(Review {
        id,
        practice: row.parsed("practice_id")?,
        check: row.parsed("check_id")?,
        surgeon: row.parsed("surgeon_id")?,
        decision: row.parsed("decision")?,
        come_in: row.time_maybe("come_in_ms")?,
        note: texts.open(row, &REVIEW_NOTE, id)?,
        urgency_shown: u8::try_from(rank).ok().and_then(Urgency::from_rank).unwrap_or(Urgency::GoNow),
        due_shown: row.time_maybe("due_shown_ms")?,
        urgency_judged: row.urgency_maybe("urgency_judged")?,
        call_due: row.time_maybe("call_due_ms")?,
        decided: row.time("decided_ms")?,
        come_in_answer: row.parsed_maybe("come_in_answer")?,
    })
}

pub async fn insert(conn: &mut Conn, review: &Review) -> Stored<()> {
    const SQL: &str = "INSERT INTO review (id, practice_id, check_id, surgeon_id, decision, come_in_ms, note, \
                       note_sealed, urgency_shown, due_shown_ms, urgency_judged, call_due_ms, decided_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, '', $7, $8, $9, $10, $11, $12)";
    let note = conn.texts().seal(&review.note, &REVIEW_NOTE, review.id)?;
    sqlx::query(SQL)
        .bind(review.id.to_string())
        .bind(review.practice.to_string())
        .bind(review.check.to_string())
        .bind(review.surgeon.to_string())
        .bind(review.decision.code())
        .bind(review.come_in.map(|when| when.as_millisecond()))
        .bind(note)
        .bind(i64::from(review.urgency_shown.rank()))
        .bind(review.due_shown.map(|due| due.as_millisecond()))
        .bind(review.urgency_judged.map(|urgency| i64::from(urgency.rank())))
        .bind(review.call_due.map(|due| due.as_millisecond()))
        .bind(review.decided.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// A check's decisions, oldest first.
pub async fn of_check(conn: &mut Conn, practice: PracticeId, check: WoundCheckId) -> Stored<Vec<Review>> {
    sqlx::query("SELECT * FROM review WHERE practice_id = $1 AND check_id = $2 ORDER BY decided_ms, id")
        .bind(practice.to_string())
        .bind(check.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| review(row, conn.texts()))
        .collect()
}

/// Every decision on a wound's checks, oldest first.
pub async fn of_wound(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<Review>> {
    const SQL: &str = "SELECT review.* FROM review JOIN wound_check ON wound_check.id = review.check_id \
                       WHERE review.practice_id = $1 AND wound_check.wound_id = $2 \
                       ORDER BY review.decided_ms, review.id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| review(row, conn.texts()))
        .collect()
}

/// Decisions that a patient comes in at a time still ahead, about open wounds, to which nobody answered.
pub async fn come_in_unanswered(
    conn: &mut Conn,
    practice: PracticeId,
    now: Timestamp,
) -> Stored<Vec<(WoundId, Review)>> {
    const SQL: &str = "SELECT review.*, wound_check.wound_id AS of_wound FROM review \
                       JOIN wound_check ON wound_check.id = review.check_id \
                       JOIN wound ON wound.id = wound_check.wound_id \
                       WHERE review.practice_id = $1 AND review.decision = 'come_in' \
                       AND review.come_in_answer IS NULL AND review.come_in_ms > $2 AND wound.state = 'open' \
                       ORDER BY review.decided_ms, review.id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(now.as_millisecond())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| Ok((row.parsed("of_wound")?, review(row, conn.texts())?)))
        .collect()
}

/// Keeps what was answered to "come in"; a later answer replaces an earlier one.
pub async fn answer_come_in(
    conn: &mut Conn,
    practice: PracticeId,
    id: ReviewId,
    answer: ComeInAnswer,
    at: Timestamp,
) -> Stored<()> {
    sqlx::query(
        "UPDATE review SET come_in_answer = $3, come_in_answered_ms = $4 WHERE practice_id = $1 AND id = $2",
    )
    .bind(practice.to_string())
    .bind(id.to_string())
    .bind(answer.code())
    .bind(at.as_millisecond())
    .execute(conn)
    .await?;
    Ok(())
}
