//! A change of the protocol: drafted by a lead within the safe ranges, tried on the past, approved by name.

use jiff::Timestamp;

use std::sync::Arc;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::must_judge_ranking;
use crate::care::protocols;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::trial;
use crate::care::trial::Compared;
use crate::care::trial::Findings;
use crate::care::trial::Progress;
use crate::care::trial::TrialState;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::check_counts;
use crate::store::protocols as kept;
use crate::store::protocols::Approval;
use crate::store::protocols::KeptProtocol;
use crate::store::protocols::ProtocolOrigin;
use crate::store::staff::StaffMember;
use crate::triage::Edits;
use crate::triage::Protocol;
use crate::triage::ProtocolFault;

const LONGEST_REASON_CHARS: usize = 500;
/// The version a draft is checked and tried under; never kept.
const DRAFT: &str = "draft";

/// A practice's draft, with its trial's findings.
pub type Draft = kept::ProtocolDraft<Findings>;

/// The draft and what it changes.
#[derive(Clone, Debug)]
pub struct Open {
    pub draft: Draft,
    /// What it changes: the protocol in force, or the program's newer one.
    pub base: Arc<Protocol>,
    /// The base with the draft's edits.
    pub edited: Arc<Protocol>,
    pub in_force: Arc<Protocol>,
    /// How far its trial is; `None`: none was started since this server started.
    pub progress: Option<Progress>,
}

impl Open {
    /// How many leads must say yes: two where it lowers a check that a surgeon had judged urgent. `None`: not tried.
    pub fn leads_needed(&self) -> Option<usize> {
        self.draft.trial.as_ref().map(leads_needed)
    }
}

fn leads_needed(findings: &Findings) -> usize {
    if findings.lowered_urgent > 0 { 2 } else { 1 }
}

/// What a draft may not be.
#[derive(Debug)]
pub enum Kept {
    Yes,
    /// It does not stand as a protocol; everything that is wrong.
    Faulty(ProtocolFault),
}

fn must_lead(member: &StaffMember) -> Done<()> {
    if member.roles.lead { Ok(()) } else { Err(CareError::NotAllowed) }
}

/// The draft, if there is one. Surgeons read it and open the checks it would move; only leads change and approve it.
pub async fn open(desk: &Desk, member: &StaffMember) -> Done<Option<Open>> {
    must_judge_ranking(member)?;
    // Looked at first: a trial that has ended by now has kept its findings with the draft that is read next.
    let progress = desk.trials.progress(member.practice);
    let mut conn = desk.db.read().await?;
    let Some(draft) = kept::draft(&mut conn, member.practice).await? else { return Ok(None) };
    let opened = opened(desk, &mut conn, draft).await?;
    let of = opened.draft.changed;
    Ok(Some(Open { progress: progress.filter(|progress| progress.of == of), ..opened }))
}

async fn opened(desk: &Desk, conn: &mut Conn, draft: Draft) -> Done<Open> {
    let in_force = protocols::in_force(desk, conn, draft.practice).await?;
    // A base that is gone leaves the draft to what is in force now.
    let base = protocols::of_version(desk, conn, draft.practice, &draft.based_on).await?;
    let base = base.unwrap_or_else(|| Arc::clone(&in_force));
    let edited = base.edited(&draft.edits, DRAFT).map_or_else(|_| Arc::clone(&base), Arc::new);
    Ok(Open { draft, base, edited, in_force, progress: None })
}

/// What a new draft would change: the program's newer protocol where `from` names it, otherwise the one in force.
pub async fn base(desk: &Desk, lead: &StaffMember, from: Option<&str>) -> Done<Arc<Protocol>> {
    must_lead(lead)?;
    let mut conn = desk.db.read().await?;
    if from == Some(desk.program_protocol.version()) {
        return Ok(Arc::clone(&desk.program_protocol));
    }
    protocols::in_force(desk, &mut conn, lead.practice).await
}

