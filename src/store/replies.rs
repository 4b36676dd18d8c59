//! The practice's own reply texts, in both languages, with blanks to fill.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::ReplyTextId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::triage::Decision;
use crate::words::Language;

/// One reply text. Blanks are written `{name}`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReplyText {
    pub id: ReplyTextId,
    pub practice: PracticeId,
    /// The decision it is offered for.
    pub decision: Decision,
    /// For staff, to choose by.
    pub title: String,
    pub body_en: String,
    pub body_es: String,
    pub position: i64,
}

impl ReplyText {
    pub fn body(&self, language: Language) -> &str {
        match language {
            Language::English => &self.body_en,
            Language::Spanish => &self.body_es,
        }
    }
}

fn reply_text(row: &AnyRow) -> Stored<ReplyText> {
    Ok(ReplyText {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        decision: row.parsed("decision")?,
        title: row.text("title")?,
        body_en: row.text("body_en")?,
        body_es: row.text("body_es")?,
        position: row.whole("position")?,
    })
}

pub async fn of_practice(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<ReplyText>> {
    sqlx::query("SELECT * FROM reply_text WHERE practice_id = $1 ORDER BY position, id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(reply_text)
        .collect()
}

/// Keeps a new or a changed reply text.
pub async fn keep(conn: &mut Conn, reply: &ReplyText, now: Timestamp) -> Stored<()> {
    const SQL: &str = "INSERT INTO reply_text (id, practice_id, decision, title, body_en, body_es, position, \
                       changed_ms) VALUES ($1, $2, $3, $4, $5, $6, $7, $8) ON CONFLICT (id) DO UPDATE SET \
                       decision = excluded.decision, title = excluded.title, body_en = excluded.body_en, \
                       body_es = excluded.body_es, position = excluded.position, changed_ms = excluded.changed_ms \
                       WHERE reply_text.practice_id = excluded.practice_id";
    sqlx::query(SQL)
        .bind(reply.id.to_string())
        .bind(reply.practice.to_string())
        .bind(reply.decision.code())
        .bind(&reply.title)
        .bind(&reply.body_en)
        .bind(&reply.body_es)
        .bind(reply.position)
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}
