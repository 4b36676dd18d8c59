//! Notices waiting to be sent: written with what they tell of, sent later, safely twice.

use std::fmt;
use std::str::FromStr;

use jiff::Timestamp;
use sqlx::Row;
use sqlx::any::AnyRow;

use crate::ids::LinkId;
use crate::ids::Moment;
use crate::ids::NoticeId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::jobs;
use crate::store::jobs::JobKind;
use crate::store::jobs::Queueing;
use crate::store::row::Columns;

coded! {
    /// What a notice tells. The words sent are fixed per kind and hold nothing of the patient.
    pub enum NoticeKind {
        /// To the patient: an answer is waiting.
        AnswerReady = "answer_ready",
        /// To a member of staff, rung by rung: something urgent waits.
        UrgentCheck = "urgent_check",
        /// The same again, everywhere the person can be reached.
        UrgentCheckAgain = "urgent_check_again",
        /// The same, by voice where a number for it is known.
        UrgentCheckByVoice = "urgent_check_by_voice",
        /// To the patient: nobody of the practice was reached, and whom to call.
        NotReached = "not_reached",
        /// To a member of staff: something is wrong that a person must see to.
        Alarm = "alarm",
        /// To a member of staff, at one of their addresses: it reaches them.
        TestLetter = "test_letter",
        /// To a surgeon: a lead changed how soon who is told.
        LadderTimes = "ladder_times",
        /// To a member of staff: somebody else changed when they are on duty.
        DutyChanged = "duty_changed",
        /// To the office: a call is to be made.
        CallToMake = "call_to_make",
        /// To the patient: a step is due today.
        StepDue = "step_due",
        /// To the patient: something was due and did not come.
        NotHeard = "not_heard",
        /// To the patient: an answer was not read.
        ReplyUnread = "reply_unread",
        /// To the patient: they were asked to come in, and did not answer.
        ComeInUnanswered = "come_in_unanswered",
        /// To the patient: the office rang and nobody answered.
        CallMissed = "call_missed",
        /// To a lead: in a week what is old begins to go.
        ThingsWillGo = "things_will_go",
        /// To the practice: somebody keeps entering wrong PINs on a link.
        WrongPins = "wrong_pins",
        /// To the practice: somebody knocked with a link that is closed.
        LateKnock = "late_knock",
    }
}

impl NoticeKind {
    /// Whether it reminds a patient of what is due from them.
    pub fn is_reminder(self) -> bool {
        match self {
            NoticeKind::StepDue
            | NoticeKind::NotHeard
            | NoticeKind::ReplyUnread
            | NoticeKind::ComeInUnanswered => true,
            NoticeKind::AnswerReady
            | NoticeKind::UrgentCheck
            | NoticeKind::UrgentCheckAgain
            | NoticeKind::UrgentCheckByVoice
            | NoticeKind::NotReached
            | NoticeKind::Alarm
            | NoticeKind::CallToMake
            | NoticeKind::CallMissed
            | NoticeKind::TestLetter
            | NoticeKind::LadderTimes
            | NoticeKind::DutyChanged
            | NoticeKind::ThingsWillGo
            | NoticeKind::LateKnock
            | NoticeKind::WrongPins => false,
        }
    }
}

coded! {
    /// How far a notice has come.
    pub enum NoticeState {
        /// Nobody was written to yet.
        Waiting = "waiting",
        /// Deliveries were made of it.
        Addressed = "addressed",
        /// There was nobody to write to.
        Nobody = "nobody",
        /// From before anything was sent, or from before the books came out of a back-up: nobody is written to.
        Kept = "kept",
    }
}

/// Whom a notice is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Recipient {
    /// Whoever works in the office.
    Office,
    Staff(StaffId),
    /// Whoever holds a patient link.
    Link(LinkId),
}

impl fmt::Display for Recipient {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Recipient::Office => out.write_str("office"),
            Recipient::Staff(id) => write!(out, "staff:{id}"),
            Recipient::Link(id) => write!(out, "link:{id}"),
        }
    }
}

impl FromStr for Recipient {
    type Err = String;

    fn from_str(text: &str) -> Result<Recipient, String> {
        match text.split_once(':') {
            None if text == "office" => Ok(Recipient::Office),
            Some(("staff", id)) => id.parse().map(Recipient::Staff).map_err(|fault| fault.to_string()),
            Some(("link", id)) => id.parse().map(Recipient::Link).map_err(|fault| fault.to_string()),
            Some(_) | None => Err(format!("`{text}` is nobody a notice can be for")),
        }
    }
}

