//! The record: who did or saw what. Every view and change of a patient's data writes one line of the audit chain.

use std::fmt;

use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::ids::LinkId;
use crate::ids::LookId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::audit;
use crate::store::audit::AuditEntry;
use crate::store::audit_search;
use crate::store::audit_search::Looked;
use crate::store::sealed_codes::Look;
use crate::store::staff;
use crate::store::staff::StaffMember;

/// Who does it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Actor {
    Staff(StaffId),
    Link(LinkId),
    /// Whoever opened the sealed envelope, by the look it gave them.
    Look(LookId),
    Program,
}

impl fmt::Display for Actor {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Actor::Staff(id) => write!(out, "staff:{id}"),
            Actor::Link(id) => write!(out, "link:{id}"),
            Actor::Look(id) => write!(out, "look:{id}"),
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

/// How a look that was noted before is noted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::care) enum Again {
    /// Each time.
    Noted,
    /// It has its line, which says the same.
    Silent,
}

/// What somebody who opened the sealed envelope saw.
#[derive(Clone, Copy, Debug)]
pub(in crate::care) struct Seen<'a> {
    pub(in crate::care) action: &'a str,
    pub(in crate::care) subject: &'a str,
    /// Codes and counts only.
    pub(in crate::care) detail: &'a str,
}

/// The same of whoever opened the sealed envelope.
pub(in crate::care) async fn note_look(
    desk: &Desk,
    look: &Look,
    seen: Seen<'_>,
    again: Again,
    at: Timestamp,
) -> Done<()> {
    let Seen { action, subject, detail } = seen;
    if again == Again::Silent {
        let mut conn = desk.db.read().await?;
        let opening = audit::about(&mut conn, look.practice, &format!("sealed_code:{}", look.code)).await?;
        let actor = Actor::Look(look.id).to_string();
        let since = opening.iter().find(|line| line.actor == actor).map_or(0, |line| line.sequence);
        let line = audit::Note { actor: &actor, action, subject, detail };
        if audit::is_noted_since(&mut conn, look.practice, &line, since).await? {
            return Ok(());
        }
    }
    let mut tx = desk.db.write().await?;
    note(&mut tx, look.practice, Actor::Look(look.id), action, subject, detail, at).await?;
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

/// Notes that a handler fell over, by the reference it is called in the log. `door`: its method and pattern, never an address.
pub async fn note_fell_over(
    desk: &Desk,
    practice: PracticeId,
    reference: &str,
    door: &str,
    at: Timestamp,
) -> Done<()> {
    let (subject, detail) = (format!("reference:{reference}"), format!("door={door}"));
    let mut tx = desk.db.write().await?;
    note(&mut tx, practice, Actor::Program, "server.fell_over", &subject, &detail, at).await?;
    Ok(tx.commit().await?)
}

/// What a lead looks for; what is left empty asks for nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asked {
    /// As lines name who did it: `staff:ID` or `program`.
    pub actor: String,
    /// What actions begin with.
    pub beginnings: Vec<&'static str>,
    pub from: Option<Timestamp>,
    /// The first moment that is too late.
    pub until: Option<Timestamp>,
    /// What tells a patient: the end of their id, or the receipt of a check.
    pub patient: String,
    /// Lines before the one of this number; `None`: from the newest on.
    pub before: Option<i64>,
}

/// What was found.
#[derive(Clone, Debug)]
pub struct Found {
    /// Newest first.
    pub lines: Vec<AuditEntry>,
    /// Everybody who ever worked here: for their names.
    pub staff: Vec<StaffMember>,
    /// Why nothing was looked for.
    pub fault: Option<Fault>,
}

/// Finds lines for the lead, at most `limit`, and notes that they looked, and by what.
pub async fn find(desk: &Desk, lead: &StaffMember, asked: &Asked, limit: i64, now: Timestamp) -> Done<Found> {
    if !lead.roles.lead {
        return Err(CareError::NotAllowed);
    }
    let mut conn = desk.db.read().await?;
    let staff = staff::of_practice(&mut conn, lead.practice).await?;
    let mut looked = Looked {
        actor: asked.actor.clone(),
        beginnings: asked.beginnings.clone(),
        from: asked.from,
        until: asked.until,
        patient: None,
    };
    if !asked.patient.is_empty() {
        let meant = audit_search::patients_meant(&mut conn, lead.practice, &asked.patient).await?;
        looked.patient = match meant[..] {
            [patient] => Some(patient),
            [] => {
                let words = "No patient has this reference. It stands on the patient’s page; at least its six letters.";
                let fault = Some(Fault::new("patient", words));
                return Ok(Found { lines: Vec::new(), staff, fault });
            }
            [..] => {
                let words = "More than one patient can be meant. Enter more of the reference, or the number of a check.";
                let fault = Some(Fault::new("patient", words));
                return Ok(Found { lines: Vec::new(), staff, fault });
            }
        };
    }
    let before = asked.before.unwrap_or(i64::MAX);
    let lines = audit_search::find(&mut conn, lead.practice, &looked, before, limit).await?;
    drop(conn);
    let (subject, detail) = match looked.patient {
        Some(patient) => (format!("patient:{patient}"), asked.told()),
        None => (format!("practice:{}", lead.practice), asked.told()),
    };
    let mut tx = desk.db.write().await?;
    note(&mut tx, lead.practice, Actor::Staff(lead.id), "record.view", &subject, &detail, now).await?;
    tx.commit().await?;
    Ok(Found { lines, staff, fault: None })
}

impl Asked {
    /// By what was looked, in codes.
    fn told(&self) -> String {
        let by = [
            ("person", !self.actor.is_empty()),
            ("kind", !self.beginnings.is_empty()),
            ("days", self.from.is_some() || self.until.is_some()),
            ("patient", !self.patient.is_empty()),
        ];
        let by: Vec<&str> = by.into_iter().filter_map(|(word, is)| is.then_some(word)).collect();
        if by.is_empty() { String::new() } else { format!("by={}", by.join("+")) }
    }
}
