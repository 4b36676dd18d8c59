//! Codes in sealed envelopes, of which a practice has one at most, and what came of those that were opened.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::LookId;
use crate::ids::PracticeId;
use crate::ids::SealedCodeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::text_columns::LOOK_NOTE;
use crate::store::text_columns::LOOK_REASON;

/// A code that was printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SealedCode {
    pub id: SealedCodeId,
    pub practice: PracticeId,
    /// Of its secret letters.
    pub phc: String,
    pub printed_by: StaffId,
    pub printed: Timestamp,
    /// It was opened, or another was printed in its place; `None`: it stands.
    pub ended: Option<Timestamp>,
}

/// One use of a code: somebody looks at what waits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Look {
    pub id: LookId,
    pub practice: PracticeId,
    pub code: SealedCodeId,
    /// As typed by whoever opened the envelope; nobody has proved it.
    pub name: String,
    pub reason: FreeText,
    /// The kind of browser, such as "Firefox on Windows".
    pub browser: String,
    pub began: Timestamp,
    /// It ends by itself then.
    pub until: Timestamp,
    /// A lead ended it before its time; `None`: nobody did.
    pub ended: Option<(Timestamp, StaffId)>,
    /// What a lead found out about it; `None`: nobody has noted it.
    pub noted: Option<Noted>,
}

impl Look {
    pub fn is_running(&self, now: Timestamp) -> bool {
        self.ended.is_none() && now < self.until
    }
}

/// What a lead noted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Noted {
    pub at: Timestamp,
    pub by: StaffId,
    pub words: FreeText,
}

fn code(row: &AnyRow) -> Stored<SealedCode> {
    Ok(SealedCode {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        phc: row.text("phc")?,
        printed_by: row.parsed("printed_by")?,
        printed: row.time("printed_ms")?,
        ended: row.time_maybe("ended_ms")?,
    })
}

fn look(row: &AnyRow, texts: &Texts) -> Stored<Look> {
    let id: LookId = row.parsed("id")?;
    let (noted, noted_by) = (row.time_maybe("noted_ms")?, row.parsed_maybe("noted_by")?);
    let words = texts.open(row, &LOOK_NOTE, id)?;
    Ok(Look {
        id,
        practice: row.parsed("practice_id")?,
        code: row.parsed("code_id")?,
        name: row.text("name")?,
        reason: texts.open(row, &LOOK_REASON, id)?,
        browser: row.text("browser")?,
        began: row.time("began_ms")?,
        until: row.time("until_ms")?,
        ended: row.time_maybe("ended_ms")?.zip(row.parsed_maybe("ended_by")?),
        noted: noted.zip(noted_by).map(|(at, by)| Noted { at, by, words }),
    })
}

