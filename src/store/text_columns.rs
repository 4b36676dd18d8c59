//! Every column that holds what people typed, and the queries that go over all of them: to count, to seal, to wrap anew, to
//! try whether each can still be opened, to find what lies there unsealed.

use sqlx::any::AnyRow;

use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::free_text::SealedText;
use crate::store::free_text::Texts;
use crate::store::row::Columns;
use crate::store::row::to_json;
use crate::store::seals::Seals;
use crate::store::wound_words;
use crate::triage::Answers;

/// Where an older program wrote the text of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Before {
    /// Into a column of its own.
    Alone,
    /// Into the answers, beside everything else that was answered.
    AmongAnswers,
    /// Into the operation and the risk factors of a wound.
    InWound,
}

/// One column of typed text. The queries find the rows of its table by `id`; each text is sealed for the key of its row, which
/// may be another.
#[derive(Debug)]
pub struct TextColumn {
    /// Table and column, such as `message.body`. Sealed texts are bound to it: it never changes.
    pub name: &'static str,
    pub(in crate::store) plain: &'static str,
    pub(in crate::store) sealed: &'static str,
    before: Before,
    versions: &'static str,
    after: &'static str,
    replace: &'static str,
    plain_after: &'static str,
    seal: &'static str,
}

/// The key of a row, as its texts are sealed for it.
macro_rules! key {
    () => {
        "id"
    };
    ($key:literal) => {
        $key
    };
}

macro_rules! text_columns {
    (
        alone { $($alone:ident = $table:literal $column:literal $(by $alone_key:literal)?;)* }
        among answers { $($among:ident = $answered:literal $(by $among_key:literal)?;)* }
    ) => {
        $(pub const $alone: TextColumn = TextColumn {
            name: concat!($table, ".", $column),
            plain: $column,
            sealed: concat!($column, "_sealed"),
            before: Before::Alone,
            versions: concat!("SELECT substr(", $column, "_sealed, 2, 4) AS version, COUNT(*) AS many",
                " FROM ", $table, " WHERE practice_id = $1 AND ", $column, "_sealed IS NOT NULL GROUP BY substr(",
                $column, "_sealed, 2, 4)"),
            after: concat!("SELECT id, ", key!($($alone_key)?), " AS sealed_for, ", $column,
                "_sealed AS sealed", " FROM ", $table,
                " WHERE practice_id = $1 AND id > $2 AND ", $column, "_sealed IS NOT NULL ORDER BY id LIMIT $3"),
            replace: concat!("UPDATE ", $table, " SET ", $column, "_sealed = $4",
                " WHERE practice_id = $1 AND id = $2 AND ", $column, "_sealed = $3"),
            plain_after: concat!("SELECT id, ", key!($($alone_key)?), " AS sealed_for, ", $column, " AS plain",
                " FROM ", $table,
                " WHERE practice_id = $1 AND id > $2 AND ", $column, " <> '' ORDER BY id LIMIT $3"),
            seal: concat!("UPDATE ", $table, " SET ", $column, " = $5, ", $column, "_sealed = COALESCE(", $column,
                "_sealed, $4) WHERE practice_id = $1 AND id = $2 AND ", $column, " = $3"),
        };)*
        $(pub const $among: TextColumn = TextColumn {
            name: concat!($answered, ".words"),
            plain: "answers",
            sealed: "words_sealed",
            before: Before::AmongAnswers,
            versions: concat!("SELECT substr(words_sealed, 2, 4) AS version, COUNT(*) AS many", " FROM ", $answered,
                " WHERE practice_id = $1 AND words_sealed IS NOT NULL GROUP BY substr(words_sealed, 2, 4)"),
            after: concat!("SELECT id, ", key!($($among_key)?), " AS sealed_for, words_sealed AS sealed",
                " FROM ", $answered,
                " WHERE practice_id = $1 AND id > $2 AND words_sealed IS NOT NULL ORDER BY id LIMIT $3"),
            replace: concat!("UPDATE ", $answered, " SET words_sealed = $4",
                " WHERE practice_id = $1 AND id = $2 AND words_sealed = $3"),
            // Within a typed text these letters would have a backslash among them.
            plain_after: concat!("SELECT id, ", key!($($among_key)?), " AS sealed_for, answers AS plain",
                " FROM ", $answered,
                " WHERE practice_id = $1 AND id > $2 AND answers LIKE '%\"words\":%' ORDER BY id LIMIT $3"),
            seal: concat!("UPDATE ", $answered, " SET answers = $5, words_sealed = COALESCE(words_sealed, $4)",
                " WHERE practice_id = $1 AND id = $2 AND answers = $3"),
        };)*
        /// All of them. A column of typed text that is not here is neither rewrapped nor tried.
        pub const ALL: &[&TextColumn] = &[$(&$alone,)* $(&$among,)* &WOUND_TYPED];
    };
}

