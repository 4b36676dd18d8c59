//! Reads every photo again, a few at a time, for ever.

use std::time::Duration;

use crate::care::Desk;
use crate::care::scrub;
use crate::ids::Moment;

/// Between two passes; with [`EACH`] some 140,000 blobs a day.
const PAUSE: Duration = Duration::from_secs(30);
const EACH: i64 = 50;

pub async fn run(desk: Desk, now: impl Fn() -> Moment + Sync) {
    loop {
        match scrub::pass(&desk, EACH, &now()).await {
            Ok(done) if done.damaged > 0 => {
                tracing::error!(damaged = done.damaged, "photos cannot be read as they were kept");
            }
            Ok(_) => {}
            Err(fault) => tracing::error!(%fault, "photos could not be read again"),
        }
        tokio::time::sleep(PAUSE).await;
    }
}
