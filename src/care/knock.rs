//! A phone knocks with a patient link: sending needs only the link, reading also needs the PIN.

use std::net::IpAddr;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Secret;
use crate::care::enrol::code_secret;
use crate::care::late_knock;
use crate::care::pins;
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
use crate::store::links::NewPhone;
use crate::store::links::PatientLink;
use crate::store::notices;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::store::patients;
use crate::store::patients::fold_name;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::wounds;
use crate::words::Language;

/// A phone stays in this long, or until the link expires.
const PHONE_LIMIT: SignedDuration = SignedDuration::from_hours(24 * 30);
/// Somebody else's phone is out this long after the last thing that was sent from it.
const BORROWED_LIMIT: SignedDuration = SignedDuration::from_mins(15);
/// Once a link was opened that was issued in place of another, the other one goes on for this long: a form may be half
/// filled in.
const REPLACED_GRACE: SignedDuration = SignedDuration::from_hours(24);
/// Letters of initials that are looked at.
const MOST_INITIALS: usize = 8;
/// The PIN opens reading for this long on one phone: it may be a shared one.
const READING_LIMIT: SignedDuration = SignedDuration::from_hours(24 * 7);
/// After this many wrong PINs in a row reading is off for the link until the office issues a new one; NIST SP
/// 800-63B-4 allows at most 100.
pub const PIN_HARD_STOP: i64 = 30;

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
    /// The phone is somebody else's: it shows no answer and keeps nothing.
    pub borrowed: bool,
    /// Initials typed when the link was opened that are not the patient's; empty: none were, or they fit.
    pub other_initials: String,
}

/// What a phone says when it knocks.
#[derive(Clone, Copy, Debug, Default)]
pub struct AtTheDoor<'a> {
    /// The first letters of the patient's name; empty: not typed.
    pub initials: &'a str,
    /// It is somebody else's phone.
    pub borrowed: bool,
    /// The kind of browser, such as "Safari on iPhone".
    pub browser: &'a str,
    /// The address to count guesses by; `None`: of nobody in particular.
    pub from: Option<IpAddr>,
}

/// How a knock ended.
#[derive(Debug)]
pub enum Knock {
    Open {
        token: Secret,
        language: Language,
    },
    /// The link was revoked or has expired. Its practice's phone is all that is said.
    Closed {
        practice: Practice,
        /// It has only expired: whoever holds it may leave a few words.
        takes_words: bool,
    },
    /// No such link.
    Unknown,
}

/// Exchanges a link's token for a phone's session. A link that is known opens, whatever else came from the same network;
/// [`CareError::TooMany`]: this one is not known, and too many that were not came from there.
pub async fn knock(desk: &Desk, token: &str, said: AtTheDoor<'_>, moment: &Moment) -> Done<Knock> {
    let link = by_token(desk, token).await?;
    open(desk, known(desk, link, said.from, moment.now)?, said, moment).await
}

/// Exchanges a typed code for a phone's session. [`CareError::TooMany`]: as for a link; a code whose beginning is known is still
/// looked at a few times a minute.
pub async fn knock_with_code(desk: &Desk, typed: &str, said: AtTheDoor<'_>, moment: &Moment) -> Done<Knock> {
    let link = by_code(desk, typed, said.from, moment.now).await?;
    open(desk, known(desk, link, said.from, moment.now)?, said, moment).await
}

/// The link a token opens, whatever its state.
async fn by_token(desk: &Desk, token: &str) -> Done<Option<PatientLink>> {
    if !secrets::can_be_link_token(token) {
        return Ok(None);
    }
    Ok(links::by_token(&mut *desk.db.read().await?, &sha256_hex(token)).await?)
}

/// The link a typed code names, whatever its state.
async fn by_code(
    desk: &Desk,
    typed: &str,
    from: Option<IpAddr>,
    now: Timestamp,
) -> Done<Option<PatientLink>> {
    let Some(code) = secrets::read_typed_code(typed) else { return Ok(None) };
    let locator = code.get(..LOCATOR_LENGTH).unwrap_or_default();
    let link = links::by_code_locator(&mut *desk.db.read().await?, locator).await?;
    let Some(link) = link else { return Ok(None) };
    desk.gates.guesses.may_look(from, locator, now)?;
    let place = secrets::place(desk)?;
    Ok(secrets::matches_at(desk, place, code_secret(&code), &link.code_phc).await?.then_some(link))
}

