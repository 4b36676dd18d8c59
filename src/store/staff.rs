//! Staff members, and the one-time address for the first of them.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::store::row::flag;
use crate::store::staff_sessions;

/// What a staff member may do. One person can have several roles.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Roles {
    pub surgeon: bool,
    pub office: bool,
    pub lead: bool,
}

impl Roles {
    /// Reads how the practice sorts and how well: the protocol, the figures, the cover. Leads and surgeons do.
    pub fn judge_ranking(self) -> bool {
        self.lead || self.surgeon
    }
}

/// A person who signs in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StaffMember {
    pub id: StaffId,
    pub practice: PracticeId,
    pub name: String,
    pub sign_in_name: String,
    pub roles: Roles,
    pub active: bool,
    /// A lead let this member see photos although they are no surgeon.
    pub sees_photos: bool,
}

impl StaffMember {
    /// Surgeons may; others where a lead said so.
    pub fn may_see_photos(&self) -> bool {
        self.roles.surgeon || self.sees_photos
    }
}

/// What sign-in needs besides the member.
#[derive(Clone, Debug)]
pub struct Credentials {
    pub member: StaffMember,
    pub password_phc: String,
    pub failed_sign_ins: i64,
    /// No try is looked at before this.
    pub next_try: Timestamp,
}

pub(in crate::store) fn member(row: &AnyRow) -> Stored<StaffMember> {
    Ok(StaffMember {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        name: row.text("name")?,
        sign_in_name: row.text("sign_in_name")?,
        roles: Roles {
            surgeon: row.flag("is_surgeon")?,
            office: row.flag("is_office")?,
            lead: row.flag("is_lead")?,
        },
        active: row.flag("active")?,
        sees_photos: row.flag("sees_photos")?,
    })
}

