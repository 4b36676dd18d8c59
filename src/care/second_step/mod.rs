//! The second step of signing in: a passkey, a code of an authenticator app, or a printed recovery code; and the same again
//! before something sensitive.

pub mod app;
pub mod passkeys;
pub mod setting_up;

use serde::Deserialize;
use serde::Serialize;
use webauthn_rs::prelude::PasskeyAuthentication;
use webauthn_rs::prelude::PasskeyRegistration;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::record;
use crate::care::record::Actor;
use crate::care::secrets;
use crate::care::secrets::sha256_hex;
use crate::care::sign_in;
use crate::care::sign_in::Booking;
use crate::care::sign_in::LetIn;
use crate::ids::Moment;
use crate::store::Conn;
use crate::store::second_steps;
use crate::store::second_steps::KeptPasskey;
use crate::store::sign_in_tries;
use crate::store::sign_in_tries::Tries;
use crate::store::staff::StaffMember;
use crate::store::staff_sessions;
use crate::store::staff_sessions::StaffSession;

use jiff::SignedDuration;
use jiff::Timestamp;

/// What a browser was asked is to be answered within this long.
const ASKED_LIMIT: SignedDuration = SignedDuration::from_mins(5);

/// Somebody whose session is half or whole, at the second step.
#[derive(Clone, Debug)]
pub struct Coming {
    pub session: StaffSession,
    /// The token of that session.
    pub token: String,
    /// Token of a browser in which somebody signed in before; `None`: there is none.
    pub known_browser: Option<String>,
}

/// How the second step ended.
#[derive(Debug)]
pub enum Proof {
    In(LetIn),
    Wrong,
    /// Too many wrong ones in a row: nothing is looked at before then.
    Wait {
        until: Timestamp,
    },
}

/// By what a member can take the second step.
#[derive(Clone, Debug)]
pub struct Ways {
    pub passkeys: Vec<KeptPasskey>,
    pub has_app: bool,
    /// Recovery codes that nobody used.
    pub codes_left: usize,
}

impl Ways {
    /// Nothing is set up yet: codes alone are no second step.
    pub fn are_none(&self) -> bool {
        self.passkeys.is_empty() && !self.has_app
    }
}

/// What was asked in a session, kept until it is answered.
#[derive(Serialize, Deserialize)]
enum Asked {
    /// A code of an app that has this seed, sealed and in base64.
    Seed { sealed: String },
    /// A new passkey.
    Register(PasskeyRegistration),
    /// A signature by a known one.
    Sign(PasskeyAuthentication),
}

pub async fn ways(desk: &Desk, member: &StaffMember) -> Done<Ways> {
    ways_in(&mut *desk.db.read().await?, member).await
}

async fn ways_in(conn: &mut Conn, member: &StaffMember) -> Done<Ways> {
    Ok(Ways {
        passkeys: second_steps::passkeys(conn, member.practice, member.id).await?,
        has_app: second_steps::seed(conn, member.practice, member.id).await?.is_some(),
        codes_left: second_steps::unused_codes(conn, member.practice, member.id).await?.len(),
    })
}

/// Counts a try as wrong before it is looked at; `Err`: none is looked at yet.
async fn book(desk: &Desk, coming: &Coming, now: Timestamp) -> Done<Result<Tries, Proof>> {
    let counted = sign_in::counted_at(desk, &coming.session.member, coming.known_browser.as_deref()).await?;
    Ok(match sign_in::book_try(desk, &counted, now).await? {
        Booking::Booked(booked) => Ok(booked),
        Booking::TooSoon(until) => Err(Proof::Wait { until }),
    })
}

async fn wrong(desk: &Desk, coming: &Coming, booked: Tries, moment: &Moment) -> Done<Proof> {
    sign_in::note_wrong(desk, Some(&coming.session.member), "second_step.wrong", booked, moment).await?;
    Ok(if booked.next > moment.now { Proof::Wait { until: booked.next } } else { Proof::Wrong })
}

/// Lets in whoever proved themselves, in the transaction of what proved it.
async fn let_in(conn: &mut Conn, coming: &Coming, moment: &Moment) -> Done<LetIn> {
    let known = coming.known_browser.as_deref();
    let let_in = sign_in::let_in(conn, &coming.session, &coming.token, known, moment).await?;
    if let Some(token) = known {
        let staff = coming.session.member.id;
        let counted = sign_in_tries::Counted::InBrowser { token_sha256: sha256_hex(token), staff };
        sign_in_tries::forget(conn, &counted).await?;
    }
    Ok(let_in)
}

/// By a recovery code: each opens once.
pub async fn by_recovery_code(desk: &Desk, coming: &Coming, typed: &str, moment: &Moment) -> Done<Proof> {
    let booked = match book(desk, coming, moment.now).await? {
        Ok(booked) => booked,
        Err(waits) => return Ok(waits),
    };
    let member = &coming.session.member;
    let Some(code) = secrets::read_typed_code(typed) else {
        return wrong(desk, coming, booked, moment).await;
    };
    // The first letter is the code's place, so that one hash is looked at and not ten.
    let place = secrets::place_of(&code);
    let unused = second_steps::unused_codes(&mut *desk.db.read().await?, member.practice, member.id).await?;
    let Some((place, phc)) = unused.into_iter().find(|(kept, _)| *kept == place) else {
        return wrong(desk, coming, booked, moment).await;
    };
    if !secrets::matches(desk, &code, &phc).await? {
        return wrong(desk, coming, booked, moment).await;
    }
    let mut tx = desk.db.write().await?;
    if !second_steps::use_code(&mut tx, member, place, moment.now).await? {
        drop(tx);
        return wrong(desk, coming, booked, moment).await;
    }
    note(&mut tx, member, "second_step.recovery_code", moment.now).await?;
    let let_in = let_in(&mut tx, coming, moment).await?;
    tx.commit().await?;
    Ok(Proof::In(let_in))
}

async fn note(conn: &mut Conn, member: &StaffMember, action: &str, now: Timestamp) -> Done<()> {
    let (actor, subject) = (Actor::Staff(member.id), format!("staff:{}", member.id));
    Ok(record::note(conn, member.practice, actor, action, &subject, "", now).await?)
}

/// Keeps what is asked in this session; what was asked before counts no more.
async fn ask(desk: &Desk, token: &str, asked: &Asked, now: Timestamp) -> Done<()> {
    let text = serde_json::to_string(asked).map_err(|fault| CareError::Work(fault.to_string()))?;
    let mut tx = desk.db.write().await?;
    staff_sessions::ask(&mut tx, &sha256_hex(token), &text, now + ASKED_LIMIT).await?;
    Ok(tx.commit().await?)
}

/// Takes what was asked, in a transaction of its own: an answer counts once, right or wrong. `None`: nothing is asked.
async fn take_asked(desk: &Desk, token: &str, now: Timestamp) -> Done<Option<Asked>> {
    let mut tx = desk.db.write().await?;
    let text = staff_sessions::take_asked(&mut tx, &sha256_hex(token), now).await?;
    tx.commit().await?;
    Ok(text.and_then(|text| serde_json::from_str(&text).ok()))
}
