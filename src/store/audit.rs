//! Who did or saw what, one line each, chained by hash: a changed, lost or slipped-in line breaks the chain.

use data_encoding::HEXLOWER;
use jiff::Timestamp;
use sha2::Digest;
use sha2::Sha256;
use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::audit_chain::ChainReader;
use crate::store::audit_chain::Flaw;
use crate::store::audit_chain::RecordHead;
use crate::store::row::Columns;

/// What is to be noted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note<'a> {
    /// `staff:ID`, `link:ID`, `look:ID` or `program`.
    pub actor: &'a str,
    /// Object and verb, such as `check.view`.
    pub action: &'a str,
    /// What it was done to, such as `check:ID`.
    pub subject: &'a str,
    /// Codes and counts only: no name, answer or free text.
    pub detail: &'a str,
}

/// One line of the chain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AuditEntry {
    pub practice: PracticeId,
    pub sequence: i64,
    pub at: Timestamp,
    pub actor: String,
    pub action: String,
    pub subject: String,
    pub detail: String,
    pub previous_sha256: String,
    pub sha256: String,
}

impl AuditEntry {
    /// SHA-256 over the line before and every field of this one, each with its length, so that no two different
    /// lines can be spelled alike.
    pub(super) fn hash(&self) -> String {
        let mut hasher = Sha256::new();
        let sequence = self.sequence.to_string();
        let at = self.at.as_millisecond().to_string();
        let practice = self.practice.to_string();
        for field in [
            &self.previous_sha256,
            &practice,
            &sequence,
            &at,
            &self.actor,
            &self.action,
            &self.subject,
            &self.detail,
        ] {
            hasher.update((field.len() as u64).to_be_bytes());
            hasher.update(field.as_bytes());
        }
        HEXLOWER.encode(&hasher.finalize())
    }
}

pub(in crate::store) fn entry(row: &AnyRow) -> Stored<AuditEntry> {
    Ok(AuditEntry {
        practice: row.parsed("practice_id")?,
        sequence: row.whole("sequence")?,
        at: row.time("at_ms")?,
        actor: row.text("actor")?,
        action: row.text("action")?,
        subject: row.text("subject")?,
        detail: row.text("detail")?,
        previous_sha256: row.text("previous_sha256")?,
        sha256: row.text("sha256")?,
    })
}

/// Appends a line. Belongs into the transaction of what it tells of; it locks the practice's row until that ends, so
/// that the chain has one order.
pub async fn append(conn: &mut Conn, practice: PracticeId, note: &Note<'_>, at: Timestamp) -> Stored<()> {
    const TAKE: &str = "UPDATE practice SET audit_sequence = audit_sequence + 1 WHERE id = $1 \
                        RETURNING audit_sequence AS sequence, audit_head AS head";
    let taken = sqlx::query(TAKE).bind(practice.to_string()).fetch_one(&mut *conn).await?;
    let mut line = AuditEntry {
        practice,
        sequence: taken.whole("sequence")?,
        at: Timestamp::from_millisecond(at.as_millisecond()).unwrap_or(at),
        actor: note.actor.to_owned(),
        action: note.action.to_owned(),
        subject: note.subject.to_owned(),
        detail: note.detail.to_owned(),
        previous_sha256: taken.text("head")?,
        sha256: String::new(),
    };
    line.sha256 = line.hash();
    sqlx::query("UPDATE practice SET audit_head = $2 WHERE id = $1")
        .bind(practice.to_string())
        .bind(&line.sha256)
        .execute(&mut *conn)
        .await?;
    const SQL: &str = "INSERT INTO audit (practice_id, sequence, at_ms, actor, action, subject, detail, \
                       previous_sha256, sha256) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(line.sequence)
        .bind(line.at.as_millisecond())
        .bind(&line.actor)
        .bind(&line.action)
        .bind(&line.subject)
        .bind(&line.detail)
        .bind(&line.previous_sha256)
        .bind(&line.sha256)
        .execute(conn)
        .await?;
    Ok(())
}

