//! Two threads of their own hash passwords, and stand back for everything else.
//!
//! On threads that come and go each keeps the 19 MiB a hash needs (measured: 390 MiB in a storm of sign-ins), and two hashes at once
//! took both cores from whoever sent a photo.

use std::panic::AssertUnwindSafe;
use std::panic::catch_unwind;
use std::sync::LazyLock;
use std::sync::Mutex;
use std::sync::mpsc;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::Sender;
use std::thread;
use std::time::Duration;

use tokio::sync::oneshot;

use crate::care::CareError;
use crate::care::Done;
use crate::care::gates::Turn;

/// As many as are let in at once ([`crate::care::gates`]).
const THREADS: usize = 2;
/// Of 19; ordinary work has 0.
const NICE: i32 = 10;
/// A turn is not given on sooner, however quick the machine: two turns at once come to no more than 33 a second (safety promise L9).
const TURN_TAKES: Duration = Duration::from_millis(61);

type Work = Box<dyn FnOnce() + Send>;

static LINE: LazyLock<Sender<Work>> = LazyLock::new(|| {
    let (sender, receiver) = mpsc::channel();
    let receiver: &'static Mutex<Receiver<Work>> = Box::leak(Box::new(Mutex::new(receiver)));
    for _ in 0..THREADS {
        thread::spawn(move || works(receiver));
    }
    sender
});

fn works(line: &Mutex<Receiver<Work>>) {
    // On Linux this is the thread's alone. Where it is refused, hashing is as urgent as everything else.
    let _ = rustix::process::setpriority_process(None, NICE);
    loop {
        let next = line.lock().map(|line| line.recv());
        let Ok(Ok(work)) = next else { return };
        work();
    }
}

/// Does work on one of the two threads. Its turn is given on when it has ended, whether or not somebody still waits for what it comes
/// to: a visitor who leaves does not let a third hash begin. An error: it fell over.
pub(in crate::care) async fn apart<T: Send + 'static>(
    turn: Turn,
    work: impl FnOnce() -> T + Send + 'static,
) -> Done<T> {
    let (told, told_of) = oneshot::channel();
    let (ends, ended) = oneshot::channel::<()>();
    let work = move || {
        let _ends = ends;
        let _ = told.send(catch_unwind(AssertUnwindSafe(work)));
    };
    tokio::spawn(async move {
        let _ = tokio::join!(tokio::time::sleep(TURN_TAKES), ended);
        drop(turn);
    });
    LINE.send(Box::new(work)).map_err(|_| CareError::Work("nobody hashes any more".to_owned()))?;
    match told_of.await {
        Ok(Ok(done)) => Ok(done),
        Ok(Err(_)) | Err(_) => Err(CareError::Work("hashing fell over".to_owned())),
    }
}

#[cfg(test)]
mod tests {
    use std::time::Instant;

    use super::*;
    use crate::care::gates::WaitingRoom;

    #[tokio::test]
    async fn whoever_hashes_stands_back_and_one_that_falls_over_leaves_the_thread_to_the_next() {
        let room = WaitingRoom::new(THREADS, 0);
        for _ in 0..2 * THREADS {
            let turn = room.turn().await.unwrap();
            let nice = apart(turn, || rustix::process::getpriority_process(None).unwrap()).await.unwrap();
            assert_eq!(nice, NICE);
            let turn = room.turn().await.unwrap();
            assert!(apart(turn, || panic!("a hash that falls over")).await.is_err());
        }
        assert_eq!(rustix::process::getpriority_process(None).unwrap(), 0, "everything else does not");
    }

    #[tokio::test]
    #[expect(clippy::disallowed_methods, reason = "how long it takes is what is asked")]
    async fn a_turn_is_given_on_no_sooner_than_its_time_even_when_nobody_waits_for_what_it_comes_to() {
        let room = WaitingRoom::new(1, 0);
        let begun = Instant::now();
        let left = apart(room.turn().await.unwrap(), || ());
        drop(tokio::time::timeout(Duration::ZERO, left).await);
        drop(room.turn().await.unwrap());
        assert!(begun.elapsed() >= TURN_TAKES);
    }
}
