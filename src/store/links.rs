//! Patient links, and the phones that opened one. Only hashes of secrets are kept.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::LinkId;
use crate::ids::PracticeId;
use crate::ids::WoundId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::calendar_feeds;
use crate::store::row::Columns;
use crate::store::row::flag;
use crate::words::Language;

/// A secret address that opens one wound's patient pages.
#[derive(Clone, Debug)]
pub struct PatientLink {
    pub id: LinkId,
    pub practice: PracticeId,
    pub wound: WoundId,
    /// Whose it is: "patient", "daughter Ana".
    pub name: String,
    pub expires: Timestamp,
    pub revoked: Option<Timestamp>,
    pub first_used: Option<Timestamp>,
    pub created: Timestamp,
    pub code_phc: String,
    pub pin_phc: String,
    /// Whether the practice's pepper is in that hash: it is in every one made since there is a pepper.
    pub pin_peppered: bool,
    pub wrong_pins: i64,
    /// No PIN is looked at before this. Sending never waits for it.
    pub next_pin: Timestamp,
}

/// What a new link keeps of its secrets.
#[derive(Clone, Debug)]
pub struct LinkSecrets {
    pub token_sha256: String,
    pub code_locator: String,
}

/// A phone that opened a patient link.
#[derive(Clone, Debug)]
pub struct PatientSession {
    pub link: PatientLink,
    pub language: Language,
    pub expires: Timestamp,
    /// Answers may be read until then; the PIN sets it.
    pub reading_until: Timestamp,
    /// The phone is somebody else's.
    pub borrowed: bool,
    /// Initials typed when the link was opened that are not the patient's; empty: none were, or they fit.
    pub other_initials: String,
}

/// A phone that is in, as the list of a link's phones shows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptPhone {
    /// Of its cookie's token.
    pub token_sha256: String,
    pub link: LinkId,
    /// Such as "Safari on iPhone"; empty: from before it was kept.
    pub browser: String,
    pub since: Timestamp,
    pub borrowed: bool,
}

/// What begins a phone's session.
#[derive(Clone, Debug)]
pub struct NewPhone<'a> {
    pub token_sha256: &'a str,
    pub language: Language,
    pub expires: Timestamp,
    pub browser: &'a str,
    pub borrowed: bool,
    pub other_initials: &'a str,
}

fn link(row: &AnyRow) -> Stored<PatientLink> {
    Ok(PatientLink {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        wound: row.parsed("wound_id")?,
        name: row.text("name")?,
        expires: row.time("expires_ms")?,
        revoked: row.time_maybe("revoked_ms")?,
        first_used: row.time_maybe("first_used_ms")?,
        created: row.time("created_ms")?,
        code_phc: row.text("code_phc")?,
        pin_phc: row.text("pin_phc")?,
        pin_peppered: row.flag("pin_peppered")?,
        wrong_pins: row.whole("wrong_pins")?,
        next_pin: row.time("next_pin_ms")?,
    })
}

pub async fn insert(conn: &mut Conn, link: &PatientLink, secrets: &LinkSecrets) -> Stored<()> {
    const SQL: &str = "INSERT INTO patient_link (id, practice_id, wound_id, name, token_sha256, code_locator, \
                       code_phc, pin_phc, expires_ms, created_ms, pin_peppered) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)";
    sqlx::query(SQL)
        .bind(link.id.to_string())
        .bind(link.practice.to_string())
        .bind(link.wound.to_string())
        .bind(&link.name)
        .bind(&secrets.token_sha256)
        .bind(&secrets.code_locator)
        .bind(&link.code_phc)
        .bind(&link.pin_phc)
        .bind(link.expires.as_millisecond())
        .bind(link.created.as_millisecond())
        .bind(flag(link.pin_peppered))
        .execute(conn)
        .await?;
    Ok(())
}

/// Puts a hash with the pepper in it in the place of one without; nothing when that was done meanwhile.
pub async fn pepper_pin(conn: &mut Conn, link: &PatientLink, pin_phc: &str) -> Stored<()> {
    const SQL: &str = "UPDATE patient_link SET pin_phc = $4, pin_peppered = 1 \
                       WHERE practice_id = $1 AND id = $2 AND pin_phc = $3";
    sqlx::query(SQL)
        .bind(link.practice.to_string())
        .bind(link.id.to_string())
        .bind(&link.pin_phc)
        .bind(pin_phc)
        .execute(conn)
        .await?;
    Ok(())
}