text_columns! {
    alone {
        MESSAGE_BODY = "message" "body";
        REVIEW_NOTE = "review" "note";
        CALLBACK_ASK = "callback" "ask";
        CALLBACK_HAND_BACK_NOTE = "callback" "hand_back_note";
        CALLBACK_EMERGENCY_PLACE = "callback" "emergency_place";
        CALL_ATTEMPT_NOTE = "call_attempt" "note";
        CALL_ATTEMPT_SPOKE_WITH = "call_attempt" "spoke_with";
        SILENCE_ASKED_NOTE = "silence" "asked_note";
        SILENCE_DECIDED_NOTE = "silence" "decided_note";
        SILENCE_ENDED_NOTE = "silence" "ended_note";
        SILENCE_CALL_NOTE = "silence_call" "note";
        SILENCE_CALL_SPOKE_WITH = "silence_call" "spoke_with";
        PLAN_CHANGE_REASON = "plan_change" "reason";
        LATE_KNOCK_WORDS = "late_knock" "words";
        LATE_KNOCK_DEALT_NOTE = "late_knock" "dealt_note";
        ANTIBIOTIC_DRUG = "antibiotic_course" "drug";
        ANTIBIOTIC_CULTURE_RESULT = "antibiotic_course" "culture_result";
        DRAFT_FIELDS = "check_draft" "fields" by "link_id || '/' || form_key";
        CORRECTION_WORDS = "correction" "words";
        HOLD_REASON = "legal_hold" "reason";
        LOOK_REASON = "sealed_look" "reason";
        LOOK_NOTE = "sealed_look" "note";
    }
    among answers {
        CHECK_WORDS = "wound_check";
        VERSION_WORDS = "answers_version" by "check_id || '/' || CAST(version AS TEXT)";
    }
}

/// What was typed at the enrolment, as JSON.
pub const WOUND_TYPED: TextColumn = TextColumn {
    name: "wound.typed",
    plain: "operation",
    sealed: "typed_sealed",
    before: Before::InWound,
    versions: "SELECT substr(typed_sealed, 2, 4) AS version, COUNT(*) AS many FROM wound WHERE practice_id = $1 \
               AND typed_sealed IS NOT NULL GROUP BY substr(typed_sealed, 2, 4)",
    after: "SELECT id, id AS sealed_for, typed_sealed AS sealed FROM wound WHERE practice_id = $1 AND id > $2 \
            AND typed_sealed IS NOT NULL ORDER BY id LIMIT $3",
    replace: "UPDATE wound SET typed_sealed = $4 WHERE practice_id = $1 AND id = $2 AND typed_sealed = $3",
    plain_after: "SELECT id, id AS sealed_for, operation AS plain, operation, risk_factors, typed_sealed \
                  FROM wound WHERE practice_id = $1 AND id > $2 AND typed_sealed IS NULL ORDER BY id LIMIT $3",
    seal: "UPDATE wound SET operation = $5, risk_factors = $6, typed_sealed = $4 \
           WHERE practice_id = $1 AND id = $2 AND operation = $3 AND typed_sealed IS NULL",
};

impl TextColumn {
    /// What a text of the row with this key is sealed for.
    pub(in crate::store) fn about(&self, key: &str) -> String {
        format!("text {} of {key}", self.name)
    }
}

/// A sealed text and the row it lies in.
#[derive(Clone, Debug)]
pub struct KeptText {
    pub row_id: String,
    /// The key of that row: it opens for no other.
    pub sealed_for: String,
    pub sealed: SealedText,
}

/// How many texts of a practice each key's version opens, the oldest first. 0: something that is no sealed text any more.
pub async fn count_by_key(conn: &mut Conn, practice: PracticeId) -> Stored<Vec<(u32, i64)>> {
    let mut counts: Vec<(u32, i64)> = Vec::new();
    for column in ALL {
        let rows = sqlx::query(column.versions).bind(practice.to_string()).fetch_all(&mut *conn).await?;
        for row in &rows {
            let bytes = row.bytes("version")?;
            let version = bytes.first_chunk::<4>().map_or(0, |bytes| u32::from_be_bytes(*bytes));
            let many = row.whole("many")?;
            match counts.iter_mut().find(|(known, _)| *known == version) {
                Some((_, sum)) => *sum += many,
                None => counts.push((version, many)),
            }
        }
    }
    counts.sort();
    Ok(counts)
}

