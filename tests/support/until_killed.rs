//! A program that dies in the middle: everything it had under way is dropped, between any two answers it waits for.

use std::future::Future;
use std::future::poll_fn;
use std::task::Poll;

/// Polls until the `killed`-th time nothing is ready, then drops all that was under way. `None`: killed.
pub async fn until_killed<T>(acting: impl Future<Output = T>, killed: u16) -> Option<T> {
    let mut left = killed;
    until_it_dies(acting, || {
        let dies = left == 0;
        left = left.saturating_sub(1);
        dies
    })
    .await
}

/// The same; whenever nothing is ready, `dies` says whether this is the end.
pub async fn until_it_dies<T>(acting: impl Future<Output = T>, mut dies: impl FnMut() -> bool) -> Option<T> {
    let mut acting = Box::pin(acting);
    poll_fn(|context| match acting.as_mut().poll(context) {
        Poll::Ready(came_to) => Poll::Ready(Some(came_to)),
        Poll::Pending if dies() => Poll::Ready(None),
        Poll::Pending => Poll::Pending,
    })
    .await
}
