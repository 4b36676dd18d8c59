//! Corrections: what was noted beside a check or a decision that was wrong. Rows are added and never changed.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::CorrectionId;
use crate::ids::PracticeId;
use crate::ids::ReviewId;
use crate::ids::StaffId;
use crate::ids::WoundCheckId;
use crate::ids::WoundId;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::text_columns::CORRECTION_WORDS;

/// One note.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Correction {
    pub id: CorrectionId,
    pub practice: PracticeId,
    pub wound: WoundId,
    pub check: WoundCheckId,
    /// The decision it is about; `None`: about the check as it was sent.
    pub review: Option<ReviewId>,
    /// The patient reads this.
    pub words: FreeText,
    pub by: StaffId,
    pub noted: Timestamp,
}

fn correction(row: &AnyRow, texts: &Texts) -> Stored<Correction> {
    let id: CorrectionId = row.parsed("id")?;
    Ok(Correction {
        id,
        practice: row.parsed("practice_id")?,
        wound: row.parsed("wound_id")?,
        check: row.parsed("check_id")?,
        review: row.parsed_maybe("review_id")?,
        words: texts.open(row, &CORRECTION_WORDS, id)?,
        by: row.parsed("staff_id")?,
        noted: row.time("noted_ms")?,
    })
}

pub async fn insert(conn: &mut Conn, correction: &Correction) -> Stored<()> {
    const SQL: &str = "INSERT INTO correction (id, practice_id, wound_id, check_id, review_id, words, words_sealed, \
                       staff_id, noted_ms) VALUES ($1, $2, $3, $4, $5, '', $6, $7, $8)";
    let words = conn.texts().seal(&correction.words, &CORRECTION_WORDS, correction.id)?;
    sqlx::query(SQL)
        .bind(correction.id.to_string())
        .bind(correction.practice.to_string())
        .bind(correction.wound.to_string())
        .bind(correction.check.to_string())
        .bind(correction.review.map(|review| review.to_string()))
        .bind(words)
        .bind(correction.by.to_string())
        .bind(correction.noted.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Every correction about a wound's checks and their decisions, oldest first.
pub async fn of_wound(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<Correction>> {
    sqlx::query("SELECT * FROM correction WHERE practice_id = $1 AND wound_id = $2 ORDER BY noted_ms, id")
        .bind(practice.to_string())
        .bind(wound.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| correction(row, conn.texts()))
        .collect()
}
