//! Enrolment: the office enters the patient and the operation; out come the care plan and a patient link.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::civil::Date;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::Secret;
use crate::care::pins;
use crate::care::plan_text;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::secrets;
use crate::care::secrets::LOCATOR_LENGTH;
use crate::care::secrets::sha256_hex;
use crate::ids::LinkId;
use crate::ids::Moment;
use crate::ids::PatientId;
use crate::ids::StaffId;
use crate::ids::WoundId;
use crate::plan::Operation;
use crate::plan::PLAN_DAYS;
use crate::plan::RiskFactors;
use crate::plan::WrongOperation;
use crate::plan::care_plan_by;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::links;
use crate::store::links::LinkSecrets;
use crate::store::links::PatientLink;
use crate::store::patients;
use crate::store::patients::Patient;
use crate::store::practices;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::wounds;
use crate::store::wounds::Wound;
use crate::store::wounds::WoundState;
use crate::words::Language;

/// A link outlives its plan by two weeks.
const LINK_AFTER_PLAN_DAYS: i64 = 14;
const LONGEST_NAME: usize = 200;

/// The person, as entered.
#[derive(Clone, Debug)]
pub struct NewPatient {
    pub name: String,
    pub born: Date,
    pub phone: String,
    pub language: Language,
    pub helper_name: Option<String>,
    pub helper_phone: Option<String>,
}

/// One enrolment form, read. `enrol_key` was made when the form opened: the same form sent twice enrols once.
#[derive(Clone, Debug)]
pub struct Enrolment {
    pub enrol_key: String,
    pub patient: NewPatient,
    pub surgeon: StaffId,
    pub operation: Operation,
    pub risk: RiskFactors,
}

/// A link with its secrets in the clear: shown and printed once, never again.
#[derive(Clone, Debug)]
pub struct IssuedLink {
    pub link: PatientLink,
    pub token: Secret,
    pub code: Secret,
    pub pin: Secret,
}

/// What an enrolment made.
#[derive(Clone, Debug)]
pub struct Enrolled {
    pub patient: Patient,
    pub wound: Wound,
    /// `None`: this form had enrolled before; its link was shown then, a new one can be issued.
    pub issued: Option<IssuedLink>,
}

/// Enrols a patient with one wound.
pub async fn enrol(desk: &Desk, member: &StaffMember, form: Enrolment, moment: &Moment) -> Done<Enrolled> {
    if !member.roles.office {
        return Err(CareError::NotAllowed);
    }
    let practice = practice_of(desk, member).await?;
    if let Some(before) = enrolled_before(desk, member, &form.enrol_key).await? {
        return Ok(before);
    }
    let today = moment.now.to_zoned_datetime(practice.zone.clone()).date();
    let faults = enrolment_faults(&form, today, moment.now);
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    let patient = Patient {
        id: PatientId::mint(moment),
        practice: member.practice,
        name: form.patient.name.trim().to_owned(),
        born: form.patient.born,
        phone: form.patient.phone.trim().to_owned(),
        language: form.patient.language,
        helper_name: form.patient.helper_name,
        helper_phone: form.patient.helper_phone,
        interpreter: None,
    };
    let wound = Wound {
        id: WoundId::mint(moment),
        practice: member.practice,
        patient: patient.id,
        surgeon: form.surgeon,
        operation: form.operation,
        risk: form.risk,
        strip_out: None,
        last_check: None,
        state: WoundState::Open,
        enrolled: moment.now,
    };
    let issued = draw_link(desk, &wound, patient.born, "patient", moment).await?;
    let mut tx = desk.db.write().await?;
    match staff::find(&mut tx, member.practice, form.surgeon).await? {
        Some(surgeon) if surgeon.roles.surgeon => {}
        Some(_) | None => {
            return Err(CareError::Entered(vec![Fault::new("surgeon", "Choose the surgeon who operated.")]));
        }
    }
    patients::insert(&mut tx, &patient, moment.now).await?;
    match wounds::insert(&mut tx, &wound, &form.enrol_key).await {
        // The same form, pressed twice, won the race.
        Err(fault) if fault.is_duplicate() => {
            drop(tx);
            return enrolled_before(desk, member, &form.enrol_key).await?.ok_or(CareError::NotFound);
        }
        other => other?,
    }
    let numbers = plan_text::in_use(&mut tx, member.practice).await?.text.numbers;
    let steps = care_plan_by(&wound.operation, &wound.risk, &numbers, &practice.zone);
    wounds::insert_plan(&mut tx, &wound, &steps, moment).await?;
    keep_link(&mut tx, &issued).await?;
    let actor = Actor::Staff(member.id);
    let subject = format!("patient:{}", patient.id);
    record::note(&mut tx, member.practice, actor, "patient.enrol", &subject, "", moment.now).await?;
    let subject = format!("link:{}", issued.link.id);
    record::note(&mut tx, member.practice, actor, "link.issue", &subject, "", moment.now).await?;
    tx.commit().await?;
    Ok(Enrolled { patient, wound, issued: Some(issued) })
}

