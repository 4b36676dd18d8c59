//! What a locked screen hears: how many urgent things wait, so that it rings; no name, and no session.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum::response::Response;
use axum::response::Sse;
use axum::response::sse::Event;
use tokio::sync::broadcast::error::RecvError;
use tokio::time::MissedTickBehavior;

use crate::care::pulse;
use crate::web::App;
use crate::web::cookies::Cookie;
use crate::web::error::PageError;

/// Between two words when nothing changes: a page that hears nothing for twice as long says so.
const BEAT: Duration = Duration::from_secs(10);

pub async fn listen(State(app): State<App>, headers: HeaderMap) -> Result<Response, PageError> {
    let token = Cookie::Known.read(&app, &headers).unwrap_or_default();
    // Nobody is known in this browser: it need not ask again.
    let Some(first) = pulse::of_browser(&app.desk, &token, app.now()).await? else {
        return Ok(StatusCode::NO_CONTENT.into_response());
    };
    let mut news = app.desk.listen();
    let stream = async_stream::stream! {
        let mut beat = tokio::time::interval(BEAT);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            tokio::select! {
                _ = beat.tick() => {}
                heard = news.recv() => match heard {
                    Ok(heard) if heard.practice != first.practice => continue,
                    Ok(_) | Err(RecvError::Lagged(_)) => {}
                    Err(RecvError::Closed) => break,
                },
            }
            match pulse::of_browser(&app.desk, &token, app.now()).await {
                Ok(Some(pulse)) => {
                    yield Ok::<Event, Infallible>(Event::default().event("urgent").data(pulse.urgent.to_string()));
                }
                // The member was switched off, or nobody can say: the page says that it is not live.
                Ok(None) | Err(_) => break,
            }
        }
    };
    Ok(Sse::new(stream).into_response())
}
