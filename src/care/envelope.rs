//! The sealed envelope: a printed code that lets whoever opens it look at what waits, once, for an hour, when nobody can sign
//! in. Everybody on staff is told, each look is in the record, and nothing can be changed (safety promise H2).

use std::net::IpAddr;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Fault;
use crate::care::Secret;
use crate::care::alarm_letters;
use crate::care::queue;
use crate::care::queue::Looking;
use crate::care::queue::Queue;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::record::Again;
use crate::care::record::Seen;
use crate::care::review;
use crate::care::review::Opened;
use crate::care::secrets;
use crate::care::secrets::LOCATOR_LENGTH;
use crate::care::secrets::sha256_hex;
use crate::care::sign_in::NOBODY_PHC;
use crate::ids::LookId;
use crate::ids::Moment;
use crate::ids::PhotoId;
use crate::ids::PracticeId;
use crate::ids::SealedCodeId;
use crate::ids::WoundCheckId;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::checks;
use crate::store::checks::CheckState;
use crate::store::checks::QueueFilter;
use crate::store::photos;
use crate::store::photos::Size;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::sealed_codes;
use crate::store::sealed_codes::Look;
use crate::store::sealed_codes::Noted;
use crate::store::sealed_codes::SealedCode;
use crate::store::staff;
use crate::store::staff::StaffMember;

/// A look ends by itself after this long (ours: as long as it takes to ring everybody who waits).
pub const LOOK_LIMIT: SignedDuration = SignedDuration::from_mins(60);
const LONGEST_NAME: usize = 200;
const LONGEST_REASON: usize = 500;
const LONGEST_NOTE: usize = 2_000;
/// Looks on the lead's page.
const SHOWN: i64 = 20;

/// What an alarm about a look is about.
fn about(id: LookId) -> String {
    format!("look:{id}")
}

/// Prints a new code: the one before opens nothing any more. The code is shown now and kept nowhere.
pub async fn print(desk: &Desk, lead: &StaffMember, moment: &Moment) -> Done<Secret> {
    must_be_lead(lead)?;
    let code = secrets::sealed_code(&moment.chance);
    let (locator, secret) = code.reveal().split_at(LOCATOR_LENGTH);
    let kept = SealedCode {
        id: SealedCodeId::mint(moment),
        practice: lead.practice,
        phc: secrets::hash(desk, secret, &moment.chance).await?,
        printed_by: lead.id,
        printed: moment.now,
        ended: None,
    };
    let mut tx = desk.db.write().await?;
    practices::hold(&mut tx, lead.practice).await?;
    sealed_codes::put_in_place(&mut tx, &kept, locator).await?;
    let subject = format!("sealed_code:{}", kept.id);
    record::note(&mut tx, lead.practice, Actor::Staff(lead.id), "envelope.print", &subject, "", moment.now)
        .await?;
    tx.commit().await?;
    Ok(code)
}

fn must_be_lead(member: &StaffMember) -> Done<()> {
    if member.roles.lead { Ok(()) } else { Err(CareError::NotAllowed) }
}

/// What is typed by whoever opened the envelope.
#[derive(Clone, Copy, Debug, Default)]
pub struct Opening<'a> {
    pub code: &'a str,
    pub name: &'a str,
    pub reason: &'a str,
    /// The kind of browser, such as "Firefox on Windows".
    pub browser: &'a str,
    /// Where it comes from; `None`: not over a network.
    pub from: Option<IpAddr>,
}

impl Opening<'_> {
    fn faults(&self) -> Vec<Fault> {
        let (name, reason) = (self.name.trim().chars().count(), self.reason.trim().chars().count());
        let mut faults = Vec::new();
        if name < 2 {
            faults.push(Fault::new("name", "Type your own name: it stands beside everything you look at."));
        } else if name > LONGEST_NAME {
            faults.push(Fault::new("name", "Shorten the name to 200 characters."));
        }
        if reason < 5 {
            faults.push(Fault::new("reason", "Say why nobody can sign in, in a few words."));
        } else if reason > LONGEST_REASON {
            faults.push(Fault::new("reason", "Shorten the reason to 500 characters."));
        }
        faults
    }
}

