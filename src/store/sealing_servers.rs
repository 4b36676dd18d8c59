//! Which sealing key each server works with that runs on these books. A server reads its key file by itself, and one that was
//! handed a copy of the file keeps the keys of its start: nobody else knows which they are.

use jiff::Timestamp;

use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

/// In front of a server's own name and the version of its key.
const SEALS: &str = "seals:";
const NEWEST: &str = "newest_sealing_key";

/// A server, as it noted itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SealingServer {
    /// Drawn at its start; letters and digits.
    pub name: String,
    /// The key that seals what it takes in.
    pub key_version: u32,
    pub noted: Timestamp,
}

/// Notes a server in the place of what it noted before. Whoever noted itself last before `since` is forgotten.
pub async fn note(conn: &mut Conn, server: &SealingServer, since: Timestamp) -> Stored<()> {
    const OLD: &str = "DELETE FROM server_state WHERE name LIKE 'seals:%' AND value < $1";
    const SQL: &str = "INSERT INTO server_state (name, value) VALUES ($1, $2)";
    const HIGHEST: &str = "INSERT INTO server_state (name, value) VALUES ($1, $2) ON CONFLICT (name) DO UPDATE \
                           SET value = CASE WHEN server_state.value > $2 THEN server_state.value ELSE $2 END";
    sqlx::query(OLD).bind(since.as_millisecond()).execute(&mut *conn).await?;
    forget(conn, &server.name).await?;
    sqlx::query(SQL)
        .bind(format!("{SEALS}{}:{}", server.name, server.key_version))
        .bind(server.noted.as_millisecond())
        .execute(&mut *conn)
        .await?;
    sqlx::query(HIGHEST).bind(NEWEST).bind(i64::from(server.key_version)).execute(conn).await?;
    Ok(())
}

/// The server works no more.
pub async fn forget(conn: &mut Conn, name: &str) -> Stored<()> {
    sqlx::query("DELETE FROM server_state WHERE name LIKE $1")
        .bind(format!("{SEALS}{name}:%"))
        .execute(conn)
        .await?;
    Ok(())
}

/// Every server that noted itself and did not say that it ends, by its name.
pub async fn all(conn: &mut Conn) -> Stored<Vec<SealingServer>> {
    let rows = sqlx::query("SELECT name, value FROM server_state WHERE name LIKE 'seals:%' ORDER BY name")
        .fetch_all(conn)
        .await?;
    let mut servers = Vec::new();
    for row in &rows {
        let noted = row.text("name")?;
        let Some((name, version)) = noted.strip_prefix(SEALS).and_then(|rest| rest.rsplit_once(':')) else {
            continue;
        };
        let Ok(key_version) = version.parse() else { continue };
        servers.push(SealingServer { name: name.to_owned(), key_version, noted: row.time("value")? });
    }
    Ok(servers)
}

/// The newest key that a server ever worked with here; `None`: none did.
pub async fn newest_key(conn: &mut Conn) -> Stored<Option<u32>> {
    let row = sqlx::query("SELECT value FROM server_state WHERE name = $1")
        .bind(NEWEST)
        .fetch_optional(conn)
        .await?;
    row.map(|row| Ok(u32::try_from(row.whole("value")?).unwrap_or(0))).transpose()
}
