//! Who works here: the first member by a one-time address or the command line, the others by a lead.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use unicode_normalization::UnicodeNormalization;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::Secret;
use crate::care::duty;
use crate::care::password;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::replies;
use crate::care::secrets;
use crate::care::secrets::sha256_hex;
use crate::care::watch;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::sheet::Paper;
use crate::store::Conn;
use crate::store::Stored;
use crate::store::duty as duty_store;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::staff;
use crate::store::staff::Activity;
use crate::store::staff::Roles;
use crate::store::staff::StaffMember;

/// The set-up address works this long.
const SET_UP_LIMIT: SignedDuration = SignedDuration::from_mins(15);

/// A person who is to sign in.
#[derive(Clone, Debug)]
pub struct NewMember {
    pub name: String,
    pub sign_in_name: String,
    pub password: String,
    pub roles: Roles,
}

/// A practice as first set up.
#[derive(Clone, Debug)]
pub struct NewPractice {
    pub name: String,
    pub phone: String,
    pub emergency_number: String,
    /// An IANA name, such as `America/New_York`.
    pub time_zone: String,
    pub paper: Paper,
}

/// Opens a one-time set-up address while there is no practice yet; `None` when there is one.
pub async fn open_set_up(desk: &Desk, moment: &Moment) -> Done<Option<Secret>> {
    if !practices::all(&mut *desk.db.read().await?).await?.is_empty() {
        return Ok(None);
    }
    let token = secrets::session_token(&moment.chance);
    let mut tx = desk.db.write().await?;
    staff::insert_set_up(&mut tx, &sha256_hex(token.reveal()), moment.now + SET_UP_LIMIT).await?;
    tx.commit().await?;
    Ok(Some(token))
}

/// Whether a set-up address still works.
pub async fn set_up_is_open(desk: &Desk, token: &str, now: Timestamp) -> Done<bool> {
    Ok(staff::set_up_is_open(&mut *desk.db.read().await?, &sha256_hex(token), now).await?)
}

/// Uses a set-up address: makes the practice and its first member, who is a lead whatever else they are.
pub async fn set_up(
    desk: &Desk,
    token: &str,
    practice: NewPractice,
    first: NewMember,
    moment: &Moment,
) -> Done<StaffMember> {
    let first = NewMember { roles: Roles { lead: true, ..first.roles }, ..first };
    let phc = founding_hash(desk, &practice, &first, moment).await?;
    let mut tx = desk.db.write().await?;
    if !staff::use_set_up(&mut tx, &sha256_hex(token), moment.now).await? {
        return Err(CareError::NotFound);
    }
    let made = insert_practice(&mut tx, &practice, moment).await?;
    let member = insert_member(&mut tx, made.id, &first, &phc, Actor::Program, moment).await?;
    tx.commit().await?;
    Ok(member)
}

/// Makes a practice and its first member from the command line: both or neither.
pub async fn found(
    desk: &Desk,
    practice: &NewPractice,
    first: &NewMember,
    moment: &Moment,
) -> Done<StaffMember> {
    let phc = founding_hash(desk, practice, first, moment).await?;
    let mut tx = desk.db.write().await?;
    let made = insert_practice(&mut tx, practice, moment).await?;
    let member = insert_member(&mut tx, made.id, first, &phc, Actor::Program, moment).await?;
    tx.commit().await?;
    Ok(member)
}

/// The hash of the first member's password, once nothing is wrong with either.
async fn founding_hash(
    desk: &Desk,
    practice: &NewPractice,
    first: &NewMember,
    moment: &Moment,
) -> Done<String> {
    let mut faults = practice_faults(practice);
    faults.extend(member_faults(first, &practice.name));
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    secrets::hash(desk, &normal(&first.password), &moment.chance).await
}

/// Makes a practice without anybody in it yet, with its first reply texts.
pub async fn add_practice(desk: &Desk, practice: &NewPractice, moment: &Moment) -> Done<Practice> {
    let faults = practice_faults(practice);
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    let mut tx = desk.db.write().await?;
    let made = insert_practice(&mut tx, practice, moment).await?;
    tx.commit().await?;
    Ok(made)
}

