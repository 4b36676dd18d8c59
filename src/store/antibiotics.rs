//! Recorded antibiotics: prescribed elsewhere, followed here.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::AntibioticCourseId;
use crate::ids::PracticeId;
use crate::ids::ReviewId;
use crate::ids::StaffId;
use crate::ids::WoundId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::text_columns::ANTIBIOTIC_CULTURE_RESULT;
use crate::store::text_columns::ANTIBIOTIC_DRUG;

coded! {
    /// How a culture stands.
    pub enum Culture {
        /// None was sent.
        None = "none",
        /// Sent, and nothing heard yet.
        Sent = "sent",
        Noted = "noted",
    }
}

coded! {
    /// Whether what grew is killed by what the patient takes, as the laboratory says.
    pub enum CultureFits {
        Fits = "fits",
        /// What grew resists it.
        Resists = "resists",
        NothingGrew = "nothing_grew",
        Unclear = "unclear",
    }
}

/// One recorded antibiotic.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AntibioticCourse {
    pub id: AntibioticCourseId,
    pub practice: PracticeId,
    pub wound: WoundId,
    /// The decision that started it; `None`: from the enrolment.
    pub review: Option<ReviewId>,
    pub drug: FreeText,
    /// `None`: not said.
    pub doses_per_day: Option<i64>,
    pub days: i64,
    pub started: Timestamp,
    pub ends: Timestamp,
    pub culture: Culture,
    pub culture_result: FreeText,
    pub culture_fits: Option<CultureFits>,
    pub culture_by: Option<StaffId>,
    pub culture_at: Option<Timestamp>,
    /// When it was stopped before its end; `None`: it was not.
    pub stopped: Option<Timestamp>,
    /// In the program's own words; empty: it was not.
    pub stopped_why: String,
    pub recorded_by: StaffId,
    pub recorded: Timestamp,
}

impl AntibioticCourse {
    /// Whether it is taken at `now`.
    pub fn runs(&self, now: Timestamp) -> bool {
        self.stopped.is_none() && self.started <= now && now < self.ends
    }
}

fn course(row: &AnyRow, texts: &Texts) -> Stored<AntibioticCourse> {
    let id: AntibioticCourseId = row.parsed("id")?;
    Ok(AntibioticCourse {
        id,
        practice: row.parsed("practice_id")?,
        wound: row.parsed("wound_id")?,
        review: row.parsed_maybe("review_id")?,
        drug: texts.open(row, &ANTIBIOTIC_DRUG, id)?,
        doses_per_day: row.whole_maybe("doses_per_day")?,
        days: row.whole("days")?,
        started: row.time("started_ms")?,
        ends: row.time("ends_ms")?,
        culture: row.parsed("culture")?,
        culture_result: texts.open(row, &ANTIBIOTIC_CULTURE_RESULT, id)?,
        culture_fits: row.parsed_maybe("culture_fits")?,
        culture_by: row.parsed_maybe("culture_by")?,
        culture_at: row.time_maybe("culture_ms")?,
        stopped: row.time_maybe("stopped_ms")?,
        stopped_why: row.text("stopped_why")?,
        recorded_by: row.parsed("recorded_by")?,
        recorded: row.time("recorded_ms")?,
    })
}

pub async fn insert(conn: &mut Conn, course: &AntibioticCourse) -> Stored<()> {
    const SQL: &str = "INSERT INTO antibiotic_course (id, practice_id, wound_id, review_id, drug, drug_sealed, \
                       doses_per_day, days, started_ms, ends_ms, culture, recorded_by, recorded_ms) \
                       VALUES ($1, $2, $3, $4, '', $5, $6, $7, $8, $9, $10, $11, $12)";
    let drug = conn.texts().seal(&course.drug, &ANTIBIOTIC_DRUG, course.id)?;
    sqlx::query(SQL)
        .bind(course.id.to_string())
        .bind(course.practice.to_string())
        .bind(course.wound.to_string())
        .bind(course.review.map(|review| review.to_string()))
        .bind(drug)
        .bind(course.doses_per_day)
        .bind(course.days)
        .bind(course.started.as_millisecond())
        .bind(course.ends.as_millisecond())
        .bind(course.culture.code())
        .bind(course.recorded_by.to_string())
        .bind(course.recorded.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

/// A wound's recorded antibiotics, newest first.
pub async fn of_wound(
    conn: &mut Conn,
    practice: PracticeId,
    wound: WoundId,
) -> Stored<Vec<AntibioticCourse>> {
    const SQL: &str = "SELECT * FROM antibiotic_course WHERE practice_id = $1 AND wound_id = $2 \
                       ORDER BY started_ms DESC, recorded_ms DESC, id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| course(row, conn.texts()))
        .collect()
}

pub async fn find(
    conn: &mut Conn,
    practice: PracticeId,
    id: AntibioticCourseId,
) -> Stored<Option<AntibioticCourse>> {
    sqlx::query("SELECT * FROM antibiotic_course WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(&mut *conn)
        .await?
        .as_ref()
        .map(|row| course(row, conn.texts()))
        .transpose()
}

/// Cultures of open wounds that were sent before then, and of which nothing was heard.
pub async fn awaiting_culture(
    conn: &mut Conn,
    practice: PracticeId,
    before: Timestamp,
) -> Stored<Vec<AntibioticCourse>> {
    const SQL: &str = "SELECT antibiotic_course.* FROM antibiotic_course \
                       JOIN wound ON wound.id = antibiotic_course.wound_id \
                       WHERE antibiotic_course.practice_id = $1 AND antibiotic_course.culture = 'sent' \
                       AND antibiotic_course.recorded_ms <= $2 AND wound.state = 'open' \
                       ORDER BY antibiotic_course.recorded_ms, antibiotic_course.id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(before.as_millisecond())
        .fetch_all(&mut *conn)
        .await?
        .iter()
        .map(|row| course(row, conn.texts()))
        .collect()
}

/// Keeps what became of a culture and of the course.
pub async fn keep(conn: &mut Conn, course: &AntibioticCourse) -> Stored<()> {
    const SQL: &str = "UPDATE antibiotic_course SET culture = $3, culture_result_sealed = $4, \
                       culture_result = CASE WHEN $10 = 1 THEN culture_result ELSE '' END, \
                       culture_fits = $5, culture_by = $6, culture_ms = $7, stopped_ms = $8, stopped_why = $9 \
                       WHERE practice_id = $1 AND id = $2";
    let result = conn.texts().seal(&course.culture_result, &ANTIBIOTIC_CULTURE_RESULT, course.id)?;
    sqlx::query(SQL)
        .bind(course.practice.to_string())
        .bind(course.id.to_string())
        .bind(course.culture.code())
        .bind(result)
        .bind(course.culture_fits.map(|fits| fits.code()))
        .bind(course.culture_by.map(|by| by.to_string()))
        .bind(course.culture_at.map(|at| at.as_millisecond()))
        .bind(course.stopped.map(|at| at.as_millisecond()))
        .bind(&course.stopped_why)
        .bind(i64::from(course.culture_result.strange().is_some()))
        .execute(conn)
        .await?;
    Ok(())
}
