//! Works off whatever is due, for as long as the server runs: ladders, letters, the watch.

use std::time::Duration;

use futures::future::join_all;
use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::clock;
use crate::care::watch;
use crate::care::working;
use crate::care::working::Worked;
use crate::ids::Moment;

/// Between two looks at what is due.
const LOOK_AGAIN: Duration = Duration::from_millis(500);
/// A letter on its way holds up no other job: so many are worked on side by side.
const LANES: usize = 4;
/// Between two notes of what time it is, for the next start.
const NOTE_TIME: SignedDuration = SignedDuration::from_secs(30);

/// What working off the due jobs came to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    pub done: u64,
    pub put_off: u64,
    pub in_other_hands: u64,
    pub given_up: u64,
}

impl Tally {
    fn count(&mut self, worked: Worked) {
        *match worked {
            Worked::Done => &mut self.done,
            Worked::PutOff => &mut self.put_off,
            Worked::InOtherHands => &mut self.in_other_hands,
            Worked::GaveUp => &mut self.given_up,
        } += 1;
    }

    fn add(&mut self, other: Tally) {
        self.done += other.done;
        self.put_off += other.put_off;
        self.in_other_hands += other.in_other_hands;
        self.given_up += other.given_up;
    }
}

/// Works until nothing is due, in `lanes` side by side.
pub async fn until_idle(desk: &Desk, now: &(impl Fn() -> Moment + Sync), lanes: usize) -> Done<Tally> {
    let mut all = Tally::default();
    for tally in join_all((0..lanes).map(|_| lane(desk, now))).await {
        all.add(tally?);
    }
    Ok(all)
}

async fn lane(desk: &Desk, now: &(impl Fn() -> Moment + Sync)) -> Done<Tally> {
    let mut tally = Tally::default();
    loop {
        match working::next(desk, now).await? {
            Some(worked) => tally.count(worked),
            // Another lane took the one that was seen; there may be more.
            None if working::any_due(desk, now().now).await? => tokio::task::yield_now().await,
            None => return Ok(tally),
        }
    }
}

/// A clock that nobody sets beside the one of the practice: what the second loses against the first, it was set back by.
struct Guard {
    steady: tokio::time::Instant,
    wall: Timestamp,
}

impl Guard {
    fn new(wall: Timestamp) -> Guard {
        Guard { steady: tokio::time::Instant::now(), wall }
    }

    /// How far the wall's clock went back since the last look. `speed`: how much faster than the other it goes.
    fn went_back(&mut self, wall: Timestamp, speed: f64) -> SignedDuration {
        let steady = tokio::time::Instant::now();
        let passed = steady.duration_since(self.steady).as_secs_f64() * speed;
        let seen = wall.duration_since(self.wall).as_secs_f64();
        (self.steady, self.wall) = (steady, wall);
        SignedDuration::try_from_secs_f64(passed - seen).unwrap_or(SignedDuration::ZERO)
    }
}

/// Works for ever. `speed`: how much faster than the machine's clock `now` goes; 1 in earnest.
pub async fn run(desk: Desk, now: impl Fn() -> Moment + Sync, speed: f64) {
    let mut noted = now().now;
    for step in [watch::ensure(&desk, &now()).await, clock::at_start(&desk, &now()).await.map(drop)] {
        if let Err(fault) = step {
            tracing::error!(%fault, "the start of working off jobs was not clean");
        }
    }
    let mut guard = Guard::new(now().now);
    loop {
        let moment = now();
        let back = guard.went_back(moment.now, speed);
        if back > clock::TOLERATED * (speed.ceil() as i32)
            && let Err(fault) = clock::set_back(&desk, back, &moment).await
        {
            tracing::error!(%fault, "the clock went back, and what waits could not be brought nearer");
        }
        if let Err(fault) = until_idle(&desk, &now, LANES).await {
            tracing::error!(%fault, "working off jobs stopped and begins again");
        }
        if moment.now.duration_since(noted) >= NOTE_TIME && clock::see(&desk, &moment).await.is_ok() {
            noted = moment.now;
        }
        tokio::time::sleep(LOOK_AGAIN).await;
    }
}
