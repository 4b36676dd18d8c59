//! What staff prove themselves by besides their password: passkeys, the seed of an authenticator app, recovery codes.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::store::staff::StaffMember;

/// A passkey somebody signs in with.
#[derive(Clone, Debug)]
pub struct KeptPasskey {
    /// As the browser names it, in base64url.
    pub credential_id: String,
    pub name: String,
    /// The public key and its counter, as JSON.
    pub credential: String,
    pub created: Timestamp,
    /// `None`: never.
    pub last_used: Option<Timestamp>,
}

fn passkey(row: &AnyRow) -> Stored<KeptPasskey> {
    Ok(KeptPasskey {
        credential_id: row.text("credential_id")?,
        name: row.text("name")?,
        credential: row.text("credential")?,
        created: row.time("created_ms")?,
        last_used: row.time_maybe("last_used_ms")?,
    })
}

/// False: this passkey is somebody's already.
pub async fn insert_passkey(conn: &mut Conn, of: &StaffMember, kept: &KeptPasskey) -> Stored<bool> {
    const SQL: &str = "INSERT INTO passkey (credential_id, practice_id, staff_id, name, credential, created_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING";
    let inserted = sqlx::query(SQL)
        .bind(&kept.credential_id)
        .bind(of.practice.to_string())
        .bind(of.id.to_string())
        .bind(&kept.name)
        .bind(&kept.credential)
        .bind(kept.created.as_millisecond())
        .execute(conn)
        .await?;
    Ok(inserted.rows_affected() == 1)
}

/// A member's passkeys, the first one first.
pub async fn passkeys(conn: &mut Conn, practice: PracticeId, id: StaffId) -> Stored<Vec<KeptPasskey>> {
    sqlx::query(
        "SELECT * FROM passkey WHERE practice_id = $1 AND staff_id = $2 ORDER BY created_ms, credential_id",
    )
    .bind(practice.to_string())
    .bind(id.to_string())
    .fetch_all(conn)
    .await?
    .iter()
    .map(passkey)
    .collect()
}