/// Opens the envelope. `None`: the code is not the one that stands, which is all that is said. [`CareError::Entered`]: the
/// code was not looked at and still stands. [`CareError::TooMany`]: too many wrong ones came from there, or too many secrets
/// are compared just now.
pub async fn open(desk: &Desk, opening: Opening<'_>, moment: &Moment) -> Done<Option<Secret>> {
    let (now, from) = (moment.now, opening.from);
    let faults = opening.faults();
    if !faults.is_empty() {
        return Err(CareError::Entered(faults));
    }
    desk.gates.wrong_codes.may_try(from, now)?;
    let place = secrets::place(desk)?;
    let typed = secrets::read_sealed_code(opening.code).unwrap_or_default();
    let (locator, secret) = typed.split_at_checked(LOCATOR_LENGTH).unwrap_or_default();
    let found = sealed_codes::by_locator(&mut *desk.db.read().await?, locator).await?;
    // A beginning that nobody has takes as long as one that somebody has.
    let phc = found.as_ref().map_or(NOBODY_PHC, |code| code.phc.as_str());
    let right = secrets::matches_at(desk, place, secret, phc).await?;
    let Some(code) = found else { return wrong(desk, None, from, now).await };
    if !right || code.ended.is_some() {
        return wrong(desk, Some(&code), from, now).await;
    }
    let look = Look {
        id: LookId::mint(moment),
        practice: code.practice,
        code: code.id,
        name: opening.name.trim().to_owned(),
        reason: opening.reason.trim().into(),
        browser: opening.browser.to_owned(),
        began: now,
        until: now + LOOK_LIMIT,
        ended: None,
        noted: None,
    };
    let token = secrets::session_token(&moment.chance);
    let mut tx = desk.db.write().await?;
    if !sealed_codes::use_up(&mut tx, code.practice, code.id, now).await? {
        drop(tx);
        return wrong(desk, Some(&code), from, now).await;
    }
    sealed_codes::begin_look(&mut tx, &look, &sha256_hex(token.reveal())).await?;
    alarms::raise(&mut tx, look.practice, AlarmKind::EnvelopeOpened, &about(look.id), moment).await?;
    let (actor, subject) = (Actor::Look(look.id), format!("sealed_code:{}", code.id));
    record::note(&mut tx, look.practice, actor, "envelope.open", &subject, "", now).await?;
    tx.commit().await?;
    desk.tell(look.practice);
    if let Err(fault) = alarm_letters::tell(desk, look.practice, moment).await {
        // The look runs already; the watch tells within the minute.
        tracing::error!(%fault, "that the envelope was opened could not be written about at once");
    }
    Ok(Some(token))
}

async fn wrong(
    desk: &Desk,
    code: Option<&SealedCode>,
    from: Option<IpAddr>,
    now: Timestamp,
) -> Done<Option<Secret>> {
    tracing::warn!("a wrong sealed code");
    desk.gates.wrong_codes.note(from, now);
    if let Some(code) = code {
        let mut tx = desk.db.write().await?;
        let subject = format!("sealed_code:{}", code.id);
        record::note(&mut tx, code.practice, Actor::Program, "envelope.wrong", &subject, "", now).await?;
        tx.commit().await?;
    }
    Ok(None)
}