/// Keeps the draft; its trial and the approvals given to an earlier state of it are gone. Values equal to the base are
/// no edits.
pub async fn keep(
    desk: &Desk,
    lead: &StaffMember,
    based_on: &str,
    edits: &Edits,
    now: Timestamp,
) -> Done<Kept> {
    must_lead(lead)?;
    let mut tx = desk.db.write().await?;
    protocols::hold(&mut tx, lead.practice).await?;
    let base = protocols::of_version(desk, &mut tx, lead.practice, based_on).await?;
    let base = base.ok_or(CareError::NotFound)?;
    let edits = real_edits(&base, edits);
    if let Err(fault) = base.edited(&edits, DRAFT) {
        return Ok(Kept::Faulty(fault));
    }
    let draft = Draft {
        practice: lead.practice,
        based_on: based_on.to_owned(),
        changed_by: lead.id,
        changed: now,
        trial: None,
        approvals: Vec::new(),
        edits,
    };
    kept::keep_draft(&mut tx, &draft).await?;
    let detail = format!("based_on={based_on} {}", edits_text(&base, &draft.edits));
    note(&mut tx, lead, "protocol.draft", &detail, now).await?;
    tx.commit().await?;
    Ok(Kept::Yes)
}

fn real_edits(base: &Protocol, edits: &Edits) -> Edits {
    let moved =
        |(id, value): &&(String, f64)| base.limits().named(id).is_some_and(|limit| limit.value != *value);
    let changed = |(id, class): &&(String, _)| base.rule(id).is_some_and(|rule| rule.urgency != *class);
    Edits {
        limits: edits.limits.iter().filter(moved).cloned().collect(),
        classes: edits.classes.iter().filter(changed).cloned().collect(),
    }
}

/// What the edits change, for the record: `fever_c=38>37.5`.
fn edits_text(base: &Protocol, edits: &Edits) -> String {
    let limits = edits.limits.iter().filter_map(|(id, value)| {
        let limit = base.limits().named(id)?;
        Some(format!("{id}={}>{value}", limit.value))
    });
    let classes = edits.classes.iter().filter_map(|(id, class)| {
        let rule = base.rule(id)?;
        Some(format!("{id}={}>{}", rule.urgency.code(), class.code()))
    });
    limits.chain(classes).collect::<Vec<_>>().join(" ")
}

async fn note(conn: &mut Conn, lead: &StaffMember, action: &str, detail: &str, now: Timestamp) -> Done<()> {
    let subject = format!("practice:{}", lead.practice);
    Ok(record::note(conn, lead.practice, Actor::Staff(lead.id), action, &subject, detail, now).await?)
}

/// Throws the draft away.
pub async fn discard(desk: &Desk, lead: &StaffMember, now: Timestamp) -> Done<()> {
    must_lead(lead)?;
    let mut tx = desk.db.write().await?;
    kept::drop_draft(&mut tx, lead.practice).await?;
    note(&mut tx, lead, "protocol.discard", "", now).await?;
    Ok(tx.commit().await?)
}

/// Starts the trial of the draft in the background; one that runs already goes on.
pub async fn start_trial(desk: &Desk, lead: &StaffMember, now: Timestamp) -> Done<()> {
    must_lead(lead)?;
    let open = open(desk, lead).await?.ok_or(CareError::NotFound)?;
    let all = check_counts::received(&mut *desk.db.read().await?, lead.practice).await?;
    let of = open.draft.changed;
    if !desk.trials.begin(lead.practice, of, u64::try_from(all).unwrap_or(0)) {
        return Ok(());
    }
    let mut tx = desk.db.write().await?;
    note(&mut tx, lead, "protocol.try", &format!("checks={all}"), now).await?;
    tx.commit().await?;
    let (desk, practice) = (desk.clone(), lead.practice);
    let compared = Compared { in_force: open.in_force, draft: open.edited };
    tokio::spawn(async move {
        let state = match finish_trial(&desk, practice, &compared, of).await {
            Ok(()) => TrialState::Finished,
            Err(fault) => {
                tracing::error!(%practice, %fault, "a trial stopped");
                TrialState::Failed
            }
        };
        desk.trials.end(practice, of, state);
    });
    Ok(())
}

