//! Alarms: something a person must see to, kept open until it is no longer so.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::AlarmId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;

coded! {
    /// What is wrong.
    pub enum AlarmKind {
        /// An urgent check that nobody opened.
        Unopened = "unopened",
        /// A check or a call past its due time.
        Overdue = "overdue",
        /// A ladder found nobody to tell.
        NobodyToTell = "nobody_to_tell",
        /// The office asks a surgeon about somebody it cannot reach, or cannot answer.
        SurgeonAsked = "surgeon_asked",
        /// A letter could not be sent.
        LetterFailed = "letter_failed",
        /// A job was given up.
        JobFailed = "job_failed",
        /// In practice hours no staff page has been open for a while.
        NoPageOpen = "no_page_open",
        /// Nobody signed in on this working day.
        NobodySignedIn = "nobody_signed_in",
        /// The machine's clock was set back.
        ClockSetBack = "clock_set_back",
        /// A check has waited longer than the practice wants any to wait.
        QueueOld = "queue_old",
        /// No drill was answered for longer than a week.
        DrillMissing = "drill_missing",
        /// A photo cannot be read as it was kept.
        PhotoDamaged = "photo_damaged",
        /// Something that was typed cannot be opened.
        TextUnreadable = "text_unreadable",
        /// Somebody tries one password after another at a colleague's name.
        PasswordGuessed = "password_guessed",
        /// Somebody tries one patient link or code after another.
        LinksGuessed = "links_guessed",
        /// Somebody opened the sealed envelope, and looks at what waits.
        EnvelopeOpened = "envelope_opened",
        /// Somebody types one wrong sealed code after another.
        EnvelopeGuessed = "envelope_guessed",
        /// One patient link sends far more photos than a wound needs.
        LinkFloods = "link_floods",
        /// The disk has little room left.
        DiskFilling = "disk_filling",
        /// The downtime list could not be written where it is to lie.
        ListNotWritten = "list_not_written",
        /// The books did not pass their check.
        BooksDamaged = "books_damaged",
        /// No back-up was made for longer than a day.
        BackupOld = "backup_old",
        /// It was not proved for longer than a month that a back-up can be restored.
        RestoreUnproved = "restore_unproved",
        /// A lead asked for everything of the practice to be taken out.
        ExportAsked = "export_asked",
        /// Everything of the practice is being taken out.
        ExportTaken = "export_taken",
    }
}

/// One alarm.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alarm {
    pub id: AlarmId,
    pub practice: PracticeId,
    pub kind: AlarmKind,
    pub about: String,
    pub begun: Timestamp,
    /// The last time it was found to be still so.
    pub seen: Timestamp,
    /// Who said that they see to it; `None`: nobody yet.
    pub taken_by: Option<StaffId>,
    pub taken: Option<Timestamp>,
    pub ended: Option<Timestamp>,
    /// How often somebody was written to about it.
    pub told: i64,
    /// When last; `None`: not yet.
    pub told_last: Option<Timestamp>,
}

fn alarm(row: &AnyRow) -> Stored<Alarm> {
    Ok(Alarm {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        kind: row.parsed("kind")?,
        about: row.text("about")?,
        begun: row.time("begun_ms")?,
        seen: row.time("seen_ms")?,
        taken_by: row.parsed_maybe("taken_by")?,
        taken: row.time_maybe("taken_ms")?,
        ended: row.time_maybe("ended_ms")?,
        told: row.whole("told")?,
        told_last: row.time_maybe("told_ms")?,
    })
}

/// Raises an alarm, or notes that it is still so. True: it is new.
pub async fn raise(
    conn: &mut Conn,
    practice: PracticeId,
    kind: AlarmKind,
    about: &str,
    moment: &Moment,
) -> Stored<bool> {
    const SEEN: &str = "UPDATE alarm SET seen_ms = $4 WHERE practice_id = $1 AND kind = $2 AND about = $3 \
                        AND ended_ms IS NULL";
    const NEW: &str = "INSERT INTO alarm (id, practice_id, kind, about, begun_ms, seen_ms) \
                       VALUES ($1, $2, $3, $4, $5, $5)";
    let seen = sqlx::query(SEEN)
        .bind(practice.to_string())
        .bind(kind.code())
        .bind(about)
        .bind(moment.now.as_millisecond())
        .execute(&mut *conn)
        .await?;
    if seen.rows_affected() > 0 {
        return Ok(false);
    }
    sqlx::query(NEW)
        .bind(AlarmId::mint(moment).to_string())
        .bind(practice.to_string())
        .bind(kind.code())
        .bind(about)
        .bind(moment.now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(true)
}

/// It is no longer so. False: it was not open.
pub async fn end(
    conn: &mut Conn,
    practice: PracticeId,
    kind: AlarmKind,
    about: &str,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE alarm SET ended_ms = $4 WHERE practice_id = $1 AND kind = $2 AND about = $3 \
                       AND ended_ms IS NULL";
    let ended = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(kind.code())
        .bind(about)
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(ended.rows_affected() > 0)
}

/// Somebody sees to it. False: it has ended, or somebody does already.
pub async fn take(
    conn: &mut Conn,
    practice: PracticeId,
    id: AlarmId,
    by: StaffId,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE alarm SET taken_by = $3, taken_ms = $4 WHERE practice_id = $1 AND id = $2 \
                       AND ended_ms IS NULL AND taken_by IS NULL";
    let taken = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(by.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(taken.rows_affected() == 1)
}

/// Somebody sees to whatever is wrong about one thing.
pub async fn take_about(
    conn: &mut Conn,
    practice: PracticeId,
    about: &str,
    by: StaffId,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE alarm SET taken_by = $3, taken_ms = $4 WHERE practice_id = $1 AND about = $2 \
                       AND ended_ms IS NULL AND taken_by IS NULL";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(about)
        .bind(by.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Somebody is written to about it once more.
pub async fn note_told(conn: &mut Conn, practice: PracticeId, id: AlarmId, now: Timestamp) -> Stored<()> {
    sqlx::query("UPDATE alarm SET told = told + 1, told_ms = $3 WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: AlarmId) -> Stored<Option<Alarm>> {
    sqlx::query("SELECT * FROM alarm WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(alarm)
        .transpose()
}

/// Open alarms, first begun first.
pub async fn open(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<Alarm>> {
    sqlx::query("SELECT * FROM alarm WHERE practice_id = $1 AND ended_ms IS NULL ORDER BY begun_ms, id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(alarm)
        .collect()
}
