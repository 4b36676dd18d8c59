//! Measures the photos that wait, one after the other, for as long as the server runs.

use std::time::Duration;

use futures::future::join_all;

use crate::care::Desk;
use crate::care::Done;
use crate::care::measuring;
use crate::care::measuring::Method;
use crate::care::measuring::Outcome;
use crate::ids::Moment;
use crate::wound::Standing;

/// A photo to be tried again, or one that another server left behind, waits no longer than this for a look.
const LOOK_AGAIN: Duration = Duration::from_secs(20);
/// One at a time: of the places for decoding the others stay with the photos that come in.
const LANES: usize = 1;

/// What working through the waiting photos came to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    pub measured: u64,
    /// An outline was found that a person has to confirm.
    pub low_confidence: u64,
    /// Nothing can be measured in the photo.
    pub refused: u64,
    /// Broken off for good.
    pub gave_up: u64,
    /// Left for a later try.
    pub put_off: u64,
    /// Measured before, or not to be measured any more.
    pub not_wanted: u64,
}

impl Tally {
    fn count(&mut self, outcome: Outcome) {
        *match outcome {
            Outcome::Measured(Standing::Ok) => &mut self.measured,
            Outcome::Measured(Standing::LowConfidence) => &mut self.low_confidence,
            Outcome::Measured(Standing::Refused) => &mut self.refused,
            Outcome::GaveUp(_) => &mut self.gave_up,
            Outcome::PutOff => &mut self.put_off,
            Outcome::NotWanted => &mut self.not_wanted,
        } += 1;
    }

    fn add(&mut self, other: Tally) {
        self.measured += other.measured;
        self.low_confidence += other.low_confidence;
        self.refused += other.refused;
        self.gave_up += other.gave_up;
        self.put_off += other.put_off;
        self.not_wanted += other.not_wanted;
    }
}

/// Measures until no photo is due, `lanes` of them side by side.
pub async fn until_idle(
    desk: &Desk,
    method: &Method,
    now: &(impl Fn() -> Moment + Sync),
    lanes: usize,
) -> Done<Tally> {
    let mut all = Tally::default();
    for tally in join_all((0..lanes).map(|_| lane(desk, method, now))).await {
        all.add(tally?);
    }
    Ok(all)
}

async fn lane(desk: &Desk, method: &Method, now: &(impl Fn() -> Moment + Sync)) -> Done<Tally> {
    let mut tally = Tally::default();
    loop {
        match measuring::next(desk, method, &now()).await? {
            Some(outcome) => tally.count(outcome),
            // Another lane took the one that was seen; there may be more.
            None if measuring::any_due(desk, now().now).await? => tokio::task::yield_now().await,
            None => return Ok(tally),
        }
    }
}

/// Measures for ever: at once when something changed, and every now and then.
pub async fn run(desk: Desk, method: Method, now: impl Fn() -> Moment + Sync) {
    let mut news = desk.listen();
    loop {
        if let Err(fault) = until_idle(&desk, &method, &now, LANES).await {
            tracing::error!(%fault, "measuring stopped and begins again");
            tokio::time::sleep(LOOK_AGAIN).await;
        }
        // Missed news are news as well.
        let _ = tokio::time::timeout(LOOK_AGAIN, news.recv()).await;
    }
}
