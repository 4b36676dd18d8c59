//! Legal holds: what must not go, whatever its time. Two people release one.

use jiff::Timestamp;
use jiff::civil::Date;
use sqlx::any::AnyRow;

use crate::ids::LegalHoldId;
use crate::ids::PatientId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::free_text::Texts;
use crate::store::patients::fold_name;
use crate::store::row::Columns;
use crate::store::text_columns::HOLD_REASON;

/// One hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LegalHold {
    pub id: LegalHoldId,
    pub practice: PracticeId,
    /// `None`: the whole practice.
    pub patient: Option<PatientId>,
    /// In the words of whoever placed it.
    pub reason: FreeText,
    pub placed_by: StaffId,
    pub placed: Timestamp,
    /// The first of the two who release it; `None`: nobody asked.
    pub asked: Option<(StaffId, Timestamp)>,
    /// The second; `None`: it stands.
    pub released: Option<(StaffId, Timestamp)>,
}

fn legal_hold(row: &AnyRow, texts: &Texts) -> Stored<LegalHold> {
    let id: LegalHoldId = row.parsed("id")?;
    Ok(LegalHold {
        id,
        practice: row.parsed("practice_id")?,
        patient: row.parsed_maybe("patient_id")?,
        reason: texts.open(row, &HOLD_REASON, id)?,
        placed_by: row.parsed("placed_by")?,
        placed: row.time("placed_ms")?,
        asked: row.parsed_maybe("asked_by")?.zip(row.time_maybe("asked_ms")?),
        released: row.parsed_maybe("released_by")?.zip(row.time_maybe("released_ms")?),
    })
}

pub async fn insert(conn: &mut Conn, hold: &LegalHold) -> Stored<()> {
    const SQL: &str = "INSERT INTO legal_hold (id, practice_id, patient_id, reason, reason_sealed, placed_by, \
                       placed_ms) VALUES ($1, $2, $3, '', $4, $5, $6)";
    let reason = conn.texts().seal(&hold.reason, &HOLD_REASON, hold.id)?;
    sqlx::query(SQL)
        .bind(hold.id.to_string())
        .bind(hold.practice.to_string())
        .bind(hold.patient.map(|patient| patient.to_string()))
        .bind(reason)
        .bind(hold.placed_by.to_string())
        .bind(hold.placed.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Every hold that stands, oldest first.
pub async fn in_force(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<LegalHold>> {
    sqlx::query(
        "SELECT * FROM legal_hold WHERE practice_id = $1 AND released_ms IS NULL ORDER BY placed_ms, id",
    )
    .bind(practice.to_string())
    .fetch_all(&mut *conn)
    .await?
    .iter()
    .map(|row| legal_hold(row, conn.texts()))
    .collect()
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: LegalHoldId) -> Stored<Option<LegalHold>> {
    sqlx::query("SELECT * FROM legal_hold WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| legal_hold(row, conn.texts()))
        .transpose()
}

/// Notes who asks for its release, in place of whoever asked before. False: it stands no more.
pub async fn note_asked(
    conn: &mut Conn,
    practice: PracticeId,
    id: LegalHoldId,
    by: StaffId,
    at: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE legal_hold SET asked_by = $3, asked_ms = $4 \
                       WHERE practice_id = $1 AND id = $2 AND released_ms IS NULL";
    let noted = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(by.to_string())
        .bind(at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(noted.rows_affected() == 1)
}

/// Releases it. False: it stands no more. The books refuse whoever asked for it.
pub async fn release(
    conn: &mut Conn,
    practice: PracticeId,
    id: LegalHoldId,
    by: StaffId,
    at: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE legal_hold SET released_by = $3, released_ms = $4 \
                       WHERE practice_id = $1 AND id = $2 AND released_ms IS NULL";
    let released = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(by.to_string())
        .bind(at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(released.rows_affected() == 1)
}

/// The patients of exactly this name, letter case and accents aside, and this date of birth.
pub async fn meant(conn: &mut Conn, practice: PracticeId, name: &str, born: Date) -> Stored<Vec<PatientId>> {
    sqlx::query(
        "SELECT id FROM patient WHERE practice_id = $1 AND name_folded = $2 AND born = $3 ORDER BY id",
    )
    .bind(practice.to_string())
    .bind(fold_name(name))
    .bind(born.to_string())
    .fetch_all(&mut *conn)
    .await?
    .iter()
    .map(|row| row.parsed("id"))
    .collect()
}
