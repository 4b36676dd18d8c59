//! Whether books that came out of a back-up are whole: the database, the record, every photo and text, what PINs and
//! apps are known by, and a lead who can sign in.

use crate::care::Done;
use crate::care::pins;
use crate::care::record_head::RecordPublicKey;
use crate::care::record_head::SignedHead;
use crate::care::record_head::WrongHead;
use crate::care::second_step::app;
use crate::care::sign_in::NOBODY_PHC;
use crate::store::Blobs;
use crate::store::Db;
use crate::store::StoreError;
use crate::store::audit;
use crate::store::audit_chain::Flaw;
use crate::store::audit_chain::RecordHead;
use crate::store::keyring::SealFault;
use crate::store::practices;
use crate::store::sealed_blobs;
use crate::store::seals::Seals;
use crate::store::second_steps;
use crate::store::staff;
use crate::store::text_columns;
use crate::store::whole;
use crate::store::whole::Depth;

/// So many photos or texts are looked up at once.
const AT_ONCE: i64 = 500;

/// What the database says of its own pages, or the sums of its rows; `None`: all is well.
pub async fn damage(db: &Db) -> Done<Option<String>> {
    let faults = whole::faults(db, Depth::Whole).await?;
    Ok((!faults.is_empty()).then(|| faults.join("; ")))
}

/// What became of one practice's record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Chain {
    /// Whole, and its last line is the signed one.
    Whole {
        lines: i64,
    },
    Broken(Flaw),
    /// It is whole in itself, and ends with another line than was signed.
    OtherEnd {
        noted: i64,
        signed: i64,
    },
    /// Its head is not believed.
    NotSigned(WrongHead),
    /// The back-up holds no head of it.
    NoHead,
}

/// Every practice's record, by the practice's name, held against the heads of the back-up.
pub async fn records(db: &Db, heads: &[SignedHead], key: &RecordPublicKey) -> Done<Vec<(String, Chain)>> {
    let (mut conn, mut all) = (db.read().await?, Vec::new());
    for practice in practices::all(&mut conn).await? {
        let signed = heads.iter().find(|head| head.practice == practice.id);
        let chain = match signed.map(|head| head.checked(key)) {
            None => Chain::NoHead,
            Some(Err(wrong)) => Chain::NotSigned(wrong),
            Some(Ok(head)) => {
                let read = audit::read_chain(&mut conn, practice.id, std::slice::from_ref(&head)).await?;
                let noted = audit::head(&mut conn, practice.id, head.at).await?;
                match read {
                    Err(flaw) => Chain::Broken(flaw),
                    Ok(lines) if ends_alike(&noted, &head) => Chain::Whole { lines },
                    Ok(_) => Chain::OtherEnd { noted: noted.sequence, signed: head.sequence },
                }
            }
        };
        all.push((practice.name, chain));
    }
    Ok(all)
}

fn ends_alike(noted: &RecordHead, signed: &RecordHead) -> bool {
    (noted.sequence, &noted.sha256) == (signed.sequence, &signed.sha256)
}

/// What opening things came to.
#[derive(Clone, Debug, Default)]
pub struct Opened {
    pub whole: usize,
    /// Sealed with a key that is lost for good.
    pub closed: usize,
    /// What cannot be opened for another reason.
    pub broken: Vec<String>,
}

impl Opened {
    fn note(&mut self, fault: SealFault, lost_keys: &[u32], name: String) {
        match fault {
            SealFault::UnknownKey { version } if lost_keys.contains(&version) => self.closed += 1,
            SealFault::UnknownKey { .. } | SealFault::Broken | SealFault::NoKeys => self.broken.push(name),
        }
    }
}

/// Opens every sealed photo; those that cannot be opened are named by their files.
pub async fn photos(db: &Db, blobs: &Blobs, lost_keys: &[u32]) -> Done<Opened> {
    let mut opened = Opened::default();
    let practices = practices::all(&mut *db.read().await?).await?;
    for practice in practices {
        let mut after = String::new();
        loop {
            let next = sealed_blobs::after(&mut *db.read().await?, practice.id, &after, AT_ONCE).await?;
            let Some(last) = next.last() else { break };
            after = last.name.to_string();
            for kept in next.iter().filter(|kept| kept.key_version > 0) {
                match blobs.open(kept).await {
                    Ok(Some(_)) => opened.whole += 1,
                    Ok(None) => opened.broken.push(kept.file.to_string()),
                    Err(StoreError::Sealed(fault)) => opened.note(fault, lost_keys, kept.file.to_string()),
                    Err(fault) => return Err(fault.into()),
                }
            }
        }
    }
    Ok(opened)
}

/// Opens every sealed text; those that cannot be opened are named by where they stand.
pub async fn texts(db: &Db, seals: &Seals, lost_keys: &[u32]) -> Done<Opened> {
    let mut opened = Opened::default();
    let practices = practices::all(&mut *db.read().await?).await?;
    for (practice, column) in
        practices.iter().flat_map(|practice| text_columns::ALL.iter().map(|column| (practice.id, *column)))
    {
        let mut after = String::new();
        loop {
            let next = text_columns::after(&mut *db.read().await?, practice, column, &after, AT_ONCE).await?;
            let Some(last) = next.last() else { break };
            after = last.row_id.clone();
            for text in next {
                match text.sealed.open(seals, column, &text.sealed_for) {
                    Ok(_) => opened.whole += 1,
                    Err(fault) => {
                        opened.note(fault, lost_keys, format!("{} of {}", column.name, text.row_id));
                    }
                }
            }
        }
    }
    Ok(opened)
}

/// Opens what is mixed into PINs, and the seeds of authenticator apps; those that cannot be opened are named by what they are.
pub async fn for_entering(db: &Db, blobs: &Blobs, lost_keys: &[u32]) -> Done<Opened> {
    let (mut conn, mut opened) = (db.read().await?, Opened::default());
    for practice in practices::all(&mut conn).await? {
        let pepper = practices::sealed_pin_pepper(&mut conn, practice.id).await?;
        let pepper = pepper.map(|sealed| (sealed, pins::about(practice.id)));
        let seeds = second_steps::seeds(&mut conn, practice.id).await?;
        let seeds = seeds.into_iter().map(|(staff, sealed)| (sealed, app::about(staff)));
        for (sealed, about) in pepper.into_iter().chain(seeds) {
            match blobs.unseal(&sealed, &about) {
                Ok(_) => opened.whole += 1,
                Err(StoreError::Sealed(fault)) => opened.note(fault, lost_keys, about),
                Err(fault) => return Err(fault.into()),
            }
        }
    }
    Ok(opened)
}

/// How many active leads there are who have a password.
pub async fn leads(db: &Db) -> Done<usize> {
    let (mut conn, mut many) = (db.read().await?, 0);
    for practice in practices::all(&mut conn).await? {
        for member in staff::of_practice(&mut conn, practice.id).await? {
            if member.active && member.roles.lead {
                let found = staff::credentials(&mut conn, &member.sign_in_name).await?;
                many += usize::from(found.is_some_and(|found| {
                    found.password_phc.starts_with("$argon2id$") && found.password_phc != NOBODY_PHC
                }));
            }
        }
    }
    Ok(many)
}
