//! Reads every photo and opens every text again, a few at a time, for ever.

use std::time::Duration;

use crate::care::Desk;
use crate::care::scrub;
use crate::care::text_scrub;
use crate::care::text_scrub::Round;
use crate::ids::Moment;

/// Between two passes; with [`EACH`] some 140,000 blobs a day, with [`EACH_TEXTS`] nearly three million texts.
const PAUSE: Duration = Duration::from_secs(30);
const EACH: i64 = 50;
const EACH_TEXTS: usize = 1_000;

pub async fn run(desk: Desk, now: impl Fn() -> Moment + Sync) {
    let mut round = Round::default();
    loop {
        match scrub::pass(&desk, EACH, &now()).await {
            Ok(done) if done.damaged > 0 => {
                tracing::error!(damaged = done.damaged, "photos cannot be read as they were kept");
            }
            Ok(_) => {}
            Err(fault) => tracing::error!(%fault, "photos could not be read again"),
        }
        match text_scrub::pass(&desk, &mut round, EACH_TEXTS, &now()).await {
            Ok(done) if done.unreadable > 0 => {
                tracing::error!(unreadable = done.unreadable, "texts cannot be opened");
            }
            Ok(_) => {}
            Err(fault) => tracing::error!(%fault, "texts could not be opened again"),
        }
        tokio::time::sleep(PAUSE).await;
    }
}
