//! How old the last back-up is, and the last proof that one can be restored; and books that came out of one: they are held
//! until somebody arms them.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::keeping;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::sha256_hex;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::Db;
use crate::store::canary;
use crate::store::deliveries;
use crate::store::jobs;
use crate::store::ladders;
use crate::store::notices;
use crate::store::practices;
use crate::store::server;
use crate::store::server::Noted;

/// A back-up older than this is an alarm (B4): a night, and two hours for being late.
pub const BACKUP_OLD: SignedDuration = SignedDuration::from_hours(26);
/// A back-up that nobody restored for this long is an alarm (B4): once a month.
pub const PROOF_OLD: SignedDuration = SignedDuration::from_hours(24 * 35);

/// What is known of back-ups.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Backups {
    /// Somebody else makes them: none is missed.
    pub elsewhere: bool,
    /// Since when there is anything to back up; `None`: the server was never started.
    pub first_start: Option<Timestamp>,
    /// As of when the books stand in the last one; `None`: none was made.
    pub last: Option<Timestamp>,
    /// When one was last proved to be restorable; `None`: never.
    pub proved: Option<Timestamp>,
    /// Nothing is sent since; `None`: the server is armed.
    pub held: Option<Timestamp>,
}

impl Backups {
    pub async fn read(conn: &mut Conn) -> Done<Backups> {
        Ok(Backups {
            elsewhere: server::noted(conn, Noted::BackupsElsewhere).await?.is_some(),
            first_start: server::noted(conn, Noted::FirstStart).await?,
            last: server::noted(conn, Noted::LastBackup).await?,
            proved: server::noted(conn, Noted::LastRestoreProof).await?,
            held: server::noted(conn, Noted::Held).await?,
        })
    }

    /// The last back-up is too old; before the first, the server has run for too long without.
    pub fn is_old(&self, now: Timestamp) -> bool {
        !self.elsewhere && is_older(self.last.or(self.first_start), BACKUP_OLD, now)
    }

    /// It is too long since a back-up was proved to be restorable.
    pub fn is_unproved(&self, now: Timestamp) -> bool {
        !self.elsewhere && is_older(self.proved.or(self.first_start), PROOF_OLD, now)
    }
}

fn is_older(since: Option<Timestamp>, limit: SignedDuration, now: Timestamp) -> bool {
    since.is_some_and(|since| now.duration_since(since) > limit)
}

/// Notes the first start of the server: from then on back-ups are missed. Where they are made by other means, none ever is.
pub async fn note_start(desk: &Desk, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    server::note_first_start(&mut tx, now).await?;
    if desk.vitals.machine().backups_elsewhere {
        server::note(&mut tx, Noted::BackupsElsewhere, now).await?;
    } else {
        server::forget(&mut tx, Noted::BackupsElsewhere).await?;
    }
    Ok(tx.commit().await?)
}

/// Whoever restored a back-up elsewhere tells its code. When that back-up was made; `None`: it is in none of ours.
pub async fn prove(db: &Db, code: &str, now: Timestamp) -> Done<Option<Timestamp>> {
    let mut tx = db.write().await?;
    let code: String = code.chars().filter(char::is_ascii_alphanumeric).collect();
    let Some(taken) = server::proof(&mut tx, &sha256_hex(&code.to_uppercase())).await? else {
        return Ok(None);
    };
    server::note(&mut tx, Noted::LastRestoreProof, now).await?;
    note_everywhere(&mut tx, "backup.prove", "", now).await?;
    tx.commit().await?;
    Ok(Some(taken))
}

/// The books that came out of a back-up were found whole: that is a proof too.
pub async fn note_restored(db: &Db, taken: Timestamp, now: Timestamp) -> Done<()> {
    let mut tx = db.write().await?;
    server::note(&mut tx, Noted::LastRestoreProof, now).await?;
    let detail = format!("taken_ms={}", taken.as_millisecond());
    note_everywhere(&mut tx, "server.restore", &detail, now).await?;
    Ok(tx.commit().await?)
}

/// Since when nothing is sent; `None`: everything is.
pub async fn held(conn: &mut Conn) -> Done<Option<Timestamp>> {
    Ok(server::noted(conn, Noted::Held).await?)
}

