//! Wound checks: each stands in exactly one state, and the waiting ones in reading order.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::LinkId;
use crate::ids::PatientId;
use crate::ids::PhotoId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::ids::WoundCheckId;
use crate::ids::WoundId;
use crate::plan::Operation;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;
pub use crate::store::check_words::WordsKept;
use crate::store::check_words::answers;
use crate::store::check_words::words_apart;
use crate::store::free_text::Texts;
use crate::store::patients::fold_name;
use crate::store::patients::like_pattern;
use crate::store::row::Columns;
use crate::store::row::to_json;
use crate::store::wounds;
use crate::triage::Answers;
use crate::triage::Assessment;
use crate::triage::CheckFacts;
use crate::triage::Facts;
use crate::triage::Urgency;

coded! {
    /// Where a check stands.
    pub enum CheckState {
        Queued = "queued",
        InReview = "in_review",
        AwaitingCall = "awaiting_call",
        Closed = "closed",
    }
}

/// One photo-and-answers submission.
#[derive(Clone, Debug)]
pub struct WoundCheck {
    pub id: WoundCheckId,
    pub practice: PracticeId,
    pub wound: WoundId,
    pub link: LinkId,
    /// Order of arrival within the practice, from 1, without gaps.
    pub sequence: i64,
    pub form_key: String,
    /// What the patient can read out over the phone.
    pub receipt: String,
    pub state: CheckState,
    pub received: Timestamp,
    pub answers: Answers,
    pub words: WordsKept,
    pub assessment: Assessment,
    /// What it was assessed by; `None`: received before facts were kept.
    pub facts: Option<CheckFacts>,
    pub due: Timestamp,
    /// How many photos the phone said it would send.
    pub photos_expected: i64,
    pub claim: Option<Claim>,
    /// What stood out about the phone it was sent from.
    pub phone: SentFrom,
}

/// What stands out about the phone a check was sent from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SentFrom {
    /// It is somebody else's.
    pub borrowed: bool,
    /// Initials typed when the link was opened that are not the patient's; empty: none were, or they fit.
    pub other_initials: String,
}

/// Who is looking at a check, and until when nobody else should.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Claim {
    pub by: StaffId,
    pub until: Timestamp,
}

/// A waiting check as the queue shows it.
#[derive(Clone, Debug)]
pub struct WaitingCheck {
    pub id: WoundCheckId,
    pub patient: PatientId,
    pub patient_name: String,
    pub wound: WoundId,
    /// Without the procedure: nothing that was typed is opened for a list.
    pub operation: Operation,
    pub sequence: i64,
    pub received: Timestamp,
    pub due: Timestamp,
    pub state: CheckState,
    pub assessment: Assessment,
    pub claim: Option<Claim>,
    pub photos_expected: i64,
    pub photos_here: i64,
    /// The first readable photo.
    pub photo: Option<PhotoId>,
    /// Urgency of the check before this one on the same wound; `None`: this is the first.
    pub previous_urgency: Option<Urgency>,
    /// What the photos of this check were measured to say, and those of the check before; empty: nothing.
    pub measured: Facts,
    pub measured_before: Facts,
    /// The patient's messages on this wound that nobody has dealt with.
    pub open_questions: i64,
    pub phone: SentFrom,
    /// Waiting checks of this wound that are read before this one; and all that wait, this one among them.
    pub before_of_wound: i64,
    pub waiting_of_wound: i64,
}

fn sent_from(row: &AnyRow) -> Stored<SentFrom> {
    Ok(SentFrom { borrowed: row.whole("borrowed_phone")? == 1, other_initials: row.text("other_initials")? })
}

fn claim(row: &AnyRow) -> Stored<Option<Claim>> {
    let by = row.parsed_maybe("claimed_by")?;
    let until = row.time_maybe("claimed_until_ms")?;
    Ok(by.zip(until).map(|(by, until)| Claim { by, until }))
}

fn facts(row: &AnyRow, column: &'static str) -> Stored<Option<CheckFacts>> {
    match row.text_maybe(column)? {
        Some(_) => Ok(Some(row.json(column)?)),
        None => Ok(None),
    }
}

