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
const HASHING_TAKES: Duration = Duration::from_millis(61);
/// While a photo is read, to ten: hashing takes its memory and its core from the photo (safety promise A10).
const HASHING_TAKES_BESIDE_PHOTOS: Duration = Duration::from_millis(200);
/// Passwords that may wait for that: about a second's worth.
const HASHING_WAITS: usize = 32;
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
    /// How long a turn to hash takes at least, as things are.
    pub fn hashing_takes(&self) -> Duration {
        if self.decoding.is_at_work() { HASHING_TAKES_BESIDE_PHOTOS } else { HASHING_TAKES }
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
    use super::*;

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
