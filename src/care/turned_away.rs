//! Whom a door did not let in, and who came up against a limit: lines of the record, counted in memory first, so that no
//! flood fills the books.

use std::collections::HashMap;
use std::sync::Mutex;
use std::sync::PoisonError;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::record;
use crate::care::record::Actor;
use crate::ids::LinkId;
use crate::ids::PracticeId;
use crate::ids::StaffId;
use crate::store::practices;

/// Of one person at one door a line a minute at most; it says how often since the line before.
pub const PERSON_EVERY: SignedDuration = SignedDuration::from_mins(1);
/// Whoever comes up against a limit, and is nobody we know: a line in ten minutes for each door.
pub const LIMIT_EVERY: SignedDuration = SignedDuration::from_mins(10);
/// Whoever is not in at all: a line an hour, for pages of people who went home knock all night.
pub const STRANGERS_EVERY: SignedDuration = SignedDuration::from_hours(1);
/// People and doors remembered at once; beyond that the one that was quiet longest is forgotten.
const MOST_KEPT: usize = 16_384;

/// Who knocked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Knocker {
    Staff {
        practice: PracticeId,
        id: StaffId,
    },
    Phone {
        practice: PracticeId,
        link: LinkId,
    },
    /// Nobody who is in: no practice is named, so every practice is told.
    Stranger,
}

/// Why they did not get what they came for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Why {
    /// Their role does not go there.
    Role,
    /// The second step was not taken yet, or is to be taken again.
    SecondStep,
    /// No session.
    NotIn,
    /// A change that came from another site, or in the open where HTTPS is spoken.
    Elsewhere,
    /// Too often, or too much at once.
    Limit,
    /// A try to sign in with a name nobody has.
    UnknownName,
}

impl Why {
    fn action(self) -> &'static str {
        match self {
            Why::Role => "door.refused",
            Why::SecondStep => "door.second_step",
            Why::NotIn => "door.strangers",
            Why::Elsewhere => "door.elsewhere",
            Why::Limit => "limit.hit",
            Why::UnknownName => "sign_in.unknown",
        }
    }

    fn every(self, knocker: Knocker) -> SignedDuration {
        match (self, knocker) {
            (_, Knocker::Staff { .. } | Knocker::Phone { .. }) => PERSON_EVERY,
            (Why::NotIn, Knocker::Stranger) => STRANGERS_EVERY,
            (
                Why::Role | Why::SecondStep | Why::Elsewhere | Why::Limit | Why::UnknownName,
                Knocker::Stranger,
            ) => LIMIT_EVERY,
        }
    }
}

/// What happened at a door. `door`: its path as the table of doors has it, never the address that was knocked at; empty: at none
/// in particular.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refusal<'a> {
    pub knocker: Knocker,
    pub why: Why,
    pub method: &'a str,
    pub door: &'static str,
}

/// What was counted since the record last told of it.
#[derive(Debug, Default)]
pub(in crate::care) struct TurnedAway(Mutex<HashMap<Key, Counted>>);

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
struct Key {
    /// `None`: a stranger.
    actor: Option<Actor>,
    why: Why,
    /// Empty for strangers who are not in: one line for all doors.
    door: &'static str,
}

#[derive(Clone, Copy, Debug)]
struct Counted {
    noted: Timestamp,
    since: u64,
}

impl TurnedAway {
    /// Counts one. `Some`: a line is due, and so many happened since the line before, this one among them.
    fn count(&self, key: Key, every: SignedDuration, now: Timestamp) -> Option<u64> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() >= MOST_KEPT
            && !all.contains_key(&key)
            && let Some(quietest) = all.iter().min_by_key(|(_, kept)| kept.noted).map(|(key, _)| *key)
        {
            all.remove(&quietest);
        }
        let Some(kept) = all.get_mut(&key) else {
            all.insert(key, Counted { noted: now, since: 0 });
            return Some(1);
        };
        kept.since += 1;
        // Also of a clock that was set back.
        if now.duration_since(kept.noted).abs() < every {
            return None;
        }
        kept.noted = now;
        Some(std::mem::take(&mut kept.since))
    }
}

/// Notes it, unless a line of the same person at the same door is too young.
pub async fn note(desk: &Desk, refusal: Refusal<'_>, now: Timestamp) -> Done<()> {
    let (actor, practice) = match refusal.knocker {
        Knocker::Staff { practice, id } => (Some(Actor::Staff(id)), Some(practice)),
        Knocker::Phone { practice, link } => (Some(Actor::Link(link)), Some(practice)),
        Knocker::Stranger => (None, None),
    };
    let is_anywhere = refusal.door.is_empty() || refusal.why == Why::NotIn && actor.is_none();
    let door = if is_anywhere { "" } else { refusal.door };
    let every = refusal.why.every(refusal.knocker);
    let key = Key { actor, why: refusal.why, door };
    let Some(times) = desk.turned_away.count(key, every, now) else { return Ok(()) };
    let detail = match is_anywhere {
        true => format!("times={times}"),
        false => format!("door={door} method={} times={times}", refusal.method),
    };
    let mut tx = desk.db.write().await?;
    let told = match practice {
        Some(practice) => vec![practice],
        None => practices::all(&mut tx).await?.into_iter().map(|practice| practice.id).collect(),
    };
    for practice in told {
        let (actor, subject) = (actor.unwrap_or(Actor::Program), format!("practice:{practice}"));
        record::note(&mut tx, practice, actor, refusal.why.action(), &subject, &detail, now).await?;
    }
    Ok(tx.commit().await?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::Chance;
    use crate::ids::Moment;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(1_000_000 + second).unwrap()
    }

    fn key(person: i64, door: &'static str) -> Key {
        let id = StaffId::mint(&Moment::new(at(person), Chance::seeded(1)));
        Key { actor: Some(Actor::Staff(id)), why: Why::Role, door }
    }

    #[test]
    fn a_hundred_knocks_within_a_minute_are_one_line_and_the_next_line_counts_them() {
        let kept = TurnedAway::default();
        let lines = (0..100).filter_map(|_| kept.count(key(1, "/queue"), PERSON_EVERY, at(0))).count();
        assert_eq!(lines, 1);
        assert_eq!(kept.count(key(1, "/queue"), PERSON_EVERY, at(59)), None);
        assert_eq!(kept.count(key(1, "/queue"), PERSON_EVERY, at(60)), Some(101));
        assert_eq!(kept.count(key(1, "/queue"), PERSON_EVERY, at(60)), None);
    }

    #[test]
    fn another_door_and_another_person_have_lines_of_their_own() {
        let kept = TurnedAway::default();
        for key in [key(1, "/queue"), key(2, "/queue"), key(1, "/practice")] {
            assert_eq!(kept.count(key, PERSON_EVERY, at(0)), Some(1));
        }
    }

    #[test]
    fn a_clock_set_back_silences_nobody() {
        let kept = TurnedAway::default();
        kept.count(key(1, "/queue"), PERSON_EVERY, at(10_000));
        assert_eq!(kept.count(key(1, "/queue"), PERSON_EVERY, at(0)), Some(1));
    }

    #[test]
    fn more_people_than_can_be_remembered_need_no_more_memory() {
        let kept = TurnedAway::default();
        for person in 0..(MOST_KEPT as i64 + 50) {
            kept.count(key(person, "/queue"), PERSON_EVERY, at(person));
        }
        assert_eq!(kept.0.lock().unwrap().len(), MOST_KEPT);
    }
}
