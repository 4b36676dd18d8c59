//! The queue's live line: tells an open page that something changed, and that the line still holds.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::response::Sse;
use axum::response::sse::Event;
use futures::Stream;
use tokio::sync::broadcast::error::RecvError;
use tokio::time::MissedTickBehavior;

use crate::care::envelope;
use crate::care::sign_in;
use crate::ids::PracticeId;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::doors::Onlooker;

/// The page calls itself not live after 20 seconds without a word: two beats may get lost before that.
const BEAT: Duration = Duration::from_secs(10);

/// Who has the page open.
enum Reader {
    Member(Member),
    Onlooker(Onlooker),
}

impl Reader {
    fn practice(&self) -> PracticeId {
        match self {
            Reader::Member(member) => member.member.practice,
            Reader::Onlooker(onlooker) => onlooker.look.practice,
        }
    }

    /// False: they were signed out, or nobody can say; the page finds out when it asks again.
    async fn is_in(&self, app: &App) -> bool {
        match self {
            Reader::Member(member) => {
                matches!(sign_in::still_in(&app.desk, &member.token, app.now()).await, Ok(true))
            }
            Reader::Onlooker(onlooker) => {
                matches!(envelope::running(&app.desk, &onlooker.token, app.now()).await, Ok(Some(_)))
            }
        }
    }
}

pub async fn listen(
    State(app): State<App>,
    member: Member,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    Sse::new(beats(app, Reader::Member(member)))
}

/// The same for whoever opened the sealed envelope, for as long as their look runs.
pub async fn listen_as_onlooker(
    State(app): State<App>,
    onlooker: Onlooker,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    Sse::new(beats(app, Reader::Onlooker(onlooker)))
}

fn beats(app: App, reader: Reader) -> impl Stream<Item = Result<Event, Infallible>> {
    let mut news = app.desk.listen();
    async_stream::stream! {
        let mut beat = tokio::time::interval(BEAT);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            let word = tokio::select! {
                _ = beat.tick() => "beat",
                heard = news.recv() => match heard {
                    Ok(heard) if heard.practice != reader.practice() => continue,
                    // Whoever fell behind reads everything again.
                    Ok(_) | Err(RecvError::Lagged(_)) => "changed",
                    Err(RecvError::Closed) => break,
                },
            };
            if !reader.is_in(&app).await {
                break;
            }
            yield Ok(Event::default().event(word).data(app.now().as_millisecond().to_string()));
        }
    }
}