pub async fn insert(
    conn: &mut Conn,
    member: &StaffMember,
    password_phc: &str,
    created: Timestamp,
) -> Stored<()> {
    const SQL: &str = "INSERT INTO staff (id, practice_id, name, sign_in_name, password_phc, is_surgeon, is_office, \
                       is_lead, active, created_ms) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)";
    sqlx::query(SQL)
        .bind(member.id.to_string())
        .bind(member.practice.to_string())
        .bind(&member.name)
        .bind(&member.sign_in_name)
        .bind(password_phc)
        .bind(flag(member.roles.surgeon))
        .bind(flag(member.roles.office))
        .bind(flag(member.roles.lead))
        .bind(flag(member.active))
        .bind(created.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Everyone of the practice, by name.
pub async fn of_practice(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<StaffMember>> {
    sqlx::query("SELECT * FROM staff WHERE practice_id = $1 ORDER BY name, id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(member)
        .collect()
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: StaffId) -> Stored<Option<StaffMember>> {
    sqlx::query("SELECT * FROM staff WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(member)
        .transpose()
}

pub async fn credentials(conn: &mut Conn, sign_in_name: &str) -> Stored<Option<Credentials>> {
    sqlx::query("SELECT * FROM staff WHERE sign_in_name = $1 AND active = 1")
        .bind(sign_in_name)
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(|row| {
            Ok(Credentials {
                member: member(row)?,
                password_phc: row.text("password_phc")?,
                failed_sign_ins: row.whole("failed_sign_ins")?,
                next_try: row.time("next_try_ms")?,
            })
        })
        .transpose()
}

/// Books a try before its password is looked at, as if it were wrong; false when another try was booked meanwhile, so
/// that many tries at once count as many.
pub async fn book_try(conn: &mut Conn, found: &Credentials, next_try: Timestamp) -> Stored<bool> {
    const SQL: &str = "UPDATE staff SET failed_sign_ins = failed_sign_ins + 1, next_try_ms = $3 \
                       WHERE id = $1 AND failed_sign_ins = $2";
    let booked = sqlx::query(SQL)
        .bind(found.member.id.to_string())
        .bind(found.failed_sign_ins)
        .bind(next_try.as_millisecond())
        .execute(conn)
        .await?;
    Ok(booked.rows_affected() == 1)
}

/// Keeps the hash of a new password, or of the same one hashed anew.
pub async fn set_password(conn: &mut Conn, practice: PracticeId, id: StaffId, phc: &str) -> Stored<()> {
    sqlx::query("UPDATE staff SET password_phc = $3 WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(phc)
        .execute(conn)
        .await?;
    Ok(())
}

/// Keeps that somebody else took a member's second step away, and who.
pub async fn note_re_enrolled(
    conn: &mut Conn,
    practice: PracticeId,
    id: StaffId,
    by: &str,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE staff SET re_enrolled_ms = $3, re_enrolled_by = $4 \
                       WHERE practice_id = $1 AND id = $2";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(now.as_millisecond())
        .bind(by)
        .execute(conn)
        .await?;
    Ok(())
}

/// When somebody else took a member's second step away, and who; `None`: nobody did.
pub async fn re_enrolled(
    conn: &mut Conn,
    practice: PracticeId,
    id: StaffId,
) -> Stored<Option<(Timestamp, String)>> {
    let row =
        sqlx::query("SELECT re_enrolled_ms, re_enrolled_by FROM staff WHERE practice_id = $1 AND id = $2")
            .bind(practice.to_string())
            .bind(id.to_string())
            .fetch_optional(conn)
            .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(row.time_maybe("re_enrolled_ms")?.zip(row.text_maybe("re_enrolled_by")?))
}

/// The hash of a member's password.
pub async fn password_phc(conn: &mut Conn, practice: PracticeId, id: StaffId) -> Stored<Option<String>> {
    let row = sqlx::query("SELECT password_phc FROM staff WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?;
    row.map(|row| row.text("password_phc")).transpose()
}

/// The password was right: the count of wrong ones starts again.
pub async fn forget_wrong_tries(conn: &mut Conn, id: StaffId, now: Timestamp) -> Stored<()> {
    sqlx::query("UPDATE staff SET failed_sign_ins = 0, next_try_ms = $2 WHERE id = $1")
        .bind(id.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Keeps whether a member who is no surgeon may see photos.
pub async fn set_sees_photos(conn: &mut Conn, practice: PracticeId, id: StaffId, sees: bool) -> Stored<()> {
    sqlx::query("UPDATE staff SET sees_photos = $3 WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(flag(sees))
        .execute(conn)
        .await?;
    Ok(())
}

/// Switches a member off or on; switching off ends their sessions in the same breath.
pub async fn set_active(conn: &mut Conn, practice: PracticeId, id: StaffId, active: Activity) -> Stored<()> {
    sqlx::query("UPDATE staff SET active = $3 WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(match active {
            Activity::Active => 1_i64,
            Activity::Gone => 0,
        })
        .execute(&mut *conn)
        .await?;
    match active {
        Activity::Gone => staff_sessions::end_all(conn, practice, id).await,
        // Whoever was kept out by a stranger's guesses begins with none.
        Activity::Active => forget_wrong_tries(conn, id, Timestamp::UNIX_EPOCH).await,
    }
}

/// Whether a staff member may sign in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Activity {
    Active,
    Gone,
}

pub async fn insert_set_up(conn: &mut Conn, token_sha256: &str, expires: Timestamp) -> Stored<()> {
    // A newer address replaces the ones nobody used.
    sqlx::query("DELETE FROM set_up WHERE used_ms IS NULL").execute(&mut *conn).await?;
    sqlx::query("INSERT INTO set_up (token_sha256, expires_ms) VALUES ($1, $2)")
        .bind(token_sha256)
        .bind(expires.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Whether the set-up address still works.
pub async fn set_up_is_open(conn: &mut Conn, token_sha256: &str, now: Timestamp) -> Stored<bool> {
    let row = sqlx::query(
        "SELECT expires_ms FROM set_up WHERE token_sha256 = $1 AND used_ms IS NULL AND expires_ms > $2",
    )
    .bind(token_sha256)
    .bind(now.as_millisecond())
    .fetch_optional(conn)
    .await?;
    Ok(row.is_some())
}

/// Uses the set-up address up; false when it was used, has expired or never was.
pub async fn use_set_up(conn: &mut Conn, token_sha256: &str, now: Timestamp) -> Stored<bool> {
    let used = sqlx::query(
        "UPDATE set_up SET used_ms = $2 WHERE token_sha256 = $1 AND used_ms IS NULL AND expires_ms > $2",
    )
    .bind(token_sha256)
    .bind(now.as_millisecond())
    .execute(conn)
    .await?;
    Ok(used.rows_affected() == 1)
}
