//! Two threads of their own hash passwords, and stand back for everything else.
//!
//! On threads that come and go each keeps the 19 MiB a hash needs (measured: 390 MiB in a storm of sign-ins), and two hashes at once
//! took both cores from whoever sent a photo. Each of the two keeps its memory from one hash to the next.

use std::cell::RefCell;
use std::panic::AssertUnwindSafe;
use std::panic::catch_unwind;
use std::sync::LazyLock;
use std::sync::Mutex;
use std::sync::mpsc;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::Sender;
use std::thread;
use std::time::Duration;

use argon2::Algorithm;
use argon2::Argon2;
use argon2::Block;
use argon2::Params;
use argon2::Version;
use argon2::password_hash::phc::Output;
use argon2::password_hash::phc::ParamsString;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::phc::Salt;
use tokio::sync::oneshot;

use crate::care::CareError;
use crate::care::Done;
use crate::care::gates::Turn;

/// As many as are let in at once ([`crate::care::gates`]).
const THREADS: usize = 2;
/// Of 19; ordinary work has 0.
const NICE: i32 = 10;
/// The bytes a hash comes to.
const HASH_BYTES: usize = 32;

thread_local! {
    static MEMORY: RefCell<Vec<Block>> = const { RefCell::new(Vec::new()) };
}

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

/// Hashes a secret with argon2id at today's costs: 19 MiB, two passes, one lane (OWASP ASVS 5.0, appendix C). The hash in PHC's form.
pub(in crate::care) fn hash(secret: &str, salt: &[u8]) -> Result<String, argon2::password_hash::Error> {
    let params = Params::default();
    let phc = PasswordHash {
        algorithm: Algorithm::Argon2id.ident(),
        version: Some(Version::V0x13.into()),
        params: ParamsString::try_from(&params)?,
        salt: Some(Salt::new(salt)?),
        hash: Some(Output::new(&digest(secret, salt, params)?)?),
    };
    Ok(phc.to_string())
}

/// Whether `secret` is the one behind a hash, at the costs the hash was made with. One that cannot be read matches nothing.
pub(in crate::care) fn is_behind(secret: &str, phc: &str) -> bool {
    let Ok(phc) = PasswordHash::new(phc) else { return false };
    let is_ours = phc.algorithm == Algorithm::Argon2id.ident() && phc.version == Some(Version::V0x13.into());
    let (true, Some(salt), Some(kept), Ok(params)) = (is_ours, &phc.salt, &phc.hash, Params::try_from(&phc))
    else {
        return false;
    };
    // Outputs are compared in constant time.
    digest(secret, salt, params).is_ok_and(|hash| Output::new(&hash).is_ok_and(|hash| hash == *kept))
}

fn digest(secret: &str, salt: &[u8], params: Params) -> Result<[u8; HASH_BYTES], argon2::Error> {
    let blocks = params.block_count();
    let argon2 = Argon2::new(Algorithm::Argon2id, Version::V0x13, params);
    MEMORY.with_borrow_mut(|memory| {
        memory.resize(blocks, Block::new());
        let mut hash = [0; HASH_BYTES];
        argon2.hash_password_into_with_memory(secret.as_bytes(), salt, &mut hash, memory)?;
        Ok(hash)
    })
}

/// Does work on one of the two threads. Its turn is given on when it has ended, and no sooner than it takes (`turn_takes`), whether or
/// not somebody still waits for what it comes to: a visitor who leaves does not let a third hash begin. An error: it fell over.
pub(in crate::care) async fn apart<T: Send + 'static>(
    turn: Turn,
    turn_takes: Duration,
    work: impl FnOnce() -> T + Send + 'static,
) -> Done<T> {
    let (told, told_of) = oneshot::channel();
    let (ends, ended) = oneshot::channel::<()>();
    let work = move || {
        let _ends = ends;
        let _ = told.send(catch_unwind(AssertUnwindSafe(work)));
    };
    tokio::spawn(async move {
        let _ = tokio::join!(tokio::time::sleep(turn_takes), ended);
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

    use argon2::PasswordHasher;
    use argon2::PasswordVerifier;

    use super::*;
    use crate::care::gates::WaitingRoom;

    #[test]
    fn a_hash_is_what_the_library_makes_of_it_and_each_believes_the_others() {
        let salt = *b"sixteen letters.";
        let ours = hash("Correct horse", &salt).unwrap();
        let theirs = Argon2::default().hash_password_with_salt(b"Correct horse", &salt).unwrap().to_string();
        assert_eq!(ours, theirs);
        assert!(is_behind("Correct horse", &theirs) && !is_behind("correct horse", &theirs));
        let ours = PasswordHash::new(&ours).unwrap();
        Argon2::default().verify_password(b"Correct horse", &ours).unwrap();
        let cheap = Argon2::from(Params::new(64, 1, 1, Some(HASH_BYTES)).unwrap());
        let cheap = cheap.hash_password_with_salt(b"Correct horse", &salt).unwrap().to_string();
        assert!(is_behind("Correct horse", &cheap) && !is_behind("Correct hose", &cheap));
        let other = cheap.replace("argon2id", "argon2i");
        for unreadable in
            ["", "$argon2id$", "a password", &other, &cheap.replace("v=19", "v=16"), &cheap[..60]]
        {
            assert!(!is_behind("Correct horse", unreadable), "{unreadable}");
        }
    }

    #[tokio::test]
    async fn whoever_hashes_stands_back_and_one_that_falls_over_leaves_the_thread_to_the_next() {
        let room = WaitingRoom::new(THREADS, 0);
        for _ in 0..2 * THREADS {
            let turn = room.turn().await.unwrap();
            let nice = apart(turn, Duration::ZERO, || rustix::process::getpriority_process(None).unwrap())
                .await
                .unwrap();
            assert_eq!(nice, NICE);
            let turn = room.turn().await.unwrap();
            assert!(apart(turn, Duration::ZERO, || panic!("a hash that falls over")).await.is_err());
        }
        assert_eq!(rustix::process::getpriority_process(None).unwrap(), 0, "everything else does not");
    }

    #[tokio::test]
    #[expect(clippy::disallowed_methods, reason = "how long it takes is what is asked")]
    async fn a_turn_is_given_on_no_sooner_than_its_time_even_when_nobody_waits_for_what_it_comes_to() {
        let (room, takes) = (WaitingRoom::new(1, 0), Duration::from_millis(80));
        let begun = Instant::now();
        let left = apart(room.turn().await.unwrap(), takes, || ());
        drop(tokio::time::timeout(Duration::ZERO, left).await);
        drop(room.turn().await.unwrap());
        assert!(begun.elapsed() >= takes);
    }
}
