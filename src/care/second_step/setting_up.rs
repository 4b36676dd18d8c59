//! Setting up the second step, one's own password, and what a colleague does when somebody lost theirs.

use data_encoding::BASE64;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::Secret;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::second_step::Asked;
use crate::care::second_step::Coming;
use crate::care::second_step::app;
use crate::care::second_step::app::Seed;
use crate::care::second_step::ask;
use crate::care::second_step::let_in;
use crate::care::second_step::note;
use crate::care::second_step::passkeys;
use crate::care::second_step::passkeys::Passkeys;
use crate::care::second_step::take_asked;
use crate::care::second_step::ways_in;
use crate::care::secrets;
use crate::care::sign_in::LetIn;
use crate::care::staff as care_staff;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::Conn;
use crate::store::practices;
use crate::store::second_steps;
use crate::store::second_steps::KeptPasskey;
use crate::store::sign_in_tries;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::staff_sessions;
use crate::store::staff_sessions::Stage;

/// How many recovery codes are printed.
const CODES: usize = 10;
const LONGEST_NAME: usize = 60;

/// What an app is set up with.
#[derive(Debug)]
pub struct NewApp {
    pub seed: Seed,
    /// `otpauth://…`, to be shown as a picture.
    pub address: String,
}

/// Something was set up.
#[derive(Debug)]
pub struct SetUp {
    /// Recovery codes, when there were none: shown once.
    pub codes: Vec<Secret>,
    pub let_in: LetIn,
}

/// Draws a seed for an authenticator app. It counts once the app's first code came back.
pub async fn begin_app(desk: &Desk, coming: &Coming, moment: &Moment) -> Done<NewApp> {
    let member = may_set_up(desk, coming).await?;
    let practice = practices::find(&mut *desk.db.read().await?, member.practice).await?;
    let issuer = practice.map_or_else(String::new, |practice| practice.name);
    let seed = Seed::draw(&moment.chance);
    let sealed = desk.blobs.seal(seed.bytes(), &app::about(member.id));
    ask(desk, &coming.token, &Asked::Seed { sealed: BASE64.encode(&sealed) }, moment.now).await?;
    Ok(NewApp { address: seed.address(&issuer, &member.sign_in_name), seed })
}

/// Takes the app whose first code this is; an app from before is gone. `None`: nothing was begun, or the code is wrong; then
/// it begins anew.
pub async fn confirm_app(desk: &Desk, coming: &Coming, typed: &str, moment: &Moment) -> Done<Option<SetUp>> {
    let member = may_set_up(desk, coming).await?;
    let Some(Asked::Seed { sealed }) = take_asked(desk, &coming.token, moment.now).await? else {
        return Ok(None);
    };
    let sealed = BASE64.decode(sealed.as_bytes()).map_err(|fault| CareError::Work(fault.to_string()))?;
    let seed = Seed::from_bytes(&desk.blobs.unseal(&sealed, &app::about(member.id))?)?;
    let Some(step) = seed.step_of(typed, moment.now) else { return Ok(None) };
    let (codes, phcs) = first_codes(desk, member, moment).await?;
    let mut tx = desk.db.write().await?;
    second_steps::set_seed(&mut tx, member, &sealed, step, moment.now).await?;
    note(&mut tx, member, "second_step.app", moment.now).await?;
    let set_up = finish(&mut tx, coming, codes, &phcs, moment).await?;
    tx.commit().await?;
    Ok(Some(set_up))
}

