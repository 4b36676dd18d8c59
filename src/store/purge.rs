//! Taking one patient's whole record away: every row that is theirs, what points at others first, and the SHA-256 of all of it.

use std::collections::BTreeSet;

use data_encoding::HEXLOWER;
use jiff::Timestamp;
use jiff::civil::Date;
use sha2::Digest;
use sha2::Sha256;
use sqlx::any::AnyRow;

use crate::ids::PatientId;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::addresses;
use crate::store::addresses::Reached;
use crate::store::addresses::is_same;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::row::Columns;
use crate::store::row::line;

/// What went with a patient.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Taken {
    pub rows: i64,
    /// 64 hex letters.
    pub sha256: String,
    /// Photo files that no row names any more.
    pub files: Vec<String>,
}

/// What rows come to: how many, and their SHA-256. A table's rows are hashed in the order of their text, behind its name, each with
/// its length, so that no two heaps of rows look alike.
#[derive(Default)]
pub(in crate::store) struct Heap {
    hasher: Sha256,
    rows: i64,
}

impl Heap {
    pub(in crate::store) fn add(&mut self, table: &str, rows: &[AnyRow]) -> Stored<()> {
        if rows.is_empty() {
            return Ok(());
        }
        let lines: Stored<Vec<String>> = rows.iter().map(|row| line(row, &[])).collect();
        let mut lines = lines?;
        lines.sort();
        for text in std::iter::once(table).chain(lines.iter().map(String::as_str)) {
            self.hasher.update((text.len() as u64).to_be_bytes());
            self.hasher.update(text.as_bytes());
        }
        self.rows += lines.len() as i64;
        Ok(())
    }

    pub(in crate::store) fn finish(self) -> (i64, String) {
        (self.rows, HEXLOWER.encode(&self.hasher.finalize()))
    }
}

/// Rows of one table that are a patient's.
struct Part {
    table: &'static str,
    read: &'static str,
    take: &'static str,
}

/// `$1` is the practice, `$2` the patient.
macro_rules! theirs {
    ($($table:literal [$($whose:tt)+])*) => {
        &[$(Part {
            table: $table,
            read: concat!("SELECT * FROM ", $table, " WHERE practice_id = $1 AND ", $($whose)+),
            take: concat!("DELETE FROM ", $table, " WHERE practice_id = $1 AND ", $($whose)+),
        }),*]
    };
}

macro_rules! of_their_wounds {
    () => {
        "wound_id IN (SELECT id FROM wound WHERE practice_id = $1 AND patient_id = $2)"
    };
}

macro_rules! their_checks {
    () => {
        "SELECT wound_check.id FROM wound_check JOIN wound ON wound.id = wound_check.wound_id \
         WHERE wound.practice_id = $1 AND wound.patient_id = $2"
    };
}

macro_rules! their_links {
    () => {
        "SELECT patient_link.id FROM patient_link JOIN wound ON wound.id = patient_link.wound_id \
         WHERE wound.practice_id = $1 AND wound.patient_id = $2"
    };
}

macro_rules! their_notices {
    () => {
        "SELECT notice.id FROM notice WHERE notice.practice_id = $1 AND notice.recipient IN \
         (SELECT 'link:' || patient_link.id FROM patient_link JOIN wound ON wound.id = patient_link.wound_id \
         WHERE wound.practice_id = $1 AND wound.patient_id = $2)"
    };
}

/// What ladders and alarms can be about.
macro_rules! about_them {
    () => {
        "about IN (SELECT 'check:' || wound_check.id FROM wound_check JOIN wound ON wound.id = wound_check.wound_id \
         WHERE wound.practice_id = $1 AND wound.patient_id = $2 UNION ALL \
         SELECT 'callback:' || callback.id FROM callback JOIN wound ON wound.id = callback.wound_id \
         WHERE wound.practice_id = $1 AND wound.patient_id = $2 UNION ALL \
         SELECT 'silence:' || silence.id FROM silence JOIN wound ON wound.id = silence.wound_id \
         WHERE wound.practice_id = $1 AND wound.patient_id = $2 UNION ALL \
         SELECT 'late_knock:' || late_knock.id FROM late_knock JOIN wound ON wound.id = late_knock.wound_id \
         WHERE wound.practice_id = $1 AND wound.patient_id = $2 UNION ALL \
         SELECT 'antibiotic:' || antibiotic_course.id FROM antibiotic_course \
         JOIN wound ON wound.id = antibiotic_course.wound_id \
         WHERE wound.practice_id = $1 AND wound.patient_id = $2 UNION ALL \
         SELECT 'link:' || patient_link.id FROM patient_link JOIN wound ON wound.id = patient_link.wound_id \
         WHERE wound.practice_id = $1 AND wound.patient_id = $2 UNION ALL \
         SELECT 'notice:' || notice.id FROM notice WHERE notice.practice_id = $1 AND notice.recipient IN \
         (SELECT 'link:' || patient_link.id FROM patient_link JOIN wound ON wound.id = patient_link.wound_id \
         WHERE wound.practice_id = $1 AND wound.patient_id = $2) UNION ALL \
         SELECT 'delivery:' || delivery.id FROM delivery JOIN notice ON notice.id = delivery.notice_id \
         WHERE delivery.practice_id = $1 AND notice.recipient IN \
         (SELECT 'link:' || patient_link.id FROM patient_link JOIN wound ON wound.id = patient_link.wound_id \
         WHERE wound.practice_id = $1 AND wound.patient_id = $2))"
    };
}

