//! Works off whatever is due, for as long as the server runs: ladders, letters, the watch.

use std::time::Duration;

use futures::future::join_all;
use jiff::SignedDuration;
use jiff::Timestamp;
use tokio::time::Instant;

use crate::care::Desk;
use crate::care::Done;
use crate::care::backup::noted;
use crate::care::books;
use crate::care::canary;
use crate::care::clock;
use crate::care::keeping;
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

    pub fn post(&self) -> Post {
        self.post.clone()
    }

    pub fn outside(&self) -> Outside {
        self.outside.clone()
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

/// Works until nothing is due, in `lanes` side by side. Books that came out of a back-up are left alone until somebody arms
/// them: nothing of theirs is sent, climbed, looked at or tried.
pub async fn until_idle(
    desk: &Desk,
    doorway: &Doorway,
    now: &(impl Fn() -> Moment + Sync),
    lanes: usize,
) -> Done<Tally> {
    let mut all = Tally::default();
    if noted::held(&mut *desk.db.read().await?).await?.is_some() {
        desk.vitals.runner_steps(now().now);
        return Ok(all);
    }
    for tally in join_all((0..lanes).map(|_| lane(desk, doorway, now))).await {
        all.add(tally?);
    }
    Ok(all)
}

async fn lane(desk: &Desk, doorway: &Doorway, now: &(impl Fn() -> Moment + Sync)) -> Done<Tally> {
    let mut tally = Tally::default();
    loop {
        desk.vitals.runner_steps(now().now);
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
    // Asleep since it was claimed: by now somebody else has it.
    if job.leased_until <= now().now {
        return Ok(Worked::InOtherHands);
    }
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
    if canary::is_its(desk, job.practice).await? {
        return match doorway.post.probe().await {
            Ok(()) => outbox::sent(desk, job, &delivery, None, &now()).await,
            Err(why) => refused(Refusal::Later { after: None }, why).await,
        };
    }
    #[cfg(feature = "doubles")]
    if !guards::stands(guards::Guard::SendThenNote) {
        outbox::sent(desk, job, &delivery, None, &now()).await?;
    }
    match doorway.post.send(&letter, now().now).await {
        Ok(accepted) => outbox::sent(desk, job, &delivery, accepted.provider_id.as_deref(), &now()).await,
        Err(Refused::Later { why, after }) => refused(Refusal::Later { after }, why).await,
        Err(Refused::Never { why }) => refused(Refusal::Never, why).await,
        Err(Refused::Gone { why }) => refused(Refusal::Gone, why).await,
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

/// How long what the clock loses is added up: one that stands still is noticed, one that is kept right is not.
const GUARDED: Duration = Duration::from_secs(60);

/// A clock that nobody sets beside the one of the practice: what the second loses against the first, it was set back by.
struct Guard {
    steady: Instant,
    wall: Timestamp,
    /// Within the minute before it fell behind.
    lags: bool,
}

impl Guard {
    fn new(steady: Instant, wall: Timestamp) -> Guard {
        Guard { steady, wall, lags: false }
    }

    /// How far the wall's clock fell behind, where that is more than clocks do by themselves. `speed`: how much faster than
    /// the other it goes.
    fn went_back(&mut self, steady: Instant, wall: Timestamp, speed: f64) -> Option<SignedDuration> {
        let passed = steady.duration_since(self.steady);
        let lost = passed.as_secs_f64() * speed - wall.duration_since(self.wall).as_secs_f64();
        let lost = SignedDuration::try_from_secs_f64(lost).unwrap_or(SignedDuration::ZERO);
        let tolerated = clock::TOLERATED * (speed.ceil() as i32);
        let back = (lost > tolerated).then_some(lost);
        if back.is_some() || passed >= GUARDED {
            *self = Guard { steady, wall, lags: back.is_some() };
        } else if lost < -tolerated {
            // Set forward: from there it must not go back either.
            (self.steady, self.wall) = (steady, wall);
        }
        back
    }
}

/// Works for ever. `speed`: how much faster than the machine's clock `now` goes; 1 in earnest.
pub async fn run(desk: Desk, doorway: Doorway, now: impl Fn() -> Moment + Sync, speed: f64) {
    let mut noted = now().now;
    let began = [
        watch::ensure(&desk, &now()).await,
        canary::ensure(&desk, &now()).await,
        books::ensure(&desk, &now()).await,
        keeping::ensure(&desk, &now()).await,
        noted::note_start(&desk, now().now).await,
        clock::at_start(&desk, &now()).await.map(drop),
    ];
    for step in began {
        if let Err(fault) = step {
            tracing::error!(%fault, "the start of working off jobs was not clean");
        }
    }
    let mut guard = Guard::new(Instant::now(), now().now);
    loop {
        let moment = now();
        let back = guard.went_back(Instant::now(), moment.now, speed);
        desk.vitals.set_clock_lags(guard.lags);
        if let Some(back) = back
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

#[cfg(test)]
mod tests {
    use super::*;

    const SECOND: SignedDuration = SignedDuration::from_secs(1);

    /// Looks every half second, with the wall's clock as `wall` has it after so many half seconds.
    fn looks(halves: u32, speed: f64, wall: impl Fn(u32) -> SignedDuration) -> Vec<(u32, i64, bool)> {
        let (begun, wall_begun) = (Instant::now(), Timestamp::from_second(1_772_481_600).unwrap());
        let mut guard = Guard::new(begun, wall_begun);
        let mut noticed = Vec::new();
        for half in 1..=halves {
            let steady = begun + Duration::from_millis(500) * half;
            if let Some(back) = guard.went_back(steady, wall_begun + wall(half), speed) {
                noticed.push((half, back.as_secs(), guard.lags));
            }
        }
        noticed
    }

    fn right(half: u32) -> SignedDuration {
        SignedDuration::from_millis(500) * half as i32
    }

    #[test]
    fn a_clock_that_is_right_or_kept_right_is_never_noticed() {
        assert_eq!(looks(1_000, 1.0, right), []);
        assert_eq!(looks(1_000, 60.0, |half| right(half) * 60), []);
        // It loses four seconds in a minute, every minute.
        assert_eq!(looks(1_000, 1.0, |half| right(half) - SECOND * (half as i32 / 30)), []);
    }

    #[test]
    fn a_clock_that_stands_still_is_noticed_again_and_again() {
        let noticed = looks(40, 1.0, |_| SignedDuration::ZERO);
        assert_eq!(noticed, [(11, 5, true), (22, 5, true), (33, 5, true)]);
    }

    #[test]
    fn five_seconds_back_are_let_pass_and_more_is_not() {
        let jump = |by: SignedDuration| {
            looks(20, 1.0, move |half| if half < 10 { right(half) } else { right(half) - by })
        };
        assert_eq!(jump(SECOND * 5), []);
        assert_eq!(jump(SECOND * 6), [(10, 6, true)]);
    }

    #[test]
    fn a_week_forward_and_three_hours_back_within_a_minute_are_three_hours_back() {
        let week = SignedDuration::from_hours(7 * 24);
        let back = SignedDuration::from_hours(3);
        let noticed = looks(40, 1.0, |half| match half {
            ..10 => right(half),
            10..20 => right(half) + week,
            _ => right(half) + week - back,
        });
        assert_eq!(noticed, [(20, 3 * 3_600, true)]);
    }
}