/// Keeps that a passkey was used, with its counter as it is now.
pub async fn note_use(
    conn: &mut Conn,
    of: &StaffMember,
    credential_id: &str,
    credential: &str,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE passkey SET credential = $4, last_used_ms = $5 \
                       WHERE practice_id = $1 AND staff_id = $2 AND credential_id = $3";
    sqlx::query(SQL)
        .bind(of.practice.to_string())
        .bind(of.id.to_string())
        .bind(credential_id)
        .bind(credential)
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// False: the member has no such passkey.
pub async fn remove_passkey(conn: &mut Conn, of: &StaffMember, credential_id: &str) -> Stored<bool> {
    const SQL: &str = "DELETE FROM passkey WHERE practice_id = $1 AND staff_id = $2 AND credential_id = $3";
    let removed = sqlx::query(SQL)
        .bind(of.practice.to_string())
        .bind(of.id.to_string())
        .bind(credential_id)
        .execute(conn)
        .await?;
    Ok(removed.rows_affected() == 1)
}

/// Keeps the seed of a member's authenticator app, and the step its first code was for; the seed before is gone.
pub async fn set_seed(
    conn: &mut Conn,
    of: &StaffMember,
    sealed_seed: &[u8],
    step: i64,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "INSERT INTO authenticator (practice_id, staff_id, sealed_seed, since_ms, last_step) \
                       VALUES ($1, $2, $3, $4, $5) ON CONFLICT (staff_id) \
                       DO UPDATE SET sealed_seed = $3, since_ms = $4, last_step = $5";
    sqlx::query(SQL)
        .bind(of.practice.to_string())
        .bind(of.id.to_string())
        .bind(sealed_seed.to_vec())
        .bind(now.as_millisecond())
        .bind(step)
        .execute(conn)
        .await?;
    Ok(())
}

/// The sealed seed of a member's authenticator app; `None`: they have none.
pub async fn seed(conn: &mut Conn, practice: PracticeId, id: StaffId) -> Stored<Option<Vec<u8>>> {
    let row = sqlx::query("SELECT sealed_seed FROM authenticator WHERE practice_id = $1 AND staff_id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?;
    row.map(|row| row.bytes("sealed_seed")).transpose()
}

/// The last step a code was taken for; `None`: the member has no app.
pub async fn last_step(conn: &mut Conn, practice: PracticeId, id: StaffId) -> Stored<Option<i64>> {
    let row = sqlx::query("SELECT last_step FROM authenticator WHERE practice_id = $1 AND staff_id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?;
    row.map(|row| row.whole("last_step")).transpose()
}

/// Takes the step a code was right for; false when that step, or a later one, was taken before.
pub async fn take_step(conn: &mut Conn, of: &StaffMember, step: i64) -> Stored<bool> {
    const SQL: &str = "UPDATE authenticator SET last_step = $3 \
                       WHERE practice_id = $1 AND staff_id = $2 AND last_step < $3";
    let taken = sqlx::query(SQL)
        .bind(of.practice.to_string())
        .bind(of.id.to_string())
        .bind(step)
        .execute(conn)
        .await?;
    Ok(taken.rows_affected() == 1)
}

pub async fn remove_seed(conn: &mut Conn, of: &StaffMember) -> Stored<()> {
    sqlx::query("DELETE FROM authenticator WHERE practice_id = $1 AND staff_id = $2")
        .bind(of.practice.to_string())
        .bind(of.id.to_string())
        .execute(conn)
        .await?;
    Ok(())
}

/// Every sealed seed of a practice, with whose it is.
pub async fn seeds(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<(StaffId, Vec<u8>)>> {
    sqlx::query("SELECT staff_id, sealed_seed FROM authenticator WHERE practice_id = $1 ORDER BY staff_id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| Ok((row.parsed("staff_id")?, row.bytes("sealed_seed")?)))
        .collect()
}

/// The same seed under another key; nothing when it was replaced meanwhile.
pub async fn reseal(
    conn: &mut Conn,
    practice: PracticeId,
    id: StaffId,
    before: &[u8],
    sealed_seed: &[u8],
) -> Stored<()> {
    const SQL: &str = "UPDATE authenticator SET sealed_seed = $4 \
                       WHERE practice_id = $1 AND staff_id = $2 AND sealed_seed = $3";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(before.to_vec())
        .bind(sealed_seed.to_vec())
        .execute(conn)
        .await?;
    Ok(())
}

/// Replaces a member's recovery codes: the old ones open nothing any more.
pub async fn set_recovery_codes(conn: &mut Conn, of: &StaffMember, phcs: &[String]) -> Stored<()> {
    sqlx::query("DELETE FROM recovery_code WHERE practice_id = $1 AND staff_id = $2")
        .bind(of.practice.to_string())
        .bind(of.id.to_string())
        .execute(&mut *conn)
        .await?;
    for (place, phc) in (1_i64..).zip(phcs) {
        const SQL: &str =
            "INSERT INTO recovery_code (practice_id, staff_id, place, phc) VALUES ($1, $2, $3, $4)";
        sqlx::query(SQL)
            .bind(of.practice.to_string())
            .bind(of.id.to_string())
            .bind(place)
            .bind(phc)
            .execute(&mut *conn)
            .await?;
    }
    Ok(())
}

/// The codes nobody used, by place.
pub async fn unused_codes(conn: &mut Conn, practice: PracticeId, id: StaffId) -> Stored<Vec<(i64, String)>> {
    sqlx::query(
        "SELECT place, phc FROM recovery_code WHERE practice_id = $1 AND staff_id = $2 AND used_ms IS NULL \
         ORDER BY place",
    )
    .bind(practice.to_string())
    .bind(id.to_string())
    .fetch_all(conn)
    .await?
    .iter()
    .map(|row| Ok((row.whole("place")?, row.text("phc")?)))
    .collect()
}

/// Uses a code up; false: it was used before.
pub async fn use_code(conn: &mut Conn, of: &StaffMember, place: i64, now: Timestamp) -> Stored<bool> {
    const SQL: &str = "UPDATE recovery_code SET used_ms = $4 \
                       WHERE practice_id = $1 AND staff_id = $2 AND place = $3 AND used_ms IS NULL";
    let used = sqlx::query(SQL)
        .bind(of.practice.to_string())
        .bind(of.id.to_string())
        .bind(place)
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(used.rows_affected() == 1)
}
