//! A phone knocks with a patient link: sending needs only the link, reading also needs the PIN.

use std::net::IpAddr;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Secret;
use crate::care::enrol::code_secret;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::secrets;
use crate::care::secrets::LOCATOR_LENGTH;
use crate::care::secrets::sha256_hex;
use crate::ids::LinkId;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::ids::WoundId;
use crate::store::Conn;
use crate::store::check_drafts;
use crate::store::link_addresses;
use crate::store::links;
use crate::store::links::PatientLink;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::patients;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::wounds;
use crate::words::Language;

/// A phone stays in this long, or until the link expires.
const PHONE_LIMIT: SignedDuration = SignedDuration::from_hours(24 * 30);
/// The PIN opens reading for this long on one phone: it may be a shared one.
const READING_LIMIT: SignedDuration = SignedDuration::from_hours(24 * 7);
/// After this many wrong PINs in a row reading is off for the link until the office issues a new one; NIST SP
/// 800-63B-4 allows at most 100.
const PIN_HARD_STOP: i64 = 30;

/// Whoever holds an open patient link.
#[derive(Clone, Debug)]
pub struct LinkHolder {
    pub link: LinkId,
    pub link_name: String,
    pub practice: PracticeId,
    pub wound: WoundId,
    pub language: Language,
    /// Whether answers may be read on this phone now.
    pub may_read: bool,
}

/// How a knock ended.
#[derive(Debug)]
pub enum Knock {
    Open {
        token: Secret,
        language: Language,
    },
    /// The link was revoked or has expired. Its practice's phone is all that is said.
    Closed(Practice),
    /// No such link.
    Unknown,
}

/// Exchanges a link's token for a phone's session. A link that is known opens, whatever else came from the same network;
/// [`CareError::TooMany`]: this one is not known, and too many that were not came from there.
pub async fn knock(desk: &Desk, token: &str, from: Option<IpAddr>, moment: &Moment) -> Done<Knock> {
    let link = match secrets::can_be_link_token(token) {
        true => links::by_token(&mut *desk.db.read().await?, &sha256_hex(token)).await?,
        false => None,
    };
    match link {
        Some(link) => open(desk, link, moment).await,
        None => unknown(desk, from, moment.now),
    }
}

/// Exchanges a typed code for a phone's session. [`CareError::TooMany`]: as for a link; a code whose beginning is known is still
/// looked at a few times a minute.
pub async fn knock_with_code(desk: &Desk, typed: &str, from: Option<IpAddr>, moment: &Moment) -> Done<Knock> {
    let Some(code) = secrets::read_typed_code(typed) else { return unknown(desk, from, moment.now) };
    let locator = code.get(..LOCATOR_LENGTH).unwrap_or_default();
    let Some(link) = links::by_code_locator(&mut *desk.db.read().await?, locator).await? else {
        return unknown(desk, from, moment.now);
    };
    desk.gates.guesses.may_look(from, locator, moment.now)?;
    let place = secrets::place(desk)?;
    match secrets::matches_at(place, code_secret(&code), &link.code_phc).await? {
        true => open(desk, link, moment).await,
        false => unknown(desk, from, moment.now),
    }
}

/// Nobody has that link or code: it counts as a guess.
fn unknown(desk: &Desk, from: Option<IpAddr>, now: Timestamp) -> Done<Knock> {
    desk.gates.guesses.note(from, now)?;
    Ok(Knock::Unknown)
}

async fn open(desk: &Desk, link: PatientLink, moment: &Moment) -> Done<Knock> {
    let mut tx = desk.db.write().await?;
    let subject = format!("link:{}", link.id);
    if link.revoked.is_some() || link.expires <= moment.now {
        record::note(
            &mut tx,
            link.practice,
            Actor::Link(link.id),
            "link.late_knock",
            &subject,
            "",
            moment.now,
        )
        .await?;
        let practice = practices::find(&mut tx, link.practice).await?.ok_or(CareError::NotFound)?;
        tx.commit().await?;
        return Ok(Knock::Closed(practice));
    }
    let wound = wounds::find(&mut tx, link.practice, link.wound).await?.ok_or(CareError::NotFound)?;
    let patient = patients::find(&mut tx, link.practice, wound.patient).await?.ok_or(CareError::NotFound)?;
    let token = secrets::session_token(&moment.chance);
    let expires = link.expires.min(moment.now + PHONE_LIMIT);
    let hash = sha256_hex(token.reveal());
    links::begin_session(&mut tx, &hash, &link, patient.language, moment.now, expires).await?;
    record::note(&mut tx, link.practice, Actor::Link(link.id), "link.open", &subject, "", moment.now).await?;
    tx.commit().await?;
    Ok(Knock::Open { token, language: patient.language })
}

