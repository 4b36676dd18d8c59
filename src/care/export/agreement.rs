//! Everything of a practice leaves the house only by two people: a lead asks, another lead or a surgeon agrees within a day,
//! and a code that works once is used on the server. Everybody is told.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::Secret;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::secrets;
use crate::care::secrets::sha256_hex;
use crate::ids::ExportAgreementId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::export_agreements;
use crate::store::export_agreements::ExportAgreement;
use crate::store::practices;
use crate::store::staff;
use crate::store::staff::StaffMember;

/// From the asking on, for agreeing and for taking.
pub const WITHIN: SignedDuration = SignedDuration::from_hours(24);
/// Past ones on the page.
const SHOWN: i64 = 20;

/// What the page shows.
#[derive(Clone, Debug)]
pub struct Board {
    /// Newest first.
    pub agreements: Vec<ExportAgreement>,
    pub staff: Vec<StaffMember>,
}

impl Board {
    /// Somebody of the practice by name.
    pub fn name_of(&self, id: StaffId) -> &str {
        self.staff.iter().find(|member| member.id == id).map_or("somebody", |member| member.name.as_str())
    }

    /// Whoever asked for it still works here: only then can somebody agree.
    pub fn asker_is_here(&self, agreement: &ExportAgreement) -> bool {
        self.staff.iter().any(|member| member.id == agreement.asked_by && member.active)
    }
}

/// Leads and surgeons.
pub fn may_agree(member: &StaffMember) -> bool {
    member.roles.lead || member.roles.surgeon
}

/// What was asked for and agreed to. Leads and surgeons see it.
pub async fn board(desk: &Desk, member: &StaffMember) -> Done<Board> {
    if !may_agree(member) {
        return Err(CareError::NotAllowed);
    }
    let mut conn = desk.db.read().await?;
    Ok(Board {
        agreements: export_agreements::newest(&mut conn, member.practice, SHOWN).await?,
        staff: staff::of_practice(&mut conn, member.practice).await?,
    })
}

/// A lead asks. Refused while there is nobody else who could agree, which is noted, and while another one is open.
pub async fn ask(desk: &Desk, lead: &StaffMember, moment: &Moment) -> Done<ExportAgreementId> {
    if !lead.roles.lead {
        return Err(CareError::NotAllowed);
    }
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, lead.practice).await?;
    let everyone = staff::of_practice(&mut tx, lead.practice).await?;
    if !everyone.iter().any(|one| one.active && one.id != lead.id && may_agree(one)) {
        let whose = (Actor::Staff(lead.id), format!("practice:{}", lead.practice));
        note_refused(&mut tx, lead.practice, whose, "alone", moment.now).await?;
        tx.commit().await?;
        let words = "This needs a second person: another lead or a surgeon of the practice, with a sign-in of their own.";
        return Err(CareError::Entered(vec![Fault::new("export", words)]));
    }
    let newest = export_agreements::newest(&mut tx, lead.practice, 1).await?;
    if newest.iter().any(|one| one.is_open(moment.now)) {
        let words = "One is open already. Use it, or take it back first.";
        return Err(CareError::Entered(vec![Fault::new("export", words)]));
    }
    let agreement = ExportAgreement {
        id: ExportAgreementId::mint(moment),
        practice: lead.practice,
        asked_by: lead.id,
        asked: moment.now,
        until: moment.now + WITHIN,
        agreed: None,
        taken: None,
        withdrawn: None,
    };
    export_agreements::insert(&mut tx, &agreement).await?;
    let subject = format!("export:{}", agreement.id);
    alarms::raise(&mut tx, lead.practice, AlarmKind::ExportAsked, &subject, moment).await?;
    record::note(&mut tx, lead.practice, Actor::Staff(lead.id), "export.ask", &subject, "", moment.now)
        .await?;
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(agreement.id)
}

/// A second person agrees. The code is shown to them once, and works once, on the server. Refused, and noted, where whoever
/// asked is here no longer: then it would be one person alone.
pub async fn agree(
    desk: &Desk,
    member: &StaffMember,
    id: ExportAgreementId,
    moment: &Moment,
) -> Done<Secret> {
    if !may_agree(member) {
        return Err(CareError::NotAllowed);
    }
    let code = secrets::typed_code(&moment.chance);
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, member.practice).await?;
    let found = export_agreements::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    if found.asked_by == member.id {
        return Err(CareError::NotAllowed);
    }
    let everyone = staff::of_practice(&mut tx, member.practice).await?;
    let asker_is_here = everyone.iter().any(|one| one.id == found.asked_by && one.active);
    if found.is_open(moment.now) && found.agreed.is_none() && !asker_is_here {
        let whose = (Actor::Staff(member.id), format!("export:{id}"));
        note_refused(&mut tx, member.practice, whose, "asker_gone", moment.now).await?;
        tx.commit().await?;
        let words = "Whoever asked has been switched off since. Take it back; a lead who is here asks again if it is still wanted.";
        return Err(CareError::Entered(vec![Fault::new("export", words)]));
    }
    let (practice, hash) = (member.practice, sha256_hex(code.reveal()));
    if !export_agreements::agree(&mut tx, practice, id, member.id, &hash, moment.now).await? {
        return Err(CareError::AlreadyDone);
    }
    let subject = format!("export:{id}");
    record::note(&mut tx, practice, Actor::Staff(member.id), "export.agree", &subject, "", moment.now)
        .await?;
    tx.commit().await?;
    desk.tell(practice);
    Ok(code)
}

/// A lead or a surgeon takes back what was asked for or agreed to, whoever it was.
pub async fn withdraw(desk: &Desk, member: &StaffMember, id: ExportAgreementId, now: Timestamp) -> Done<()> {
    if !may_agree(member) {
        return Err(CareError::NotAllowed);
    }
    let mut tx = desk.db.write().await?;
    export_agreements::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    if !export_agreements::withdraw(&mut tx, member.practice, id, now).await? {
        return Err(CareError::AlreadyDone);
    }
    let subject = format!("export:{id}");
    record::note(&mut tx, member.practice, Actor::Staff(member.id), "export.withdraw", &subject, "", now)
        .await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// The code is used, on the server, and everybody is told that everything is taken out. `None`: no code of this practice that is
/// open; it is not said which it lacks, and the try is noted.
pub(in crate::care::export) async fn take(
    desk: &Desk,
    practice: PracticeId,
    typed: &str,
    moment: &Moment,
) -> Done<Option<ExportAgreement>> {
    let mut tx = desk.db.write().await?;
    let taken = match secrets::read_typed_code(typed) {
        Some(code) => export_agreements::take(&mut tx, practice, &sha256_hex(&code), moment.now).await?,
        None => None,
    };
    let Some(taken) = taken else {
        let whose = (Actor::Program, format!("practice:{practice}"));
        note_refused(&mut tx, practice, whose, "code", moment.now).await?;
        tx.commit().await?;
        return Ok(None);
    };
    let subject = format!("export:{}", taken.id);
    alarms::raise(&mut tx, practice, AlarmKind::ExportTaken, &subject, moment).await?;
    record::note(&mut tx, practice, Actor::Program, "export.take", &subject, "", moment.now).await?;
    tx.commit().await?;
    desk.tell(practice);
    Ok(Some(taken))
}

/// That somebody tried to have everything taken out, and by what they failed.
async fn note_refused(
    conn: &mut Conn,
    practice: PracticeId,
    (actor, subject): (Actor, String),
    why: &str,
    now: Timestamp,
) -> Done<()> {
    let detail = format!("why={why}");
    Ok(record::note(conn, practice, actor, "export.refused", &subject, &detail, now).await?)
}