/// Raises the alarm that sealed codes are guessed in a practice that has one, or ends it.
pub(in crate::care) async fn see_to_guesses(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<()> {
    let whole = format!("practice:{practice}");
    let kind = AlarmKind::EnvelopeGuessed;
    let mut tx = desk.db.write().await?;
    let is_alarming = desk.gates.wrong_codes.is_alarming(moment.now)
        && sealed_codes::standing(&mut tx, practice).await?.is_some();
    let (changed, action) = match is_alarming {
        true => (alarms::raise(&mut tx, practice, kind, &whole, moment).await?, "envelope.guessed"),
        false => (alarms::end(&mut tx, practice, kind, &whole, moment.now).await?, "envelope.quiet"),
    };
    if changed {
        record::note(&mut tx, practice, Actor::Program, action, &whole, "", moment.now).await?;
    }
    tx.commit().await?;
    if changed {
        desk.tell(practice);
    }
    Ok(())
}

/// The look that runs behind a cookie; `None`: it ended, or never was.
pub async fn running(desk: &Desk, token: &str, now: Timestamp) -> Done<Option<Look>> {
    let found = sealed_codes::look_by_token(&mut *desk.db.read().await?, &sha256_hex(token)).await?;
    Ok(found.filter(|look| look.is_running(now)))
}

/// The queue, for whoever opened the envelope.
pub async fn queue(
    desk: &Desk,
    look: &Look,
    filter: &QueueFilter,
    looking: Looking,
    now: Timestamp,
) -> Done<Queue> {
    queue::read_for_look(desk, look, filter, looking, now).await
}

fn is_open(state: CheckState) -> bool {
    match state {
        CheckState::Queued | CheckState::InReview | CheckState::AwaitingCall => true,
        CheckState::Closed => false,
    }
}

/// Everything about one open check. What is closed is not there.
pub async fn check(desk: &Desk, look: &Look, id: WoundCheckId, now: Timestamp) -> Done<Opened> {
    let opened = review::gather(desk, look.practice, id).await?;
    if !is_open(opened.check.state) {
        return Err(CareError::NotFound);
    }
    let subject = format!("check:{id}");
    let seen = Seen { action: "check.view", subject: &subject, detail: "" };
    record::note_look(desk, look, seen, Again::Noted, now).await?;
    Ok(opened)
}

/// A photo of a wound with an open check; that they saw it small is noted once. `None`: there is none such, or it could not be
/// read.
pub async fn photo(
    desk: &Desk,
    look: &Look,
    id: PhotoId,
    size: Size,
    now: Timestamp,
) -> Done<Option<bytes::Bytes>> {
    let found = {
        let mut conn = desk.db.read().await?;
        let Some(found) = photos::find(&mut conn, look.practice, id).await? else { return Ok(None) };
        let check = checks::find(&mut conn, look.practice, found.check).await?.ok_or(CareError::NotFound)?;
        let of_wound = checks::of_wound(&mut conn, look.practice, check.wound).await?;
        if !of_wound.iter().any(|check| is_open(check.state)) {
            return Ok(None);
        }
        found
    };
    let bytes = review::bytes_of(desk, &found, size).await?;
    if bytes.is_some() {
        let (detail, again) = match size {
            Size::Small => ("small", Again::Silent),
            Size::Review | Size::Full => ("", Again::Noted),
        };
        let subject = format!("photo:{id}");
        record::note_look(desk, look, Seen { action: "photo.view", subject: &subject, detail }, again, now)
            .await?;
    }
    Ok(bytes)
}

/// What a lead sees of the envelope.
#[derive(Clone, Debug)]
pub struct Board {
    pub practice: Practice,
    /// The code that stands; `None`: none was printed, or it was opened.
    pub standing: Option<SealedCode>,
    /// The newest first.
    pub looks: Vec<Look>,
    pub staff: Vec<StaffMember>,
}

pub async fn board(desk: &Desk, lead: &StaffMember) -> Done<Board> {
    must_be_lead(lead)?;
    let mut conn = desk.db.read().await?;
    Ok(Board {
        practice: practices::find(&mut conn, lead.practice).await?.ok_or(CareError::NotFound)?,
        standing: sealed_codes::standing(&mut conn, lead.practice).await?,
        looks: sealed_codes::looks(&mut conn, lead.practice, SHOWN).await?,
        staff: staff::of_practice(&mut conn, lead.practice).await?,
    })
}

/// Who a look in the record was given to; those that are not among the newest keep their number.
pub async fn names(desk: &Desk, lead: &StaffMember) -> Done<Vec<(LookId, String)>> {
    must_be_lead(lead)?;
    Ok(sealed_codes::names(&mut *desk.db.read().await?, lead.practice).await?)
}

/// A lead ends a look at once, open streams too.
pub async fn end(desk: &Desk, lead: &StaffMember, id: LookId, now: Timestamp) -> Done<()> {
    must_be_lead(lead)?;
    let mut tx = desk.db.write().await?;
    sealed_codes::find_look(&mut tx, lead.practice, id).await?.ok_or(CareError::NotFound)?;
    if !sealed_codes::end_look(&mut tx, lead.practice, id, lead.id, now).await? {
        return Err(CareError::AlreadyDone);
    }
    record::note(&mut tx, lead.practice, Actor::Staff(lead.id), "envelope.end", &about(id), "", now).await?;
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(())
}

/// A lead notes what happened, which ends the alarm. The look itself goes on to its end.
pub async fn note(desk: &Desk, lead: &StaffMember, id: LookId, words: &str, now: Timestamp) -> Done<()> {
    must_be_lead(lead)?;
    let words = words.trim();
    if words.is_empty() || words.chars().count() > LONGEST_NOTE {
        let told = "Say who it was, why they needed it and what they did (2,000 characters at most).";
        return Err(CareError::Entered(vec![Fault::new("note", told)]));
    }
    let mut tx = desk.db.write().await?;
    sealed_codes::find_look(&mut tx, lead.practice, id).await?.ok_or(CareError::NotFound)?;
    let noted = Noted { at: now, by: lead.id, words: words.into() };
    if !sealed_codes::note_look(&mut tx, lead.practice, id, &noted).await? {
        return Err(CareError::AlreadyDone);
    }
    alarms::end(&mut tx, lead.practice, AlarmKind::EnvelopeOpened, &about(id), now).await?;
    record::note(&mut tx, lead.practice, Actor::Staff(lead.id), "envelope.note", &about(id), "", now).await?;
    tx.commit().await?;
    desk.tell(lead.practice);
    Ok(())
}