/// In the order in which they can go: what points at a row goes before it.
const THEIRS: &[Part] = theirs! {
    "job" [concat!("about IN (", their_notices!(), " UNION ALL SELECT delivery.id FROM delivery \
        WHERE delivery.practice_id = $1 AND delivery.notice_id IN (", their_notices!(), ") UNION ALL \
        SELECT ladder.id FROM ladder WHERE ladder.practice_id = $1 AND ladder.", about_them!(), ")")]
    "ladder_rung" [concat!("ladder_id IN (SELECT id FROM ladder WHERE practice_id = $1 AND ", about_them!(), ")")]
    "ladder" [about_them!()]
    "alarm" [about_them!()]
    "delivery" [concat!("notice_id IN (", their_notices!(), ")")]
    "notice" [concat!("id IN (", their_notices!(), ")")]
    "measuring_job" [concat!("photo_id IN (SELECT photo.id FROM photo WHERE photo.practice_id = $1 AND photo.check_id IN (", their_checks!(), "))")]
    "measurement" [of_their_wounds!()]
    "photo" [concat!("check_id IN (", their_checks!(), ")")]
    "strip_attempt" [of_their_wounds!()]
    "answers_version" [concat!("check_id IN (", their_checks!(), ")")]
    "assessment" [concat!("check_id IN (", their_checks!(), ")")]
    "message" [of_their_wounds!()]
    "call_attempt" [concat!("callback_id IN (SELECT callback.id FROM callback WHERE callback.practice_id = $1 AND callback.", of_their_wounds!(), ")")]
    "callback" [of_their_wounds!()]
    "antibiotic_course" [of_their_wounds!()]
    "correction" [of_their_wounds!()]
    "review" [concat!("check_id IN (", their_checks!(), ")")]
    "silence_call" [concat!("silence_id IN (SELECT silence.id FROM silence WHERE silence.practice_id = $1 AND silence.", of_their_wounds!(), ")")]
    "silence" [of_their_wounds!()]
    "late_knock" [of_their_wounds!()]
    "link_address" [concat!("link_id IN (", their_links!(), ")")]
    "calendar_feed" [concat!("link_id IN (", their_links!(), ")")]
    "check_draft" [concat!("link_id IN (", their_links!(), ")")]
    "patient_session" [concat!("link_id IN (", their_links!(), ")")]
    "wound_check" [of_their_wounds!()]
    "patient_link" [of_their_wounds!()]
    "plan_change" [of_their_wounds!()]
    "plan_step" [of_their_wounds!()]
    "wound" ["patient_id = $2"]
    "legal_hold" ["patient_id = $2"]
    "patient" ["id = $2"]
};

/// Every table that can hold rows of a patient, in the order in which they go.
pub fn tables() -> impl Iterator<Item = &'static str> {
    THEIRS.iter().map(|part| part.table)
}

/// A patient whose wounds' records have all ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Candidate {
    pub id: PatientId,
    pub born: Date,
    /// When the last of them was ended by a person.
    pub ended: Timestamp,
}

/// Patients all of whose wounds' records ended at `ended_by` or before, after `after` in the order of their ids, at most `limit`.
/// `after` empty: from the first on.
pub async fn candidates(
    conn: &mut Conn,
    practice: PracticeId,
    ended_by: Timestamp,
    after: &str,
    limit: i64,
) -> Stored<Vec<Candidate>> {
    const SQL: &str = "SELECT patient.id AS id, patient.born AS born, MAX(wound.ended_ms) AS ended_ms FROM patient \
                       JOIN wound ON wound.patient_id = patient.id WHERE patient.practice_id = $1 AND patient.id > $2 \
                       GROUP BY patient.id, patient.born HAVING COUNT(*) = COUNT(wound.ended_ms) \
                       AND MAX(wound.ended_ms) <= $3 ORDER BY patient.id LIMIT $4";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(after)
        .bind(ended_by.as_millisecond())
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| {
            Ok(Candidate { id: row.parsed("id")?, born: row.parsed("born")?, ended: row.time("ended_ms")? })
        })
        .collect()
}

