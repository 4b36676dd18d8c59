//! Tries at taking the strip out, with the times of their parts and what the patient said at the end.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::LinkId;
use crate::ids::PracticeId;
use crate::ids::StripAttemptId;
use crate::ids::WoundCheckId;
use crate::ids::WoundId;
use crate::plan::CountedOut;
use crate::plan::OutTimes;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::row::Columns;
use crate::triage::StripAnswer;

/// One try.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StripAttempt {
    pub id: StripAttemptId,
    pub practice: PracticeId,
    pub wound: WoundId,
    pub link: LinkId,
    /// The key of the wound check that comes of it.
    pub form_key: String,
    pub began: Timestamp,
    pub times: OutTimes,
    /// What the patient said, and when; `None`: nothing yet.
    pub said: Option<(StripAnswer, Timestamp)>,
    pub counted: CountedOut,
    /// The check it became an answer of; `None`: none yet.
    pub check: Option<WoundCheckId>,
}

fn attempt(row: &AnyRow) -> Stored<StripAttempt> {
    let said: Option<StripAnswer> = row.parsed_maybe("said")?;
    let small = |whole: Option<i64>| whole.and_then(|whole| u16::try_from(whole).ok());
    Ok(StripAttempt {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        wound: row.parsed("wound_id")?,
        link: row.parsed("link_id")?,
        form_key: row.text("form_key")?,
        began: row.time("began_ms")?,
        times: OutTimes {
            pill: row.time_maybe("pill_ms")?,
            soak: row.time_maybe("soak_ms")?,
            pull: row.time_maybe("pull_ms")?,
            out: row.time_maybe("out_ms")?,
            press: row.time_maybe("press_ms")?,
            count: row.time_maybe("count_ms")?,
        },
        said: said.zip(row.time_maybe("said_ms")?),
        counted: CountedOut {
            pieces: small(row.whole_maybe("pieces")?).and_then(|pieces| u8::try_from(pieces).ok()),
            length_cm: small(row.whole_maybe("length_cm")?),
        },
        check: row.parsed_maybe("check_id")?,
    })
}

/// A wound's newest try, whichever phone made it; `None`: nobody tried.
pub async fn newest(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Option<StripAttempt>> {
    const SQL: &str = "SELECT * FROM strip_attempt WHERE practice_id = $1 AND wound_id = $2 \
                       ORDER BY began_ms DESC, id DESC LIMIT 1";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(wound.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(attempt)
        .transpose()
}

/// Every try of a wound, oldest first.
pub async fn of_wound(conn: &mut Conn, practice: PracticeId, wound: WoundId) -> Stored<Vec<StripAttempt>> {
    sqlx::query("SELECT * FROM strip_attempt WHERE practice_id = $1 AND wound_id = $2 ORDER BY began_ms, id")
        .bind(practice.to_string())
        .bind(wound.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(attempt)
        .collect()
}

/// Keeps a try as it is now.
pub async fn keep(conn: &mut Conn, attempt: &StripAttempt) -> Stored<()> {
    const SQL: &str = "INSERT INTO strip_attempt (id, practice_id, wound_id, link_id, form_key, began_ms, pill_ms, \
                       soak_ms, pull_ms, out_ms, press_ms, count_ms, said, said_ms, pieces, length_cm, check_id) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17) \
                       ON CONFLICT (id) DO UPDATE SET pill_ms = excluded.pill_ms, soak_ms = excluded.soak_ms, \
                       pull_ms = excluded.pull_ms, out_ms = excluded.out_ms, press_ms = excluded.press_ms, \
                       count_ms = excluded.count_ms, said = excluded.said, said_ms = excluded.said_ms, \
                       pieces = excluded.pieces, length_cm = excluded.length_cm, check_id = excluded.check_id \
                       WHERE strip_attempt.practice_id = excluded.practice_id";
    let ms = |at: Option<Timestamp>| at.map(Timestamp::as_millisecond);
    let OutTimes { pill, soak, pull, out, press, count } = attempt.times;
    sqlx::query(SQL)
        .bind(attempt.id.to_string())
        .bind(attempt.practice.to_string())
        .bind(attempt.wound.to_string())
        .bind(attempt.link.to_string())
        .bind(&attempt.form_key)
        .bind(attempt.began.as_millisecond())
        .bind(ms(pill))
        .bind(ms(soak))
        .bind(ms(pull))
        .bind(ms(out))
        .bind(ms(press))
        .bind(ms(count))
        .bind(attempt.said.map(|(said, _)| said.code().to_owned()))
        .bind(ms(attempt.said.map(|(_, at)| at)))
        .bind(attempt.counted.pieces.map(i64::from))
        .bind(attempt.counted.length_cm.map(i64::from))
        .bind(attempt.check.map(|check| check.to_string()))
        .execute(conn)
        .await?;
    Ok(())
}