/// The link behind a token, whatever its state.
pub async fn by_token(conn: &mut Conn, token_sha256: &str) -> Stored<Option<PatientLink>> {
    sqlx::query("SELECT * FROM patient_link WHERE token_sha256 = $1")
        .bind(token_sha256)
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(link)
        .transpose()
}

/// The link a typed code begins to name; its secret part is still to be checked.
pub async fn by_code_locator(conn: &mut Conn, locator: &str) -> Stored<Option<PatientLink>> {
    sqlx::query("SELECT * FROM patient_link WHERE code_locator = $1")
        .bind(locator)
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(link)
        .transpose()
}

/// A wound's links, newest first.
pub async fn of_wound(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<PatientLink>> {
    sqlx::query(
        "SELECT * FROM patient_link WHERE practice_id = $1 AND wound_id = $2 ORDER BY created_ms DESC, id",
    )
    .bind(practice.to_string())
    .bind(wound.to_string())
    .fetch_all(conn)
    .await?
    .iter()
    .map(link)
    .collect()
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: LinkId) -> Stored<Option<PatientLink>> {
    sqlx::query("SELECT * FROM patient_link WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(link)
        .transpose()
}

/// Revokes a link and ends every phone's session and the calendar address on it.
pub async fn revoke(conn: &mut Conn, practice: PracticeId, id: LinkId, now: Timestamp) -> Stored<()> {
    sqlx::query(
        "UPDATE patient_link SET revoked_ms = COALESCE(revoked_ms, $3) WHERE practice_id = $1 AND id = $2",
    )
    .bind(practice.to_string())
    .bind(id.to_string())
    .bind(now.as_millisecond())
    .execute(&mut *conn)
    .await?;
    sqlx::query("DELETE FROM patient_session WHERE practice_id = $1 AND link_id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .execute(&mut *conn)
        .await?;
    calendar_feeds::end(conn, practice, id).await
}

/// A wound's links expire at `at` unless they do so before. Phones that are in stay in until then.
pub async fn expire_by(conn: &mut Conn, practice: PracticeId, wound: WoundId, at: Timestamp) -> Stored<()> {
    const SQL: &str = "UPDATE patient_link SET expires_ms = $3 WHERE practice_id = $1 AND wound_id = $2 \
                       AND expires_ms > $3";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(at.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Books a PIN try before it is looked at, as if it were wrong; false when another try was booked meanwhile, so that
/// many tries at once count as many.
pub async fn book_pin_try(conn: &mut Conn, link: &PatientLink, next: Timestamp) -> Stored<bool> {
    const SQL: &str = "UPDATE patient_link SET wrong_pins = wrong_pins + 1, next_pin_ms = $4 \
                       WHERE practice_id = $1 AND id = $2 AND wrong_pins = $3";
    let booked = sqlx::query(SQL)
        .bind(link.practice.to_string())
        .bind(link.id.to_string())
        .bind(link.wrong_pins)
        .bind(next.as_millisecond())
        .execute(conn)
        .await?;
    Ok(booked.rows_affected() == 1)
}

/// The PIN was right: the count of wrong ones starts again.
pub async fn forget_wrong_pins(conn: &mut Conn, link: &PatientLink, now: Timestamp) -> Stored<()> {
    sqlx::query(
        "UPDATE patient_link SET wrong_pins = 0, next_pin_ms = $3 WHERE practice_id = $1 AND id = $2",
    )
    .bind(link.practice.to_string())
    .bind(link.id.to_string())
    .bind(now.as_millisecond())
    .execute(conn)
    .await?;
    Ok(())
}

pub async fn begin_session(
    conn: &mut Conn,
    link: &PatientLink,
    phone: &NewPhone<'_>,
    now: Timestamp,
) -> Stored<()> {
    sqlx::query("UPDATE patient_link SET first_used_ms = COALESCE(first_used_ms, $2) WHERE id = $1")
        .bind(link.id.to_string())
        .bind(now.as_millisecond())
        .execute(&mut *conn)
        .await?;
    const SQL: &str = "INSERT INTO patient_session (token_sha256, practice_id, link_id, language, created_ms, \
                       expires_ms, browser, borrowed, other_initials) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)";
    sqlx::query(SQL)
        .bind(phone.token_sha256)
        .bind(link.practice.to_string())
        .bind(link.id.to_string())
        .bind(phone.language.code())
        .bind(now.as_millisecond())
        .bind(phone.expires.as_millisecond())
        .bind(phone.browser)
        .bind(i64::from(phone.borrowed))
        .bind(phone.other_initials)
        .execute(conn)
        .await?;
    Ok(())
}

/// The session behind a cookie; its expiry and its link's state are the caller's business.
pub async fn session(conn: &mut Conn, token_sha256: &str) -> Stored<Option<PatientSession>> {
    const SQL: &str = "SELECT patient_link.*, patient_session.language AS spoken, \
                       patient_session.expires_ms AS session_expires_ms, \
                       patient_session.reading_until_ms AS reading_until_ms, \
                       patient_session.borrowed AS borrowed, patient_session.other_initials AS other_initials \
                       FROM patient_session JOIN patient_link ON patient_link.id = patient_session.link_id \
                       WHERE patient_session.token_sha256 = $1";
    sqlx::query(SQL)
        .bind(token_sha256)
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(|row| {
            Ok(PatientSession {
                link: link(row)?,
                language: row.parsed("spoken")?,
                expires: row.time("session_expires_ms")?,
                reading_until: row.time("reading_until_ms")?,
                borrowed: row.whole("borrowed")? == 1,
                other_initials: row.text("other_initials")?,
            })
        })
        .transpose()
}

pub async fn allow_reading(conn: &mut Conn, token_sha256: &str, until: Timestamp) -> Stored<()> {
    sqlx::query("UPDATE patient_session SET reading_until_ms = $2 WHERE token_sha256 = $1")
        .bind(token_sha256)
        .bind(until.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Moves the end of a phone's session.
pub async fn prolong(conn: &mut Conn, token_sha256: &str, until: Timestamp) -> Stored<()> {
    sqlx::query("UPDATE patient_session SET expires_ms = $2 WHERE token_sha256 = $1")
        .bind(token_sha256)
        .bind(until.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// The phones of a wound's links that are in at `now`, the newest first.
pub async fn phones(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
    now: Timestamp,
) -> Stored<Vec<KeptPhone>> {
    const SQL: &str = "SELECT patient_session.* FROM patient_session \
                       JOIN patient_link ON patient_link.id = patient_session.link_id \
                       WHERE patient_session.practice_id = $1 AND patient_link.wound_id = $2 \
                       AND patient_session.expires_ms > $3 \
                       ORDER BY patient_session.created_ms DESC, patient_session.token_sha256";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .bind(now.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| {
            Ok(KeptPhone {
                token_sha256: row.text("token_sha256")?,
                link: row.parsed("link_id")?,
                browser: row.text("browser")?,
                since: row.time("created_ms")?,
                borrowed: row.whole("borrowed")? == 1,
            })
        })
        .collect()
}

/// Links of the same wound and the same name that were issued before this one end at `at`, unless they do so before.
pub async fn end_replaced(conn: &mut Conn, link: &PatientLink, at: Timestamp) -> Stored<()> {
    const SQL: &str = "UPDATE patient_link SET expires_ms = $5 WHERE practice_id = $1 AND wound_id = $2 \
                       AND LOWER(name) = LOWER($3) AND (created_ms < $4 OR created_ms = $4 AND id < $6) AND expires_ms > $5";
    sqlx::query(SQL)
        .bind(link.practice.to_string())
        .bind(link.wound.to_string())
        .bind(&link.name)
        .bind(link.created.as_millisecond())
        .bind(at.as_millisecond())
        .bind(link.id.to_string())
        .execute(conn)
        .await?;
    Ok(())
}

/// Open links on which so many wrong PINs were typed in a row that reading is off.
pub async fn with_wrong_pins(
    conn: &mut Conn,
    practice: PracticeId,
    wrong_pins: i64,
    now: Timestamp,
) -> Stored<Vec<PatientLink>> {
    const SQL: &str = "SELECT * FROM patient_link WHERE practice_id = $1 AND wrong_pins >= $2 \
                       AND revoked_ms IS NULL AND expires_ms > $3 ORDER BY created_ms, id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wrong_pins)
        .bind(now.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(link)
        .collect()
}

pub async fn speak(conn: &mut Conn, token_sha256: &str, language: Language) -> Stored<()> {
    sqlx::query("UPDATE patient_session SET language = $2 WHERE token_sha256 = $1")
        .bind(token_sha256)
        .bind(language.code())
        .execute(conn)
        .await?;
    Ok(())
}

pub async fn end_session(conn: &mut Conn, token_sha256: &str) -> Stored<()> {
    sqlx::query("DELETE FROM patient_session WHERE token_sha256 = $1")
        .bind(token_sha256)
        .execute(conn)
        .await?;
    Ok(())
}
