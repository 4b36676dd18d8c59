//! Works off whatever is due, for as long as the server runs: ladders, letters, the watch.

use std::time::Duration;

use futures::future::join_all;
use jiff::SignedDuration;
use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::clock;
use crate::care::outbox;
use crate::care::outbox::Outside;
use crate::care::outbox::Refusal;
use crate::care::watch;
use crate::care::working;
use crate::care::working::Worked;
#[cfg(feature = "doubles")]
use crate::guards;
use crate::ids::Moment;
use crate::notify::Address;
use crate::notify::Channel;
use crate::notify::Letter;
use crate::notify::Post;
use crate::notify::PushSubscription;
use crate::notify::Refused;
use crate::store::addresses::Reached;
use crate::store::deliveries::Delivery;
use crate::store::jobs::Job;

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

/// The ways out of the house, and what letters say of the house itself.
#[derive(Clone, Debug)]
pub struct Doorway {
    post: Post,
    outside: Outside,
}

impl Doorway {
    pub fn new(post: Post, public_url: &str) -> Doorway {
        let channels = Reached::ALL
            .iter()
            .copied()
            .filter(|reached| {
                post.channels()
                    .iter()
                    .any(|channel| *channel == Channel::Folder || *channel == channel_of(*reached))
            })
            .collect();
        Doorway { post, outside: Outside { public_url: public_url.to_owned(), channels } }
    }
}

fn channel_of(reached: Reached) -> Channel {
    match reached {
        Reached::Sms => Channel::Sms,
        Reached::Voice => Channel::Voice,
        Reached::Email => Channel::Email,
        Reached::Push => Channel::Push,
    }
}

/// Works until nothing is due, in `lanes` side by side.
pub async fn until_idle(
    desk: &Desk,
    doorway: &Doorway,
    now: &(impl Fn() -> Moment + Sync),
    lanes: usize,
) -> Done<Tally> {
    let mut all = Tally::default();
    for tally in join_all((0..lanes).map(|_| lane(desk, doorway, now))).await {
        all.add(tally?);
    }
    Ok(all)
}

async fn lane(desk: &Desk, doorway: &Doorway, now: &(impl Fn() -> Moment + Sync)) -> Done<Tally> {
    let mut tally = Tally::default();
    loop {
        match working::claim(desk, &now()).await? {
            Some(job) => tally.count(work(desk, doorway, &job, now).await?),
            // Another lane took the one that was seen; there may be more.
            None if working::any_due(desk, now().now).await? => tokio::task::yield_now().await,
            None => return Ok(tally),
        }
    }
}

/// Does one job that was claimed. A fault gives it back, to be tried later.
pub async fn work(
    desk: &Desk,
    doorway: &Doorway,
    job: &Job,
    now: &(impl Fn() -> Moment + Sync),
) -> Done<Worked> {
    let worked = match working::within_the_house(desk, job, &doorway.outside, &now()).await {
        Ok(Some(worked)) => Ok(worked),
        Ok(None) => send(desk, doorway, job, now).await,
        Err(fault) => Err(fault),
    };
    match worked {
        Ok(worked) => Ok(worked),
        Err(fault) => {
            tracing::error!(job = %job.id, kind = job.kind.code(), tries = job.tries, %fault, "a job failed");
            working::give_back(desk, job, &fault.to_string(), &now()).await
        }
    }
}

/// Sends one letter. Between the outside taking it and the note of it the program may be killed: then it goes again, under
/// the same reference.
async fn send(desk: &Desk, doorway: &Doorway, job: &Job, now: &(impl Fn() -> Moment + Sync)) -> Done<Worked> {
    let Some(delivery) = outbox::letter(desk, job, &now()).await? else { return Ok(Worked::Done) };
    let refused = |refusal: Refusal, why: String| {
        let delivery = &delivery;
        async move { outbox::refused(desk, job, delivery, refusal, &why, &doorway.outside, &now()).await }
    };
    let to = match address_of(&delivery) {
        Ok(to) => to,
        Err(why) => return refused(Refusal::Never, why).await,
    };
    let letter = Letter {
        to,
        subject: delivery.subject.clone(),
        body: delivery.body.clone(),
        reference: delivery.id.to_string(),
        language: delivery.language.code(),
    };
    #[cfg(feature = "doubles")]
    if !guards::stands(guards::Guard::SendThenNote) {
        outbox::sent(desk, job, &delivery, None, &now()).await?;
    }
    match doorway.post.send(&letter, now().now).await {
        Ok(accepted) => outbox::sent(desk, job, &delivery, accepted.provider_id.as_deref(), &now()).await,
        Err(Refused::Later { why, after }) => refused(Refusal::Later { after }, why).await,
        Err(Refused::Never { why }) => refused(Refusal::Never, why).await,
    }
}

fn address_of(delivery: &Delivery) -> Result<Address, String> {
    let address = delivery.address.clone();
    Ok(match delivery.channel {
        Reached::Sms => Address::Sms(address),
        Reached::Voice => Address::Voice(address),
        Reached::Email => Address::Email(address),
        Reached::Push => Address::Push(PushSubscription::read(&address).map_err(|fault| fault.to_string())?),
    })
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
pub async fn run(desk: Desk, doorway: Doorway, now: impl Fn() -> Moment + Sync, speed: f64) {
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
        if let Err(fault) = until_idle(&desk, &doorway, &now, LANES).await {
            tracing::error!(%fault, "working off jobs stopped and begins again");
        }
        if moment.now.duration_since(noted) >= NOTE_TIME && clock::see(&desk, &moment).await.is_ok() {
            noted = moment.now;
        }
        tokio::time::sleep(LOOK_AGAIN).await;
    }
}
