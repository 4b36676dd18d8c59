//! What a thing is called inside: one id type per kind of thing, and the moment they are minted at.

use std::fmt;
use std::sync::Arc;
use std::sync::Mutex;

use jiff::Timestamp;
use rand::Rng;
use rand::SeedableRng;
use rand::TryRng;
use rand::rngs::StdRng;
use rand::rngs::SysRng;
use uuid::Uuid;

/// Where randomness comes from: the operating system in earnest, a seed in tests and benchmarks.
#[derive(Clone, Default)]
pub enum Chance {
    #[default]
    OperatingSystem,
    Seeded(Arc<Mutex<StdRng>>),
}

impl Chance {
    /// Repeatable chance. Never for secrets outside tests.
    pub fn seeded(seed: u64) -> Chance {
        Chance::Seeded(Arc::new(Mutex::new(StdRng::seed_from_u64(seed))))
    }

    /// `N` random bytes.
    pub fn bytes<const N: usize>(&self) -> [u8; N] {
        let mut bytes = [0; N];
        match self {
            Chance::OperatingSystem => {
                SysRng
                    .try_fill_bytes(&mut bytes)
                    .expect("an operating system without randomness cannot run this");
            }
            Chance::Seeded(rng) => {
                rng.lock().expect("no one panics while drawing").fill_bytes(&mut bytes);
            }
        }
        bytes
    }

    /// An even draw from `0..bound`. `bound` must not be 0.
    pub fn below(&self, bound: u32) -> u32 {
        let widest_even = u64::from(u32::MAX) + 1;
        let limit = widest_even - widest_even % u64::from(bound);
        loop {
            let drawn = u64::from(u32::from_le_bytes(self.bytes()));
            if drawn < limit {
                return (drawn % u64::from(bound)) as u32;
            }
        }
    }
}

impl fmt::Debug for Chance {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("Chance")
    }
}

/// When something is done, and the chance it is done with. Handed down from the edge of the program; nothing
/// below asks the machine for either.
#[derive(Clone, Debug)]
pub struct Moment {
    pub now: Timestamp,
    pub chance: Chance,
}

impl Moment {
    pub fn new(now: Timestamp, chance: Chance) -> Moment {
        Moment { now, chance }
    }

    fn uuid(&self) -> Uuid {
        let since_1970_ms = u64::try_from(self.now.as_millisecond()).unwrap_or(0);
        uuid::Builder::from_unix_timestamp_millis(since_1970_ms, &self.chance.bytes()).into_uuid()
    }
}

/// One id type: a version 7 UUID, so that ids sort by the time they were made.
macro_rules! id {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
        pub struct $name(Uuid);

        impl $name {
            pub fn mint(moment: &Moment) -> $name {
                $name(moment.uuid())
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.hyphenated().fmt(out)
            }
        }

        impl std::str::FromStr for $name {
            type Err = uuid::Error;
            fn from_str(text: &str) -> Result<$name, uuid::Error> {
                Uuid::parse_str(text).map($name)
            }
        }
    )*};
}

id! {
    PracticeId,
    StaffId,
    PatientId,
    WoundId,
    /// A patient link: the secret address that opens one wound's patient pages.
    LinkId,
    WoundCheckId,
    PhotoId,
    /// One measurement of one photo.
    MeasurementId,
    ReviewId,
    /// What was noted beside a check or a decision that was wrong.
    CorrectionId,
    /// Two people's agreement that everything of a practice is taken out.
    ExportAgreementId,
    /// One message in a wound's thread, from the patient or from the practice.
    MessageId,
    CallbackId,
    CallAttemptId,
    /// What came of a link that is closed.
    LateKnockId,
    ReplyTextId,
    PlanStepId,
    /// What staff did to a plan.
    PlanChangeId,
    /// One try at taking the strip out.
    StripAttemptId,
    NoticeId,
    /// Work that is due at a time.
    JobId,
    LadderId,
    DeliveryId,
    StaffAddressId,
    /// A browser on which a patient link is told.
    LinkAddressId,
    AlarmId,
    SilenceId,
    SilenceCallId,
    /// A recorded antibiotic.
    AntibioticCourseId,
    DrillId,
    /// One entry of the roster: a weekly shift, a shift on a date, or an absence.
    DutyShiftId,
    /// A session of staff, as their own list names it.
    StaffSessionId,
    /// A code in a sealed envelope.
    SealedCodeId,
    /// One use of such a code.
    LookId,
    LegalHoldId,
    /// What is left of something that went.
    TombstoneId,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_sort_by_the_time_they_were_made() {
        let chance = Chance::seeded(1);
        let early = Moment::new(Timestamp::from_second(1_000).unwrap(), chance.clone());
        let late = Moment::new(Timestamp::from_second(1_001).unwrap(), chance);
        assert!(PatientId::mint(&early) < PatientId::mint(&late));
    }

    #[test]
    fn an_even_draw_stays_below_its_bound_and_reaches_every_value() {
        let chance = Chance::seeded(2);
        let mut seen = [0; 10];
        for _ in 0..10_000 {
            seen[chance.below(10) as usize] += 1;
        }
        assert!(seen.iter().all(|count| (800..1_200).contains(count)), "{seen:?}");
    }

    #[test]
    fn an_id_reads_back_from_its_own_words() {
        let id = WoundId::mint(&Moment::new(Timestamp::from_second(5).unwrap(), Chance::seeded(3)));
        assert_eq!(id.to_string().parse::<WoundId>().unwrap(), id);
        assert!("not an id".parse::<WoundId>().is_err());
    }
}