/// Takes a new passkey under the name its owner gives it. `None`: it is not what was asked for.
pub async fn add_passkey(
    desk: &Desk,
    passkeys: &Passkeys,
    coming: &Coming,
    name: &str,
    answer: &str,
    moment: &Moment,
) -> Done<Option<SetUp>> {
    let member = may_set_up(desk, coming).await?;
    let Some(passkey) = passkeys::read_new(desk, passkeys, coming, answer, moment.now).await? else {
        return Ok(None);
    };
    let name: String = name.trim().chars().take(LONGEST_NAME).collect();
    let kept = KeptPasskey {
        credential_id: passkeys::id_of(&passkey),
        name: if name.is_empty() { coming.session.browser.clone() } else { name },
        credential: serde_json::to_string(&passkey).map_err(|fault| CareError::Work(fault.to_string()))?,
        created: moment.now,
        last_used: None,
    };
    let (codes, phcs) = first_codes(desk, member, moment).await?;
    let mut tx = desk.db.write().await?;
    if !second_steps::insert_passkey(&mut tx, member, &kept).await? {
        return Err(CareError::AlreadyDone);
    }
    note(&mut tx, member, "second_step.passkey", moment.now).await?;
    let set_up = finish(&mut tx, coming, codes, &phcs, moment).await?;
    tx.commit().await?;
    Ok(Some(set_up))
}

/// Whoever is wholly in may, and whoever is half in while nothing is set up yet.
async fn may_set_up<'a>(desk: &Desk, coming: &'a Coming) -> Done<&'a StaffMember> {
    let member = &coming.session.member;
    let is_first = ways_in(&mut *desk.db.read().await?, member).await?.are_none();
    if coming.session.stage == Stage::Half && !is_first {
        return Err(CareError::NotAllowed);
    }
    Ok(member)
}

/// Codes with the first thing that is set up; none when there are some already.
async fn first_codes(desk: &Desk, member: &StaffMember, moment: &Moment) -> Done<(Vec<Secret>, Vec<String>)> {
    let left = second_steps::unused_codes(&mut *desk.db.read().await?, member.practice, member.id).await?;
    if !left.is_empty() {
        return Ok((Vec::new(), Vec::new()));
    }
    draw_codes(desk, moment).await
}

async fn draw_codes(desk: &Desk, moment: &Moment) -> Done<(Vec<Secret>, Vec<String>)> {
    let mut phcs = Vec::new();
    let codes: Vec<Secret> = (1..=CODES).map(|place| secrets::recovery_code(place, &moment.chance)).collect();
    for code in &codes {
        phcs.push(secrets::hash(desk, code.reveal(), &moment.chance).await?);
    }
    Ok((codes, phcs))
}

async fn finish(
    conn: &mut Conn,
    coming: &Coming,
    codes: Vec<Secret>,
    phcs: &[String],
    moment: &Moment,
) -> Done<SetUp> {
    if !phcs.is_empty() {
        second_steps::set_recovery_codes(conn, &coming.session.member, phcs).await?;
    }
    Ok(SetUp { codes, let_in: let_in(conn, coming, moment).await? })
}

/// Gives an invented person an app with a seed that everybody knows.
pub async fn give_app(desk: &Desk, member: &StaffMember, seed: &Seed, now: Timestamp) -> Done<()> {
    let sealed = desk.blobs.seal(seed.bytes(), &app::about(member.id));
    let mut tx = desk.db.write().await?;
    second_steps::set_seed(&mut tx, member, &sealed, 0, now).await?;
    Ok(tx.commit().await?)
}

/// Ten new recovery codes, shown once; the old ones open nothing any more.
pub async fn new_codes(desk: &Desk, member: &StaffMember, moment: &Moment) -> Done<Vec<Secret>> {
    let (codes, phcs) = draw_codes(desk, moment).await?;
    let mut tx = desk.db.write().await?;
    second_steps::set_recovery_codes(&mut tx, member, &phcs).await?;
    note(&mut tx, member, "second_step.codes", moment.now).await?;
    tx.commit().await?;
    Ok(codes)
}

/// Takes a passkey away. Refused when it is the only second step.
pub async fn remove_passkey(
    desk: &Desk,
    member: &StaffMember,
    credential_id: &str,
    now: Timestamp,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    if !second_steps::remove_passkey(&mut tx, member, credential_id).await? {
        return Err(CareError::AlreadyDone);
    }
    keeps_one(&mut tx, member, "passkey").await?;
    note(&mut tx, member, "second_step.passkey_removed", now).await?;
    Ok(tx.commit().await?)
}

