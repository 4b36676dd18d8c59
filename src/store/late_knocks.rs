//! Knocks with a link that is closed: kept until a person has seen to them, so that nobody knocks in vain.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::LateKnockId;
use crate::ids::LinkId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::ids::WoundId;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::text_columns::LATE_KNOCK_DEALT_NOTE;
use crate::store::text_columns::LATE_KNOCK_WORDS;

/// What came of one closed link since somebody last saw to it, or since its words could not be opened when more came.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LateKnock {
    pub id: LateKnockId,
    pub practice: PracticeId,
    pub link: LinkId,
    pub wound: WoundId,
    /// What was typed, a line for each time; empty: the link was only tried.
    pub words: FreeText,
    /// How often, from 1.
    pub knocks: i64,
    pub first: Timestamp,
    pub last: Timestamp,
    /// By when a person is to see to it.
    pub due: Timestamp,
    /// `None`: it waits.
    pub dealt: Option<Dealt>,
}

/// Who saw to it, and what came of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dealt {
    pub at: Timestamp,
    pub by: StaffId,
    pub note: FreeText,
}

fn late_knock(row: &AnyRow, texts: &Texts) -> Stored<LateKnock> {
    let id: LateKnockId = row.parsed("id")?;
    let (at, by) = (row.time_maybe("dealt_ms")?, row.parsed_maybe("dealt_by")?);
    let note = texts.open(row, &LATE_KNOCK_DEALT_NOTE, id)?;
    Ok(LateKnock {
        id,
        practice: row.parsed("practice_id")?,
        link: row.parsed("link_id")?,
        wound: row.parsed("wound_id")?,
        words: texts.open(row, &LATE_KNOCK_WORDS, id)?,
        knocks: row.whole("knocks")?,
        first: row.time("first_ms")?,
        last: row.time("last_ms")?,
        due: row.time("due_ms")?,
        dealt: at.zip(by).map(|(at, by)| Dealt { at, by, note }),
    })
}

/// Keeps a knock as it stands now. Its wound must be held, or of two first knocks at once one is lost. Words that cannot be
/// opened stay as they lie there.
pub async fn keep(conn: &mut Conn, knock: &LateKnock) -> Stored<()> {
    if knock.words.read().is_none() {
        return keep_beside_words(conn, knock).await;
    }
    const SQL: &str = "INSERT INTO late_knock (id, practice_id, link_id, wound_id, words, words_sealed, knocks, \
                       first_ms, last_ms, due_ms) VALUES ($1, $2, $3, $4, '', $5, $6, $7, $8, $9) \
                       ON CONFLICT (link_id) WHERE dealt_ms IS NULL AND apart = 0 \
                       DO UPDATE SET words = '', words_sealed = $5, knocks = $6, last_ms = $8, due_ms = $9 \
                       WHERE late_knock.id = $1";
    let words = conn.texts().seal(&knock.words, &LATE_KNOCK_WORDS, knock.id)?;
    sqlx::query(SQL)
        .bind(knock.id.to_string())
        .bind(knock.practice.to_string())
        .bind(knock.link.to_string())
        .bind(knock.wound.to_string())
        .bind(words)
        .bind(knock.knocks)
        .bind(knock.first.as_millisecond())
        .bind(knock.last.as_millisecond())
        .bind(knock.due.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

async fn keep_beside_words(conn: &mut Conn, knock: &LateKnock) -> Stored<()> {
    const SQL: &str = "UPDATE late_knock SET knocks = $3, last_ms = $4, due_ms = $5 \
                       WHERE practice_id = $1 AND id = $2 AND dealt_ms IS NULL";
    sqlx::query(SQL)
        .bind(knock.practice.to_string())
        .bind(knock.id.to_string())
        .bind(knock.knocks)
        .bind(knock.last.as_millisecond())
        .bind(knock.due.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Sets a knock that waits apart: it waits on by itself, and the next at its link begins another.
pub async fn set_apart(conn: &mut Conn, practice: PracticeId, id: LateKnockId, due: Timestamp) -> Stored<()> {
    sqlx::query("UPDATE late_knock SET apart = 1, due_ms = $3 WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(due.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// What waits of one link and can take more words; `None`: nothing.
pub async fn waiting_of(conn: &mut Conn, practice: PracticeId, link: LinkId) -> Stored<Option<LateKnock>> {
    const SQL: &str = "SELECT * FROM late_knock WHERE practice_id = $1 AND link_id = $2 AND dealt_ms IS NULL \
                       AND apart = 0";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(link.to_string())
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| late_knock(row, conn.texts()))
        .transpose()
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: LateKnockId) -> Stored<Option<LateKnock>> {
    sqlx::query("SELECT * FROM late_knock WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| late_knock(row, conn.texts()))
        .transpose()
}

/// Every knock at closed links of one wound, oldest first.
pub async fn of_wound(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<LateKnock>> {
    sqlx::query("SELECT * FROM late_knock WHERE practice_id = $1 AND wound_id = $2 ORDER BY first_ms, id")
        .bind(practice.to_string())
        .bind(wound.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| late_knock(row, conn.texts()))
        .collect()
}

/// All that wait, the one that is due first in front.
pub async fn waiting(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<LateKnock>> {
    sqlx::query("SELECT * FROM late_knock WHERE practice_id = $1 AND dealt_ms IS NULL ORDER BY due_ms, id")
        .bind(practice.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| late_knock(row, conn.texts()))
        .collect()
}

/// Notes who saw to it; false: somebody did before.
pub async fn note_dealt(
    conn: &mut Conn,
    practice: PracticeId,
    id: LateKnockId,
    dealt: &Dealt,
) -> Stored<bool> {
    const SQL: &str = "UPDATE late_knock SET dealt_ms = $3, dealt_by = $4, dealt_note = '', dealt_note_sealed = $5 \
                       WHERE practice_id = $1 AND id = $2 AND dealt_ms IS NULL";
    let note = conn.texts().seal(&dealt.note, &LATE_KNOCK_DEALT_NOTE, id)?;
    let done = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(dealt.at.as_millisecond())
        .bind(dealt.by.to_string())
        .bind(note)
        .execute(conn)
        .await?;
    Ok(done.rows_affected() == 1)
}
