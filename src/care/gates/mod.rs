//! Limits kept in memory, all in one place: how often somebody may knock, and how much heavy work may wait. Time comes in;
//! a restart forgets them.

pub mod guesses;
mod network;
mod tally;
mod waiting_room;
pub mod wrong_codes;

pub use network::Network;
pub(in crate::care) use tally::Tally;
pub(in crate::care) use waiting_room::{Place, Turn, WaitingRoom};

use std::sync::Arc;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::time::Duration;

use jiff::SignedDuration;

use crate::care::gates::guesses::Guesses;
use crate::care::gates::wrong_codes::WrongCodes;

/// Tries to sign in that did not prove right, from one network (safety promise A11; the figure is ours: a practice behind
/// one address mistypes less often).
pub const SIGN_INS: usize = 30;
/// Within this long.
pub const SIGN_INS_WITHIN: SignedDuration = SignedDuration::from_mins(5);

/// Passwords hashed at once: 19 MiB each, and one takes some 60 ms of a core.
const HASHING_AT_ONCE: usize = 2;
/// A turn to hash is not given on sooner, however quick the machine: two at once come to 33 a second at most (safety promise L9).
pub(in crate::care) const HASHING_TAKES: Duration = Duration::from_millis(61);
/// So long a turn to hash lets photos go first that are read just then: hashing takes a core and the memory's time from them
/// (safety promise A10). Most are read in that time; where one follows another, three hashes a second go on.
const PHOTOS_GO_FIRST: Duration = Duration::from_millis(500);
/// Passwords that may wait for their turn: half a second's worth, and five seconds' where photos come one after another.
const HASHING_WAITS: usize = 16;
/// When whoever was turned away there should try again.
pub const HASHING_AGAIN: SignedDuration = SignedDuration::from_secs(2);

/// Pictures decoded at once; more would only use more memory.
const DECODING_AT_ONCE: usize = 2;
/// Pictures that may wait for that: some six seconds' worth of 12 megapixels.
const DECODING_WAITS: usize = 24;
/// When whoever was turned away there should send the photo again.
pub const DECODING_AGAIN: SignedDuration = SignedDuration::from_secs(5);

/// Bytes of pictures held while they come in and wait, all together: with the pictures being decoded, a gibibyte is never
/// reached (safety promise L2).
const ARRIVING_BYTES: usize = 320 * 1_024 * 1_024;

/// The gates of one server.
#[derive(Debug)]
pub(in crate::care) struct Gates {
    pub sign_ins: Tally<Network>,
    pub guesses: Guesses,
    pub wrong_codes: WrongCodes,
    pub hashing: WaitingRoom,
    pub decoding: WaitingRoom,
    pub arriving: Arriving,
}

impl Default for Gates {
    fn default() -> Gates {
        Gates {
            sign_ins: Tally::new(SIGN_INS, SIGN_INS_WITHIN),
            guesses: Guesses::default(),
            wrong_codes: WrongCodes::default(),
            hashing: WaitingRoom::new(HASHING_AT_ONCE, HASHING_WAITS),
            decoding: WaitingRoom::new(DECODING_AT_ONCE, DECODING_WAITS),
            arriving: Arriving::of(ARRIVING_BYTES),
        }
    }
}

impl Gates {
    /// Lets photos that are read just now go first, for a while.
    pub async fn photos_go_first(&self) {
        let _ = tokio::time::timeout(PHOTOS_GO_FIRST, self.decoding.at_rest()).await;
    }
}

/// How many bytes of pictures are held just now, and how many may be.
#[derive(Clone, Debug)]
pub struct Arriving {
    held: Arc<AtomicUsize>,
    most: usize,
}

impl Arriving {
    fn of(most: usize) -> Arriving {
        Arriving { held: Arc::default(), most }
    }

    /// Bytes of one picture, of which none has come yet.
    pub fn begin(&self) -> Held {
        Held { all: self.clone(), bytes: 0 }
    }
}

/// Bytes held for one picture; given back when it is dropped.
#[derive(Debug)]
pub struct Held {
    all: Arriving,
    bytes: usize,
}

impl Held {
    /// So many more are to be held. False: there is no room for them.
    pub fn grow(&mut self, bytes: usize) -> bool {
        let before = self.all.held.fetch_add(bytes, Ordering::Relaxed);
        if before.saturating_add(bytes) > self.all.most {
            self.all.held.fetch_sub(bytes, Ordering::Relaxed);
            return false;
        }
        self.bytes += bytes;
        true
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        self.all.held.fetch_sub(self.bytes, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use std::pin::pin;
    use std::time::Instant;

    use futures::FutureExt;

    use super::*;

    #[tokio::test]
    #[expect(clippy::disallowed_methods, reason = "how long it waits is what is asked")]
    async fn a_hash_waits_for_photos_that_are_read_and_begins_beside_them_after_half_a_second() {
        let gates = Gates::default();
        assert!(gates.photos_go_first().now_or_never().is_some(), "none is read");
        let photo = gates.decoding.turn().await.unwrap();
        let begun = Instant::now();
        gates.photos_go_first().await;
        assert!(begun.elapsed() >= PHOTOS_GO_FIRST);
        let mut waits = pin!(gates.photos_go_first());
        assert!(waits.as_mut().now_or_never().is_none());
        drop(photo);
        assert!(waits.as_mut().now_or_never().is_some(), "it was read");
    }

    #[test]
    fn bytes_on_their_way_are_held_up_to_the_limit_and_given_back() {
        let all = Arriving::of(100);
        let (mut one, mut other) = (all.begin(), all.begin());
        assert!(one.grow(60) && other.grow(40));
        assert!(!other.grow(1), "a hundred and one");
        drop(one);
        assert!(other.grow(60));
        drop(other);
        assert_eq!(all.held.load(Ordering::Relaxed), 0);
    }
}