fn wound_check(row: &AnyRow, texts: &Texts) -> Stored<WoundCheck> {
    let id: WoundCheckId = row.parsed("id")?;
    let (answers, words) = answers(row, texts, id)?;
    Ok(WoundCheck {
        id,
        practice: row.parsed("practice_id")?,
        wound: row.parsed("wound_id")?,
        link: row.parsed("link_id")?,
        sequence: row.whole("sequence")?,
        form_key: row.text("form_key")?,
        receipt: row.text("receipt")?,
        state: row.parsed("state")?,
        received: row.time("received_ms")?,
        answers,
        words,
        assessment: row.json("assessment")?,
        facts: facts(row, "facts")?,
        due: row.time("due_ms")?,
        photos_expected: row.whole("photos_expected")?,
        claim: claim(row)?,
        phone: sent_from(row)?,
    })
}

pub async fn insert(conn: &mut Conn, check: &WoundCheck) -> Stored<()> {
    const SQL: &str = "INSERT INTO wound_check (id, practice_id, wound_id, link_id, sequence, form_key, receipt, \
                       state, received_ms, answers, assessment, protocol_version, urgency, score, due_ms, \
                       photos_expected, facts, borrowed_phone, other_initials, words_sealed) VALUES ($1, $2, $3, $4, $5, \
                       $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20)";
    let (words, answers) = words_apart(check, conn.texts())?;
    sqlx::query(SQL)
        .bind(check.id.to_string())
        .bind(check.practice.to_string())
        .bind(check.wound.to_string())
        .bind(check.link.to_string())
        .bind(check.sequence)
        .bind(&check.form_key)
        .bind(&check.receipt)
        .bind(check.state.code())
        .bind(check.received.as_millisecond())
        .bind(answers)
        .bind(to_json(&check.assessment)?)
        .bind(&check.assessment.protocol_version)
        .bind(i64::from(check.assessment.urgency.rank()))
        .bind(i64::from(check.assessment.score))
        .bind(check.due.as_millisecond())
        .bind(check.photos_expected)
        .bind(check.facts.as_ref().map(to_json).transpose()?)
        .bind(i64::from(check.phone.borrowed))
        .bind(&check.phone.other_initials)
        .bind(words)
        .execute(conn)
        .await?;
    Ok(())
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: WoundCheckId) -> Stored<Option<WoundCheck>> {
    sqlx::query("SELECT * FROM wound_check WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| wound_check(row, conn.texts()))
        .transpose()
}

/// Holds the check's wound, as [`wounds::hold`] does, then reads the check.
pub async fn hold(conn: &mut Conn, practice: PracticeId, id: WoundCheckId) -> Stored<Option<WoundCheck>> {
    let Some(seen) = find(conn, practice, id).await? else { return Ok(None) };
    wounds::hold(conn, practice, seen.wound).await?;
    find(conn, practice, id).await
}

/// The check a form already made; `None` when its key is new.
pub async fn by_form_key(conn: &mut Conn, link: LinkId, form_key: &str) -> Stored<Option<WoundCheck>> {
    sqlx::query("SELECT * FROM wound_check WHERE link_id = $1 AND form_key = $2")
        .bind(link.to_string())
        .bind(form_key)
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| wound_check(row, conn.texts()))
        .transpose()
}

/// A wound's checks, newest first.
pub async fn of_wound(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<WoundCheck>> {
    sqlx::query("SELECT * FROM wound_check WHERE practice_id = $1 AND wound_id = $2 ORDER BY sequence DESC")
        .bind(practice.to_string())
        .bind(wound.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| wound_check(row, conn.texts()))
        .collect()
}

/// The check before this one on the same wound; `None`: this is the first.
pub async fn before(conn: &mut Conn, check: &WoundCheck) -> Stored<Option<WoundCheck>> {
    const SQL: &str = "SELECT * FROM wound_check WHERE practice_id = $1 AND wound_id = $2 AND sequence < $3 \
                       ORDER BY sequence DESC LIMIT 1";
    sqlx::query(SQL)
        .bind(check.practice.to_string())
        .bind(check.wound.to_string())
        .bind(check.sequence)
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| wound_check(row, conn.texts()))
        .transpose()
}

