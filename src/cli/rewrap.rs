//! `closewatch keys rewrap`: everything that is sealed stays as it is, and its own key is wrapped by the newest one, while the server
//! works.

use crate::care::pins;
use crate::care::sealing_keys;
use crate::care::second_step::app;
use crate::cli::Failure;
use crate::cli::keys;
use crate::config::Settings;
use crate::ids::Chance;
use crate::ids::PracticeId;
use crate::store::Db;
use crate::store::keyring::KeyRing;
use crate::store::practices;
use crate::store::sealed_blobs;
use crate::store::seals::Seals;
use crate::store::second_steps;
use crate::store::text_columns;
use crate::store::text_columns::TextColumn;

/// So many wraps are made anew in one transaction: nobody waits for it.
const AT_ONCE: i64 = 200;

pub async fn run(settings: &Settings) -> Result<(), Failure> {
    let path = settings.sealing_keys();
    let (_, ring) = keys::read(&path)?;
    let db = Db::open(&settings.database_url()).await?;
    keys::servers_must_have(&db, &path, ring.newest()).await?;
    let seals = Seals::new(ring.clone(), Chance::OperatingSystem, None);
    let mut done = Rewrapped::default();
    let counted = sealing_keys::counted(&mut *db.read().await?).await?;
    for practice in counted.into_iter().map(|counted| counted.practice) {
        done += rewrap_photos(&db, practice, &ring).await?;
        done += rewrap_seeds(&db, practice, &ring).await?;
        for column in text_columns::ALL {
            done += rewrap_texts(&db, practice, column, &seals).await?;
        }
        done += rewrap_pepper(&db, practice, &ring).await?;
    }
    db.close().await;
    println!("{} keys were wrapped anew by key {}.", done.many, ring.newest());
    if done.closed > 0 {
        println!(
            "{} photos, texts or seeds cannot be opened with these keys and were left as they are.",
            done.closed
        );
    }
    Ok(())
}

/// What wrapping anew came to.
#[derive(Clone, Copy, Debug, Default)]
struct Rewrapped {
    many: i64,
    /// Sealed with a key that is not there, or damaged.
    closed: i64,
}

impl std::ops::AddAssign for Rewrapped {
    fn add_assign(&mut self, more: Rewrapped) {
        self.many += more.many;
        self.closed += more.closed;
    }
}

async fn rewrap_photos(db: &Db, practice: PracticeId, ring: &KeyRing) -> Result<Rewrapped, Failure> {
    let (mut after, mut done) = (String::new(), Rewrapped::default());
    loop {
        let mut tx = db.write().await?;
        let blobs = sealed_blobs::after(&mut tx, practice, &after, AT_ONCE).await?;
        let Some(last) = blobs.last().map(|blob| blob.name.to_string()) else { return Ok(done) };
        for blob in blobs.iter().filter(|blob| blob.key_version > 0) {
            match ring.rewrap(&blob.wrapped_key, blob.name.as_str(), &Chance::OperatingSystem) {
                Ok(Some(wrapped)) => {
                    let set = sealed_blobs::set_key(&mut tx, practice, blob, ring.newest(), &wrapped).await?;
                    done.many += i64::from(set);
                }
                Ok(None) => {}
                Err(_) => done.closed += 1,
            }
        }
        tx.commit().await?;
        after = last;
    }
}

async fn rewrap_seeds(db: &Db, practice: PracticeId, ring: &KeyRing) -> Result<Rewrapped, Failure> {
    let mut tx = db.write().await?;
    let mut done = Rewrapped::default();
    for (staff, seed) in second_steps::seeds(&mut tx, practice).await? {
        match ring.rewrapped(&seed, &app::about(staff), &Chance::OperatingSystem) {
            Ok(Some(rewrapped)) => {
                second_steps::reseal(&mut tx, practice, staff, &seed, &rewrapped).await?;
                done.many += 1;
            }
            Ok(None) => {}
            Err(_) => done.closed += 1,
        }
    }
    tx.commit().await?;
    Ok(done)
}

async fn rewrap_texts(
    db: &Db,
    practice: PracticeId,
    column: &TextColumn,
    seals: &Seals,
) -> Result<Rewrapped, Failure> {
    let (mut after, mut done) = (String::new(), Rewrapped::default());
    loop {
        let mut tx = db.write().await?;
        let texts = text_columns::after(&mut tx, practice, column, &after, AT_ONCE).await?;
        let Some(last) = texts.last().map(|text| text.row_id.clone()) else { return Ok(done) };
        for text in texts {
            match text.sealed.rewrapped(seals, column, &text.sealed_for) {
                Ok(Some(sealed)) => {
                    let replaced = text_columns::replace(&mut tx, practice, column, &text, sealed).await?;
                    done.many += i64::from(replaced);
                }
                Ok(None) => {}
                Err(_) => done.closed += 1,
            }
        }
        tx.commit().await?;
        after = last;
    }
}

async fn rewrap_pepper(db: &Db, practice: PracticeId, ring: &KeyRing) -> Result<Rewrapped, Failure> {
    let mut done = Rewrapped::default();
    let mut tx = db.write().await?;
    let Some(sealed) = practices::sealed_pin_pepper(&mut tx, practice).await? else { return Ok(done) };
    match ring.rewrapped(&sealed, &pins::about(practice), &Chance::OperatingSystem) {
        Ok(Some(rewrapped)) => {
            let replaced = practices::replace_pin_pepper(&mut tx, practice, &sealed, &rewrapped).await?;
            done.many += i64::from(replaced);
        }
        Ok(None) => {}
        Err(_) => done.closed += 1,
    }
    tx.commit().await?;
    Ok(done)
}
