//! The queue's live line: tells an open page that something changed, and that the line still holds.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::response::Sse;
use axum::response::sse::Event;
use futures::Stream;
use tokio::sync::broadcast::error::RecvError;
use tokio::time::MissedTickBehavior;

use crate::care::sign_in;
use crate::web::App;
use crate::web::doors::Member;

/// The page calls itself not live after 20 seconds without a word: two beats may get lost before that.
const BEAT: Duration = Duration::from_secs(10);

pub async fn listen(
    State(app): State<App>,
    member: Member,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let mut news = app.desk.listen();
    Sse::new(async_stream::stream! {
        let mut beat = tokio::time::interval(BEAT);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            let word = tokio::select! {
                _ = beat.tick() => "beat",
                heard = news.recv() => match heard {
                    Ok(heard) if heard.practice != member.member.practice => continue,
                    // Whoever fell behind reads everything again.
                    Ok(_) | Err(RecvError::Lagged(_)) => "changed",
                    Err(RecvError::Closed) => break,
                },
            };
            match sign_in::still_in(&app.desk, &member.token, app.now()).await {
                Ok(true) => yield Ok(Event::default().event(word).data(app.now().as_millisecond().to_string())),
                // Signed out, or nobody can say: the page finds out when it asks again.
                Ok(false) | Err(_) => break,
            }
        }
    })
}