/// Runs the trial and keeps its findings with the draft it was run for.
async fn finish_trial(desk: &Desk, practice: PracticeId, compared: &Compared, of: Timestamp) -> Done<()> {
    let Some(findings) = trial::run(desk, practice, compared, of).await? else { return Ok(()) };
    let mut tx = desk.db.write().await?;
    protocols::hold(&mut tx, practice).await?;
    let draft: Option<Draft> = kept::draft(&mut tx, practice).await?;
    if let Some(mut draft) = draft.filter(|draft| draft.changed == of) {
        draft.trial = Some(findings);
        kept::keep_draft(&mut tx, &draft).await?;
    }
    Ok(tx.commit().await?)
}

/// What an approval came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Approved {
    /// In force from now on, under this version.
    InForce(String),
    /// It lowers checks that a surgeon had judged urgent: a second lead must say yes.
    SecondLeadNeeded,
}

/// A lead says yes, with a reason. Only a draft that was tried against what is in force now can be approved.
pub async fn approve(desk: &Desk, lead: &StaffMember, reason: &str, now: Timestamp) -> Done<Approved> {
    must_lead(lead)?;
    let reason = reason.split_whitespace().collect::<Vec<_>>().join(" ");
    let refused = |words: &str| CareError::Entered(vec![Fault::new("reason", words)]);
    if reason.is_empty() {
        return Err(refused("Write why this change is made: it stays in the record with your name."));
    }
    if reason.chars().count() > LONGEST_REASON_CHARS {
        return Err(refused("Write the reason in at most 500 characters."));
    }
    let mut tx = desk.db.write().await?;
    protocols::hold(&mut tx, lead.practice).await?;
    let draft: Draft = kept::draft(&mut tx, lead.practice).await?.ok_or(CareError::NotFound)?;
    let mut open = opened(desk, &mut tx, draft).await?;
    let Some(findings) = &open.draft.trial else {
        return Err(refused("Try the draft on the stored checks first."));
    };
    if findings.against != open.in_force.version() {
        return Err(refused(
            "Another protocol came into force meanwhile: keep the draft again and try it again.",
        ));
    }
    if open.draft.approvals.iter().any(|approval| approval.by == lead.id) {
        return Err(refused("You have approved it already: a second lead must say yes."));
    }
    let needed = leads_needed(findings);
    open.draft.approvals.push(Approval { by: lead.id, at: now, reason: reason.clone() });
    let approved = if open.draft.approvals.len() < needed {
        kept::keep_draft(&mut tx, &open.draft).await?;
        Approved::SecondLeadNeeded
    } else {
        Approved::InForce(put_in_force(&mut tx, &open, now).await?)
    };
    let version = match &approved {
        Approved::InForce(version) => version.as_str(),
        Approved::SecondLeadNeeded => "waits_for_second_lead",
    };
    let changed = edits_text(&open.base, &open.draft.edits);
    let detail = format!("version={version} based_on={} {changed} reason={reason}", open.draft.based_on);
    note(&mut tx, lead, "protocol.approve", &detail, now).await?;
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(approved)
}

async fn put_in_force(conn: &mut Conn, open: &Open, now: Timestamp) -> Done<String> {
    let practice = open.draft.practice;
    let versions = kept::of_practice(conn, practice).await?;
    let own = versions.iter().filter(|kept| kept.origin == ProtocolOrigin::Practice).count();
    let version = format!("{}.{}", protocols::root(open.base.version()), own + 1);
    let edited = open.base.edited(&open.draft.edits, &version);
    let protocol =
        edited.map_err(|fault| CareError::Entered(vec![Fault::new("reason", fault.to_string())]))?;
    let row = KeptProtocol {
        practice,
        version: version.clone(),
        number: kept::next_number(conn, practice).await?,
        origin: ProtocolOrigin::Practice,
        text: protocol.to_json(),
        in_force: now,
        approvals: open.draft.approvals.clone(),
    };
    kept::keep(conn, &row).await?;
    kept::drop_draft(conn, practice).await?;
    Ok(version)
}