/// Adds a member. `by`: the lead who does it, or the program for the command line.
pub async fn add(
    desk: &Desk,
    practice: PracticeId,
    new: &NewMember,
    by: Actor,
    moment: &Moment,
) -> Done<StaffMember> {
    let practice_name =
        practices::find(&mut *desk.db.read().await?, practice).await?.ok_or(CareError::NotFound)?.name;
    let faults = member_faults(new, &practice_name);
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    let phc = secrets::hash(desk, &normal(&new.password), &moment.chance).await?;
    let mut tx = desk.db.write().await?;
    let member = match insert_member(&mut tx, practice, new, &phc, by, moment).await {
        Err(CareError::Store(fault)) if fault.is_duplicate() => {
            let words = "Somebody signs in with this name already. Choose another one.";
            return Err(CareError::Entered(vec![Fault::new("sign_in_name", words)]));
        }
        other => other?,
    };
    tx.commit().await?;
    Ok(member)
}

/// Switches a member on or off; off ends their sessions at once. Nobody can switch themselves off. Returns how many
/// times within the next 14 days they were on duty and no longer are: each is a gap unless another is there too.
pub async fn set_active(
    desk: &Desk,
    lead: &StaffMember,
    id: StaffId,
    activity: Activity,
    now: Timestamp,
) -> Done<usize> {
    if !lead.roles.lead || lead.id == id {
        return Err(CareError::NotAllowed);
    }
    let mut tx = desk.db.write().await?;
    if staff::find(&mut tx, lead.practice, id).await?.is_none() {
        return Err(CareError::NotFound);
    }
    let ahead = duty::shifts_ahead(&duty_store::roster(&mut tx, lead.practice).await?, id, now);
    staff::set_active(&mut tx, lead.practice, id, activity).await?;
    let (action, gaps) = match activity {
        Activity::Active => ("staff.switch_on", 0),
        Activity::Gone => ("staff.switch_off", ahead),
    };
    let detail = if gaps > 0 { format!("times_on_duty={gaps}") } else { String::new() };
    let (actor, subject) = (Actor::Staff(lead.id), format!("staff:{id}"));
    record::note(&mut tx, lead.practice, actor, action, &subject, &detail, now).await?;
    tx.commit().await?;
    // Open streams look again at whether their session still runs.
    desk.tell(lead.practice);
    Ok(gaps)
}

/// When somebody else took a member's second step away, and who, with the practice's time zone; `None`: nobody did.
pub async fn re_enrolled(desk: &Desk, member: &StaffMember) -> Done<(TimeZone, Option<(Timestamp, String)>)> {
    let mut conn = desk.db.read().await?;
    let practice = practices::find(&mut conn, member.practice).await?.ok_or(CareError::NotFound)?;
    Ok((practice.zone, staff::re_enrolled(&mut conn, member.practice, member.id).await?))
}

/// Lets a member of the office see photos, or no longer.
pub async fn set_sees_photos(
    desk: &Desk,
    lead: &StaffMember,
    id: StaffId,
    sees: Sight,
    now: Timestamp,
) -> Done<()> {
    if !lead.roles.lead {
        return Err(CareError::NotAllowed);
    }
    let mut tx = desk.db.write().await?;
    staff::find(&mut tx, lead.practice, id).await?.ok_or(CareError::NotFound)?;
    let (flag, action) = match sees {
        Sight::Photos => (true, "staff.photos_on"),
        Sight::NoPhotos => (false, "staff.photos_off"),
    };
    staff::set_sees_photos(&mut tx, lead.practice, id, flag).await?;
    let (actor, subject) = (Actor::Staff(lead.id), format!("staff:{id}"));
    record::note(&mut tx, lead.practice, actor, action, &subject, "", now).await?;
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(())
}

/// What a member of the office sees of a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sight {
    Photos,
    NoPhotos,
}

