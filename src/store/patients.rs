//! Patients, found by name.

use jiff::Timestamp;
use jiff::civil::Date;
use sqlx::any::AnyRow;
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use crate::ids::PatientId;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::addresses::Reached;
use crate::store::addresses::is_same;
use crate::store::row::Columns;
use crate::words::Language;

/// The person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Patient {
    pub id: PatientId,
    pub practice: PracticeId,
    pub name: String,
    pub born: Date,
    pub phone: String,
    pub language: Language,
    /// Who does the dressing at home; `None` when nobody was named.
    pub helper_name: Option<String>,
    /// Who is rung when the patient does not answer: the second contact.
    pub helper_phone: Option<String>,
    /// Whether calls need an interpreter; `None`: by the language alone.
    pub interpreter: Option<bool>,
}

impl Patient {
    /// Whole years on `today`, a local date.
    pub fn age_years(&self, today: Date) -> i16 {
        let had_birthday = (today.month(), today.day()) >= (self.born.month(), self.born.day());
        today.year() - self.born.year() - i16::from(!had_birthday)
    }
}

fn patient(row: &AnyRow) -> Stored<Patient> {
    Ok(Patient {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        name: row.text("name")?,
        born: row.parsed("born")?,
        phone: row.text("phone")?,
        language: row.parsed("language")?,
        helper_name: row.text_maybe("helper_name")?,
        helper_phone: row.text_maybe("helper_phone")?,
        interpreter: row.whole_maybe("interpreter")?.map(|flag| flag != 0),
    })
}

/// How a name is searched: lower case, accents off, spaces single. "José  Núñez" is found by "jose nu".
pub fn fold_name(name: &str) -> String {
    let plain: String = name.nfkd().filter(|letter| !is_combining_mark(*letter)).collect();
    plain.to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The patients whose own or whose helper's phone this is.
pub async fn with_number(conn: &mut Conn, practice: PracticeId, number: &str) -> Stored<Vec<PatientId>> {
    let rows = sqlx::query("SELECT id, phone, helper_phone FROM patient WHERE practice_id = $1 ORDER BY id")
        .bind(practice.to_string())
        .fetch_all(conn)
        .await?;
    let mut found = Vec::new();
    for row in &rows {
        let numbers = [Some(row.text("phone")?), row.text_maybe("helper_phone")?];
        if numbers.iter().flatten().any(|kept| is_same(Reached::Sms, kept, number)) {
            found.push(row.parsed("id")?);
        }
    }
    Ok(found)
}

/// Every row of the person whom `id` names, that one too: whoever comes back with another wound is written down once more, under
/// the same name, letter case and accents aside, and the same date of birth.
pub async fn rows_of_person(conn: &mut Conn, practice: PracticeId, id: PatientId) -> Stored<Vec<PatientId>> {
    const SQL: &str = "SELECT other.id AS id FROM patient AS one JOIN patient AS other \
                       ON other.practice_id = one.practice_id AND other.name_folded = one.name_folded \
                       AND other.born = one.born WHERE one.practice_id = $1 AND one.id = $2 ORDER BY other.id";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(|row| row.parsed("id"))
        .collect()
}

pub async fn insert(conn: &mut Conn, patient: &Patient, created: Timestamp) -> Stored<()> {
    const SQL: &str = "INSERT INTO patient (id, practice_id, name, name_folded, born, phone, language, helper_name, \
                       helper_phone, created_ms) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)";
    sqlx::query(SQL)
        .bind(patient.id.to_string())
        .bind(patient.practice.to_string())
        .bind(&patient.name)
        .bind(fold_name(&patient.name))
        .bind(patient.born.to_string())
        .bind(&patient.phone)
        .bind(patient.language.code())
        .bind(patient.helper_name.as_deref())
        .bind(patient.helper_phone.as_deref())
        .bind(created.as_millisecond())
        .execute(conn)
        .await?;
    Ok(())
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: PatientId) -> Stored<Option<Patient>> {
    sqlx::query("SELECT * FROM patient WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(patient)
        .transpose()
}

/// Keeps how a patient and their second contact are reached, and whether calls need an interpreter.
pub async fn set_contacts(conn: &mut Conn, patient: &Patient) -> Stored<()> {
    const SQL: &str = "UPDATE patient SET phone = $3, helper_name = $4, helper_phone = $5, interpreter = $6 \
                       WHERE practice_id = $1 AND id = $2";
    sqlx::query(SQL)
        .bind(patient.practice.to_string())
        .bind(patient.id.to_string())
        .bind(&patient.phone)
        .bind(patient.helper_name.as_deref())
        .bind(patient.helper_phone.as_deref())
        .bind(patient.interpreter.map(i64::from))
        .execute(conn)
        .await?;
    Ok(())
}

/// Patients whose name holds every word of `words`, by name, at most `limit`. No words: the newest first.
pub async fn search(conn: &mut Conn, practice: PracticeId, words: &str, limit: i64) -> Stored<Vec<Patient>> {
    let folded = fold_name(words);
    const NEWEST: &str = "SELECT * FROM patient WHERE practice_id = $1 ORDER BY created_ms DESC, id LIMIT $2";
    const BY_NAME: &str = "SELECT * FROM patient WHERE practice_id = $1 AND name_folded LIKE $2 ESCAPE '!' \
                           ORDER BY name_folded, id LIMIT $3";
    let rows = if folded.is_empty() {
        sqlx::query(NEWEST).bind(practice.to_string()).bind(limit).fetch_all(conn).await?
    } else {
        sqlx::query(BY_NAME)
            .bind(practice.to_string())
            .bind(like_pattern(&folded))
            .bind(limit)
            .fetch_all(conn)
            .await?
    };
    rows.iter().map(patient).collect()
}

/// `LIKE` pattern that finds the words in this order anywhere in a name, taking `%` and `_` literally.
pub(in crate::store) fn like_pattern(folded_words: &str) -> String {
    let escaped = folded_words.replace('!', "!!").replace('%', "!%").replace('_', "!_");
    format!("%{}%", escaped.replace(' ', "%"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn names_are_found_without_accents_and_in_any_case() {
        assert_eq!(fold_name("  José   NÚÑEZ "), "jose nunez");
        assert_eq!(like_pattern("jose nu"), "%jose%nu%");
        assert_eq!(like_pattern("100%_!"), "%100!%!_!!%");
    }

    #[test]
    fn a_year_is_counted_on_the_birthday() {
        let patient = Patient {
            id: "018f0000-0000-7000-8000-000000000000".parse().unwrap(),
            practice: "018f0000-0000-7000-8000-000000000001".parse().unwrap(),
            name: "A".to_owned(),
            born: date(1960, 3, 10),
            phone: String::new(),
            language: Language::English,
            helper_name: None,
            helper_phone: None,
            interpreter: None,
        };
        assert_eq!(patient.age_years(date(2026, 3, 9)), 65);
        assert_eq!(patient.age_years(date(2026, 3, 10)), 66);
    }
}
