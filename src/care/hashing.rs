//! Two threads of their own hash passwords, and stand back for everything else.
//!
//! On threads that come and go each keeps the 19 MiB a hash needs (measured: 390 MiB in a storm of sign-ins), and two hashes at once
//! took both cores from whoever sent a photo.

use std::sync::LazyLock;
use std::sync::Mutex;
use std::sync::mpsc;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::Sender;
use std::thread;

use tokio::sync::oneshot;

use crate::care::CareError;
use crate::care::Done;

/// As many as are let in at once ([`crate::care::gates`]).
const THREADS: usize = 2;
/// Of 19; ordinary work has 0.
const NICE: i32 = 10;

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

/// Does work on one of the two threads. An error: it fell over.
pub(in crate::care) async fn apart<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Done<T> {
    let (told, told_of) = oneshot::channel();
    let work = move || {
        let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(work));
        let _ = told.send(done);
    };
    LINE.send(Box::new(work)).map_err(|_| CareError::Work("nobody hashes any more".to_owned()))?;
    match told_of.await {
        Ok(Ok(done)) => Ok(done),
        Ok(Err(_)) | Err(_) => Err(CareError::Work("hashing fell over".to_owned())),
    }
}
