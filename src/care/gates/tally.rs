//! Events counted per key within a window that moves along with time: who had how many lately, and when there is room again.

use std::collections::HashMap;
use std::collections::VecDeque;
use std::hash::Hash;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;

use jiff::SignedDuration;
use jiff::Timestamp;

/// Keys remembered at once: a flood from more networks than this forgets the one that was quiet longest, and needs no more
/// memory.
const MOST_KEYS: usize = 16_384;

/// At most so many events per key within so long. Every window is exact: each event is remembered with its time.
#[derive(Debug)]
pub(in crate::care) struct Tally<Key> {
    most: usize,
    within: SignedDuration,
    most_keys: usize,
    events: Mutex<HashMap<Key, VecDeque<Timestamp>>>,
}

impl<Key: Clone + Eq + Hash> Tally<Key> {
    pub fn new(most: usize, within: SignedDuration) -> Tally<Key> {
        Tally { most, within, most_keys: MOST_KEYS, events: Mutex::default() }
    }

    /// Counts one event. `Err`: there were too many, nothing was counted, and after so long there is room again.
    pub fn count(&self, key: &Key, now: Timestamp) -> Result<(), SignedDuration> {
        let mut all = self.lock();
        self.make_room(&mut all, key, now);
        let events = all.entry(key.clone()).or_default();
        events.retain(|at| self.is_recent(*at, now));
        if events.len() >= self.most {
            return Err(self.wait(events, now));
        }
        events.push_back(now);
        Ok(())
    }

    /// How long until there is room again; `None`: there is.
    pub fn full_for(&self, key: &Key, now: Timestamp) -> Option<SignedDuration> {
        let mut all = self.lock();
        let events = all.get_mut(key)?;
        events.retain(|at| self.is_recent(*at, now));
        (events.len() >= self.most).then(|| self.wait(events, now))
    }

    /// Takes back an event that was counted at `at` and was none.
    pub fn take_back(&self, key: &Key, at: Timestamp) {
        let mut all = self.lock();
        let Some(events) = all.get_mut(key) else { return };
        if let Some(place) = events.iter().rposition(|event| *event == at) {
            events.remove(place);
        }
        if events.is_empty() {
            all.remove(key);
        }
    }

    fn lock(&self) -> MutexGuard<'_, HashMap<Key, VecDeque<Timestamp>>> {
        self.events.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Also of a clock that was set back: what is noted for much later than now is forgotten.
    fn is_recent(&self, at: Timestamp, now: Timestamp) -> bool {
        now.duration_since(at).abs() < self.within
    }

    fn wait(&self, events: &VecDeque<Timestamp>, now: Timestamp) -> SignedDuration {
        let first = events.iter().min().copied().unwrap_or(now);
        (self.within - now.duration_since(first)).max(SignedDuration::from_secs(1))
    }

    fn make_room(&self, all: &mut HashMap<Key, VecDeque<Timestamp>>, key: &Key, now: Timestamp) {
        if all.len() < self.most_keys || all.contains_key(key) {
            return;
        }
        all.retain(|_, events| events.iter().any(|at| self.is_recent(*at, now)));
        if all.len() >= self.most_keys
            && let Some(quiet) =
                all.iter().min_by_key(|(_, events)| events.back().copied()).map(|(key, _)| key.clone())
        {
            all.remove(&quiet);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_second(1_000_000 + seconds).unwrap()
    }

    fn three_a_minute() -> Tally<&'static str> {
        Tally::new(3, SignedDuration::from_mins(1))
    }

    #[test]
    fn the_fourth_within_a_minute_waits_until_the_first_is_a_minute_old() {
        let tally = three_a_minute();
        for seconds in [0, 10, 20] {
            assert_eq!(tally.count(&"a", at(seconds)), Ok(()));
        }
        assert_eq!(tally.count(&"a", at(25)), Err(SignedDuration::from_secs(35)));
        assert_eq!(tally.full_for(&"a", at(25)), Some(SignedDuration::from_secs(35)));
        assert_eq!(tally.count(&"b", at(25)), Ok(()), "another key");
        assert_eq!(tally.count(&"a", at(59)), Err(SignedDuration::from_secs(1)));
        assert_eq!(tally.count(&"a", at(60)), Ok(()));
        assert_eq!(
            tally.count(&"a", at(61)),
            Err(SignedDuration::from_secs(9)),
            "those refused do not count"
        );
    }

    #[test]
    fn what_is_taken_back_was_never_counted() {
        let tally = three_a_minute();
        for seconds in [0, 1, 2] {
            tally.count(&"a", at(seconds)).unwrap();
        }
        tally.take_back(&"a", at(1));
        assert_eq!(tally.full_for(&"a", at(3)), None);
        assert_eq!(tally.count(&"a", at(3)), Ok(()));
        assert!(tally.count(&"a", at(3)).is_err());
    }

    #[test]
    fn a_clock_set_back_holds_nobody_for_longer_than_the_window() {
        let tally = three_a_minute();
        for _ in 0..3 {
            tally.count(&"a", at(100_000)).unwrap();
        }
        assert_eq!(tally.count(&"a", at(0)), Ok(()));
    }

    #[test]
    fn a_flood_of_keys_needs_no_more_memory_and_forgets_the_quietest() {
        let tally = Tally { most_keys: 4, ..Tally::new(1, SignedDuration::from_mins(1)) };
        for key in 0..5_i64 {
            assert_eq!(tally.count(&key, at(key)), Ok(()));
        }
        assert_eq!(tally.lock().len(), 4);
        assert!(tally.count(&4, at(5)).is_err(), "the newest is remembered");
        assert_eq!(tally.count(&0, at(5)), Ok(()), "the quietest was forgotten");
    }
}