/// What the record calls it that its oldest lines went for their age.
pub const CUT: &str = "record.cut";

/// What such a line says: the last line that went. Whoever reads the record finds it there, or the beginning was cut off.
pub fn cut_detail(last: &RecordHead) -> String {
    format!("upto={} sha256={}", last.sequence, last.sha256)
}

/// The last line that went for its age; sequence 0: none did.
pub async fn start(conn: &mut Conn, practice: PracticeId) -> Stored<RecordHead> {
    let row = sqlx::query("SELECT audit_start, audit_start_sha256 FROM practice WHERE id = $1")
        .bind(practice.to_string())
        .fetch_one(conn)
        .await?;
    Ok(RecordHead {
        practice,
        sequence: row.whole("audit_start")?,
        sha256: row.text("audit_start_sha256")?,
        at: Timestamp::UNIX_EPOCH,
    })
}

/// The oldest lines there are, oldest first, at most `limit`.
pub async fn oldest(conn: &mut Conn, practice: PracticeId, limit: i64) -> Stored<Vec<AuditEntry>> {
    sqlx::query("SELECT * FROM audit WHERE practice_id = $1 ORDER BY sequence LIMIT $2")
        .bind(practice.to_string())
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(entry)
        .collect()
}

/// How many lines were written before then.
pub async fn count_before(conn: &mut Conn, practice: PracticeId, before: Timestamp) -> Stored<i64> {
    sqlx::query("SELECT COUNT(*) AS many FROM audit WHERE practice_id = $1 AND at_ms < $2")
        .bind(practice.to_string())
        .bind(before.as_millisecond())
        .fetch_one(conn)
        .await?
        .whole("many")
}

/// Takes away the lines up to `last`; the next one follows from its hash. The line that says so ([`CUT`]) was written before, in the
/// same transaction. The database refuses whatever is younger than six years, counted from the newest line.
pub async fn cut(conn: &mut Conn, practice: PracticeId, last: &RecordHead) -> Stored<i64> {
    sqlx::query("UPDATE practice SET audit_start = $2, audit_start_sha256 = $3 WHERE id = $1")
        .bind(practice.to_string())
        .bind(last.sequence)
        .bind(&last.sha256)
        .execute(&mut *conn)
        .await?;
    let gone = sqlx::query("DELETE FROM audit WHERE practice_id = $1 AND sequence <= $2")
        .bind(practice.to_string())
        .bind(last.sequence)
        .execute(conn)
        .await?;
    Ok(gone.rows_affected() as i64)
}

/// All lines about one thing, oldest first. `subject`: such as `check:ID`.
pub async fn about(conn: &mut Conn, practice: PracticeId, subject: &str) -> Stored<Vec<AuditEntry>> {
    sqlx::query("SELECT * FROM audit WHERE practice_id = $1 AND subject = $2 ORDER BY sequence")
        .bind(practice.to_string())
        .bind(subject)
        .fetch_all(conn)
        .await?
        .iter()
        .map(entry)
        .collect()
}

/// Whether the very same was noted after the line `since`.
pub async fn is_noted_since(
    conn: &mut Conn,
    practice: PracticeId,
    note: &Note<'_>,
    since: i64,
) -> Stored<bool> {
    // The subject is compared so that no index finds it: about a practice there are more lines than came since.
    const SQL: &str = "SELECT COUNT(*) AS many FROM audit WHERE practice_id = $1 AND sequence > $2 AND actor = $3 \
                       AND action = $4 AND subject || '' = $5 AND detail = $6";
    let many = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(since)
        .bind(note.actor)
        .bind(note.action)
        .bind(note.subject)
        .bind(note.detail)
        .fetch_one(conn)
        .await?
        .whole("many")?;
    Ok(many > 0)
}

/// The newest lines first, at most `limit`.
pub async fn newest(conn: &mut Conn, practice: PracticeId, limit: i64) -> Stored<Vec<AuditEntry>> {
    sqlx::query("SELECT * FROM audit WHERE practice_id = $1 ORDER BY sequence DESC LIMIT $2")
        .bind(practice.to_string())
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(entry)
        .collect()
}