/// Keeps a code that was printed; the one before opens nothing any more.
pub async fn put_in_place(conn: &mut Conn, code: &SealedCode, locator: &str) -> Stored<()> {
    const OLD: &str = "UPDATE sealed_code SET ended_ms = $2 WHERE practice_id = $1 AND ended_ms IS NULL";
    const NEW: &str = "INSERT INTO sealed_code (id, practice_id, code_locator, phc, printed_by, printed_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6)";
    sqlx::query(OLD)
        .bind(code.practice.to_string())
        .bind(code.printed.as_millisecond())
        .execute(&mut *conn)
        .await?;
    sqlx::query(NEW)
        .bind(code.id.to_string())
        .bind(code.practice.to_string())
        .bind(locator)
        .bind(&code.phc)
        .bind(code.printed_by.to_string())
        .bind(code.printed.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// The code these first letters begin, whatever became of it.
pub async fn by_locator(conn: &mut Conn, locator: &str) -> Stored<Option<SealedCode>> {
    sqlx::query("SELECT * FROM sealed_code WHERE code_locator = $1")
        .bind(locator)
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(code)
        .transpose()
}

/// The practice's code that stands; `None`: none was printed, or it was opened.
pub async fn standing(conn: &mut Conn, practice: PracticeId) -> Stored<Option<SealedCode>> {
    sqlx::query("SELECT * FROM sealed_code WHERE practice_id = $1 AND ended_ms IS NULL")
        .bind(practice.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(code)
        .transpose()
}

/// Uses a code up; false: it was opened before, or replaced.
pub async fn use_up(conn: &mut Conn, practice: PracticeId, id: SealedCodeId, now: Timestamp) -> Stored<bool> {
    const SQL: &str =
        "UPDATE sealed_code SET ended_ms = $3 WHERE practice_id = $1 AND id = $2 AND ended_ms IS NULL";
    let used = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(used.rows_affected() == 1)
}

pub async fn begin_look(conn: &mut Conn, look: &Look, token_sha256: &str) -> Stored<()> {
    const SQL: &str = "INSERT INTO sealed_look (id, practice_id, code_id, token_sha256, name, reason, reason_sealed, \
                       browser, began_ms, until_ms) VALUES ($1, $2, $3, $4, $5, '', $6, $7, $8, $9)";
    let reason = conn.texts().seal(&look.reason, &LOOK_REASON, look.id)?;
    sqlx::query(SQL)
        .bind(look.id.to_string())
        .bind(look.practice.to_string())
        .bind(look.code.to_string())
        .bind(token_sha256)
        .bind(&look.name)
        .bind(reason)
        .bind(&look.browser)
        .bind(look.began.as_millisecond())
        .bind(look.until.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// The look behind a cookie; whether it still runs is the caller's business.
pub async fn look_by_token(conn: &mut Conn, token_sha256: &str) -> Stored<Option<Look>> {
    sqlx::query("SELECT * FROM sealed_look WHERE token_sha256 = $1")
        .bind(token_sha256)
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| look(row, conn.texts()))
        .transpose()
}

pub async fn find_look(conn: &mut Conn, practice: PracticeId, id: LookId) -> Stored<Option<Look>> {
    sqlx::query("SELECT * FROM sealed_look WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| look(row, conn.texts()))
        .transpose()
}

/// The names that were typed with sealed codes.
pub async fn names(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<(LookId, String)>> {
    sqlx::query("SELECT id, name FROM sealed_look WHERE practice_id = $1")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| Ok((row.parsed("id")?, row.text("name")?)))
        .collect()
}

/// The newest looks, newest first.
pub async fn looks(conn: &mut Conn, practice: PracticeId, limit: i64) -> Stored<Vec<Look>> {
    sqlx::query("SELECT * FROM sealed_look WHERE practice_id = $1 ORDER BY began_ms DESC, id LIMIT $2")
        .bind(practice.to_string())
        .bind(limit)
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| look(row, conn.texts()))
        .collect()
}

/// A lead ends a look; false: it had ended already, by a lead or by itself.
pub async fn end_look(
    conn: &mut Conn,
    practice: PracticeId,
    id: LookId,
    by: StaffId,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE sealed_look SET ended_ms = $4, ended_by = $3 WHERE practice_id = $1 AND id = $2 \
                       AND ended_ms IS NULL AND until_ms > $4";
    let ended = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(by.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(ended.rows_affected() == 1)
}

/// Keeps what a lead found out; false: somebody has noted it before.
pub async fn note_look(conn: &mut Conn, practice: PracticeId, id: LookId, noted: &Noted) -> Stored<bool> {
    const SQL: &str = "UPDATE sealed_look SET noted_ms = $3, noted_by = $4, note = '', note_sealed = $5 \
                       WHERE practice_id = $1 AND id = $2 AND noted_ms IS NULL";
    let words = conn.texts().seal(&noted.words, &LOOK_NOTE, id)?;
    let kept = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(noted.at.as_millisecond())
        .bind(noted.by.to_string())
        .bind(words)
        .execute(conn)
        .await?;
    Ok(kept.rows_affected() == 1)
}
