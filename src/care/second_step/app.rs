//! Codes of an authenticator app: six digits for each thirty seconds (RFC 6238), each taken once.

use totp_rs::Builder;
use totp_rs::Totp;

use crate::care::CareError;
use crate::care::Desk;
use crate::care::Done;
use crate::care::second_step::Coming;
use crate::care::second_step::Proof;
use crate::care::second_step::book;
use crate::care::second_step::let_in;
use crate::care::second_step::wrong;
use crate::ids::Chance;
use crate::ids::Moment;
use crate::ids::StaffId;
use crate::store::second_steps;
use crate::store::staff::StaffMember;

use jiff::SignedDuration;
use jiff::Timestamp;

/// As RFC 4226 recommends, section 4, R6.
const SEED_BYTES: usize = 20;
/// Between two codes.
const STEP_S: i64 = 30;
/// A clock may be half a minute off, either way.
const STEPS_OFF: u16 = 1;

/// A seed before it is sealed. Never printed by `Debug`.
#[derive(Clone, PartialEq, Eq)]
pub struct Seed([u8; SEED_BYTES]);

impl std::fmt::Debug for Seed {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str("Seed(***)")
    }
}

impl Seed {
    pub fn new(bytes: [u8; SEED_BYTES]) -> Seed {
        Seed(bytes)
    }

    pub(in crate::care) fn draw(chance: &Chance) -> Seed {
        Seed(chance.bytes())
    }

    pub(in crate::care) fn from_bytes(bytes: &[u8]) -> Done<Seed> {
        let seed = bytes.try_into().map_err(|_| CareError::Work("a seed has another length".to_owned()))?;
        Ok(Seed(seed))
    }

    pub(in crate::care) fn bytes(&self) -> &[u8] {
        &self.0
    }

    fn totp(&self, issuer: &str, account: &str) -> Totp {
        Builder::new()
            .with_secret(self.0)
            .with_skew(STEPS_OFF)
            .with_issuer(Some(issuer.replace(':', " ")))
            .with_account_name(account.replace(':', " "))
            .build_noncompliant()
    }

    /// What the app shows then.
    pub fn code_at(&self, now: Timestamp) -> String {
        self.totp("", "").generate(seconds(now)).to_string()
    }

    /// The step of thirty seconds a code is right for; `None`: it is wrong, too old or too early.
    pub fn step_of(&self, typed: &str, now: Timestamp) -> Option<i64> {
        let code: String = typed.chars().filter(|letter| !letter.is_whitespace()).collect();
        let step = self.totp("", "").check(&code, seconds(now))?;
        i64::try_from(step).ok()
    }

    /// In groups of four letters, to be typed into the app.
    pub fn to_type(&self) -> String {
        let letters: Vec<char> = data_encoding::BASE32_NOPAD.encode(&self.0).chars().collect();
        letters.chunks(4).map(|group| group.iter().collect::<String>()).collect::<Vec<_>>().join(" ")
    }

    /// What the app reads from a picture of it: `otpauth://…`.
    pub fn address(&self, issuer: &str, account: &str) -> String {
        self.totp(issuer, account).to_url().unwrap_or_default()
    }
}

fn seconds(now: Timestamp) -> u64 {
    u64::try_from(now.as_second()).unwrap_or(0)
}

/// Under this name a member's seed lies sealed.
pub fn about(staff: StaffId) -> String {
    format!("authenticator:{staff}")
}

/// A member's seed, opened; `None`: they have no app.
pub(in crate::care) async fn seed_of(desk: &Desk, member: &StaffMember) -> Done<Option<Seed>> {
    let sealed = second_steps::seed(&mut *desk.db.read().await?, member.practice, member.id).await?;
    let Some(sealed) = sealed else { return Ok(None) };
    Ok(Some(Seed::from_bytes(&desk.blobs.unseal(&sealed, &about(member.id))?)?))
}

/// What the app of an invented person shows now, or next where this code was used; `None`: they have no app.
pub async fn code_of(desk: &Desk, member: &StaffMember, now: Timestamp) -> Done<Option<String>> {
    let Some(seed) = seed_of(desk, member).await? else { return Ok(None) };
    let last =
        second_steps::last_step(&mut *desk.db.read().await?, member.practice, member.id).await?.unwrap_or(0);
    let is_used = last >= now.as_second() / STEP_S;
    Ok(Some(seed.code_at(if is_used { now + SignedDuration::from_secs(STEP_S) } else { now })))
}

/// By the code an app shows.
pub async fn by_code(desk: &Desk, coming: &Coming, typed: &str, moment: &Moment) -> Done<Proof> {
    let booked = match book(desk, coming, moment.now).await? {
        Ok(booked) => booked,
        Err(waits) => return Ok(waits),
    };
    let member = &coming.session.member;
    let seed = seed_of(desk, member).await?;
    let Some(step) = seed.and_then(|seed| seed.step_of(typed, moment.now)) else {
        return wrong(desk, coming, booked, moment).await;
    };
    let mut tx = desk.db.write().await?;
    if !second_steps::take_step(&mut tx, member, step).await? {
        drop(tx);
        return wrong(desk, coming, booked, moment).await;
    }
    let let_in = let_in(&mut tx, coming, moment).await?;
    tx.commit().await?;
    Ok(Proof::In(let_in))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(second).unwrap()
    }

    #[test]
    fn the_codes_are_those_of_the_published_table() {
        // RFC 6238, appendix B: the seed is the ASCII text "12345678901234567890"; of its eight digits the last six.
        let seed = Seed(*b"12345678901234567890");
        for (second, code) in [
            (59, "287082"),
            (1_111_111_109, "081804"),
            (1_111_111_111, "050471"),
            (1_234_567_890, "005924"),
            (2_000_000_000, "279037"),
        ] {
            assert_eq!(seed.code_at(at(second)), code);
            assert_eq!(seed.step_of(code, at(second)), Some(second / 30));
        }
    }

    #[test]
    fn one_step_off_is_taken_and_two_are_not() {
        let seed = Seed(*b"12345678901234567890");
        let code = seed.code_at(at(30_000));
        for (second, is_taken) in
            [(29_940, false), (29_969, false), (29_970, true), (30_059, true), (30_060, false)]
        {
            assert_eq!(seed.step_of(&code, at(second)).is_some(), is_taken, "{second}");
        }
        assert!(seed.step_of(&format!("{} {}", &code[..3], &code[3..]), at(30_000)).is_some());
        assert!(seed.step_of("", at(30_000)).is_none());
    }

    #[test]
    fn an_app_is_told_the_practice_and_the_name_and_the_seed_is_not_printed() {
        let seed = Seed(*b"12345678901234567890");
        let address = seed.address("Harbor: Surgery", "rosa");
        assert!(address.starts_with("otpauth://totp/"), "{address}");
        assert!(address.contains("secret=GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"), "{address}");
        assert_eq!(seed.to_type(), "GEZD GNBV GY3T QOJQ GEZD GNBV GY3T QOJQ");
        assert_eq!(format!("{seed:?}"), "Seed(***)");
    }
}