/// When something last happened in a patient's record, by what kind of thing it was.
const TOUCHES: [&str; 11] = [
    "SELECT MAX(ended_ms) AS at_ms FROM wound WHERE practice_id = $1 AND patient_id = $2",
    "SELECT MAX(last_check_ms) AS at_ms FROM wound WHERE practice_id = $1 AND patient_id = $2",
    concat!("SELECT MAX(sent_ms) AS at_ms FROM message WHERE practice_id = $1 AND ", of_their_wounds!()),
    concat!("SELECT MAX(closed_ms) AS at_ms FROM callback WHERE practice_id = $1 AND ", of_their_wounds!()),
    concat!("SELECT MAX(ended_ms) AS at_ms FROM silence WHERE practice_id = $1 AND ", of_their_wounds!()),
    concat!("SELECT MAX(last_ms) AS at_ms FROM late_knock WHERE practice_id = $1 AND ", of_their_wounds!()),
    concat!("SELECT MAX(dealt_ms) AS at_ms FROM late_knock WHERE practice_id = $1 AND ", of_their_wounds!()),
    concat!("SELECT MAX(noted_ms) AS at_ms FROM correction WHERE practice_id = $1 AND ", of_their_wounds!()),
    concat!(
        "SELECT MAX(culture_ms) AS at_ms FROM antibiotic_course WHERE practice_id = $1 AND ",
        of_their_wounds!()
    ),
    concat!(
        "SELECT MAX(stopped_ms) AS at_ms FROM antibiotic_course WHERE practice_id = $1 AND ",
        of_their_wounds!()
    ),
    concat!(
        "SELECT MAX(decided_ms) AS at_ms FROM review WHERE practice_id = $1 AND check_id IN (",
        their_checks!(),
        ")"
    ),
];

/// When a patient's record was last touched by what people did: its wounds ended, a check, a message, a call, a late knock, a
/// review, a correction, what the laboratory said. `None`: there is no such patient.
pub async fn last_touched(
    conn: &mut Conn,
    practice: PracticeId,
    patient: PatientId,
) -> Stored<Option<Timestamp>> {
    let mut last = None;
    for sql in TOUCHES {
        let row = sqlx::query(sql)
            .bind(practice.to_string())
            .bind(patient.to_string())
            .fetch_one(&mut *conn)
            .await?;
        last = last.max(row.time_maybe("at_ms")?);
    }
    Ok(last)
}

/// What of a patient still waits for somebody.
const WAITING: [&str; 7] = [
    "SELECT COUNT(*) AS many FROM wound WHERE practice_id = $1 AND patient_id = $2 \
     AND (state <> 'closed' OR ended_ms IS NULL)",
    concat!(
        "SELECT COUNT(*) AS many FROM wound_check WHERE practice_id = $1 AND state <> 'closed' AND ",
        of_their_wounds!()
    ),
    concat!(
        "SELECT COUNT(*) AS many FROM callback WHERE practice_id = $1 AND state = 'open' AND ",
        of_their_wounds!()
    ),
    concat!(
        "SELECT COUNT(*) AS many FROM silence WHERE practice_id = $1 AND state = 'open' AND ",
        of_their_wounds!()
    ),
    concat!(
        "SELECT COUNT(*) AS many FROM late_knock WHERE practice_id = $1 AND dealt_ms IS NULL AND ",
        of_their_wounds!()
    ),
    concat!(
        "SELECT COUNT(*) AS many FROM ladder WHERE practice_id = $1 AND state = 'running' AND ",
        about_them!()
    ),
    concat!(
        "SELECT COUNT(*) AS many FROM alarm WHERE practice_id = $1 AND ended_ms IS NULL AND ",
        about_them!()
    ),
];

/// Whether anything of a patient still waits for somebody: then nothing of it goes, however old it is.
pub async fn waits(conn: &mut Conn, practice: PracticeId, patient: PatientId) -> Stored<bool> {
    for sql in WAITING {
        let row = sqlx::query(sql)
            .bind(practice.to_string())
            .bind(patient.to_string())
            .fetch_one(&mut *conn)
            .await?;
        if row.whole("many")? > 0 {
            return Ok(true);
        }
    }
    Ok(false)
}

