//! Wound checks being filled in step by step: kept between the steps, gone when sent.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::LinkId;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::StoreError;
use crate::store::Stored;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::text_columns::DRAFT_FIELDS;

/// What was typed so far.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    pub practice: PracticeId,
    pub link: LinkId,
    /// The session's token, as SHA-256: only the phone that typed it sees it.
    pub phone_sha256: String,
    pub form_key: String,
    /// Names and values in order; names may repeat.
    pub fields: Vec<(String, String)>,
    /// Ids of the questions that were shown.
    pub shown: Vec<String>,
    pub began: Timestamp,
    pub updated: Timestamp,
}

/// What a draft is sealed for: its key, and not its `id`, which anybody who writes in the books could move.
fn sealed_for(link: &str, form_key: &str) -> String {
    format!("{link}/{form_key}")
}

/// `None`: what was typed cannot be opened. The patient begins afresh, and is shown nothing wrong.
fn draft(row: &AnyRow, texts: &Texts) -> Stored<Option<Draft>> {
    let key = sealed_for(&row.text("link_id")?, &row.text("form_key")?);
    let fields = texts.open(row, &DRAFT_FIELDS, key)?;
    let Some(fields) = fields.read() else { return Ok(None) };
    let fields = serde_json::from_str(fields)
        .map_err(|fault| StoreError::Unreadable { column: "fields", because: fault.to_string() })?;
    Ok(Some(Draft {
        practice: row.parsed("practice_id")?,
        link: row.parsed("link_id")?,
        phone_sha256: row.text("phone_sha256")?,
        form_key: row.text("form_key")?,
        fields,
        shown: row.json("shown")?,
        began: row.time("began_ms")?,
        updated: row.time("updated_ms")?,
    }))
}

/// The draft with this form key, whichever phone typed it.
pub async fn find(
    conn: &mut Conn,
    practice: PracticeId,
    link: LinkId,
    form_key: &str,
) -> Stored<Option<Draft>> {
    sqlx::query("SELECT * FROM check_draft WHERE practice_id = $1 AND link_id = $2 AND form_key = $3")
        .bind(practice.to_string())
        .bind(link.to_string())
        .bind(form_key)
        .fetch_optional(&mut *conn)
        .await?
        .map_or(Ok(None), |row| draft(&row, conn.texts()))
}

/// The newest draft of this phone that was touched at `since` or later.
pub async fn newest(
    conn: &mut Conn,
    practice: PracticeId,
    link: LinkId,
    phone_sha256: &str,
    since: Timestamp,
) -> Stored<Option<Draft>> {
    const SQL: &str = "SELECT * FROM check_draft WHERE practice_id = $1 AND link_id = $2 AND phone_sha256 = $3 \
                       AND updated_ms >= $4 ORDER BY updated_ms DESC, form_key LIMIT 1";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(link.to_string())
        .bind(phone_sha256)
        .bind(since.as_millisecond())
        .fetch_optional(&mut *conn)
        .await?
        .map_or(Ok(None), |row| draft(&row, conn.texts()))
}

/// Keeps a draft as it is now. One that another phone typed under the same key stays as it was.
pub async fn keep(conn: &mut Conn, draft: &Draft) -> Stored<()> {
    const SQL: &str = "INSERT INTO check_draft (practice_id, link_id, phone_sha256, form_key, fields, \
                       fields_sealed, shown, began_ms, updated_ms, id) VALUES ($1, $2, $3, $4, '', $5, $6, $7, $8, $9) \
                       ON CONFLICT (link_id, form_key) DO UPDATE SET fields = '', \
                       fields_sealed = excluded.fields_sealed, shown = excluded.shown, updated_ms = excluded.updated_ms \
                       WHERE check_draft.practice_id = excluded.practice_id \
                       AND check_draft.phone_sha256 = excluded.phone_sha256";
    let id = sealed_for(&draft.link.to_string(), &draft.form_key);
    let fields = conn.texts().seal_words(&json("fields", &draft.fields)?, &DRAFT_FIELDS, &id)?;
    sqlx::query(SQL)
        .bind(draft.practice.to_string())
        .bind(draft.link.to_string())
        .bind(&draft.phone_sha256)
        .bind(&draft.form_key)
        .bind(fields)
        .bind(json("shown", &draft.shown)?)
        .bind(draft.began.as_millisecond())
        .bind(draft.updated.as_millisecond())
        .bind(id)
        .execute(conn)
        .await?;
    Ok(())
}

fn json<T: serde::Serialize>(column: &'static str, value: &T) -> Stored<String> {
    serde_json::to_string(value)
        .map_err(|fault| StoreError::Unreadable { column, because: fault.to_string() })
}

/// Deletes the draft of a check that was sent, or that is begun afresh.
pub async fn forget(conn: &mut Conn, practice: PracticeId, link: LinkId, form_key: &str) -> Stored<()> {
    sqlx::query("DELETE FROM check_draft WHERE practice_id = $1 AND link_id = $2 AND form_key = $3")
        .bind(practice.to_string())
        .bind(link.to_string())
        .bind(form_key)
        .execute(conn)
        .await?;
    Ok(())
}

/// Deletes what a phone typed and did not send, when it leaves.
pub async fn forget_phone(conn: &mut Conn, phone_sha256: &str) -> Stored<()> {
    sqlx::query("DELETE FROM check_draft WHERE phone_sha256 = $1").bind(phone_sha256).execute(conn).await?;
    Ok(())
}

/// Deletes the practice's drafts that nobody has touched since then.
pub async fn forget_older(conn: &mut Conn, practice: PracticeId, since: Timestamp) -> Stored<()> {
    sqlx::query("DELETE FROM check_draft WHERE practice_id = $1 AND updated_ms < $2")
        .bind(practice.to_string())
        .bind(since.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Deletes what was typed on somebody else's phone whose session is over: such a phone keeps nothing.
pub async fn forget_borrowed(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Stored<()> {
    const SQL: &str = "DELETE FROM check_draft WHERE practice_id = $1 AND phone_sha256 IN \
                       (SELECT token_sha256 FROM patient_session WHERE practice_id = $1 AND borrowed = 1 \
                       AND expires_ms <= $2)";
    sqlx::query(SQL).bind(practice.to_string()).bind(now.as_millisecond()).execute(conn).await?;
    Ok(())
}
