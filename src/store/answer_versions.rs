//! Everything a form with one key ever said: the first body, and each one that came later and was another.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::store::Conn;
use crate::store::FreeText;
use crate::store::Stored;
use crate::store::checks::WoundCheck;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::row::to_json;
use crate::store::text_columns::VERSION_WORDS;
use crate::triage::Answers;

/// What a version's words are sealed for: its key, and not its `id`, which anybody who writes in the books could move.
fn sealed_for(check_id: &str, version: i64) -> String {
    format!("{check_id}/{version}")
}

/// The answers of a version, and the patient's words apart from them.
fn version(row: &AnyRow, texts: &Texts) -> Stored<(Answers, FreeText)> {
    let mut answers: Answers = row.json("answers")?;
    let plain = std::mem::take(&mut answers.words);
    let key = sealed_for(&row.text("check_id")?, row.whole("version")?);
    let words = texts.opened(row.bytes_maybe("words_sealed")?, plain, &VERSION_WORDS, key);
    Ok((answers, words))
}

/// Keeps one body a form sent. False: the very same was kept before. The check's wound
/// must be held.
pub async fn keep(
    conn: &mut Conn,
    check: &WoundCheck,
    answers: &Answers,
    received: Timestamp,
) -> Stored<bool> {
    const ALIKE: &str = "SELECT check_id, version, answers, words_sealed FROM answers_version WHERE practice_id = $1 AND check_id = $2 \
                         AND answers IN ($3, $4)";
    const NEXT: &str = "SELECT COALESCE(MAX(version), 0) + 1 AS next FROM answers_version WHERE practice_id = $1 \
                        AND check_id = $2";
    const SQL: &str = "INSERT INTO answers_version (check_id, practice_id, version, received_ms, id, answers, \
                       words_sealed) VALUES ($1, $2, $3, $4, $5, $6, $7)";
    let (check_id, practice) = (check.id.to_string(), check.practice.to_string());
    let rest = to_json(&Answers { words: String::new(), ..answers.clone() })?;
    let alike = sqlx::query(ALIKE)
        .bind(&practice)
        .bind(&check_id)
        .bind(&rest)
        // As a program that sealed no words kept it.
        .bind(to_json(answers)?)
        .fetch_all(&mut *conn)
        .await?;
    for row in &alike {
        let (_, words) = version(row, conn.texts())?;
        if words == answers.words.as_str() {
            return Ok(false);
        }
    }
    let next =
        sqlx::query(NEXT).bind(&practice).bind(&check_id).fetch_one(&mut *conn).await?.whole("next")?;
    let id = sealed_for(&check_id, next);
    let words = conn.texts().seal_words(&answers.words, &VERSION_WORDS, &id)?;
    sqlx::query(SQL)
        .bind(check_id)
        .bind(practice)
        .bind(next)
        .bind(received.as_millisecond())
        .bind(id)
        .bind(rest)
        .bind(words)
        .execute(conn)
        .await?;
    Ok(true)
}

/// Everything a form said, oldest first. Words that cannot be opened read so.
pub async fn of_check(conn: &mut Conn, check: &WoundCheck) -> Stored<Vec<(Timestamp, Answers)>> {
    let rows = sqlx::query(
        "SELECT * FROM answers_version WHERE practice_id = $1 AND check_id = $2 ORDER BY version",
    )
    .bind(check.practice.to_string())
    .bind(check.id.to_string())
    .fetch_all(&mut *conn)
    .await?;
    rows.iter()
        .map(|row| {
            let (answers, words) = version(row, conn.texts())?;
            Ok((row.time("received_ms")?, Answers { words: words.to_string(), ..answers }))
        })
        .collect()
}