/// The sealed texts of a column whose rows come after this one, in the order of their ids, at most so many.
pub async fn after(
    conn: &mut Conn,
    practice: PracticeId,
    column: &TextColumn,
    row_id: &str,
    limit: i64,
) -> Stored<Vec<KeptText>> {
    let rows =
        sqlx::query(column.after).bind(practice.to_string()).bind(row_id).bind(limit).fetch_all(conn).await?;
    rows.iter()
        .map(|row| {
            Ok(KeptText {
                row_id: row.text("id")?,
                sealed_for: row.text("sealed_for")?,
                sealed: SealedText::of_column(row.bytes("sealed")?),
            })
        })
        .collect()
}

/// Puts the same text, wrapped anew, in the place of the one before; false: it was replaced meanwhile.
pub async fn replace(
    conn: &mut Conn,
    practice: PracticeId,
    column: &TextColumn,
    before: &KeptText,
    sealed: SealedText,
) -> Stored<bool> {
    let replaced = sqlx::query(column.replace)
        .bind(practice.to_string())
        .bind(&before.row_id)
        .bind(before.sealed.clone())
        .bind(sealed)
        .execute(conn)
        .await?;
    Ok(replaced.rows_affected() == 1)
}

/// Seals what an older program left as it was typed: at most `limit` rows of a column, from the first after `row_id`. Gives the
/// last row that was looked at, and how many texts were sealed; `None`: there is none any more.
pub async fn seal_plain(
    conn: &mut Conn,
    practice: PracticeId,
    column: &TextColumn,
    row_id: &str,
    limit: i64,
) -> Stored<Option<(String, u64)>> {
    let rows = sqlx::query(column.plain_after)
        .bind(practice.to_string())
        .bind(row_id)
        .bind(limit)
        .fetch_all(&mut *conn)
        .await?;
    let (mut last, mut many) = (None, 0);
    for row in &rows {
        let id = row.text("id")?;
        let Apart { sealed, rest } = apart(conn.texts(), column, row)?;
        let mut query = sqlx::query(column.seal)
            .bind(practice.to_string())
            .bind(&id)
            .bind(row.text("plain")?)
            .bind(sealed);
        for rest in rest {
            query = query.bind(rest);
        }
        let done = query.execute(&mut *conn).await?;
        many += done.rows_affected();
        last = Some(id);
    }
    Ok(last.map(|last| (last, many)))
}

/// The rows of a column in which a text lies as it was typed, or without its seal, although everything is sealed: whoever wrote
/// it there was not this program. At most `limit`; `None`: what an older program left is still being sealed.
pub async fn strange(
    conn: &mut Conn,
    practice: PracticeId,
    column: &TextColumn,
    limit: i64,
) -> Stored<Option<Vec<String>>> {
    if !conn.texts().seals().is_some_and(Seals::is_all_sealed) {
        return Ok(None);
    }
    let rows = sqlx::query(column.plain_after)
        .bind(practice.to_string())
        .bind("")
        .bind(limit)
        .fetch_all(conn)
        .await?;
    rows.iter().map(|row| row.text("id")).collect::<Stored<_>>().map(Some)
}

/// A row of before, its words sealed.
struct Apart {
    sealed: Option<SealedText>,
    /// What stands in its plain columns afterwards.
    rest: Vec<String>,
}

fn apart(texts: &Texts, column: &TextColumn, row: &AnyRow) -> Stored<Apart> {
    let key = row.text("sealed_for")?;
    match column.before {
        Before::Alone => {
            let sealed = texts.seal_words(&row.text("plain")?, column, &key)?;
            Ok(Apart { sealed, rest: vec![String::new()] })
        }
        Before::AmongAnswers => {
            let mut answers: Answers = row.json("plain")?;
            let sealed = texts.seal_words(&std::mem::take(&mut answers.words), column, &key)?;
            Ok(Apart { sealed, rest: vec![to_json(&answers)?] })
        }
        Before::InWound => {
            let wound = row.parsed("id")?;
            let (operation, risk) = wound_words::read(row, texts, wound)?;
            let kept = wound_words::apart(&operation, &risk, texts, wound)?;
            Ok(Apart { sealed: kept.typed, rest: vec![kept.operation, kept.risk] })
        }
    }
}
