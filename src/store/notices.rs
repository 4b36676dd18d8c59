//! Notices waiting to be sent: written with what they tell of, sent later, safely twice.

use jiff::Timestamp;
use sqlx::Row;

use crate::ids::Moment;
use crate::ids::NoticeId;
use crate::ids::PracticeId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;

coded! {
    /// What a notice tells. The words sent are fixed per kind and hold nothing of the patient.
    pub enum NoticeKind {
        /// To the patient: an answer is waiting.
        AnswerReady = "answer_ready",
        /// To whoever is on duty: a check of the two most urgent classes came in.
        UrgentCheck = "urgent_check",
        /// To the office: a call is to be made.
        CallToMake = "call_to_make",
        /// To the practice: somebody keeps entering wrong PINs on a link.
        WrongPins = "wrong_pins",
    }
}

/// Queues a notice. `once_key` makes a doubled queueing harmless.
pub async fn enqueue(
    conn: &mut Conn,
    practice: PracticeId,
    kind: NoticeKind,
    recipient: &str,
    about: &str,
    moment: &Moment,
) -> Stored<()> {
    const SQL: &str = "INSERT INTO notice (id, practice_id, kind, recipient, about, once_key, due_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT (once_key) DO NOTHING";
    sqlx::query(SQL)
        .bind(NoticeId::mint(moment).to_string())
        .bind(practice.to_string())
        .bind(kind.code())
        .bind(recipient)
        .bind(about)
        .bind(format!("{} {recipient} {about}", kind.code()))
        .bind(moment.now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// How many notices of the practice wait.
pub async fn count_waiting(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Stored<i64> {
    const SQL: &str =
        "SELECT COUNT(*) AS waiting FROM notice WHERE practice_id = $1 AND sent_ms IS NULL AND due_ms <= $2";
    Ok(sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(now.as_millisecond())
        .fetch_one(conn)
        .await?
        .try_get("waiting")?)
}
