//! The thread of one wound: what the patient asked and what the practice answered.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::LinkId;
use crate::ids::MessageId;
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
use crate::store::text_columns::MESSAGE_BODY;

coded! {
    /// Which side wrote it.
    pub enum Sender { Patient = "patient", Practice = "practice" }
}

/// One message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    pub id: MessageId,
    pub practice: PracticeId,
    pub wound: WoundId,
    pub check: Option<WoundCheckId>,
    pub review: Option<ReviewId>,
    pub sender: Sender,
    /// Who of the practice wrote it.
    pub staff: Option<StaffId>,
    /// Through which link the patient's side wrote it.
    pub link: Option<LinkId>,
    pub body: FreeText,
    pub sent: Timestamp,
    /// By when the patient is to have read it. `None`: the patient wrote it.
    pub read_by: Option<Timestamp>,
    /// The patient pressed "I have read this"; or staff dealt with the patient's message.
    pub read: Option<Timestamp>,
}

fn message(row: &AnyRow, texts: &Texts) -> Stored<Message> {
    let id: MessageId = row.parsed("id")?;
    Ok(Message {
        id,
        practice: row.parsed("practice_id")?,
        wound: row.parsed("wound_id")?,
        check: row.parsed_maybe("check_id")?,
        review: row.parsed_maybe("review_id")?,
        sender: row.parsed("sender")?,
        staff: row.parsed_maybe("staff_id")?,
        link: row.parsed_maybe("link_id")?,
        body: texts.open(row, &MESSAGE_BODY, id)?,
        sent: row.time("sent_ms")?,
        read_by: row.time_maybe("read_by_ms")?,
        read: row.time_maybe("read_ms")?,
    })
}

/// Keeps a message. `form_key`: the asking form's own key; false when the same form was kept before.
pub async fn insert(conn: &mut Conn, message: &Message, form_key: Option<&str>) -> Stored<bool> {
    const SQL: &str = "INSERT INTO message (id, practice_id, wound_id, check_id, review_id, sender, staff_id, \
                       link_id, form_key, body, body_sealed, sent_ms, read_by_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, '', $10, $11, $12) \
                       ON CONFLICT DO NOTHING";
    let body = conn.texts().seal(&message.body, &MESSAGE_BODY, message.id)?;
    let inserted = sqlx::query(SQL)
        .bind(message.id.to_string())
        .bind(message.practice.to_string())
        .bind(message.wound.to_string())
        .bind(message.check.map(|id| id.to_string()))
        .bind(message.review.map(|id| id.to_string()))
        .bind(message.sender.code())
        .bind(message.staff.map(|id| id.to_string()))
        .bind(message.link.map(|id| id.to_string()))
        .bind(form_key.map(str::to_owned))
        .bind(body)
        .bind(message.sent.as_millisecond())
        .bind(message.read_by.map(|by| by.as_millisecond()))
        .execute(conn)
        .await?;
    Ok(inserted.rows_affected() == 1)
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: MessageId) -> Stored<Option<Message>> {
    sqlx::query("SELECT * FROM message WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| message(row, conn.texts()))
        .transpose()
}

/// The wound's thread, oldest first.
pub async fn of_wound(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<Message>> {
    sqlx::query("SELECT * FROM message WHERE practice_id = $1 AND wound_id = $2 ORDER BY sent_ms, id")
        .bind(practice.to_string())
        .bind(wound.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| message(row, conn.texts()))
        .collect()
}

/// Answers of the practice about open wounds that should have been read by `now` and were not; first due first.
pub async fn unread(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Stored<Vec<Message>> {
    const SQL: &str = "SELECT message.* FROM message JOIN wound ON wound.id = message.wound_id \
                       WHERE message.practice_id = $1 AND message.sender = 'practice' AND message.read_ms IS NULL \
                       AND message.read_by_ms <= $2 AND wound.state = 'open' ORDER BY message.read_by_ms, message.id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(now.as_millisecond())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| message(row, conn.texts()))
        .collect()
}

/// The patient has read an answer. The first press stands; false when this wound has no such answer.
pub async fn note_read(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
    id: MessageId,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE message SET read_ms = COALESCE(read_ms, $4) WHERE practice_id = $1 AND wound_id = $2 \
                       AND id = $3 AND sender = 'practice'";
    let noted = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(id.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(noted.rows_affected() == 1)
}

/// What the patient wrote on this wound has been dealt with.
pub async fn note_dealt_with(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE message SET read_ms = $3 WHERE practice_id = $1 AND wound_id = $2 \
                       AND sender = 'patient' AND read_ms IS NULL";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}