/// Keeps what a check says now, what it was assessed as, and where it stands.
pub async fn amend(conn: &mut Conn, check: &WoundCheck) -> Stored<()> {
    const SQL: &str = "UPDATE wound_check SET answers = $3, assessment = $4, protocol_version = $5, urgency = $6, \
                       score = $7, due_ms = $8, photos_expected = $9, state = $10, claimed_by = $11, \
                       claimed_until_ms = $12, facts = $13, words_sealed = $14, \
                       closed_ms = CASE WHEN $10 = 'closed' THEN closed_ms ELSE NULL END WHERE practice_id = $1 AND id = $2";
    let (words, answers) = words_apart(check, conn.texts())?;
    sqlx::query(SQL)
        .bind(check.practice.to_string())
        .bind(check.id.to_string())
        .bind(answers)
        .bind(to_json(&check.assessment)?)
        .bind(&check.assessment.protocol_version)
        .bind(i64::from(check.assessment.urgency.rank()))
        .bind(i64::from(check.assessment.score))
        .bind(check.due.as_millisecond())
        .bind(check.photos_expected)
        .bind(check.state.code())
        .bind(check.claim.map(|claim| claim.by.to_string()))
        .bind(check.claim.map(|claim| claim.until.as_millisecond()))
        .bind(check.facts.as_ref().map(to_json).transpose()?)
        .bind(words)
        .execute(conn)
        .await?;
    Ok(())
}

/// Moves a check to `state` and ends its claim.
pub async fn set_state(conn: &mut Conn, check: &WoundCheck, state: CheckState, now: Timestamp) -> Stored<()> {
    const SQL: &str = "UPDATE wound_check SET state = $3, claimed_by = NULL, claimed_until_ms = NULL, \
                       closed_ms = $4 WHERE practice_id = $1 AND id = $2";
    sqlx::query(SQL)
        .bind(check.practice.to_string())
        .bind(check.id.to_string())
        .bind(state.code())
        .bind((state == CheckState::Closed).then_some(now.as_millisecond()))
        .execute(conn)
        .await?;
    Ok(())
}

/// What the queue is narrowed to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct QueueFilter {
    /// Words of a patient's name; empty: everyone.
    pub name: String,
    /// The effective class, as shown: an overdue check counts one class higher.
    pub urgency: Option<Urgency>,
    pub state: Option<CheckState>,
}

/// Checks that wait for the surgeon (not those handed to the office), in reading order at `now`: effective class,
/// then due time, then sequence. The order is [`crate::triage::queue`]'s; a test holds the two together.
pub async fn waiting(
    conn: &mut Conn,
    practice: PracticeId,
    filter: &QueueFilter,
    now: Timestamp,
    limit: i64,
) -> Stored<Vec<WaitingCheck>> {
    waiting_folded(conn, practice, filter, now, limit, i64::MAX).await
}

/// As [`waiting`], with no more than the first `of_one_wound` of each wound: a flood from one link pushes nobody off the page.
pub async fn waiting_folded(
    conn: &mut Conn,
    practice: PracticeId,
    filter: &QueueFilter,
    now: Timestamp,
    limit: i64,
    of_one_wound: i64,
) -> Stored<Vec<WaitingCheck>> {
    const SQL: &str = "SELECT waiting.*, patient.id AS the_patient, patient.name AS patient_name, \
        wound.operation AS operation, \
        (SELECT COUNT(*) FROM photo WHERE photo.check_id = waiting.id) AS photos_here, \
        (SELECT photo.id FROM photo WHERE photo.check_id = waiting.id AND photo.small_sha256 IS NOT NULL \
            ORDER BY photo.position, photo.id LIMIT 1) AS first_photo, \
        (SELECT earlier.urgency FROM wound_check earlier WHERE earlier.wound_id = waiting.wound_id \
            AND earlier.sequence < waiting.sequence ORDER BY earlier.sequence DESC LIMIT 1) AS previous_urgency, \
        (SELECT earlier.facts FROM wound_check earlier WHERE earlier.wound_id = waiting.wound_id \
            AND earlier.sequence < waiting.sequence ORDER BY earlier.sequence DESC LIMIT 1) AS previous_facts, \
        (SELECT COUNT(*) FROM message WHERE message.wound_id = waiting.wound_id \
            AND message.sender = 'patient' AND message.read_ms IS NULL) AS open_questions \
        , chosen.place - 1 AS before_of_wound, chosen.of_wound AS waiting_of_wound \
        FROM (SELECT * FROM (SELECT ranked.id, ranked.effective, ranked.due_ms, ranked.sequence, \
                ROW_NUMBER() OVER (PARTITION BY ranked.wound_id \
                    ORDER BY ranked.effective, ranked.due_ms, ranked.sequence) AS place, \
                COUNT(*) OVER (PARTITION BY ranked.wound_id) AS of_wound \
            FROM (SELECT open_check.id, open_check.wound_id, open_check.due_ms, open_check.sequence, \
                    CASE WHEN open_check.due_ms < $5 AND open_check.urgency > 0 \
                        THEN open_check.urgency - 1 ELSE open_check.urgency END AS effective \
                FROM wound_check open_check \
                WHERE open_check.practice_id = $1 AND open_check.state IN ('queued', 'in_review') \
                AND ($2 = '' OR EXISTS (SELECT 1 FROM wound open_wound \
                    JOIN patient named ON named.id = open_wound.patient_id \
                    WHERE open_wound.id = open_check.wound_id AND named.name_folded LIKE $2 ESCAPE '!')) \
                AND ($4 = '' OR open_check.state = $4)) ranked \
            WHERE $3 < 0 OR ranked.effective = $3) placed \
            WHERE placed.place <= $7 ORDER BY placed.effective, placed.due_ms, placed.sequence LIMIT $6) chosen \
        JOIN wound_check waiting ON waiting.id = chosen.id \
        JOIN wound ON wound.id = waiting.wound_id JOIN patient ON patient.id = wound.patient_id \
        ORDER BY CASE WHEN waiting.due_ms < $5 AND waiting.urgency > 0 THEN waiting.urgency - 1 \
            ELSE waiting.urgency END, waiting.due_ms, waiting.sequence";
    let folded = fold_name(&filter.name);
    let pattern = if folded.is_empty() { String::new() } else { like_pattern(&folded) };
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(pattern)
        .bind(filter.urgency.map_or(-1, |urgency| i64::from(urgency.rank())))
        .bind(filter.state.map_or("", CheckState::code))
        .bind(now.as_millisecond())
        .bind(limit)
        .bind(of_one_wound)
        .fetch_all(conn)
        .await?
        .iter()
        .map(waiting_check)
        .collect()
}

