//! Which sealing keys the books need, and which the servers work with: so that no key is made, and none taken out, that would leave
//! something closed.

use std::collections::BTreeMap;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::pins;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::canary;
use crate::store::keyring::KeyRing;
use crate::store::practices;
use crate::store::sealed_blobs;
use crate::store::sealing_servers;
use crate::store::sealing_servers::SealingServer;
use crate::store::second_steps;
use crate::store::server;
use crate::store::text_columns;

/// A server that noted itself within this time runs; it does so every half minute.
pub const RUNS_WITHIN: SignedDuration = SignedDuration::from_secs(120);
/// Servers that ended without a word are forgotten after this long.
const FORGOTTEN_AFTER: SignedDuration = SignedDuration::from_hours(24);
/// Photos of each practice that keys are tried on.
const TRIED: i64 = 20;

/// What a practice has that is sealed: how much each key's version opens.
#[derive(Clone, Debug)]
pub struct Counted {
    pub practice: PracticeId,
    pub name: String,
    /// Photos, the seeds of second steps, and what is mixed into PINs. 0: from before anything was sealed.
    pub objects: Vec<(u32, i64)>,
    /// 0: something that is no sealed text any more.
    pub texts: Vec<(u32, i64)>,
}

impl Counted {
    pub fn opened_by(&self, version: u32) -> i64 {
        let all = self.objects.iter().chain(&self.texts);
        all.filter(|(used, _)| *used == version).map(|(_, many)| many).sum()
    }

    fn versions(&self) -> impl Iterator<Item = u32> {
        self.objects.iter().chain(&self.texts).map(|(version, _)| *version).filter(|version| *version > 0)
    }
}

/// Every practice, and the canary's.
pub async fn counted(conn: &mut Conn) -> Done<Vec<Counted>> {
    let known = practices::all(conn).await?;
    let mut named: Vec<(PracticeId, String)> =
        known.into_iter().map(|practice| (practice.id, practice.name)).collect();
    if let Some(canary) = canary::practice(conn).await? {
        named.push((canary, "The canary".to_owned()));
    }
    let mut all = Vec::new();
    for (practice, name) in named {
        let mut objects = sealed_blobs::count_by_key(conn, practice).await?;
        let seeds = second_steps::seeds(conn, practice).await?;
        let pepper = practices::sealed_pin_pepper(conn, practice).await?;
        for sealed in seeds.into_iter().map(|(_, seed)| seed).chain(pepper) {
            let version = KeyRing::version_of(&sealed).unwrap_or(0);
            match objects.iter_mut().find(|(used, _)| *used == version) {
                Some((_, many)) => *many += 1,
                None => objects.push((version, 1)),
            }
        }
        let texts = text_columns::count_by_key(conn, practice).await?;
        all.push(Counted { practice, name, objects, texts });
    }
    Ok(all)
}

/// The versions of all keys that something in the books is sealed with, the oldest first.
pub async fn needed(conn: &mut Conn) -> Done<Vec<u32>> {
    let mut versions: Vec<u32> = counted(conn).await?.iter().flat_map(Counted::versions).collect();
    versions.sort_unstable();
    versions.dedup();
    Ok(versions)
}

/// The newest key that the books name: something is sealed with it, a copy of it was shown, or a server worked with it. `None`:
/// nothing was ever sealed here, and the first key may be made.
pub async fn newest_named(conn: &mut Conn) -> Done<Option<u32>> {
    let sealed = needed(conn).await?.last().copied();
    let noted = [server::keys_copied(conn).await?, sealing_servers::newest_key(conn).await?];
    Ok(noted.into_iter().flatten().chain(sealed).max())
}

/// The version of a key that opens nothing of what is tried though it was sealed with that version: the key of another file. `None`:
/// each opens something, or there is nothing to try them on. One thing that is damaged makes no other key.
pub async fn of_another_file(conn: &mut Conn, ring: &KeyRing) -> Done<Option<u32>> {
    let mut opens: BTreeMap<u32, bool> = BTreeMap::new();
    for practice in practices::all(conn).await? {
        let pepper = practices::sealed_pin_pepper(conn, practice.id).await?;
        let pepper = pepper.map(|pepper| {
            (KeyRing::version_of(&pepper).unwrap_or(0), ring.open(&pepper, &pins::about(practice.id)).is_ok())
        });
        let photos = sealed_blobs::after(conn, practice.id, "", TRIED)
            .await?
            .into_iter()
            .map(|blob| (blob.key_version, ring.unwraps(&blob.wrapped_key, blob.name.as_str())));
        for (version, is_open) in photos.chain(pepper) {
            *opens.entry(version).or_default() |= is_open;
        }
    }
    Ok(opens
        .into_iter()
        .find(|(version, is_open)| ring.holds(*version) && !is_open)
        .map(|(version, _)| version))
}

/// Who works on the books beside a server.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beside {
    /// No other server can: whichever noted itself before has ended.
    Nobody,
    /// Others may.
    Others,
}

/// A server notes the newest key it works with.
pub async fn note_server(desk: &Desk, name: &str, beside: Beside, now: Timestamp) -> Done<()> {
    let server = SealingServer { name: name.to_owned(), key_version: desk.blobs.newest_key(), noted: now };
    let since = match beside {
        Beside::Nobody => now,
        Beside::Others => now - FORGOTTEN_AFTER,
    };
    let mut tx = desk.db.write().await?;
    sealing_servers::note(&mut tx, &server, since).await?;
    Ok(tx.commit().await?)
}

/// A server ends.
pub async fn forget_server(desk: &Desk, name: &str) -> Done<()> {
    let mut tx = desk.db.write().await?;
    sealing_servers::forget(&mut tx, name).await?;
    Ok(tx.commit().await?)
}

/// The key of a server that runs now and works with another one than `newest`; `None`: all that run work with that one.
pub async fn other_in_use(conn: &mut Conn, newest: u32, now: Timestamp) -> Done<Option<u32>> {
    let servers = sealing_servers::all(conn).await?;
    let runs = |server: &SealingServer| now.duration_since(server.noted).abs() < RUNS_WITHIN;
    Ok(servers.into_iter().filter(runs).map(|server| server.key_version).find(|version| *version != newest))
}
