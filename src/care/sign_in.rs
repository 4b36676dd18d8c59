//! Staff come in: a name and a password, which open nothing yet, then the second step; and leave again.

use std::net::IpAddr;
use std::time::Duration;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::Secret;
use crate::care::gates::HASHING_AGAIN;
use crate::care::gates::Network;
use crate::care::gates::Place;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::secrets;
use crate::care::secrets::sha256_hex;
use crate::care::staff::normal;
use crate::care::turned_away;
use crate::care::turned_away::Knocker;
use crate::care::turned_away::Refusal;
use crate::care::turned_away::Why;
use crate::ids::Moment;
use crate::ids::StaffSessionId;
use crate::store::Conn;
use crate::store::alarms;
use crate::store::alarms::AlarmKind;
use crate::store::sign_in_tries;
use crate::store::sign_in_tries::Counted;
use crate::store::sign_in_tries::Tries;
use crate::store::staff;
use crate::store::staff::StaffMember;
use crate::store::staff_sessions;
use crate::store::staff_sessions::StaffSession;
use crate::store::staff_sessions::Stage;

/// A session ends this long after its last page.
pub const IDLE_LIMIT: SignedDuration = SignedDuration::from_mins(15);
/// A session ends this long after it began, however busy.
pub const ABSOLUTE_LIMIT: SignedDuration = SignedDuration::from_hours(12);
/// The second step is to follow the first within this long.
pub const HALF_LIMIT: SignedDuration = SignedDuration::from_mins(10);
/// What is sensitive asks for the second step again when it was taken longer ago than this.
pub const FRESH_LIMIT: SignedDuration = SignedDuration::from_mins(5);
/// Writing "still here" more often than this would make every page a write.
const TOUCH_EVERY: SignedDuration = SignedDuration::from_secs(30);
/// So many wrong tries in a row, and somebody is told that a password is being guessed.
const TOLD_AFTER: i64 = 10;

/// A wrong name or password is answered no sooner than this. What is noted about a member and about nobody is not the same work
/// (measured: 4.5 ms between the middle ones of 500 tries each); how long it took is to say nothing.
pub const WRONG_TAKES: Duration = Duration::from_millis(150);

/// Who knocks, and from where.
#[derive(Clone, Copy, Debug, Default)]
pub struct Knocking<'a> {
    pub sign_in_name: &'a str,
    pub password: &'a str,
    /// Token of the session the browser holds: it ends, whatever comes of this.
    pub old_session: Option<&'a str>,
    /// Token of a browser in which somebody signed in before.
    pub known_browser: Option<&'a str>,
    /// The kind of browser, such as "Firefox on Windows".
    pub browser: &'a str,
    /// Where the knock comes from; `None`: not over a network.
    pub from: Option<IpAddr>,
}

/// How the first step ended.
#[derive(Debug)]
pub enum SignIn {
    /// The password is right. The token opens the second step and nothing else.
    HalfWay { token: Secret, member: StaffMember },
    /// Name or password is wrong; which of them is not said.
    Wrong,
    /// Too many wrong ones in a row: nothing is looked at before then.
    Wait { until: Timestamp },
}

/// A hash nobody has the password of: an unknown name costs as much time as a known one.
pub(in crate::care) const NOBODY_PHC: &str =
    "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$9EX9dBc4hNbM1DmHIGmB0V2fS7bhZ2c1jz6QZ8yGHfY";

