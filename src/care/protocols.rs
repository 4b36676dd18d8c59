//! Which protocol a practice sorts by: the program's, or the last one its leads approved; every version kept for ever.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::must_judge_ranking;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::practices;
use crate::store::protocols;
use crate::store::protocols::KeptProtocol;
use crate::store::protocols::ProtocolOrigin;
use crate::store::staff::StaffMember;
use crate::triage::Protocol;

type ByVersion = HashMap<(PracticeId, String), Arc<Protocol>>;

/// Protocols that were read and checked once; a version never changes.
#[derive(Clone, Debug, Default)]
pub(in crate::care) struct ReadProtocols(Arc<Mutex<ByVersion>>);

impl ReadProtocols {
    fn known(&self, practice: PracticeId, version: &str) -> Option<Arc<Protocol>> {
        let read = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        read.get(&(practice, version.to_owned())).cloned()
    }

    fn remember(&self, practice: PracticeId, protocol: &Arc<Protocol>) {
        let mut read = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        read.insert((practice, protocol.version().to_owned()), Arc::clone(protocol));
    }
}

/// The protocol new checks are sorted by. A practice that never changed anything sorts by the program's own. One that
/// did keeps its version when the program comes with a newer one, until a lead takes that over. A kept version that
/// this program cannot read any more is logged, and the one before stays in force: nothing stays unsorted.
pub async fn in_force(desk: &Desk, conn: &mut Conn, practice: PracticeId) -> Done<Arc<Protocol>> {
    Ok(in_force_and_unreadable(desk, conn, practice).await?.0)
}

/// The protocol in force, and the newer versions that should be and cannot be read.
async fn in_force_and_unreadable(
    desk: &Desk,
    conn: &mut Conn,
    practice: PracticeId,
) -> Done<(Arc<Protocol>, Vec<String>)> {
    let mut unreadable = Vec::new();
    for version in protocols::approved_versions(conn, practice).await? {
        match of_version(desk, conn, practice, &version).await? {
            Some(protocol) => return Ok((protocol, unreadable)),
            None => unreadable.push(version),
        }
    }
    Ok((Arc::clone(&desk.program_protocol), unreadable))
}

/// The protocol of this version; `None`: the practice never sorted by it, or it cannot be read any more.
pub async fn of_version(
    desk: &Desk,
    conn: &mut Conn,
    practice: PracticeId,
    version: &str,
) -> Done<Option<Arc<Protocol>>> {
    if desk.program_protocol.version() == version {
        return Ok(Some(Arc::clone(&desk.program_protocol)));
    }
    if let Some(protocol) = desk.protocols.known(practice, version) {
        return Ok(Some(protocol));
    }
    let Some(kept) = protocols::find(conn, practice, version).await? else { return Ok(None) };
    match Protocol::parse(&kept.text) {
        Ok(protocol) => {
            let protocol = Arc::new(protocol);
            desk.protocols.remember(practice, &protocol);
            Ok(Some(protocol))
        }
        Err(fault) => {
            tracing::error!(%practice, version, %fault, "a kept protocol cannot be read");
            Ok(None)
        }
    }
}

/// Keeps the program's own protocol beside the first check that is sorted by it, so that it stays readable after the
/// program has moved on.
pub(in crate::care) async fn keep_program(
    conn: &mut Conn,
    practice: PracticeId,
    protocol: &Protocol,
    now: Timestamp,
) -> Done<()> {
    if protocols::find(conn, practice, protocol.version()).await?.is_none() {
        let kept = KeptProtocol {
            practice,
            version: protocol.version().to_owned(),
            number: protocols::next_number(conn, practice).await?,
            origin: ProtocolOrigin::Program,
            text: protocol.to_json(),
            in_force: now,
            approvals: Vec::new(),
        };
        protocols::keep(conn, &kept).await?;
    }
    Ok(())
}

/// The protocol in force, the program's own when it is newer than what the practice works from, and every version.
#[derive(Clone, Debug)]
pub struct Shelf {
    pub in_force: Arc<Protocol>,
    /// `None`: the practice sorts by it, or by a change of it.
    pub newer: Option<String>,
    /// Approved versions that this program cannot read, so that an earlier one is in force; empty: all is well.
    pub unreadable: Vec<String>,
    /// Newest first.
    pub kept: Vec<KeptProtocol>,
}

/// The shelf of protocols, for a lead or a surgeon.
pub async fn shelf(desk: &Desk, member: &StaffMember) -> Done<Shelf> {
    must_judge_ranking(member)?;
    let mut conn = desk.db.read().await?;
    let (in_force, unreadable) = in_force_and_unreadable(desk, &mut conn, member.practice).await?;
    let program = desk.program_protocol.version();
    Ok(Shelf {
        newer: (root(in_force.version()) != root(program)).then(|| program.to_owned()),
        kept: protocols::of_practice(&mut conn, member.practice).await?,
        unreadable,
        in_force,
    })
}

/// One version, readable; an error when there is none of that name.
pub async fn read(
    desk: &Desk,
    member: &StaffMember,
    version: &str,
) -> Done<(Arc<Protocol>, Option<KeptProtocol>)> {
    must_judge_ranking(member)?;
    let mut conn = desk.db.read().await?;
    let protocol = of_version(desk, &mut conn, member.practice, version).await?.ok_or(CareError::NotFound)?;
    Ok((protocol, protocols::find(&mut conn, member.practice, version).await?))
}

/// The program's version that a practice's version is a change of: `2` of `2.1`.
pub(in crate::care) fn root(version: &str) -> &str {
    version.split('.').next().unwrap_or(version)
}

/// Held while a version is made, so that two leads cannot make the same one.
pub(in crate::care) async fn hold(conn: &mut Conn, practice: PracticeId) -> Done<()> {
    Ok(practices::hold(conn, practice).await?)
}
