//! Knocks with a link that is closed: kept until a person has seen to them, so that nobody knocks in vain.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::LateKnockId;
use crate::ids::LinkId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::ids::WoundId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

/// What came of one closed link since somebody last saw to it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LateKnock {
    pub id: LateKnockId,
    pub practice: PracticeId,
    pub link: LinkId,
    pub wound: WoundId,
    /// What was typed, a line for each time; empty: the link was only tried.
    pub words: String,
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
    pub note: String,
}

fn late_knock(row: &AnyRow) -> Stored<LateKnock> {
    let (at, by) = (row.time_maybe("dealt_ms")?, row.parsed_maybe("dealt_by")?);
    let note = row.text("dealt_note")?;
    Ok(LateKnock {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        link: row.parsed("link_id")?,
        wound: row.parsed("wound_id")?,
        words: row.text("words")?,
        knocks: row.whole("knocks")?,
        first: row.time("first_ms")?,
        last: row.time("last_ms")?,
        due: row.time("due_ms")?,
        dealt: at.zip(by).map(|(at, by)| Dealt { at, by, note }),
    })
}

/// Keeps a knock as it stands now. Its wound must be held, or of two at once one is written over.
pub async fn keep(conn: &mut Conn, knock: &LateKnock) -> Stored<()> {
    const SQL: &str = "INSERT INTO late_knock (id, practice_id, link_id, wound_id, words, knocks, first_ms, last_ms, \
                       due_ms) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) \
                       ON CONFLICT (link_id) WHERE dealt_ms IS NULL \
                       DO UPDATE SET words = $5, knocks = $6, last_ms = $8, due_ms = $9";
    sqlx::query(SQL)
        .bind(knock.id.to_string())
        .bind(knock.practice.to_string())
        .bind(knock.link.to_string())
        .bind(knock.wound.to_string())
        .bind(&knock.words)
        .bind(knock.knocks)
        .bind(knock.first.as_millisecond())
        .bind(knock.last.as_millisecond())
        .bind(knock.due.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// What waits of one link; `None`: nothing.
pub async fn waiting_of(conn: &mut Conn, practice: PracticeId, link: LinkId) -> Stored<Option<LateKnock>> {
    sqlx::query("SELECT * FROM late_knock WHERE practice_id = $1 AND link_id = $2 AND dealt_ms IS NULL")
        .bind(practice.to_string())
        .bind(link.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(late_knock)
        .transpose()
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: LateKnockId) -> Stored<Option<LateKnock>> {
    sqlx::query("SELECT * FROM late_knock WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(late_knock)
        .transpose()
}

/// All that wait, the one that is due first in front.
pub async fn waiting(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<LateKnock>> {
    sqlx::query("SELECT * FROM late_knock WHERE practice_id = $1 AND dealt_ms IS NULL ORDER BY due_ms, id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(late_knock)
        .collect()
}

/// Notes who saw to it; false: somebody did before.
pub async fn note_dealt(
    conn: &mut Conn,
    practice: PracticeId,
    id: LateKnockId,
    dealt: &Dealt,
) -> Stored<bool> {
    const SQL: &str = "UPDATE late_knock SET dealt_ms = $3, dealt_by = $4, dealt_note = $5 \
                       WHERE practice_id = $1 AND id = $2 AND dealt_ms IS NULL";
    let done = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(dealt.at.as_millisecond())
        .bind(dealt.by.to_string())
        .bind(&dealt.note)
        .execute(conn)
        .await?;
    Ok(done.rows_affected() == 1)
}
