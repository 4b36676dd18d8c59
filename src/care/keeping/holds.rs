//! Legal holds: a lead places one, and two people release it.

use jiff::SignedDuration;
use jiff::civil::Date;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::keeping::NOTICE;
use crate::care::keeping::announce;
use crate::care::keeping::must_lead;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::LegalHoldId;
use crate::ids::Moment;
use crate::ids::PatientId;
use crate::ids::PracticeId;
use crate::store::Conn;
use crate::store::keepings;
use crate::store::legal_holds;
use crate::store::legal_holds::LegalHold;
use crate::store::practices;
use crate::store::staff;
use crate::store::staff::StaffMember;

/// The second person follows the first within this, or it is asked anew (safety promise B6 asks for two; the time is ours).
pub const RELEASE_WITHIN: SignedDuration = SignedDuration::from_hours(7 * 24);
const LONGEST_REASON: usize = 500;

/// What a lead typed. A lead sees no patients: a letter of a court or a lawyer names one by name and date of birth.
#[derive(Clone, Debug, Default)]
pub struct Placing {
    /// `practice`, or `patient`.
    pub scope: String,
    pub name: String,
    /// As in 1960-03-10.
    pub born: String,
    pub reason: String,
}

/// Places a hold on the whole practice, or on every patient of this name and date of birth. How many it names; 0 for the practice.
pub async fn place(desk: &Desk, lead: &StaffMember, placing: &Placing, moment: &Moment) -> Done<usize> {
    must_lead(lead)?;
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, lead.practice).await?;
    let Some(whom) = whom(&mut tx, lead.practice, placing).await? else {
        // Asking whether somebody is a patient here is to be seen, too.
        let (actor, subject) = (Actor::Staff(lead.id), format!("practice:{}", lead.practice));
        record::note(&mut tx, lead.practice, actor, "hold.nobody", &subject, "", moment.now).await?;
        tx.commit().await?;
        let words =
            "Nobody of this name and date of birth is in the books. Compare both with a letter to them.";
        return Err(CareError::Entered(vec![Fault::new("name", words)]));
    };
    for patient in &whom {
        let id = LegalHoldId::mint(moment);
        let hold = LegalHold {
            id,
            practice: lead.practice,
            patient: *patient,
            reason: placing.reason.trim().into(),
            placed_by: lead.id,
            placed: moment.now,
            asked: None,
            released: None,
        };
        legal_holds::insert(&mut tx, &hold).await?;
        note(&mut tx, lead, "hold.place", &hold, moment).await?;
    }
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(whom.iter().flatten().count())
}

/// Whom it names, one `None` for the practice; `None`: nobody of that name is here.
async fn whom(
    conn: &mut Conn,
    practice: PracticeId,
    placing: &Placing,
) -> Done<Option<Vec<Option<PatientId>>>> {
    let mut faults = Vec::new();
    let reason = placing.reason.trim();
    if reason.is_empty() || reason.chars().count() > LONGEST_REASON {
        faults.push(Fault::new("reason", "Say why, in up to 500 letters: whose letter, of which day."));
    }
    let mut whom = Vec::new();
    match placing.scope.as_str() {
        "practice" => whom.push(None),
        "patient" => {
            let born: Option<Date> = placing.born.trim().parse().ok();
            if placing.name.trim().is_empty() {
                faults.push(Fault::new("name", "Enter the patient’s whole name."));
            }
            if born.is_none() {
                faults.push(Fault::new("born", "Enter the date of birth as in 1960-03-10."));
            }
            if let Some(born) = born.filter(|_| faults.is_empty()) {
                let found = legal_holds::meant(conn, practice, &placing.name, born).await?;
                whom.extend(found.into_iter().map(Some));
            }
        }
        _ => faults.push(Fault::new("scope", "Choose one patient, or the whole practice.")),
    }
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    Ok((!whom.is_empty()).then_some(whom))
}

/// How far the release of a hold has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Release {
    /// One person said so; another must.
    Asked,
    Released,
}

/// A person says that a hold may end. The first is a lead; the second another lead, or a surgeon where there is only one. Refused
/// is whoever is alone, and whoever may not.
pub async fn release(desk: &Desk, member: &StaffMember, id: LegalHoldId, moment: &Moment) -> Done<Release> {
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, member.practice).await?;
    let hold = legal_holds::find(&mut tx, member.practice, id).await?.ok_or(CareError::NotFound)?;
    if hold.released.is_some() {
        return Err(CareError::AlreadyDone);
    }
    let in_time = SignedDuration::ZERO..=RELEASE_WITHIN;
    let asked = hold.asked.filter(|(_, at)| in_time.contains(&moment.now.duration_since(*at)));
    let release = match asked {
        None => {
            must_lead(member)?;
            legal_holds::note_asked(&mut tx, member.practice, id, member.id, moment.now).await?;
            note(&mut tx, member, "hold.ask_release", &hold, moment).await?;
            Release::Asked
        }
        Some((first, _)) if first == member.id => {
            let words =
                "You said so already. Nobody releases a hold alone: a second person must say so, too.";
            return Err(CareError::Entered(vec![Fault::new("holds", words)]));
        }
        Some(_) => {
            may_second(&mut tx, member).await?;
            legal_holds::release(&mut tx, member.practice, id, member.id, moment.now).await?;
            note(&mut tx, member, "hold.release", &hold, moment).await?;
            wait_anew(&mut tx, member.practice, moment).await?;
            Release::Released
        }
    };
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(release)
}

async fn may_second(conn: &mut Conn, member: &StaffMember) -> Done<()> {
    let everyone = staff::of_practice(conn, member.practice).await?;
    let leads = everyone.iter().filter(|member| member.active && member.roles.lead).count();
    let may = member.roles.lead || member.roles.surgeon && leads == 1;
    if may { Ok(()) } else { Err(CareError::NotAllowed) }
}

/// What was held goes no sooner than a week from now, so that a mistake can be noticed.
async fn wait_anew(conn: &mut Conn, practice: PracticeId, moment: &Moment) -> Done<()> {
    let until = moment.now + NOTICE;
    if keepings::find(conn, practice).await?.is_some_and(|keeping| keeping.waits_until < until) {
        keepings::wait_until(conn, practice, until).await?;
        announce(conn, practice, moment).await?;
    }
    Ok(())
}

async fn note(
    conn: &mut Conn,
    member: &StaffMember,
    action: &str,
    hold: &LegalHold,
    moment: &Moment,
) -> Done<()> {
    let subject = match hold.patient {
        Some(patient) => format!("patient:{patient}"),
        None => format!("practice:{}", hold.practice),
    };
    let (actor, detail) = (Actor::Staff(member.id), format!("hold={}", hold.id));
    Ok(record::note(conn, hold.practice, actor, action, &subject, &detail, moment.now).await?)
}
