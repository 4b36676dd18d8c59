//! How long a practice keeps things: the numbers that a lead confirmed, and since when nothing must go.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

/// How long each class of things is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Numbers {
    /// A patient's record: years after the last of their wounds' records ended. 5 to 99.
    pub clinical_years: i64,
    /// Whoever was younger than this then is kept until this birthday, and for so many years more, if that is longer. 18 to 30;
    /// 0 to 99.
    pub minor_age: i64,
    pub minor_years: i64,
    /// Lines of the record. 6 to 99.
    pub record_years: i64,
    /// Letters that were sent, and work that failed. 30 to 3,650.
    pub letters_days: i64,
    /// Half-filled checks, and sessions of staff that ended. 3 to 365.
    pub passing_days: i64,
}

/// What stands in the books of a practice whose lead confirmed the numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Keeping {
    pub numbers: Numbers,
    pub confirmed_by: StaffId,
    pub confirmed: Timestamp,
    /// Nothing goes before this.
    pub waits_until: Timestamp,
    /// When somebody last looked at what is due.
    pub looked: Timestamp,
}

fn keeping(row: &AnyRow) -> Stored<Keeping> {
    Ok(Keeping {
        numbers: Numbers {
            clinical_years: row.whole("clinical_years")?,
            minor_age: row.whole("minor_age")?,
            minor_years: row.whole("minor_years")?,
            record_years: row.whole("record_years")?,
            letters_days: row.whole("letters_days")?,
            passing_days: row.whole("passing_days")?,
        },
        confirmed_by: row.parsed("confirmed_by")?,
        confirmed: row.time("confirmed_ms")?,
        waits_until: row.time("waits_until_ms")?,
        looked: row.time("looked_ms")?,
    })
}

/// `None`: nobody confirmed any numbers, and nothing goes.
pub async fn find(conn: &mut Conn, practice: PracticeId) -> Stored<Option<Keeping>> {
    sqlx::query("SELECT * FROM keeping WHERE practice_id = $1")
        .bind(practice.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(keeping)
        .transpose()
}

/// Keeps the numbers, in place of those before.
pub async fn keep(conn: &mut Conn, practice: PracticeId, keeping: &Keeping) -> Stored<()> {
    const SQL: &str = "INSERT INTO keeping (practice_id, clinical_years, minor_age, minor_years, record_years, letters_days, \
                       passing_days, confirmed_by, confirmed_ms, waits_until_ms, looked_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) ON CONFLICT (practice_id) DO UPDATE SET \
                       clinical_years = excluded.clinical_years, minor_age = excluded.minor_age, \
                       minor_years = excluded.minor_years, record_years = excluded.record_years, \
                       letters_days = excluded.letters_days, passing_days = excluded.passing_days, \
                       confirmed_by = excluded.confirmed_by, confirmed_ms = excluded.confirmed_ms, \
                       waits_until_ms = excluded.waits_until_ms, looked_ms = excluded.looked_ms";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(keeping.numbers.clinical_years)
        .bind(keeping.numbers.minor_age)
        .bind(keeping.numbers.minor_years)
        .bind(keeping.numbers.record_years)
        .bind(keeping.numbers.letters_days)
        .bind(keeping.numbers.passing_days)
        .bind(keeping.confirmed_by.to_string())
        .bind(keeping.confirmed.as_millisecond())
        .bind(keeping.waits_until.as_millisecond())
        .bind(keeping.looked.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Notes that what is due was looked at.
pub async fn note_look(conn: &mut Conn, practice: PracticeId, at: Timestamp) -> Stored<()> {
    sqlx::query("UPDATE keeping SET looked_ms = $2 WHERE practice_id = $1")
        .bind(practice.to_string())
        .bind(at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Nothing goes before this. Harmless where nobody confirmed any numbers.
pub async fn wait_until(conn: &mut Conn, practice: PracticeId, until: Timestamp) -> Stored<()> {
    sqlx::query("UPDATE keeping SET waits_until_ms = $2 WHERE practice_id = $1")
        .bind(practice.to_string())
        .bind(until.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}
