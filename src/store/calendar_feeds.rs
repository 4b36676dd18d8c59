//! The secret addresses under which calendar programs fetch a plan's dates. Only hashes are kept.

use jiff::Timestamp;

use crate::ids::LinkId;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::words::Language;

/// One address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CalendarFeed {
    pub practice: PracticeId,
    pub link: LinkId,
    pub language: Language,
    pub made: Timestamp,
}

/// Makes a link's calendar address; one it had before ends.
pub async fn make(conn: &mut Conn, token_sha256: &str, feed: &CalendarFeed) -> Stored<()> {
    end(conn, feed.practice, feed.link).await?;
    const SQL: &str = "INSERT INTO calendar_feed (token_sha256, practice_id, link_id, language, made_ms) \
                       VALUES ($1, $2, $3, $4, $5)";
    sqlx::query(SQL)
        .bind(token_sha256)
        .bind(feed.practice.to_string())
        .bind(feed.link.to_string())
        .bind(feed.language.code())
        .bind(feed.made.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Ends a link's calendar address, if it has one.
pub async fn end(conn: &mut Conn, practice: PracticeId, link: LinkId) -> Stored<()> {
    sqlx::query("DELETE FROM calendar_feed WHERE practice_id = $1 AND link_id = $2")
        .bind(practice.to_string())
        .bind(link.to_string())
        .execute(conn)
        .await?;
    Ok(())
}

/// The feed behind a token; whether its link is still live is the caller's business.
pub async fn by_token(conn: &mut Conn, token_sha256: &str) -> Stored<Option<CalendarFeed>> {
    sqlx::query("SELECT * FROM calendar_feed WHERE token_sha256 = $1")
        .bind(token_sha256)
        .fetch_optional(conn)
        .await?
        .map(|row| {
            Ok(CalendarFeed {
                practice: row.parsed("practice_id")?,
                link: row.parsed("link_id")?,
                language: row.parsed("language")?,
                made: row.time("made_ms")?,
            })
        })
        .transpose()
}

/// A link's feed; `None`: it has no address.
pub async fn of_link(conn: &mut Conn, practice: PracticeId, link: LinkId) -> Stored<Option<Timestamp>> {
    sqlx::query("SELECT made_ms FROM calendar_feed WHERE practice_id = $1 AND link_id = $2")
        .bind(practice.to_string())
        .bind(link.to_string())
        .fetch_optional(conn)
        .await?
        .map(|row| row.time("made_ms"))
        .transpose()
}
