//! A program that dies in the middle: everything it had under way is dropped, between any two answers it waits for.

use std::future::Future;
use std::future::poll_fn;
use std::task::Poll;

/// Polls until the `killed`-th time nothing is ready, then drops all that was under way. `None`: killed.
pub async fn until_killed<T>(acting: impl Future<Output = T>, killed: Option<u16>) -> Option<T> {
    let mut acting = Box::pin(acting);
    let mut left = killed;
    poll_fn(|context| match (acting.as_mut().poll(context), &mut left) {
        (Poll::Ready(came_to), _) => Poll::Ready(Some(came_to)),
        (Poll::Pending, Some(0)) => Poll::Ready(None),
        (Poll::Pending, Some(more)) => {
            *more -= 1;
            Poll::Pending
        }
        (Poll::Pending, None) => Poll::Pending,
    })
    .await
}