/// Takes a patient away, and all that is theirs. `None`: there is no such patient.
pub async fn take(conn: &mut Conn, practice: PracticeId, id: PatientId) -> Stored<Option<Taken>> {
    let Some(patient) = patients::find(conn, practice, id).await? else { return Ok(None) };
    let names = rendition_names(conn, practice, id).await?;
    let mut heap = Heap::default();
    for part in THEIRS {
        let (practice, id) = (practice.to_string(), id.to_string());
        let rows = sqlx::query(part.read).bind(&practice).bind(&id).fetch_all(&mut *conn).await?;
        heap.add(part.table, &rows)?;
        if !rows.is_empty() {
            sqlx::query(part.take).bind(&practice).bind(&id).execute(&mut *conn).await?;
        }
    }
    let mut files = Vec::new();
    for name in names {
        files.extend(take_blob(conn, practice, &name, &mut heap).await?);
    }
    take_opt_outs(conn, &patient, &mut heap).await?;
    let (rows, sha256) = heap.finish();
    Ok(Some(Taken { rows, sha256, files }))
}

/// The names of a patient's renditions, each once.
async fn rendition_names(
    conn: &mut Conn,
    practice: PracticeId,
    patient: PatientId,
) -> Stored<BTreeSet<String>> {
    const SQL: &str = concat!(
        "SELECT full_sha256, review_sha256, small_sha256 FROM photo WHERE practice_id = $1 AND check_id IN (",
        their_checks!(),
        ")"
    );
    let rows = sqlx::query(SQL).bind(practice.to_string()).bind(patient.to_string()).fetch_all(conn).await?;
    let mut names = BTreeSet::new();
    for row in &rows {
        for column in ["full_sha256", "review_sha256", "small_sha256"] {
            names.extend(row.text_maybe(column)?);
        }
    }
    Ok(names)
}

/// Destroys the key of a rendition, unless another photo has the same one. The file it lay in; `None`: it is still needed.
async fn take_blob(
    conn: &mut Conn,
    practice: PracticeId,
    name: &str,
    heap: &mut Heap,
) -> Stored<Option<String>> {
    const NEEDED: &str = "SELECT COUNT(*) AS many FROM photo WHERE practice_id = $1 \
                          AND (full_sha256 = $2 OR review_sha256 = $2 OR small_sha256 = $2)";
    let needed = sqlx::query(NEEDED).bind(practice.to_string()).bind(name).fetch_one(&mut *conn).await?;
    if needed.whole("many")? > 0 {
        return Ok(None);
    }
    let rows = sqlx::query("SELECT * FROM sealed_blob WHERE practice_id = $1 AND sha256 = $2")
        .bind(practice.to_string())
        .bind(name)
        .fetch_all(&mut *conn)
        .await?;
    heap.add("sealed_blob", &rows)?;
    sqlx::query("DELETE FROM sealed_blob WHERE practice_id = $1 AND sha256 = $2")
        .bind(practice.to_string())
        .bind(name)
        .execute(conn)
        .await?;
    match rows.first() {
        Some(row) => Ok(Some(row.text("sealed_sha256")?)),
        // From before anything was sealed: it lies under its own name.
        None => Ok(Some(name.to_owned())),
    }
}

/// A number's STOP goes with the last patient who has it, unless it is a colleague's.
async fn take_opt_outs(conn: &mut Conn, gone: &Patient, heap: &mut Heap) -> Stored<()> {
    const TAKE: &str = "DELETE FROM opt_out WHERE practice_id = $1 AND channel = $2 AND address = $3";
    let practice = gone.practice.to_string();
    let kept = sqlx::query("SELECT * FROM opt_out WHERE practice_id = $1 AND channel IN ('sms', 'voice')")
        .bind(&practice)
        .fetch_all(&mut *conn)
        .await?;
    let colleagues = addresses::of_practice(conn, gone.practice).await?;
    let numbers: Vec<&String> =
        [Some(&gone.phone), gone.helper_phone.as_ref()].into_iter().flatten().collect();
    for row in kept {
        let (channel, address) = (row.text("channel")?, row.text("address")?);
        let is_theirs = numbers.iter().any(|number| is_same(Reached::Sms, &address, number));
        if !is_theirs || !patients::with_number(conn, gone.practice, &address).await?.is_empty() {
            continue;
        }
        let is_a_colleagues = colleagues
            .iter()
            .any(|one| one.channel.code() == channel && is_same(one.channel, &one.address, &address));
        if !is_a_colleagues {
            sqlx::query(TAKE).bind(&practice).bind(&channel).bind(&address).execute(&mut *conn).await?;
            heap.add("opt_out", &[row])?;
        }
    }
    Ok(())
}