/// One notice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    pub id: NoticeId,
    pub practice: PracticeId,
    pub kind: NoticeKind,
    pub recipient: Recipient,
    /// What it tells of, such as `message:ID`. Never sent.
    pub about: String,
    pub state: NoticeState,
    pub due: Timestamp,
}

fn notice(row: &AnyRow) -> Stored<Notice> {
    Ok(Notice {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        kind: row.parsed("kind")?,
        recipient: row.parsed("recipient")?,
        about: row.text("about")?,
        state: row.parsed("state")?,
        due: row.time("due_ms")?,
    })
}

/// Queues a notice, and the work of sending it. `once_key` makes a doubled queueing harmless: true, it is new.
pub async fn enqueue(
    conn: &mut Conn,
    practice: PracticeId,
    kind: NoticeKind,
    recipient: Recipient,
    about: &str,
    moment: &Moment,
) -> Stored<bool> {
    const SQL: &str = "INSERT INTO notice (id, practice_id, kind, recipient, about, once_key, due_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT (once_key) DO NOTHING";
    let id = NoticeId::mint(moment).to_string();
    let queued = sqlx::query(SQL)
        .bind(&id)
        .bind(practice.to_string())
        .bind(kind.code())
        .bind(recipient.to_string())
        .bind(about)
        .bind(format!("{} {recipient} {about}", kind.code()))
        .bind(moment.now.as_millisecond())
        .execute(&mut *conn)
        .await?;
    if queued.rows_affected() == 0 {
        return Ok(false);
    }
    let once_key = format!("notice:{id}");
    let job =
        Queueing { practice, kind: JobKind::AddressNotice, about: &id, once_key: &once_key, due: moment.now };
    jobs::enqueue(conn, job, moment).await
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: NoticeId) -> Stored<Option<Notice>> {
    sqlx::query("SELECT * FROM notice WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(notice)
        .transpose()
}

/// Every notice of the practice about something, oldest first.
pub async fn about(conn: &mut Conn, practice: PracticeId, about: &str) -> Stored<Vec<Notice>> {
    sqlx::query("SELECT * FROM notice WHERE practice_id = $1 AND about = $2 ORDER BY due_ms, id")
        .bind(practice.to_string())
        .bind(about)
        .fetch_all(conn)
        .await?
        .iter()
        .map(notice)
        .collect()
}

/// The newest notices of one kind to one recipient, newest first.
pub async fn newest_to(
    conn: &mut Conn,
    practice: PracticeId,
    kind: NoticeKind,
    recipient: Recipient,
) -> Stored<Vec<Notice>> {
    const SQL: &str = "SELECT * FROM notice WHERE practice_id = $1 AND kind = $2 AND recipient = $3 \
                       ORDER BY due_ms DESC, id DESC LIMIT 50";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(kind.code())
        .bind(recipient.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(notice)
        .collect()
}

/// How far it has come.
pub async fn set_state(
    conn: &mut Conn,
    practice: PracticeId,
    id: NoticeId,
    state: NoticeState,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE notice SET state = $3, sent_ms = $4 WHERE practice_id = $1 AND id = $2";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(state.code())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// Nobody is written to about whatever waits since before then. How many there were.
pub async fn put_aside(conn: &mut Conn, practice: PracticeId, before: Timestamp) -> Stored<u64> {
    const SQL: &str =
        "UPDATE notice SET state = 'kept' WHERE practice_id = $1 AND state = 'waiting' AND due_ms < $2";
    let aside =
        sqlx::query(SQL).bind(practice.to_string()).bind(before.as_millisecond()).execute(conn).await?;
    Ok(aside.rows_affected())
}

/// How many notices of the practice wait.
pub async fn count_waiting(conn: &mut Conn, practice: PracticeId, now: Timestamp) -> Stored<i64> {
    const SQL: &str = "SELECT COUNT(*) AS waiting FROM notice WHERE practice_id = $1 AND state = 'waiting' AND due_ms <= $2";
    Ok(sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(now.as_millisecond())
        .fetch_one(conn)
        .await?
        .try_get("waiting")?)
}
