//! Staff come in with a name and a password, and leave again.

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::Secret;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::secrets;
use crate::care::secrets::sha256_hex;
use crate::ids::Moment;
use crate::store::staff;
use crate::store::staff::Credentials;
use crate::store::staff::StaffMember;

/// A session ends this long after its last page.
pub const IDLE_LIMIT: SignedDuration = SignedDuration::from_mins(15);
/// A session ends this long after it began, however busy.
pub const ABSOLUTE_LIMIT: SignedDuration = SignedDuration::from_hours(12);
/// Writing "still here" more often than this would make every page a write.
const TOUCH_EVERY: SignedDuration = SignedDuration::from_secs(30);

/// How a try to sign in ended.
#[derive(Debug)]
pub enum SignIn {
    Welcome {
        token: Secret,
        member: StaffMember,
    },
    /// Name or password is wrong; which of them is not said.
    Wrong,
    /// Too many wrong ones in a row: nothing is looked at before then.
    Wait {
        until: Timestamp,
    },
}

/// A hash nobody has the password of: an unknown name costs as much time as a known one.
pub(in crate::care) const NOBODY_PHC: &str =
    "$argon2id$v=19$m=19456,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$9EX9dBc4hNbM1DmHIGmB0V2fS7bhZ2c1jz6QZ8yGHfY";

/// Tries to sign in.
pub async fn sign_in(desk: &Desk, sign_in_name: &str, password: &str, moment: &Moment) -> Done<SignIn> {
    let name = sign_in_name.trim().to_lowercase();
    let (found, next) = match book_try(desk, &name, moment.now).await? {
        Booking::Booked(found, next) => (*found, next),
        Booking::TooSoon(until) => return Ok(SignIn::Wait { until }),
        Booking::Unknown => {
            secrets::matches(desk, password, NOBODY_PHC).await?;
            return Ok(SignIn::Wrong);
        }
    };
    let right = secrets::matches(desk, &crate::care::staff::normal(password), &found.password_phc).await?;
    let (practice, actor) = (found.member.practice, Actor::Staff(found.member.id));
    let subject = format!("staff:{}", found.member.id);
    let mut tx = desk.db.write().await?;
    if !right {
        record::note(&mut tx, practice, actor, "sign_in.wrong", &subject, "", moment.now).await?;
        tx.commit().await?;
        return Ok(if next > moment.now { SignIn::Wait { until: next } } else { SignIn::Wrong });
    }
    let token = secrets::session_token(&moment.chance);
    staff::forget_wrong_tries(&mut tx, found.member.id, moment.now).await?;
    staff::begin_session(&mut tx, &sha256_hex(token.reveal()), &found.member, moment.now).await?;
    record::note(&mut tx, practice, actor, "sign_in", &subject, "", moment.now).await?;
    tx.commit().await?;
    Ok(SignIn::Welcome { token, member: found.member })
}

/// How booking a try ended.
enum Booking {
    /// Counted as wrong until it proves right; should it be wrong, nothing is looked at before the time given.
    Booked(Box<Credentials>, Timestamp),
    TooSoon(Timestamp),
    Unknown,
}

/// Books a try. Of many at once each is counted: whoever was overtaken looks again.
async fn book_try(desk: &Desk, name: &str, now: Timestamp) -> Done<Booking> {
    loop {
        let Some(found) = staff::credentials(&mut *desk.db.read().await?, name).await? else {
            return Ok(Booking::Unknown);
        };
        if now < found.next_try {
            return Ok(Booking::TooSoon(found.next_try));
        }
        let wait_s = secrets::wait_after_wrong_s(found.failed_sign_ins + 1);
        let next = now + SignedDuration::from_secs(wait_s);
        let mut tx = desk.db.write().await?;
        let booked = staff::book_try(&mut tx, &found, next).await?;
        tx.commit().await?;
        if booked {
            return Ok(Booking::Booked(Box::new(found), next));
        }
    }
}

/// Who holds this token now; `None` when the session has ended or never was. Keeps a live session alive.
pub async fn who(desk: &Desk, token: &str, now: Timestamp) -> Done<Option<StaffMember>> {
    let hash = sha256_hex(token);
    let Some(session) = staff::session(&mut *desk.db.read().await?, &hash).await? else { return Ok(None) };
    let idle = now.duration_since(session.last_seen);
    let age = now.duration_since(session.created);
    if idle >= IDLE_LIMIT || age >= ABSOLUTE_LIMIT {
        let mut tx = desk.db.write().await?;
        staff::end_session(&mut tx, &hash).await?;
        tx.commit().await?;
        return Ok(None);
    }
    if idle >= TOUCH_EVERY {
        let mut tx = desk.db.write().await?;
        staff::touch_session(&mut tx, &hash, now).await?;
        tx.commit().await?;
    }
    Ok(Some(session.member))
}

/// Whether the session still runs, without keeping it alive: for streams, which no person presses.
pub async fn still_in(desk: &Desk, token: &str, now: Timestamp) -> Done<bool> {
    Ok(who_unattended(desk, token, now).await?.is_some())
}

/// Who holds this token now, without keeping the session alive: for a page that reads itself again, with nobody
/// pressing anything.
pub async fn who_unattended(desk: &Desk, token: &str, now: Timestamp) -> Done<Option<StaffMember>> {
    let session = staff::session(&mut *desk.db.read().await?, &sha256_hex(token)).await?;
    let running = session.filter(|session| {
        now.duration_since(session.last_seen) < IDLE_LIMIT
            && now.duration_since(session.created) < ABSOLUTE_LIMIT
    });
    Ok(running.map(|session| session.member))
}

/// Ends the session behind a token.
pub async fn sign_out(desk: &Desk, token: &str, member: &StaffMember, now: Timestamp) -> Done<()> {
    let mut tx = desk.db.write().await?;
    staff::end_session(&mut tx, &sha256_hex(token)).await?;
    let subject = format!("staff:{}", member.id);
    record::note(&mut tx, member.practice, Actor::Staff(member.id), "sign_out", &subject, "", now).await?;
    tx.commit().await?;
    // Open streams of this session end now.
    desk.tell(member.practice);
    Ok(())
}