/// The newest lines that tell of one action, at most `limit`.
pub async fn newest_of(
    conn: &mut Conn,
    practice: PracticeId,
    action: &str,
    limit: i64,
) -> Stored<Vec<AuditEntry>> {
    sqlx::query("SELECT * FROM audit WHERE practice_id = $1 AND action = $2 ORDER BY sequence DESC LIMIT $3")
        .bind(practice.to_string())
        .bind(action)
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(entry)
        .collect()
}

/// The practice's own note of its record's last line.
pub async fn head(conn: &mut Conn, practice: PracticeId, at: Timestamp) -> Stored<RecordHead> {
    let row = sqlx::query("SELECT audit_sequence, audit_head FROM practice WHERE id = $1")
        .bind(practice.to_string())
        .fetch_one(conn)
        .await?;
    Ok(RecordHead { practice, sequence: row.whole("audit_sequence")?, sha256: row.text("audit_head")?, at })
}

/// Reads the whole record of a practice against its own note and signed heads of it: how many lines there are, or the first
/// flaw. Lines that people add meanwhile do not matter, nor do those that go for their age.
pub async fn read_chain(
    conn: &mut Conn,
    practice: PracticeId,
    heads: &[RecordHead],
) -> Stored<Result<i64, Flaw>> {
    let heads: Vec<&RecordHead> = heads.iter().filter(|head| head.practice == practice).collect();
    loop {
        let begins = start(conn, practice).await?;
        let read = read_from(conn, practice, &begins, &heads).await?;
        if read.is_ok() || start(conn, practice).await? == begins {
            return Ok(read);
        }
    }
}

async fn read_from(
    conn: &mut Conn,
    practice: PracticeId,
    start: &RecordHead,
    heads: &[&RecordHead],
) -> Stored<Result<i64, Flaw>> {
    const PAGE: i64 = 1_000;
    let mut reader = match ChainReader::after(start, heads.iter().copied()) {
        Ok(reader) => reader,
        Err(flaw) => return Ok(Err(flaw)),
    };
    let (mut says_what_went, cut) = (start.sequence == 0, cut_detail(start));
    let noted = head(conn, practice, Timestamp::UNIX_EPOCH).await?;
    let mut after = 0;
    loop {
        let rows = sqlx::query(
            "SELECT * FROM audit WHERE practice_id = $1 AND sequence > $2 AND sequence <= $3 ORDER BY sequence LIMIT $4",
        )
        .bind(practice.to_string())
        .bind(after)
        .bind(noted.sequence)
        .bind(PAGE)
        .fetch_all(&mut *conn)
        .await?;
        let Some(last) = rows.last() else { break };
        after = last.whole("sequence")?;
        for row in &rows {
            let line = entry(row)?;
            if let Err(flaw) = reader.take(&line) {
                return Ok(Err(flaw));
            }
            says_what_went |= line.action == CUT && line.detail == cut;
        }
    }
    let lines = match reader.finish((noted.sequence, &noted.sha256)) {
        Ok(lines) => lines,
        Err(flaw) => return Ok(Err(flaw)),
    };
    // Both in one statement: whoever adds a line notes it in the same transaction.
    const BEHIND: &str = "SELECT MIN(audit.sequence) AS first FROM audit JOIN practice ON practice.id = audit.practice_id \
                          WHERE audit.practice_id = $1 AND audit.sequence > practice.audit_sequence";
    let behind = sqlx::query(BEHIND).bind(practice.to_string()).fetch_one(conn).await?;
    Ok(match behind.whole_maybe("first")? {
        Some(first) => Err(Flaw::Added { first }),
        None if !says_what_went => Err(Flaw::Unnoted { last: start.sequence }),
        None => Ok(lines),
    })
}

/// The sequence of the first line that does not follow from the one before it; `None`: the chain is whole.
pub async fn first_break(conn: &mut Conn, practice: PracticeId) -> Stored<Option<i64>> {
    Ok(read_chain(conn, practice, &[]).await?.err().map(Flaw::place))
}
