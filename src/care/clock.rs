//! A clock that was set back delays nothing: whatever waits is brought nearer by as much, and an alarm says so.

use jiff::SignedDuration;

use crate::care::Desk;
use crate::care::Done;
use crate::care::ladder::SEEN_TO_WITHIN;
use crate::care::record;
use crate::care::record::Actor;
use crate::guards;
use crate::guards::Guard;
use crate::ids::Moment;
use crate::store::Conn;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::clock;
use crate::store::practices;

/// Clocks of two machines, and one that is kept right, differ by less.
pub const TOLERATED: SignedDuration = SignedDuration::from_secs(5);

/// At the start: was a later time seen before the program ended? How long it was away nobody can tell then, so what waits is
/// brought nearer by the whole difference. Says by how much.
pub async fn at_start(desk: &Desk, moment: &Moment) -> Done<SignedDuration> {
    let mut tx = desk.db.write().await?;
    let back = match clock::seen(&mut tx).await? {
        Some(seen) => seen.duration_since(moment.now),
        None => SignedDuration::ZERO,
    };
    let back = if back > TOLERATED { back } else { SignedDuration::ZERO };
    went_back(&mut tx, back, moment).await?;
    clock::see(&mut tx, moment.now).await?;
    tx.commit().await?;
    Ok(back)
}

/// While it runs: the clock went back by `back`, measured by a clock that nobody sets.
pub async fn set_back(desk: &Desk, back: SignedDuration, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    went_back(&mut tx, back, moment).await?;
    clock::see(&mut tx, moment.now).await?;
    Ok(tx.commit().await?)
}

/// Keeps the time as seen, now and then, for the next start.
pub async fn see(desk: &Desk, moment: &Moment) -> Done<()> {
    let mut tx = desk.db.write().await?;
    clock::see(&mut tx, moment.now).await?;
    Ok(tx.commit().await?)
}

async fn went_back(conn: &mut Conn, back: SignedDuration, moment: &Moment) -> Done<()> {
    if back <= SignedDuration::ZERO || !guards::stands(Guard::ClockSetBack) {
        return Ok(());
    }
    let back_ms = i64::try_from(back.as_millis()).unwrap_or(i64::MAX);
    clock::bring_nearer(conn, back_ms).await?;
    // Older ones are over by either clock.
    clock::bring_stops_nearer(conn, moment.now - SEEN_TO_WITHIN, back_ms).await?;
    for practice in practices::all(conn).await? {
        let subject = format!("practice:{}", practice.id);
        alarms::raise(conn, practice.id, AlarmKind::ClockSetBack, &subject, moment).await?;
        let detail = format!("back_ms={back_ms}");
        record::note(conn, practice.id, Actor::Program, "clock.set_back", &subject, &detail, moment.now)
            .await?;
    }
    Ok(())
}