/// The first step. Known names and unknown ones are counted, made to wait and looked at alike. [`CareError::TooMany`]: too
/// often from one network, or too many at once; neither holds up a member in a browser they signed in from before.
pub async fn sign_in(desk: &Desk, knocking: Knocking<'_>, moment: &Moment) -> Done<SignIn> {
    let now = moment.now;
    let no_sooner = tokio::time::sleep(WRONG_TAKES);
    // A stranger who would find no place anyway is told so before anything is looked up: in a storm of them that is all there is time for.
    if knocking.known_browser.is_none() && desk.gates.hashing.is_full() {
        return Err(CareError::TooMany { again: HASHING_AGAIN });
    }
    let name = knocking.sign_in_name.trim().to_lowercase();
    let found = staff::credentials(&mut *desk.db.read().await?, &name).await?;
    let counted = match &found {
        Some(found) => counted_at(desk, &found.member, knocking.known_browser).await?,
        None => Counted::Unknown(bucket(&name)),
    };
    let strangers = match &counted {
        Counted::InBrowser { .. } => None,
        Counted::AtName(_) | Counted::Unknown(_) => Some(stranger(desk, knocking.from, now)?),
    };
    let booked = match book_try(desk, &counted, now).await? {
        Booking::Booked(booked) => booked,
        Booking::TooSoon(until) => return Ok(SignIn::Wait { until }),
    };
    let phc = found.as_ref().map_or(NOBODY_PHC, |found| found.password_phc.as_str());
    let is_stranger = strangers.is_some();
    let right = match strangers {
        Some(place) => secrets::matches_at(desk, place, &normal(knocking.password), phc).await?,
        None => secrets::matches(desk, &normal(knocking.password), phc).await?,
    };
    let Some(found) = found.filter(|_| right) else {
        if let Counted::AtName(_) | Counted::InBrowser { .. } = &counted {
            let member = staff::credentials(&mut *desk.db.read().await?, &name).await?.map(|one| one.member);
            note_wrong(desk, member.as_ref(), "sign_in.wrong", booked, moment).await?;
        } else {
            tracing::warn!("a try to sign in with a name nobody has");
            let mut tx = desk.db.write().await?;
            sign_in_tries::write_as_if(&mut tx, &counted).await?;
            tx.commit().await?;
            let (knocker, why) = (Knocker::Stranger, Why::UnknownName);
            turned_away::note(desk, Refusal { knocker, why, method: "POST", door: "/sign-in" }, now).await?;
        }
        no_sooner.await;
        return Ok(if booked.next > now { SignIn::Wait { until: booked.next } } else { SignIn::Wrong });
    };
    let member = found.member;
    if let Some(from) = knocking.from.filter(|_| is_stranger) {
        desk.gates.sign_ins.take_back(&Network::of(from), now);
    }
    let again = match secrets::is_as_today(&found.password_phc) {
        true => None,
        false => Some(secrets::hash(desk, &normal(knocking.password), &moment.chance).await?),
    };
    let token = secrets::session_token(&moment.chance);
    let mut tx = desk.db.write().await?;
    // The second step does not wait for tries at the password; wrong ones before it still count.
    sign_in_tries::take_back(&mut tx, &counted, booked).await?;
    if let Some(phc) = again {
        staff::set_password(&mut tx, member.practice, member.id, &phc).await?;
    }
    if let Some(old) = knocking.old_session {
        staff_sessions::end(&mut tx, &sha256_hex(old)).await?;
    }
    let session = StaffSession {
        id: StaffSessionId::mint(moment),
        member: member.clone(),
        stage: Stage::Half,
        created: now,
        last_seen: now,
        fresh: now,
        browser: knocking.browser.to_owned(),
    };
    staff_sessions::begin(&mut tx, &sha256_hex(token.reveal()), &session).await?;
    let subject = format!("staff:{}", member.id);
    record::note(&mut tx, member.practice, Actor::Staff(member.id), "sign_in.half", &subject, "", now)
        .await?;
    tx.commit().await?;
    Ok(SignIn::HalfWay { token, member })
}

/// Lets a try from a browser nobody knows on to where passwords are compared, or sends it away: too many came from its network,
/// or too many wait. Until it proves right it counts as one that did not.
fn stranger(desk: &Desk, from: Option<IpAddr>, now: Timestamp) -> Done<Place> {
    let place = secrets::place(desk)?;
    if let Some(from) = from {
        desk.gates.sign_ins.count(&Network::of(from), now).map_err(|again| {
            tracing::warn!("too many tries to sign in from one network");
            CareError::TooMany { again }
        })?;
    }
    Ok(place)
}

/// Of 65,536 heaps the one a name nobody has is counted in.
fn bucket(name: &str) -> u16 {
    u16::from_str_radix(&sha256_hex(name)[..4], 16).unwrap_or(0)
}

