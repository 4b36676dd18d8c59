//! Agreements of two people that everything of a practice is taken out, once.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::ExportAgreementId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

/// One agreement, or what is to become one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ExportAgreement {
    pub id: ExportAgreementId,
    pub practice: PracticeId,
    pub asked_by: StaffId,
    pub asked: Timestamp,
    /// Nobody can agree or take anything from then on.
    pub until: Timestamp,
    /// Who agreed, and when; `None`: nobody yet.
    pub agreed: Option<(StaffId, Timestamp)>,
    /// When its code was used; `None`: not yet.
    pub taken: Option<Timestamp>,
    /// When somebody took it back; `None`: nobody did.
    pub withdrawn: Option<Timestamp>,
}

impl ExportAgreement {
    /// Neither over, nor used, nor taken back.
    pub fn is_open(&self, now: Timestamp) -> bool {
        self.taken.is_none() && self.withdrawn.is_none() && now < self.until
    }
}

fn agreement(row: &AnyRow) -> Stored<ExportAgreement> {
    Ok(ExportAgreement {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        asked_by: row.parsed("asked_by")?,
        asked: row.time("asked_ms")?,
        until: row.time("until_ms")?,
        agreed: row.parsed_maybe("agreed_by")?.zip(row.time_maybe("agreed_ms")?),
        taken: row.time_maybe("taken_ms")?,
        withdrawn: row.time_maybe("withdrawn_ms")?,
    })
}

pub async fn insert(conn: &mut Conn, agreement: &ExportAgreement) -> Stored<()> {
    const SQL: &str = "INSERT INTO export_agreement (id, practice_id, asked_by, asked_ms, until_ms) \
                       VALUES ($1, $2, $3, $4, $5)";
    sqlx::query(SQL)
        .bind(agreement.id.to_string())
        .bind(agreement.practice.to_string())
        .bind(agreement.asked_by.to_string())
        .bind(agreement.asked.as_millisecond())
        .bind(agreement.until.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

pub async fn find(
    conn: &mut Conn,
    practice: PracticeId,
    id: ExportAgreementId,
) -> Stored<Option<ExportAgreement>> {
    sqlx::query("SELECT * FROM export_agreement WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(agreement)
        .transpose()
}

/// The newest first, at most `limit`.
pub async fn newest(conn: &mut Conn, practice: PracticeId, limit: i64) -> Stored<Vec<ExportAgreement>> {
    const SQL: &str =
        "SELECT * FROM export_agreement WHERE practice_id = $1 ORDER BY asked_ms DESC, id DESC LIMIT $2";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(agreement)
        .collect()
}

/// Keeps who agreed, with the hash of the code. False: it is not open any more, somebody agreed before, or it is the one who
/// asked.
pub async fn agree(
    conn: &mut Conn,
    practice: PracticeId,
    id: ExportAgreementId,
    by: StaffId,
    code_sha256: &str,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE export_agreement SET agreed_by = $3, agreed_ms = $4, code_sha256 = $5 \
                       WHERE practice_id = $1 AND id = $2 AND asked_by <> $3 AND agreed_by IS NULL \
                       AND withdrawn_ms IS NULL AND until_ms > $4";
    let agreed = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(by.to_string())
        .bind(now.as_millisecond())
        .bind(code_sha256)
        .execute(conn)
        .await?;
    Ok(agreed.rows_affected() == 1)
}

/// Takes it back. False: it is not open any more.
pub async fn withdraw(
    conn: &mut Conn,
    practice: PracticeId,
    id: ExportAgreementId,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE export_agreement SET withdrawn_ms = $3 WHERE practice_id = $1 AND id = $2 \
                       AND taken_ms IS NULL AND withdrawn_ms IS NULL AND until_ms > $3";
    let withdrawn = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(withdrawn.rows_affected() == 1)
}

/// Uses a code up. `None`: there is no such code in this practice, or it was used, taken back, or is too old.
pub async fn take(
    conn: &mut Conn,
    practice: PracticeId,
    code_sha256: &str,
    now: Timestamp,
) -> Stored<Option<ExportAgreement>> {
    const SQL: &str = "UPDATE export_agreement SET taken_ms = $3 WHERE practice_id = $1 AND code_sha256 = $2 \
                       AND agreed_by IS NOT NULL AND taken_ms IS NULL AND withdrawn_ms IS NULL AND until_ms > $3 \
                       RETURNING *";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(code_sha256)
        .bind(now.as_millisecond())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(agreement)
        .transpose()
}