async fn enrolled_before(desk: &Desk, member: &StaffMember, enrol_key: &str) -> Done<Option<Enrolled>> {
    let mut conn = desk.db.read().await?;
    let Some(wound) = wounds::by_enrol_key(&mut conn, member.practice, enrol_key).await? else {
        return Ok(None);
    };
    let patient =
        patients::find(&mut conn, member.practice, wound.patient).await?.ok_or(CareError::NotFound)?;
    Ok(Some(Enrolled { patient, wound, issued: None }))
}

/// Issues another link for a wound. Links issued before go on working until they are revoked.
pub async fn issue_link(
    desk: &Desk,
    member: &StaffMember,
    wound: WoundId,
    name: &str,
    moment: &Moment,
) -> Done<(Patient, Wound, IssuedLink)> {
    if !member.roles.office {
        return Err(CareError::NotAllowed);
    }
    let name = name.trim();
    if name.is_empty() || name.chars().count() > LONGEST_NAME {
        let words = "Say whose link it is, for example: patient, or daughter Ana.";
        return Err(CareError::Entered(vec![Fault::new("link_name", words)]));
    }
    let (patient, wound) = {
        let mut conn = desk.db.read().await?;
        let wound = wounds::find(&mut conn, member.practice, wound).await?.ok_or(CareError::NotFound)?;
        let patient =
            patients::find(&mut conn, member.practice, wound.patient).await?.ok_or(CareError::NotFound)?;
        (patient, wound)
    };
    let issued = draw_link(desk, &wound, patient.born, name, moment).await?;
    let mut tx = desk.db.write().await?;
    keep_link(&mut tx, &issued).await?;
    let subject = format!("link:{}", issued.link.id);
    record::note(&mut tx, member.practice, Actor::Staff(member.id), "link.issue", &subject, "", moment.now)
        .await?;
    tx.commit().await?;
    Ok((patient, wound, issued))
}