/// A link or code that nobody has counts as a guess.
fn known(
    desk: &Desk,
    link: Option<PatientLink>,
    from: Option<IpAddr>,
    now: Timestamp,
) -> Done<Option<PatientLink>> {
    if link.is_none() {
        desk.gates.guesses.note(from, now)?;
    }
    Ok(link)
}

fn is_closed(link: &PatientLink, now: Timestamp) -> bool {
    link.revoked.is_some() || link.expires <= now
}

async fn open(desk: &Desk, link: Option<PatientLink>, said: AtTheDoor<'_>, moment: &Moment) -> Done<Knock> {
    let Some(link) = link else { return Ok(Knock::Unknown) };
    let mut tx = desk.db.write().await?;
    let subject = format!("link:{}", link.id);
    if is_closed(&link, moment.now) {
        late_knock::note(&mut tx, &link, "", moment).await?;
        let practice = practices::find(&mut tx, link.practice).await?.ok_or(CareError::NotFound)?;
        tx.commit().await?;
        desk.tell(link.practice);
        return Ok(Knock::Closed { practice, takes_words: link.revoked.is_none() });
    }
    let wound = wounds::find(&mut tx, link.practice, link.wound).await?.ok_or(CareError::NotFound)?;
    let patient = patients::find(&mut tx, link.practice, wound.patient).await?.ok_or(CareError::NotFound)?;
    let token = secrets::session_token(&moment.chance);
    let limit = if said.borrowed { BORROWED_LIMIT } else { PHONE_LIMIT };
    let hash = sha256_hex(token.reveal());
    let phone = NewPhone {
        token_sha256: &hash,
        language: patient.language,
        expires: link.expires.min(moment.now + limit),
        browser: said.browser,
        borrowed: said.borrowed,
        other_initials: &other_initials(said.initials, &patient.name),
    };
    links::begin_session(&mut tx, &link, &phone, moment.now).await?;
    links::end_replaced(&mut tx, &link, moment.now + REPLACED_GRACE).await?;
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
            may_read: session.reading_until > now && !session.borrowed,
            borrowed: session.borrowed,
            other_initials: session.other_initials,
        }))
}

/// Something was sent from somebody else's phone: whoever fills in a form is not put out in the middle of it.
pub async fn stay(desk: &Desk, holder: &LinkHolder, token: &str, now: Timestamp) -> Done<()> {
    if !holder.borrowed {
        return Ok(());
    }
    let mut tx = desk.db.write().await?;
    let link = links::find(&mut tx, holder.practice, holder.link).await?.ok_or(CareError::NotFound)?;
    links::prolong(&mut tx, &sha256_hex(token), link.expires.min(now + BORROWED_LIMIT)).await?;
    Ok(tx.commit().await?)
}

/// The practice of a link that has expired, by whatever it is held; nothing is written. `None`: there is no such link, it is
/// open, or it was revoked.
pub async fn expired(desk: &Desk, held: Held<'_>, now: Timestamp) -> Done<Option<Practice>> {
    let Some(link) = expired_link(desk, held, None, now).await? else { return Ok(None) };
    Ok(practices::find(&mut *desk.db.read().await?, link.practice).await?)
}

async fn expired_link(
    desk: &Desk,
    held: Held<'_>,
    from: Option<IpAddr>,
    now: Timestamp,
) -> Done<Option<PatientLink>> {
    let link = match held {
        Held::Token(token) => known(desk, by_token(desk, token).await?, from, now)?,
        Held::Code(code) => known(desk, by_code(desk, code, from, now).await?, from, now)?,
        Held::Phone(token) => {
            links::session(&mut *desk.db.read().await?, &sha256_hex(token)).await?.map(|found| found.link)
        }
    };
    Ok(link.filter(|link| link.revoked.is_none() && link.expires <= now))
}

/// Keeps what somebody types who holds a link that has expired; `from`: the address to count guesses by. `None`: as with
/// [`expired`]. [`CareError::TooMany`]: as when knocking.
pub async fn leave_words(
    desk: &Desk,
    held: Held<'_>,
    typed: &str,
    from: Option<IpAddr>,
    moment: &Moment,
) -> Done<Option<Practice>> {
    let Some(link) = expired_link(desk, held, from, moment.now).await? else { return Ok(None) };
    let mut tx = desk.db.write().await?;
    late_knock::note(&mut tx, &link, typed, moment).await?;
    let practice = practices::find(&mut tx, link.practice).await?.ok_or(CareError::NotFound)?;
    tx.commit().await?;
    desk.tell(link.practice);
    Ok(Some(practice))
}

