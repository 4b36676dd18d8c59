//! Whether books that came out of a back-up are whole: the database, the record, every photo and text, and a lead who can sign in.

use crate::care::Done;
use crate::care::record_head::RecordPublicKey;
use crate::care::record_head::SignedHead;
use crate::care::record_head::WrongHead;
use crate::care::sign_in::NOBODY_PHC;
use crate::store::Blobs;
use crate::store::Db;
use crate::store::StoreError;
use crate::store::audit;
use crate::store::audit_chain::Flaw;
use crate::store::audit_chain::RecordHead;
use crate::store::books;
use crate::store::practices;
use crate::store::sealed_blobs;
use crate::store::seals::Seals;
use crate::store::staff;
use crate::store::text_columns;

/// So many photos or texts are looked up at once.
const AT_ONCE: i64 = 500;

/// What the database says of its own pages; `None`: all is well.
pub async fn damage(db: &Db) -> Done<Option<String>> {
    Ok(books::damage(&mut *db.read().await?, db.engine()).await?)
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

/// Opens every sealed photo. How many could be, and the names of the files that could not.
pub async fn photos(db: &Db, blobs: &Blobs) -> Done<(usize, Vec<String>)> {
    let (mut whole, mut broken) = (0, Vec::new());
    let practices = practices::all(&mut *db.read().await?).await?;
    for practice in practices {
        let mut after = String::new();
        loop {
            let next = sealed_blobs::after(&mut *db.read().await?, practice.id, &after, AT_ONCE).await?;
            let Some(last) = next.last() else { break };
            after = last.name.to_string();
            for kept in next.iter().filter(|kept| kept.key_version > 0) {
                match blobs.open(kept).await {
                    Ok(Some(_)) => whole += 1,
                    Ok(None) | Err(StoreError::Sealed(_)) => broken.push(kept.file.to_string()),
                    Err(fault) => return Err(fault.into()),
                }
            }
        }
    }
    Ok((whole, broken))
}

/// Opens every sealed text. How many could be, and where those stand that could not.
pub async fn texts(db: &Db, seals: &Seals) -> Done<(usize, Vec<String>)> {
    let (mut whole, mut broken) = (0, Vec::new());
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
                    Ok(_) => whole += 1,
                    Err(_) => broken.push(format!("{} of {}", column.name, text.row_id)),
                }
            }
        }
    }
    Ok((whole, broken))
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