/// Revokes a link: its phones are out at once, other links of the wound go on.
pub async fn revoke_link(
    desk: &Desk,
    member: &StaffMember,
    link: LinkId,
    now: Timestamp,
) -> Done<PatientLink> {
    if !member.roles.office {
        return Err(CareError::NotAllowed);
    }
    let mut tx = desk.db.write().await?;
    let found = links::find(&mut tx, member.practice, link).await?.ok_or(CareError::NotFound)?;
    links::revoke(&mut tx, member.practice, link, now).await?;
    let subject = format!("link:{link}");
    record::note(&mut tx, member.practice, Actor::Staff(member.id), "link.revoke", &subject, "", now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(found)
}

/// The link whose secrets these are, for printing its sheet; `None` when they are not one live link's of this practice.
pub async fn link_of_secrets(
    desk: &Desk,
    member: &StaffMember,
    token: &str,
    code: &str,
    pin: &str,
) -> Done<Option<(Patient, Wound, PatientLink)>> {
    let mut conn = desk.db.read().await?;
    let Some(link) = links::by_token(&mut conn, &sha256_hex(token)).await? else { return Ok(None) };
    if link.practice != member.practice || link.revoked.is_some() || !member.roles.office {
        return Ok(None);
    }
    let Some(wound) = wounds::find(&mut conn, link.practice, link.wound).await? else { return Ok(None) };
    let Some(patient) = patients::find(&mut conn, link.practice, wound.patient).await? else {
        return Ok(None);
    };
    drop(conn);
    let right = secrets::matches(desk, code_secret(code), &link.code_phc).await?
        && pins::known_by(desk, &link).await?.is(desk, pin).await?;
    Ok(right.then_some((patient, wound, link)))
}

/// The part of a typed code that is secret.
pub(in crate::care) fn code_secret(code: &str) -> &str {
    code.get(LOCATOR_LENGTH..).unwrap_or("")
}

async fn draw_link(desk: &Desk, wound: &Wound, born: Date, name: &str, moment: &Moment) -> Done<IssuedLink> {
    let token = secrets::link_token(&moment.chance);
    let code = secrets::typed_code(&moment.chance);
    let pin = secrets::pin(&moment.chance, born);
    let plan_end = wound.operation.operated.max(moment.now) + SignedDuration::from_hours(24 * PLAN_DAYS);
    let link = PatientLink {
        id: LinkId::mint(moment),
        practice: wound.practice,
        wound: wound.id,
        name: name.to_owned(),
        expires: plan_end + SignedDuration::from_hours(24 * LINK_AFTER_PLAN_DAYS),
        revoked: None,
        first_used: None,
        created: moment.now,
        code_phc: secrets::hash(desk, code_secret(code.reveal()), &moment.chance).await?,
        pin_phc: pins::hash(desk, wound.practice, pin.reveal(), moment).await?,
        pin_peppered: true,
        wrong_pins: 0,
        next_pin: moment.now,
    };
    Ok(IssuedLink { link, token, code, pin })
}

async fn keep_link(conn: &mut Conn, issued: &IssuedLink) -> Stored<()> {
    let kept = LinkSecrets {
        token_sha256: sha256_hex(issued.token.reveal()),
        code_locator: issued.code.reveal().get(..LOCATOR_LENGTH).unwrap_or_default().to_owned(),
    };
    links::insert(conn, &issued.link, &kept).await
}

pub(in crate::care) async fn practice_of(desk: &Desk, member: &StaffMember) -> Done<practices::Practice> {
    practices::find(&mut *desk.db.read().await?, member.practice).await?.ok_or(CareError::NotFound)
}

fn enrolment_faults(form: &Enrolment, today: Date, now: Timestamp) -> Vec<Fault> {
    let mut faults = Vec::new();
    let name = form.patient.name.trim();
    if name.is_empty() {
        faults.push(Fault::new("name", "Enter the patient's name."));
    } else if name.chars().count() > LONGEST_NAME {
        faults.push(Fault::new("name", "Shorten the name to 200 characters."));
    }
    if form.patient.born > today {
        faults.push(Fault::new("born", "The date of birth lies in the future. Check the year."));
    } else if today.year() - form.patient.born.year() > 120 {
        faults.push(Fault::new("born", "The date of birth is more than 120 years ago. Check the year."));
    }
    if phone_fault(&form.patient.phone) {
        faults.push(Fault::new(
            "phone",
            "Enter a phone number with at least 7 digits, for example 202-555-0143.",
        ));
    }
    if form.patient.helper_phone.as_deref().is_some_and(phone_fault) {
        faults.push(Fault::new(
            "helper_phone",
            "Enter the helper's phone number with at least 7 digits, or leave it empty.",
        ));
    }
    faults.extend(
        form.operation.faults(now).into_iter().map(|fault| Fault::new(field_of(fault), fault.to_string())),
    );
    faults
}

/// Seven to fifteen digits (ITU-T E.164 allows fifteen at most), with the usual signs between them.
pub(in crate::care) fn phone_fault(phone: &str) -> bool {
    let digits = phone.chars().filter(char::is_ascii_digit).count();
    let signs = phone
        .chars()
        .all(|sign| sign.is_ascii_digit() || matches!(sign, '+' | '-' | ' ' | '(' | ')' | '.' | '/'));
    !signs || !(7..=15).contains(&digits)
}

fn field_of(fault: WrongOperation) -> &'static str {
    match fault {
        WrongOperation::NoProcedure => "procedure",
        WrongOperation::InTheFuture | WrongOperation::TooLongAgo => "operated",
        WrongOperation::Size => "size",
        WrongOperation::Pieces => "strip_pieces",
        WrongOperation::StripLength => "strip_length_cm",
        WrongOperation::StripTime => "strip_placed",
        WrongOperation::PenLine => "pen_line",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn phones_need_seven_to_fifteen_digits_and_only_the_usual_signs() {
        for fine in ["202-555-0143", "+1 (202) 555-0143", "5550143"] {
            assert!(!phone_fault(fine), "{fine}");
        }
        for wrong in ["555014", "1234567890123456", "call my wife", ""] {
            assert!(phone_fault(wrong), "{wrong}");
        }
    }
}
