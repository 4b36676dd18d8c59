//! Tells the service manager that the server listens, and then again and again that it lives; without one, nothing.

use std::time::Duration;

use sd_notify::NotifyState;

/// Said in time: three times within what the manager waits for.
const A_THIRD: u32 = 3;

/// Says that the server listens now.
pub fn listens() {
    tell(NotifyState::Ready);
}

/// For ever. Only the program's own life is vouched for, its tasks and its blocking threads: books or channels that are out of reach are
/// no reason to be started anew, for patients are then told whom to ring, and `/ready` says what is wrong.
pub async fn keep_telling() {
    let Some(patience) = sd_notify::watchdog_enabled() else { return };
    loop {
        tokio::time::sleep(between(patience)).await;
        if tokio::task::spawn_blocking(|| ()).await.is_ok() {
            tell(NotifyState::Watchdog);
        }
    }
}

fn between(patience: Duration) -> Duration {
    (patience / A_THIRD).max(Duration::from_millis(1))
}

fn tell(state: NotifyState<'_>) {
    if let Err(fault) = sd_notify::notify(&[state]) {
        tracing::warn!(%fault, "the service manager could not be told");
    }
}