/// Where a member's tries are counted: in a browser they signed in from before, or with everybody's at their name.
pub(in crate::care) async fn counted_at(
    desk: &Desk,
    member: &StaffMember,
    known_browser: Option<&str>,
) -> Done<Counted> {
    if let Some(token) = known_browser {
        let known = Counted::InBrowser { token_sha256: sha256_hex(token), staff: member.id };
        if sign_in_tries::read(&mut *desk.db.read().await?, &known).await?.is_some() {
            return Ok(known);
        }
    }
    Ok(Counted::AtName(member.id))
}

/// How booking a try ended.
pub(in crate::care) enum Booking {
    /// Counted as wrong until it proves right: the count with it, and before when nothing is looked at should it be wrong.
    Booked(Tries),
    TooSoon(Timestamp),
}

/// Books a try. Of many at once each is counted: whoever was overtaken looks again.
pub(in crate::care) async fn book_try(desk: &Desk, counted: &Counted, now: Timestamp) -> Done<Booking> {
    loop {
        let found = sign_in_tries::read(&mut *desk.db.read().await?, counted).await?;
        let before = found.unwrap_or(Tries { failed: 0, next: Timestamp::UNIX_EPOCH });
        if now < before.next {
            return Ok(Booking::TooSoon(before.next));
        }
        let failed = before.failed + 1;
        let next = now + SignedDuration::from_secs(secrets::wait_after_wrong_s(failed));
        let mut tx = desk.db.write().await?;
        let booked = sign_in_tries::book(&mut tx, counted, before, next).await?;
        tx.commit().await?;
        if booked {
            return Ok(Booking::Booked(Tries { failed, next }));
        }
    }
}

/// Notes a wrong try at a member's name, and tells the practice once it looks like guessing.
pub(in crate::care) async fn note_wrong(
    desk: &Desk,
    member: Option<&StaffMember>,
    action: &str,
    booked: Tries,
    moment: &Moment,
) -> Done<()> {
    let Some(member) = member else { return Ok(()) };
    let subject = format!("staff:{}", member.id);
    let mut tx = desk.db.write().await?;
    record::note(&mut tx, member.practice, Actor::Staff(member.id), action, &subject, "", moment.now).await?;
    if booked.failed >= TOLD_AFTER {
        alarms::raise(&mut tx, member.practice, AlarmKind::PasswordGuessed, &subject, moment).await?;
    }
    Ok(tx.commit().await?)
}

/// Who was let in, and by which tokens.
#[derive(Debug)]
pub struct LetIn {
    pub token: Secret,
    /// A new token for this browser, by which it is known from now on; `None`: it is known already.
    pub known_browser: Option<Secret>,
    pub member: StaffMember,
}

/// After the second step: a new session in place of the old one, whole and fresh. One that was whole before goes on to its
/// own end.
pub(in crate::care) async fn let_in(
    conn: &mut Conn,
    session: &StaffSession,
    old_token: &str,
    known_browser: Option<&str>,
    moment: &Moment,
) -> Done<LetIn> {
    let (now, member) = (moment.now, session.member.clone());
    let token = secrets::session_token(&moment.chance);
    staff_sessions::end(conn, &sha256_hex(old_token)).await?;
    let whole = StaffSession {
        id: StaffSessionId::mint(moment),
        stage: Stage::Whole,
        created: if session.stage == Stage::Whole { session.created } else { now },
        last_seen: now,
        fresh: now,
        ..session.clone()
    };
    staff_sessions::begin(conn, &sha256_hex(token.reveal()), &whole).await?;
    let new = known_browser.is_none().then(|| secrets::session_token(&moment.chance));
    let browser = known_browser.or(new.as_ref().map(Secret::reveal)).unwrap_or_default();
    sign_in_tries::know_browser(conn, &sha256_hex(browser), &member, now).await?;
    sign_in_tries::forget(conn, &Counted::AtName(member.id)).await?;
    let subject = format!("staff:{}", member.id);
    let action = if session.stage == Stage::Whole { "sign_in.again" } else { "sign_in" };
    record::note(conn, member.practice, Actor::Staff(member.id), action, &subject, "", now).await?;
    Ok(LetIn { token, known_browser: new, member })
}

