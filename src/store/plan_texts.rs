//! The practice's plan text, every version of it.

use jiff::Timestamp;

use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::plan::PlanText;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::store::row::to_json;

/// One version.
#[derive(Clone, Debug)]
pub struct KeptText {
    /// From 1; 0 is the program's own, which is kept nowhere.
    pub version: i64,
    pub text: PlanText,
    pub by: StaffId,
    pub made: Timestamp,
}

/// The newest version; `None`: the practice uses the program's own.
pub async fn newest(conn: &mut Conn, practice: PracticeId) -> Stored<Option<KeptText>> {
    sqlx::query("SELECT * FROM plan_text WHERE practice_id = $1 ORDER BY version DESC LIMIT 1")
        .bind(practice.to_string())
        .fetch_optional(conn)
        .await?
        .map(|row| {
            Ok(KeptText {
                version: row.whole("version")?,
                text: row.json("body")?,
                by: row.parsed("staff_id")?,
                made: row.time("made_ms")?,
            })
        })
        .transpose()
}

/// Keeps a new version. A version that exists is a duplicate: somebody saved meanwhile.
pub async fn keep(conn: &mut Conn, practice: PracticeId, kept: &KeptText) -> Stored<()> {
    const SQL: &str =
        "INSERT INTO plan_text (practice_id, version, body, staff_id, made_ms) VALUES ($1, $2, $3, $4, $5)";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(kept.version)
        .bind(to_json(&kept.text)?)
        .bind(kept.by.to_string())
        .bind(kept.made.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}
