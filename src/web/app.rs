//! What every handler has at hand: the desk, the clock, and the settings.

use std::sync::Arc;
use std::sync::atomic::AtomicI64;
use std::sync::atomic::Ordering;

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::outbox::Outside;
use crate::care::second_step::passkeys::Passkeys;
use crate::ids::Chance;
use crate::ids::Moment;
use crate::notify::Post;

/// What time it is: the machine's clock in earnest, one that is moved by hand in tests.
#[derive(Clone, Debug)]
pub enum Clock {
    Machine,
    /// The demo's: it showed `shown` when the machine's showed `start`, and goes `speed` times as fast.
    Fast {
        start: Timestamp,
        shown: Timestamp,
        speed: f64,
    },
    ByHand(Arc<AtomicI64>),
}

impl Clock {
    pub fn by_hand(start: Timestamp) -> Clock {
        Clock::ByHand(Arc::new(AtomicI64::new(start.as_millisecond())))
    }

    /// The machine's, from now on so many times as fast.
    pub fn fast(speed: f64) -> Clock {
        let start = Clock::Machine.now();
        Clock::Fast { start, shown: start, speed }
    }

    /// How much faster than the machine's it goes.
    pub fn speed(&self) -> f64 {
        match self {
            Clock::Machine | Clock::ByHand(_) => 1.0,
            Clock::Fast { speed, .. } => *speed,
        }
    }

    pub fn now(&self) -> Timestamp {
        match self {
            #[expect(clippy::disallowed_methods, reason = "this is the one place that asks the machine")]
            Clock::Machine => Timestamp::now(),
            Clock::Fast { start, shown, speed } => {
                let passed = Clock::Machine.now().duration_since(*start).as_secs_f64() * speed;
                let passed = SignedDuration::try_from_secs_f64(passed).unwrap_or(SignedDuration::ZERO);
                shown.saturating_add(passed).unwrap_or(*shown)
            }
            Clock::ByHand(ms) => {
                Timestamp::from_millisecond(ms.load(Ordering::SeqCst)).unwrap_or(Timestamp::MIN)
            }
        }
    }

    /// Moves a clock by hand; the machine's stays.
    pub fn pass(&self, time: SignedDuration) {
        match self {
            Clock::Machine | Clock::Fast { .. } => {}
            Clock::ByHand(ms) => {
                let passed = i64::try_from(time.as_millis()).unwrap_or(0);
                ms.fetch_add(passed, Ordering::SeqCst);
            }
        }
    }
}

/// Cheap to clone.
#[derive(Clone, Debug)]
pub struct App {
    pub desk: Desk,
    pub clock: Clock,
    pub chance: Chance,
    /// Such as `https://wounds.example`, without a slash at the end.
    pub public_url: Arc<str>,
    /// Whoever sends for us, to be believed when they tell back; and what a browser subscribes with.
    pub post: Post,
    pub outside: Outside,
    /// `None`: this address can have no passkeys.
    pub passkeys: Option<Passkeys>,
    /// An invented practice's: the codes of its invented people's apps stand on the page that asks for them.
    pub shows_codes: bool,
}

impl App {
    pub fn new(desk: Desk, clock: Clock, chance: Chance, public_url: &str) -> App {
        let outside = Outside { public_url: public_url.to_owned(), channels: Vec::new() };
        App {
            desk,
            clock,
            chance,
            public_url: public_url.into(),
            post: Post::default(),
            outside,
            passkeys: Passkeys::of(public_url),
            shows_codes: false,
        }
    }

    /// The same, with ways out of the house.
    #[must_use]
    pub fn with_post(self, post: Post, outside: Outside) -> App {
        App { post, outside, ..self }
    }

    pub fn now(&self) -> Timestamp {
        self.clock.now()
    }

    pub fn moment(&self) -> Moment {
        Moment::new(self.clock.now(), self.chance.clone())
    }

    /// Cookies are `__Host-` and Secure except over plain http on loopback, where browsers would drop them.
    pub fn is_https(&self) -> bool {
        self.public_url.starts_with("https://")
    }
}
