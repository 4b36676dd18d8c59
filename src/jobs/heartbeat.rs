//! Tells the outside checker that the program lives, for as long as it really does its work.

use std::time::Duration;

use jiff::Timestamp;

use crate::care::Desk;
use crate::care::Done;
use crate::care::ready;
use crate::ids::Moment;
use crate::notify::Heart;
use crate::notify::Post;
use crate::store::server;

/// Between two signs of life (M4).
const EVERY: Duration = Duration::from_secs(60);
/// After one that could not be given.
const TRY_AGAIN: Duration = Duration::from_secs(10);

/// Whether a sign of life may be given now; otherwise why not.
async fn is_well(desk: &Desk, post: &Post, now: Timestamp) -> Result<(), String> {
    if let Some(why) = ready::why_silent(desk, now).await {
        return Err(why.to_owned());
    }
    post.probe().await
}

async fn next_number(desk: &Desk, machine: Timestamp) -> Done<i64> {
    let mut tx = desk.db.write().await?;
    let number = server::next_beat(&mut tx, machine.as_millisecond()).await?;
    tx.commit().await?;
    Ok(number)
}

/// Gives one sign of life, if all is well.
pub async fn beat(
    desk: &Desk,
    post: &Post,
    heart: &Heart,
    now: Timestamp,
    machine: Timestamp,
) -> Result<(), String> {
    is_well(desk, post, now).await?;
    let number = next_number(desk, machine).await.map_err(|fault| fault.to_string())?;
    heart.beat(number, machine).await
}

/// Gives signs of life for ever. `machine`: the time another host keeps too; `speed`: how much faster `now` goes.
pub async fn run(
    desk: Desk,
    post: Post,
    heart: Heart,
    now: impl Fn() -> Moment + Sync,
    machine: impl Fn() -> Timestamp + Sync,
    speed: f64,
) {
    let mut was_well = true;
    loop {
        let given = beat(&desk, &post, &heart, now().now, machine()).await;
        if let Err(why) = &given
            && was_well
        {
            tracing::warn!(why, "no sign of life is given");
        }
        was_well = given.is_ok();
        let wait = if was_well { EVERY } else { TRY_AGAIN };
        tokio::time::sleep(wait.div_f64(speed)).await;
    }
}