/// What somebody holds a link by.
#[derive(Clone, Copy, Debug)]
pub enum Held<'a> {
    Token(&'a str),
    Code(&'a str),
    /// The cookie of a phone that opened it before.
    Phone(&'a str),
}

/// The typed initials when they are not the patient's, to be shown to whoever reads; empty: nothing typed, or they fit.
/// They fit when they are first letters of names, in this order or with the family name in front, some left out.
fn other_initials(typed: &str, name: &str) -> String {
    let letters =
        |text: &str| -> Vec<char> { fold_name(text).chars().filter(|sign| sign.is_alphanumeric()).collect() };
    let typed: String = typed.chars().filter(|sign| sign.is_alphanumeric()).take(MOST_INITIALS).collect();
    let wanted = letters(&typed);
    let names: Vec<char> = name.split_whitespace().filter_map(|one| letters(one).first().copied()).collect();
    let fits = (0..names.len().max(1)).any(|turn| {
        let mut turned = names.iter().cycle().skip(turn).take(names.len());
        wanted.iter().all(|letter| turned.any(|first| first == letter))
    });
    if fits { String::new() } else { typed.to_uppercase() }
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
    /// The phone is somebody else's: nothing is read on it.
    NotHere,
}

/// Tries a PIN on this phone. Whatever comes of it, sending goes on.
pub async fn try_pin(desk: &Desk, token: &str, pin: &str, moment: &Moment) -> Done<PinTry> {
    let hash = sha256_hex(token);
    let session = links::session(&mut *desk.db.read().await?, &hash).await?.ok_or(CareError::NotFound)?;
    if session.borrowed {
        return Ok(PinTry::NotHere);
    }
    let link = session.link;
    if link.wrong_pins >= PIN_HARD_STOP {
        return Ok(PinTry::Off);
    }
    if moment.now < link.next_pin {
        return Ok(PinTry::Wait { until: link.next_pin });
    }
    // Before the try is counted: a PIN that cannot be compared is no wrong one.
    let known = pins::known_by(desk, &link).await?;
    let wrong = link.wrong_pins + 1;
    let next = moment.now + SignedDuration::from_secs(secrets::wait_after_wrong_s(wrong));
    let mut tx = desk.db.write().await?;
    let booked = links::book_pin_try(&mut tx, &link, next).await?;
    tx.commit().await?;
    if !booked {
        return Ok(PinTry::Wait { until: moment.now + SignedDuration::from_secs(1) });
    }
    let typed: String = pin.chars().filter(char::is_ascii_digit).collect();
    let right = known.is(desk, &typed).await?;
    let peppered = match right && !link.pin_peppered {
        true => peppered(desk, &link, &typed, moment).await,
        false => None,
    };
    let (actor, subject) = (Actor::Link(link.id), format!("link:{}", link.id));
    let mut tx = desk.db.write().await?;
    if right {
        links::forget_wrong_pins(&mut tx, &link, moment.now).await?;
        if let Some(phc) = peppered {
            links::pepper_pin(&mut tx, &link, &phc).await?;
        }
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

/// The hash of a right PIN anew, with the pepper in it. `None`: that cannot be done now, and the next right PIN tries again.
async fn peppered(desk: &Desk, link: &PatientLink, pin: &str, moment: &Moment) -> Option<String> {
    let hashed = pins::hash(desk, link.practice, pin, moment).await;
    hashed.inspect_err(|fault| tracing::error!(%fault, "the hash of a right PIN stays without a pepper")).ok()
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn initials_fit_in_either_order_with_some_left_out_and_whatever_their_marks() {
        let name = "José Núñez García";
        for fits in ["JNG", "jng", "j. n.", "JG", "NJ", "GJN", "N", "", "J-N"] {
            assert_eq!(other_initials(fits, name), "", "{fits}");
        }
        for other in ["JP", "X", "JNGX", "GNJX"] {
            assert_eq!(other_initials(other, name), other.to_uppercase(), "{other}");
        }
        assert_eq!(other_initials("Ñ", name), "", "a letter with its mark");
        assert_eq!(other_initials("王", "王 小明"), "");
        assert_eq!(other_initials("AB", ""), "AB");
    }
}
