//! Deliveries: one notice on its way to one address, with every try.

use jiff::Timestamp;
use sqlx::any::AnyRow;

use crate::ids::DeliveryId;
use crate::ids::NoticeId;
use crate::ids::PracticeId;
use crate::plan::coded;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::addresses::Reached;
use crate::store::row::Columns;
use crate::words::Language;

coded! {
    /// Where a delivery stands.
    pub enum DeliveryState {
        Waiting = "waiting",
        /// The outside took it.
        Sent = "sent",
        /// The outside says that it arrived. It stops no ladder: a person does.
        Delivered = "delivered",
        /// It cannot be sent.
        Dead = "dead",
    }
}

/// One notice on its way to one address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Delivery {
    pub id: DeliveryId,
    pub practice: PracticeId,
    pub notice: NoticeId,
    pub channel: Reached,
    pub address: String,
    pub language: Language,
    pub subject: String,
    pub body: String,
    pub state: DeliveryState,
    pub tries: i64,
    /// The delivery whose letter carried this one too; `None`: its own.
    pub sent_with: Option<DeliveryId>,
    /// What the outside calls it.
    pub provider_id: Option<String>,
    /// What went wrong the last time; empty: nothing.
    pub why: String,
    pub queued: Timestamp,
    pub sent: Option<Timestamp>,
    pub delivered: Option<Timestamp>,
}

fn delivery(row: &AnyRow) -> Stored<Delivery> {
    Ok(Delivery {
        id: row.parsed("id")?,
        practice: row.parsed("practice_id")?,
        notice: row.parsed("notice_id")?,
        channel: row.parsed("channel")?,
        address: row.text("address")?,
        language: row.parsed("language")?,
        subject: row.text("subject")?,
        body: row.text("body")?,
        state: row.parsed("state")?,
        tries: row.whole("tries")?,
        sent_with: row.parsed_maybe("sent_with")?,
        provider_id: row.text_maybe("provider_id")?,
        why: row.text("why")?,
        queued: row.time("queued_ms")?,
        sent: row.time_maybe("sent_ms")?,
        delivered: row.time_maybe("delivered_ms")?,
    })
}

/// Keeps a new delivery. False: the notice goes to this address already.
pub async fn insert(conn: &mut Conn, delivery: &Delivery) -> Stored<bool> {
    const SQL: &str = "INSERT INTO delivery (id, practice_id, notice_id, channel, address, language, subject, body, state, queued_ms) \
                       VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) ON CONFLICT (notice_id, channel, address) DO NOTHING";
    let kept = sqlx::query(SQL)
        .bind(delivery.id.to_string())
        .bind(delivery.practice.to_string())
        .bind(delivery.notice.to_string())
        .bind(delivery.channel.code())
        .bind(&delivery.address)
        .bind(delivery.language.code())
        .bind(&delivery.subject)
        .bind(&delivery.body)
        .bind(delivery.state.code())
        .bind(delivery.queued.as_millisecond())
        .execute(conn)
        .await?;
    Ok(kept.rows_affected() == 1)
}

pub async fn find(conn: &mut Conn, practice: PracticeId, id: DeliveryId) -> Stored<Option<Delivery>> {
    sqlx::query("SELECT * FROM delivery WHERE practice_id = $1 AND id = $2")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_optional(conn)
        .await?
        .as_ref()
        .map(delivery)
        .transpose()
}

