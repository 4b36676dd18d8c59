//! Wrong tries to sign in, counted where they came from: by strangers at a name, in a browser that is known, or with a name
//! nobody has. Each count has a wait of its own.

use jiff::Timestamp;

use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::store::staff::StaffMember;

/// Where tries are counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Counted {
    /// At a member's name, by whoever.
    AtName(StaffId),
    /// In a browser in which this member signed in before; the browser's token as its hash.
    InBrowser { token_sha256: String, staff: StaffId },
    /// At a name nobody has: one of 65,536 heaps.
    Unknown(u16),
}

/// A count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tries {
    /// Wrong ones in a row.
    pub failed: i64,
    /// None is looked at before this.
    pub next: Timestamp,
}

/// A count as it stands; `None`: nothing was ever counted there, or the browser is not known.
pub async fn read(conn: &mut Conn, counted: &Counted) -> Stored<Option<Tries>> {
    let query = match counted {
        Counted::AtName(staff) => {
            sqlx::query("SELECT staff.failed_sign_ins, staff.next_try_ms FROM staff WHERE id = $1")
                .bind(staff.to_string())
        }
        Counted::InBrowser { token_sha256, staff } => sqlx::query(
            "SELECT failed_sign_ins, next_try_ms FROM known_browser WHERE token_sha256 = $1 AND staff_id = $2",
        )
        .bind(token_sha256.clone())
        .bind(staff.to_string()),
        Counted::Unknown(bucket) => {
            sqlx::query("SELECT failed_sign_ins, next_try_ms FROM unknown_name WHERE bucket = $1")
                .bind(i64::from(*bucket))
        }
    };
    let row = query.fetch_optional(conn).await?;
    row.map(|row| Ok(Tries { failed: row.whole("failed_sign_ins")?, next: row.time("next_try_ms")? }))
        .transpose()
}

/// Books a try before anything is looked at, as if it were wrong; false when another was booked meanwhile, so that many
/// at once count as many.
pub async fn book(conn: &mut Conn, counted: &Counted, before: Tries, next: Timestamp) -> Stored<bool> {
    let query = match counted {
        Counted::AtName(staff) => sqlx::query(
            "UPDATE staff SET failed_sign_ins = failed_sign_ins + 1, next_try_ms = $3 \
             WHERE id = $1 AND failed_sign_ins = $2",
        )
        .bind(staff.to_string())
        .bind(before.failed)
        .bind(next.as_millisecond()),
        Counted::InBrowser { token_sha256, staff } => sqlx::query(
            "UPDATE known_browser SET failed_sign_ins = failed_sign_ins + 1, next_try_ms = $4 \
             WHERE token_sha256 = $1 AND staff_id = $2 AND failed_sign_ins = $3",
        )
        .bind(token_sha256.clone())
        .bind(staff.to_string())
        .bind(before.failed)
        .bind(next.as_millisecond()),
        Counted::Unknown(bucket) => sqlx::query(
            "INSERT INTO unknown_name (bucket, failed_sign_ins, next_try_ms) VALUES ($1, 1, $3) \
             ON CONFLICT (bucket) DO UPDATE SET failed_sign_ins = unknown_name.failed_sign_ins + 1, \
             next_try_ms = $3 WHERE unknown_name.failed_sign_ins = $2",
        )
        .bind(i64::from(*bucket))
        .bind(before.failed)
        .bind(next.as_millisecond()),
    };
    Ok(query.execute(conn).await?.rows_affected() == 1)
}

/// Writes a count as it stands. For a name nobody has there is no record to note the try in, and the disk must be waited for all
/// the same: by the time an answer takes nobody learns which names there are.
pub async fn write_as_if(conn: &mut Conn, counted: &Counted) -> Stored<()> {
    let Counted::Unknown(bucket) = counted else { return Ok(()) };
    sqlx::query("UPDATE unknown_name SET failed_sign_ins = failed_sign_ins WHERE bucket = $1")
        .bind(i64::from(*bucket))
        .execute(conn)
        .await?;
    Ok(())
}

/// A try was right: its count begins again.
pub async fn forget(conn: &mut Conn, counted: &Counted) -> Stored<()> {
    let query = match counted {
        Counted::AtName(staff) => {
            sqlx::query("UPDATE staff SET failed_sign_ins = 0, next_try_ms = 0 WHERE id = $1")
                .bind(staff.to_string())
        }
        Counted::InBrowser { token_sha256, staff } => sqlx::query(
            "UPDATE known_browser SET failed_sign_ins = 0, next_try_ms = 0 \
             WHERE token_sha256 = $1 AND staff_id = $2",
        )
        .bind(token_sha256.clone())
        .bind(staff.to_string()),
        Counted::Unknown(bucket) => {
            sqlx::query("DELETE FROM unknown_name WHERE bucket = $1").bind(i64::from(*bucket))
        }
    };
    query.execute(conn).await?;
    Ok(())
}

/// Takes back a booked try that proved right; nothing when another was booked meanwhile.
pub async fn take_back(conn: &mut Conn, counted: &Counted, booked: Tries) -> Stored<()> {
    let query = match counted {
        Counted::AtName(staff) => sqlx::query(
            "UPDATE staff SET failed_sign_ins = failed_sign_ins - 1, next_try_ms = 0 \
             WHERE id = $1 AND failed_sign_ins = $2",
        )
        .bind(staff.to_string())
        .bind(booked.failed),
        Counted::InBrowser { token_sha256, staff } => sqlx::query(
            "UPDATE known_browser SET failed_sign_ins = failed_sign_ins - 1, next_try_ms = 0 \
             WHERE token_sha256 = $1 AND staff_id = $2 AND failed_sign_ins = $3",
        )
        .bind(token_sha256.clone())
        .bind(staff.to_string())
        .bind(booked.failed),
        // Nobody has that name: no try there is right.
        Counted::Unknown(_) => return Ok(()),
    };
    query.execute(conn).await?;
    Ok(())
}

/// Keeps that a member signed in in this browser.
pub async fn know_browser(
    conn: &mut Conn,
    token_sha256: &str,
    member: &StaffMember,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "INSERT INTO known_browser (token_sha256, practice_id, staff_id, last_sign_in_ms) \
                       VALUES ($1, $2, $3, $4) ON CONFLICT (token_sha256, staff_id) \
                       DO UPDATE SET last_sign_in_ms = $4, failed_sign_ins = 0, next_try_ms = 0";
    sqlx::query(SQL)
        .bind(token_sha256)
        .bind(member.practice.to_string())
        .bind(member.id.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// The practice of the members who signed in in this browser and still may; `None`: there is none. Of several the one of
/// whoever signed in last.
pub async fn practice_of_browser(conn: &mut Conn, token_sha256: &str) -> Stored<Option<PracticeId>> {
    const SQL: &str = "SELECT known_browser.practice_id FROM known_browser \
                       JOIN staff ON staff.id = known_browser.staff_id \
                       WHERE known_browser.token_sha256 = $1 AND staff.active = 1 \
                       ORDER BY known_browser.last_sign_in_ms DESC, staff.id LIMIT 1";
    let row = sqlx::query(SQL).bind(token_sha256).fetch_optional(conn).await?;
    row.map(|row| row.parsed("practice_id")).transpose()
}

/// No browser is known to a member any more.
pub async fn forget_browsers(conn: &mut Conn, member: &StaffMember) -> Stored<()> {
    sqlx::query("DELETE FROM known_browser WHERE practice_id = $1 AND staff_id = $2")
        .bind(member.practice.to_string())
        .bind(member.id.to_string())
        .execute(conn)
        .await?;
    Ok(())
}