/// Takes the app away. Refused when it is the only second step.
pub async fn remove_app(desk: &Desk, member: &StaffMember, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    second_steps::remove_seed(&mut tx, member).await?;
    keeps_one(&mut tx, member, "app").await?;
    note(&mut tx, member, "second_step.app_removed", now).await?;
    Ok(tx.commit().await?)
}

async fn keeps_one(conn: &mut Conn, member: &StaffMember, field: &'static str) -> Done<()> {
    if ways_in(conn, member).await?.are_none() {
        let words = "This is your only second step. Set up another one first.";
        return Err(CareError::Entered(vec![Fault::new(field, words)]));
    }
    Ok(())
}

/// A new password in place of the old one, which must be right. Sessions in other browsers end.
pub async fn change_password(
    desk: &Desk,
    coming: &Coming,
    old: &str,
    new: &str,
    moment: &Moment,
) -> Done<()> {
    let member = &coming.session.member;
    let found = care_staff::password_faults(&mut *desk.db.read().await?, member, new).await?;
    let mut faults: Vec<Fault> = found.into_iter().collect();
    let phc = staff::password_phc(&mut *desk.db.read().await?, member.practice, member.id).await?;
    if !secrets::matches(desk, &care_staff::normal(old), &phc.unwrap_or_default()).await? {
        faults.push(Fault::new("old_password", "This is not your password now. Try again."));
    }
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    let phc = secrets::hash(desk, &care_staff::normal(new), &moment.chance).await?;
    let mut tx = desk.db.write().await?;
    staff::set_password(&mut tx, member.practice, member.id, &phc).await?;
    staff_sessions::end_others(&mut tx, member.practice, member.id, coming.session.id).await?;
    note(&mut tx, member, "password.change", moment.now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}

/// Takes everything a member has for their second step away, so that they set it up anew: they lost it. A lead does it for
/// somebody who stands before them; for the only lead the command line does.
pub async fn re_enrol(desk: &Desk, lead: &StaffMember, id: StaffId, now: Timestamp) -> Done<()> {
    if !lead.roles.lead || lead.id == id {
        return Err(CareError::NotAllowed);
    }
    take_away(desk, lead.practice, id, Actor::Staff(lead.id), &lead.name, now).await
}

/// As [`re_enrol`], from the command line.
pub async fn re_enrol_by_hand(desk: &Desk, sign_in_name: &str, now: Timestamp) -> Done<StaffMember> {
    let name = sign_in_name.trim().to_lowercase();
    let found = staff::credentials(&mut *desk.db.read().await?, &name).await?.ok_or(CareError::NotFound)?;
    let (member, by) = (found.member, "whoever looks after the server");
    take_away(desk, member.practice, member.id, Actor::Program, by, now).await?;
    Ok(member)
}

async fn take_away(
    desk: &Desk,
    practice: PracticeId,
    id: StaffId,
    by: Actor,
    by_name: &str,
    now: Timestamp,
) -> Done<()> {
    let mut tx = desk.db.write().await?;
    let member = staff::find(&mut tx, practice, id).await?.ok_or(CareError::NotFound)?;
    for passkey in second_steps::passkeys(&mut tx, practice, id).await? {
        second_steps::remove_passkey(&mut tx, &member, &passkey.credential_id).await?;
    }
    second_steps::remove_seed(&mut tx, &member).await?;
    second_steps::set_recovery_codes(&mut tx, &member, &[]).await?;
    sign_in_tries::forget_browsers(&mut tx, &member).await?;
    staff_sessions::end_all(&mut tx, practice, id).await?;
    staff::forget_wrong_tries(&mut tx, id, Timestamp::UNIX_EPOCH).await?;
    staff::note_re_enrolled(&mut tx, practice, id, by_name, now).await?;
    record::note(&mut tx, practice, by, "second_step.taken_away", &format!("staff:{id}"), "", now).await?;
    tx.commit().await?;
    desk.tell(practice);
    Ok(())
}