/// Everything that one notice became, in the order of queueing.
pub async fn of_notice(conn: &mut Conn, practice: PracticeId, notice: NoticeId) -> Stored<Vec<Delivery>> {
    sqlx::query("SELECT * FROM delivery WHERE practice_id = $1 AND notice_id = $2 ORDER BY queued_ms, id")
        .bind(practice.to_string())
        .bind(notice.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(delivery)
        .collect()
}

/// Other waiting deliveries that say the same to the same address: one letter carries them all.
pub async fn same_letter(conn: &mut Conn, like: &Delivery) -> Stored<Vec<Delivery>> {
    const SQL: &str = "SELECT * FROM delivery WHERE practice_id = $1 AND channel = $2 AND address = $3 AND body = $4 \
                       AND state = 'waiting' AND id <> $5 ORDER BY queued_ms, id";
    sqlx::query(SQL)
        .bind(like.practice.to_string())
        .bind(like.channel.code())
        .bind(&like.address)
        .bind(&like.body)
        .bind(like.id.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(delivery)
        .collect()
}

/// The outside took it; or, `with` another delivery's letter.
pub async fn note_sent(
    conn: &mut Conn,
    of: &Delivery,
    with: Option<DeliveryId>,
    provider_id: Option<&str>,
    now: Timestamp,
) -> Stored<()> {
    const SQL: &str = "UPDATE delivery SET state = 'sent', sent_ms = $3, provider_id = $4, sent_with = $5, \
                       tries = tries + 1, why = '' WHERE practice_id = $1 AND id = $2 AND state = 'waiting'";
    sqlx::query(SQL)
        .bind(of.practice.to_string())
        .bind(of.id.to_string())
        .bind(now.as_millisecond())
        .bind(provider_id.map(str::to_owned))
        .bind(with.map(|with| with.to_string()))
        .execute(conn)
        .await?;
    Ok(())
}

/// The outside did not take it this time.
pub async fn note_refused(conn: &mut Conn, of: &Delivery, state: DeliveryState, why: &str) -> Stored<()> {
    const SQL: &str = "UPDATE delivery SET state = $3, tries = tries + 1, why = $4 \
                       WHERE practice_id = $1 AND id = $2";
    sqlx::query(SQL)
        .bind(of.practice.to_string())
        .bind(of.id.to_string())
        .bind(state.code())
        .bind(why)
        .execute(conn)
        .await?;
    Ok(())
}

/// The outside says that it arrived. False: it was not sent, or that is known.
pub async fn note_delivered(
    conn: &mut Conn,
    practice: PracticeId,
    id: DeliveryId,
    now: Timestamp,
) -> Stored<bool> {
    const SQL: &str = "UPDATE delivery SET state = 'delivered', delivered_ms = $3 \
                       WHERE practice_id = $1 AND id = $2 AND state = 'sent'";
    let noted = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(id.to_string())
        .bind(now.as_millisecond())
        .execute(conn)
        .await?;
    Ok(noted.rows_affected() == 1)
}

/// The outside had taken it and says now that it did not arrive. False: that is known, or it is on its way again.
pub async fn note_failed(conn: &mut Conn, of: &Delivery, state: DeliveryState, why: &str) -> Stored<bool> {
    const SQL: &str = "UPDATE delivery SET state = $3, why = $4, sent_with = NULL WHERE practice_id = $1 AND id = $2 \
                       AND state IN ('sent', 'delivered')";
    let noted = sqlx::query(SQL)
        .bind(of.practice.to_string())
        .bind(of.id.to_string())
        .bind(state.code())
        .bind(why)
        .execute(conn)
        .await?;
    Ok(noted.rows_affected() == 1)
}

/// A delivery that did not arrive is to be sent once more.
pub async fn wait_again(conn: &mut Conn, practice: PracticeId, id: DeliveryId) -> Stored<()> {
    const SQL: &str =
        "UPDATE delivery SET state = 'waiting' WHERE practice_id = $1 AND id = $2 AND state = 'dead'";
    sqlx::query(SQL).bind(practice.to_string()).bind(id.to_string()).execute(conn).await?;
    Ok(())
}

/// The deliveries that went in another one's letter.
pub async fn carried_by(conn: &mut Conn, practice: PracticeId, id: DeliveryId) -> Stored<Vec<Delivery>> {
    sqlx::query("SELECT * FROM delivery WHERE practice_id = $1 AND sent_with = $2 ORDER BY queued_ms, id")
        .bind(practice.to_string())
        .bind(id.to_string())
        .fetch_all(conn)
        .await?
        .iter()
        .map(delivery)
        .collect()
}

/// A dead delivery waits again, by hand, with all its tries before it. False: it is not dead.
pub async fn revive(conn: &mut Conn, practice: PracticeId, id: DeliveryId) -> Stored<bool> {
    const SQL: &str = "UPDATE delivery SET state = 'waiting', tries = 0 \
                       WHERE practice_id = $1 AND id = $2 AND state = 'dead'";
    let revived = sqlx::query(SQL).bind(practice.to_string()).bind(id.to_string()).execute(conn).await?;
    Ok(revived.rows_affected() == 1)
}

/// Whatever waits since before then is never sent, and why. How many there were.
pub async fn put_aside(conn: &mut Conn, practice: PracticeId, before: Timestamp, why: &str) -> Stored<u64> {
    const SQL: &str = "UPDATE delivery SET state = 'dead', why = $3 WHERE practice_id = $1 AND state = 'waiting' \
                       AND queued_ms < $2";
    let aside = sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(before.as_millisecond())
        .bind(why)
        .execute(conn)
        .await?;
    Ok(aside.rows_affected())
}

/// The newest deliveries in one state.
pub async fn in_state(
    conn: &mut Conn,
    practice: PracticeId,
    state: DeliveryState,
    limit: i64,
) -> Stored<Vec<Delivery>> {
    const SQL: &str = "SELECT * FROM delivery WHERE practice_id = $1 AND state = $2 \
                       ORDER BY queued_ms DESC, id LIMIT $3";
    sqlx::query(SQL)
        .bind(practice.to_string())
        .bind(state.code())
        .bind(limit)
        .fetch_all(conn)
        .await?
        .iter()
        .map(delivery)
        .collect()
}
