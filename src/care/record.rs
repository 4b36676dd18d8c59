//! The record: who did or saw what. Every view and change of a patient's data writes one line of the audit chain.

use std::fmt;

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::ids::LinkId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::audit;
use crate::store::audit::AuditEntry;
use crate::store::staff::StaffMember;

/// Who does it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Actor {
    Staff(StaffId),
    Link(LinkId),
    Program,
}

impl fmt::Display for Actor {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Actor::Staff(id) => write!(out, "staff:{id}"),
            Actor::Link(id) => write!(out, "link:{id}"),
            Actor::Program => out.write_str("program"),
        }
    }
}

/// Notes one line inside the transaction of what it tells of. `subject` as `kind:ID`; `detail` holds codes and counts
/// only.
pub(in crate::care) async fn note(
    conn: &mut Conn,
    practice: PracticeId,
    actor: Actor,
    action: &str,
    subject: &str,
    detail: &str,
    at: Timestamp,
) -> Stored<()> {
    let actor = actor.to_string();
    audit::append(conn, practice, &audit::Note { actor: &actor, action, subject, detail }, at).await
}

/// Notes that a staff member saw something, in a transaction of its own.
pub(in crate::care) async fn note_view(
    desk: &Desk,
    member: &StaffMember,
    action: &str,
    subject: &str,
    at: Timestamp,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    note(&mut tx, member.practice, Actor::Staff(member.id), action, subject, "", at).await?;
    Ok(tx.commit().await?)
}

/// Notes that a staff member opened a list of the practice's patients.
pub(in crate::care) async fn note_list_view(
    desk: &Desk,
    member: &StaffMember,
    action: &str,
    at: Timestamp,
) -> Done<()> {
    note_view(desk, member, action, &format!("practice:{}", member.practice), at).await
}

/// The newest lines of the practice's record, for the lead.
pub async fn newest(desk: &Desk, lead: &StaffMember, limit: i64) -> Done<Vec<AuditEntry>> {
    if !lead.roles.lead {
        return Err(CareError::NotAllowed);
    }
    Ok(audit::newest(&mut *desk.db.read().await?, lead.practice, limit).await?)
}