/// When the books came out of a back-up, and as of when they stood in it. What was open then may have been dealt with since.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Restored {
    pub at: Timestamp,
    pub from: Timestamp,
}

/// `None`: these books never came out of a back-up.
pub async fn restored(conn: &mut Conn) -> Done<Option<Restored>> {
    let (at, from) =
        (server::noted(conn, Noted::Restored).await?, server::noted(conn, Noted::RestoredFrom).await?);
    Ok(at.zip(from).map(|(at, from)| Restored { at, from }))
}

/// What arming put aside, all practices together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Armed {
    /// Letters and notices from before the restore that waited: they are never sent.
    pub letters: u64,
    /// Ladders that ran when the back-up was made: what they were about begins anew with the next look.
    pub ladders: u64,
}

/// Lets the server send again. What waits from before the restore is put aside, for nobody knows what of it was sent since the
/// back-up; the watch looks at everything that is open, and begins anew what must be. What came while it was held goes its
/// way. `None`: nothing is held.
pub async fn arm(db: &Db, moment: &Moment) -> Done<Option<Armed>> {
    let mut tx = db.write().await?;
    let Some(held) = held(&mut tx).await? else { return Ok(None) };
    let mut every: Vec<PracticeId> =
        practices::all(&mut tx).await?.iter().map(|practice| practice.id).collect();
    every.extend(canary::practice(&mut tx).await?);
    let mut armed = Armed::default();
    for practice in every {
        let why = "waited when the back-up was made";
        let letters = deliveries::put_aside(&mut tx, practice, held, why).await?;
        let notices = notices::put_aside(&mut tx, practice, held).await?;
        jobs::put_aside(&mut tx, practice, held, moment.now).await?;
        let mut running = ladders::all_running(&mut tx, practice).await?;
        running.retain(|ladder| ladder.begun < held);
        for ladder in &running {
            ladders::replace(&mut tx, ladder, moment.now).await?;
        }
        armed.letters += letters + notices;
        armed.ladders += running.len() as u64;
        keeping::wait(&mut tx, practice, "restored", moment).await?;
    }
    server::forget(&mut tx, Noted::Held).await?;
    let detail = format!("held_since_ms={} letters={}", held.as_millisecond(), armed.letters);
    note_everywhere(&mut tx, "server.arm", &detail, moment.now).await?;
    tx.commit().await?;
    Ok(Some(armed))
}

async fn note_everywhere(conn: &mut Conn, action: &str, detail: &str, now: Timestamp) -> Done<()> {
    for practice in practices::all(conn).await? {
        let subject = format!("practice:{}", practice.id);
        record::note(conn, practice.id, Actor::Program, action, &subject, detail, now).await?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn a_back_up_is_old_after_26_hours_and_a_server_without_one_26_hours_after_its_first_start() {
        let started = Some(at("2026-03-01T08:00:00Z"));
        let none = Backups { first_start: started, ..Backups::default() };
        assert!(!none.is_old(at("2026-03-02T10:00:00Z")));
        assert!(none.is_old(at("2026-03-02T10:00:01Z")));
        let one = Backups { last: Some(at("2026-03-05T01:00:00Z")), ..none };
        assert!(!one.is_old(at("2026-03-06T03:00:00Z")));
        assert!(one.is_old(at("2026-03-06T03:00:01Z")));
        assert!(!Backups::default().is_old(at("2036-03-06T03:00:01Z")), "never started");
        let elsewhere = Backups { elsewhere: true, ..none };
        assert!(
            !elsewhere.is_old(at("2036-03-06T03:00:01Z"))
                && !elsewhere.is_unproved(at("2036-03-06T03:00:01Z"))
        );
    }

    #[test]
    fn a_proof_is_old_after_35_days() {
        let none = Backups { first_start: Some(at("2026-03-01T08:00:00Z")), ..Backups::default() };
        assert!(!none.is_unproved(at("2026-04-05T08:00:00Z")));
        assert!(none.is_unproved(at("2026-04-05T08:00:01Z")));
        let proved = Backups { proved: Some(at("2026-04-01T08:00:00Z")), ..none };
        assert!(!proved.is_unproved(at("2026-05-06T08:00:00Z")));
        assert!(proved.is_unproved(at("2026-05-06T08:00:01Z")));
    }
}