async fn insert_practice(
    conn: &mut crate::store::Conn,
    practice: &NewPractice,
    moment: &Moment,
) -> Done<Practice> {
    let zone = TimeZone::get(&practice.time_zone).map_err(|fault| CareError::Work(fault.to_string()))?;
    let made = Practice {
        id: PracticeId::mint(moment),
        name: practice.name.trim().to_owned(),
        phone: practice.phone.trim().to_owned(),
        emergency_number: practice.emergency_number.trim().to_owned(),
        zone,
        paper: practice.paper,
        opens_minute: 8 * 60,
        closes_minute: 18 * 60,
    };
    practices::insert(conn, &made, moment.now).await?;
    replies::insert_first_texts(conn, made.id, moment).await?;
    watch::begin(conn, made.id, moment).await?;
    let subject = format!("practice:{}", made.id);
    record::note(conn, made.id, Actor::Program, "practice.add", &subject, "", moment.now).await?;
    Ok(made)
}

async fn insert_member(
    conn: &mut crate::store::Conn,
    practice: PracticeId,
    new: &NewMember,
    phc: &str,
    by: Actor,
    moment: &Moment,
) -> Done<StaffMember> {
    let member = StaffMember {
        id: StaffId::mint(moment),
        practice,
        name: new.name.trim().to_owned(),
        sign_in_name: new.sign_in_name.trim().to_lowercase(),
        roles: new.roles,
        active: true,
        sees_photos: false,
    };
    staff::insert(conn, &member, phc, moment.now).await?;
    record::note(conn, practice, by, "staff.add", &format!("staff:{}", member.id), "", moment.now).await?;
    Ok(member)
}

/// The form of a password that is hashed and compared: NFKC, so that the same letters typed on two keyboards match.
pub(in crate::care) fn normal(password: &str) -> String {
    password.nfkc().collect()
}

fn practice_faults(practice: &NewPractice) -> Vec<Fault> {
    let mut faults = Vec::new();
    if practice.name.trim().is_empty() {
        faults.push(Fault::new("practice_name", "Enter the practice's name."));
    }
    if !practice.phone.chars().any(|letter| letter.is_ascii_digit()) {
        faults.push(Fault::new("practice_phone", "Enter the phone number patients can ring."));
    }
    if !practice.emergency_number.chars().any(|letter| letter.is_ascii_digit()) {
        faults.push(Fault::new(
            "emergency_number",
            "Enter the emergency number where you are, such as 911 or 112.",
        ));
    }
    if TimeZone::get(&practice.time_zone).is_err() {
        faults.push(Fault::new("time_zone", "Enter a time zone such as America/New_York or Europe/Madrid."));
    }
    faults
}

fn member_faults(new: &NewMember, practice_name: &str) -> Vec<Fault> {
    let mut faults = Vec::new();
    if new.name.trim().is_empty() {
        faults.push(Fault::new("name", "Enter the person's name."));
    }
    if new.sign_in_name.trim().is_empty() || new.sign_in_name.trim().contains(char::is_whitespace) {
        faults.push(Fault::new("sign_in_name", "Enter a name to sign in with, without spaces."));
    }
    if !(new.roles.surgeon || new.roles.office || new.roles.lead) {
        faults.push(Fault::new("roles", "Choose at least one role."));
    }
    faults.extend(password_fault(&new.password, &[practice_name, &new.name, &new.sign_in_name]));
    faults
}

/// What is wrong with a new password of somebody who is here already.
pub(in crate::care) async fn password_faults(
    conn: &mut Conn,
    member: &StaffMember,
    password: &str,
) -> Stored<Option<Fault>> {
    let practice = practices::find(conn, member.practice).await?;
    let practice_name = practice.map_or_else(String::new, |practice| practice.name);
    Ok(password_fault(password, &[&practice_name, &member.name, &member.sign_in_name]))
}

fn password_fault(password: &str, own: &[&str]) -> Option<Fault> {
    password::fault(&normal(password), own).map(|words| Fault::new("password", words))
}