fn is_running(session: &StaffSession, now: Timestamp) -> bool {
    let age = now.duration_since(session.created);
    match session.stage {
        Stage::Half => age < HALF_LIMIT,
        Stage::Whole => now.duration_since(session.last_seen) < IDLE_LIMIT && age < ABSOLUTE_LIMIT,
    }
}

/// The session behind a token, half or whole; `None` when it has ended or never was. Keeps a live one alive.
pub async fn session(desk: &Desk, token: &str, now: Timestamp) -> Done<Option<StaffSession>> {
    let hash = sha256_hex(token);
    let Some(found) = staff_sessions::find(&mut *desk.db.read().await?, &hash).await? else {
        return Ok(None);
    };
    if !is_running(&found, now) {
        let mut tx = desk.db.write().await?;
        staff_sessions::end(&mut tx, &hash).await?;
        tx.commit().await?;
        return Ok(None);
    }
    if now.duration_since(found.last_seen) >= TOUCH_EVERY {
        let mut tx = desk.db.write().await?;
        staff_sessions::touch(&mut tx, &hash, now).await?;
        tx.commit().await?;
    }
    Ok(Some(found))
}

/// Who is wholly in with this token, and keeps the session alive; `None`: nobody.
pub async fn who(desk: &Desk, token: &str, now: Timestamp) -> Done<Option<StaffMember>> {
    let found = session(desk, token, now).await?;
    Ok(found.filter(|found| found.stage == Stage::Whole).map(|found| found.member))
}

/// Whether the session still runs, without keeping it alive: for streams, which no person presses.
pub async fn still_in(desk: &Desk, token: &str, now: Timestamp) -> Done<bool> {
    Ok(session_unattended(desk, token, now).await?.is_some())
}

/// The whole session behind a token, without keeping it alive: for a page that reads itself again, with nobody pressing
/// anything.
pub async fn session_unattended(desk: &Desk, token: &str, now: Timestamp) -> Done<Option<StaffSession>> {
    let found = staff_sessions::find(&mut *desk.db.read().await?, &sha256_hex(token)).await?;
    Ok(found.filter(|found| found.stage == Stage::Whole && is_running(found, now)))
}

/// Ends the session behind a token.
pub async fn sign_out(desk: &Desk, token: &str, member: &StaffMember, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    staff_sessions::end(&mut tx, &sha256_hex(token)).await?;
    let subject = format!("staff:{}", member.id);
    record::note(&mut tx, member.practice, Actor::Staff(member.id), "sign_out", &subject, "", now).await?;
    tx.commit().await?;
    // Open streams of this session end now.
    desk.tell(member.practice);
    Ok(())
}

/// A member's own sessions, the one used last first; those that ended by themselves are left out.
pub async fn sessions(desk: &Desk, member: &StaffMember, now: Timestamp) -> Done<Vec<StaffSession>> {
    let mut all = staff_sessions::of_member(&mut *desk.db.read().await?, member.practice, member.id).await?;
    all.retain(|session| is_running(session, now));
    Ok(all)
}

/// Ends one of a member's own sessions, or all but the one they press in.
pub async fn end_sessions(
    desk: &Desk,
    session: &StaffSession,
    which: Option<StaffSessionId>,
    now: Timestamp,
) -> Done<()> {
    let member = &session.member;
    let mut tx = desk.db.write().await?;
    match which {
        Some(id) => {
            if !staff_sessions::end_one(&mut tx, member.practice, member.id, id).await? {
                return Err(CareError::AlreadyDone);
            }
        }
        None => staff_sessions::end_others(&mut tx, member.practice, member.id, session.id).await?,
    }
    let (subject, detail) =
        (format!("staff:{}", member.id), if which.is_some() { "one" } else { "all_others" });
    let actor = Actor::Staff(member.id);
    record::note(&mut tx, member.practice, actor, "session.end", &subject, detail, now).await?;
    tx.commit().await?;
    desk.tell(member.practice);
    Ok(())
}