/// Who holds this phone's session now; `None` when it ended, or its link was revoked or has expired.
pub async fn holder(desk: &Desk, token: &str, now: Timestamp) -> Done<Option<LinkHolder>> {
    let session = links::session(&mut *desk.db.read().await?, &sha256_hex(token)).await?;
    Ok(session
        .filter(|session| {
            session.link.revoked.is_none() && session.link.expires > now && session.expires > now
        })
        .map(|session| LinkHolder {
            link: session.link.id,
            link_name: session.link.name,
            practice: session.link.practice,
            wound: session.link.wound,
            language: session.language,
            may_read: session.reading_until > now,
        }))
}

/// Refuses what comes through a link that was closed since the phone began to send: a revoked link brings nothing more.
pub(in crate::care) async fn must_be_open(conn: &mut Conn, holder: &LinkHolder, now: Timestamp) -> Done<()> {
    let link = links::find(conn, holder.practice, holder.link).await?;
    match link {
        Some(link) if link.revoked.is_none() && link.expires > now => Ok(()),
        Some(_) | None => Err(CareError::LinkClosed),
    }
}

/// How a PIN try ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PinTry {
    Right,
    Wrong,
    /// Nothing is looked at before then.
    Wait {
        until: Timestamp,
    },
    /// Reading is off for this link; the office can issue another. Sending goes on.
    Off,
}

/// Tries a PIN on this phone. Whatever comes of it, sending goes on.
pub async fn try_pin(desk: &Desk, token: &str, pin: &str, moment: &Moment) -> Done<PinTry> {
    let hash = sha256_hex(token);
    let session = links::session(&mut *desk.db.read().await?, &hash).await?.ok_or(CareError::NotFound)?;
    let link = session.link;
    if link.wrong_pins >= PIN_HARD_STOP {
        return Ok(PinTry::Off);
    }
    if moment.now < link.next_pin {
        return Ok(PinTry::Wait { until: link.next_pin });
    }
    let wrong = link.wrong_pins + 1;
    let next = moment.now + SignedDuration::from_secs(secrets::wait_after_wrong_s(wrong));
    let mut tx = desk.db.write().await?;
    let booked = links::book_pin_try(&mut tx, &link, next).await?;
    tx.commit().await?;
    if !booked {
        return Ok(PinTry::Wait { until: moment.now + SignedDuration::from_secs(1) });
    }
    let typed: String = pin.chars().filter(char::is_ascii_digit).collect();
    let right = secrets::matches(desk, &typed, &link.pin_phc).await?;
    let (actor, subject) = (Actor::Link(link.id), format!("link:{}", link.id));
    let mut tx = desk.db.write().await?;
    if right {
        links::forget_wrong_pins(&mut tx, &link, moment.now).await?;
        links::allow_reading(&mut tx, &hash, moment.now + READING_LIMIT).await?;
        record::note(&mut tx, link.practice, actor, "pin.right", &subject, "", moment.now).await?;
        tx.commit().await?;
        return Ok(PinTry::Right);
    }
    record::note(&mut tx, link.practice, actor, "pin.wrong", &subject, "", moment.now).await?;
    if wrong >= PIN_HARD_STOP {
        notices::enqueue(&mut tx, link.practice, NoticeKind::WrongPins, Recipient::Office, &subject, moment)
            .await?;
    }
    tx.commit().await?;
    Ok(match wrong {
        PIN_HARD_STOP.. => PinTry::Off,
        _ if next > moment.now => PinTry::Wait { until: next },
        _ => PinTry::Wrong,
    })
}

/// The phone speaks this language from now on.
pub async fn speak(desk: &Desk, token: &str, language: Language) -> Done<()> {
    let mut tx = desk.db.write().await?;
    links::speak(&mut tx, &sha256_hex(token), language).await?;
    Ok(tx.commit().await?)
}

/// Ends this phone's session, and what it typed and did not send.
pub async fn leave(desk: &Desk, token: &str) -> Done<()> {
    let mut tx = desk.db.write().await?;
    check_drafts::forget_phone(&mut tx, &sha256_hex(token)).await?;
    link_addresses::forget_phone(&mut tx, &sha256_hex(token)).await?;
    links::end_session(&mut tx, &sha256_hex(token)).await?;
    Ok(tx.commit().await?)
}