fn waiting_check(row: &AnyRow) -> Stored<WaitingCheck> {
    Ok(WaitingCheck {
        id: row.parsed("id")?,
        patient: row.parsed("the_patient")?,
        patient_name: row.text("patient_name")?,
        wound: row.parsed("wound_id")?,
        operation: Operation { procedure: String::new(), ..row.json("operation")? },
        sequence: row.whole("sequence")?,
        received: row.time("received_ms")?,
        due: row.time("due_ms")?,
        state: row.parsed("state")?,
        assessment: row.json("assessment")?,
        claim: claim(row)?,
        photos_expected: row.whole("photos_expected")?,
        photos_here: row.whole("photos_here")?,
        photo: row.parsed_maybe("first_photo")?,
        previous_urgency: row.urgency_maybe("previous_urgency")?,
        measured: facts(row, "facts")?.map(|facts| facts.measured).unwrap_or_default(),
        measured_before: facts(row, "previous_facts")?.map(|facts| facts.measured).unwrap_or_default(),
        open_questions: row.whole("open_questions")?,
        phone: sent_from(row)?,
        before_of_wound: row.whole("before_of_wound")?,
        waiting_of_wound: row.whole("waiting_of_wound")?,
    })
}

/// Waiting checks that nobody looks at, of the two most urgent classes or past their due time, that lack something: a
/// ladder that runs, the alarm of what is late, or of an emergency that came before `unopened_since`. First due first.
pub async fn unwatched(
    conn: &mut Conn,
    practice: PracticeId,
    unopened_since: Timestamp,
    now: Timestamp,
) -> Stored<Vec<WoundCheckId>> {
    const SQL: &str = "SELECT id FROM wound_check WHERE practice_id = $1 AND state IN ('queued', 'in_review') \
        AND (urgency <= 1 OR due_ms < $2) AND (claimed_until_ms IS NULL OR claimed_until_ms <= $2) \
        AND (NOT EXISTS (SELECT ladder.id FROM ladder WHERE ladder.practice_id = $1 \
                AND ladder.about = 'check:' || wound_check.id AND ladder.state = 'running') \
            OR due_ms < $2 AND NOT EXISTS (SELECT alarm.id FROM alarm WHERE alarm.practice_id = $1 \
                AND alarm.about = 'check:' || wound_check.id AND alarm.kind = 'overdue' AND alarm.ended_ms IS NULL) \
            OR urgency = 0 AND (received_ms <= $3 OR received_ms > $2) AND NOT EXISTS (SELECT alarm.id FROM alarm \
                WHERE alarm.practice_id = $1 AND alarm.about = 'check:' || wound_check.id \
                AND alarm.kind = 'unopened' AND alarm.ended_ms IS NULL)) ORDER BY due_ms, sequence";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(now.as_millisecond())
        .bind(unopened_since.as_millisecond())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("id"))
        .collect()
}
