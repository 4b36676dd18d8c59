//! The line between the program and PostgreSQL (safety promise D7): cut, silent, dead, or a letter a second. Nothing is acknowledged
//! that is not in the books, the program says that it cannot do its work, and goes on by itself once the line is whole.

mod support;

use std::net::SocketAddr;
use std::time::Duration;

use tokio::io::AsyncReadExt;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpListener;
use tokio::net::TcpStream;
use tokio::net::tcp::OwnedReadHalf;
use tokio::net::tcp::OwnedWriteHalf;
use tokio::sync::watch;
use tokio::time::Instant;
use tokio::time::sleep;

use support::Place;
use support::Served;
use support::Told;
use support::compare_in;
use support::retry;
use support::send_check;
use support::senders;
use support::serve_in;

/// Promised: so soon the program says itself that it is not ready.
const NOT_READY_WITHIN: Duration = Duration::from_secs(5);
/// How long a phone is left waiting for an answer that does not come.
const PATIENCE: Duration = Duration::from_secs(3);

/// How the line is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    Whole,
    /// Every connection breaks, and none is made.
    Cut,
    /// Nothing comes through; what was on its way does once the line is whole.
    Silent,
    /// Connections of before stay open and carry nothing, ever; new ones work.
    Dead,
    /// A letter a second.
    Slow,
}

/// A line to PostgreSQL that can be made bad.
struct Line {
    address: SocketAddr,
    way: watch::Sender<Way>,
}

impl Line {
    async fn to(server: String) -> Line {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let (way, seen) = watch::channel(Way::Whole);
        tokio::spawn(async move {
            while let Ok((near, _)) = listener.accept().await {
                if *seen.borrow() == Way::Cut {
                    continue;
                }
                let Ok(far) = TcpStream::connect(&server).await else { continue };
                let (from_near, to_near) = near.into_split();
                let (from_far, to_far) = far.into_split();
                // What is dead is what was there before it was so.
                let spared = *seen.borrow() == Way::Dead;
                tokio::spawn(carry(from_near, to_far, seen.clone(), spared));
                tokio::spawn(carry(from_far, to_near, seen.clone(), spared));
            }
        });
        Line { address, way }
    }

    fn becomes(&self, way: Way) {
        self.way.send_replace(way);
    }
}

/// One direction of a connection, until it breaks. `spared`: it was made while others were dead.
async fn carry(mut from: OwnedReadHalf, mut to: OwnedWriteHalf, mut way: watch::Receiver<Way>, spared: bool) {
    let mut bytes = [0; 4_096];
    loop {
        let came = tokio::select! {
            came = from.read(&mut bytes) => came,
            _ = way.wait_for(|way| *way == Way::Cut) => return,
        };
        let Ok(came @ 1..) = came else { return };
        let mut sent = 0;
        while sent < came {
            let now = *way.borrow_and_update();
            match now {
                Way::Cut => return,
                Way::Silent => _ = way.changed().await,
                Way::Dead if !spared => std::future::pending::<()>().await,
                Way::Slow => {
                    if to.write_all(&bytes[sent..=sent]).await.is_err() {
                        return;
                    }
                    sent += 1;
                    tokio::select! { () = sleep(Duration::from_secs(1)) => {}, _ = way.changed() => {} }
                }
                Way::Whole | Way::Dead => {
                    if to.write_all(&bytes[sent..came]).await.is_err() {
                        return;
                    }
                    sent = came;
                }
            }
        }
    }
}

/// Whether the program says that it can do its work.
async fn is_ready(address: &str) -> bool {
    let Ok(mut line) = TcpStream::connect(address).await else { return false };
    let question = format!("GET /ready HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    let mut answer = String::new();
    let asked = async {
        line.write_all(question.as_bytes()).await?;
        line.read_to_string(&mut answer).await
    };
    matches!(tokio::time::timeout(NOT_READY_WITHIN, asked).await, Ok(Ok(_)))
        && answer.starts_with("HTTP/1.1 200")
}

/// How long until the program says so. It is asked again and again.
async fn until(address: &str, ready: bool, most: Duration) -> Duration {
    let begun = Instant::now();
    while is_ready(address).await != ready {
        assert!(begun.elapsed() < most, "not {ready} in {most:?}");
        sleep(Duration::from_millis(100)).await;
    }
    begun.elapsed()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_the_books_out_of_reach_nothing_is_acknowledged_and_all_goes_on_by_itself() {
    let Ok(postgres) = std::env::var("TEST_PG_URL") else {
        eprintln!("TEST_PG_URL is not set: PostgreSQL was not tested");
        return;
    };
    for (way, back_within) in [
        (Way::Cut, Duration::from_secs(15)),
        (Way::Silent, Duration::from_secs(15)),
        (Way::Slow, Duration::from_secs(30)),
        (Way::Dead, Duration::from_secs(60)),
    ] {
        let place = Place::postgres(&postgres).await;
        let phones = senders(&place, 3).await;
        let (before, rest) = place.url.split_once('@').unwrap();
        let (server, name) = rest.split_once('/').unwrap();
        let line = Line::to(server.to_owned()).await;
        let through = format!("{before}@{}/{name}", line.address);
        let mut served = Served::try_start(serve_in(place.folder.path(), &through)).unwrap();
        served.until_ready();
        let (address, told) = (served.address.clone(), Told::default());
        for phone in &phones {
            let key = format!("{way:?}-before-{}", phone.link);
            assert!(send_check(&address, phone, &told, &key, 1).await);
        }
        let acknowledged = told.lock().unwrap().clone();
        line.becomes(way);
        let not_ready = match way {
            Way::Dead => Duration::ZERO,
            _ => until(&address, false, NOT_READY_WITHIN + Duration::from_secs(1)).await,
        };
        for (phone, seed) in phones.iter().zip(2..) {
            let key = format!("{way:?}-during-{}", phone.link);
            let sending = send_check(&address, phone, &told, &key, seed);
            let came = tokio::time::timeout(PATIENCE, sending).await;
            assert!(!matches!(came, Ok(true)) || way == Way::Dead, "{way:?}: acknowledged without books");
        }
        let now = told.lock().unwrap().clone();
        if way != Way::Dead {
            let said_yes = |told: &std::collections::BTreeMap<String, support::Sent>| {
                told.values().filter(|sent| sent.receipt.is_some()).count()
            };
            assert_eq!(said_yes(&now), said_yes(&acknowledged), "{way:?}");
            line.becomes(Way::Whole);
        }
        let back = until(&address, true, back_within).await;
        retry(&address, &told).await;
        assert_eq!(served.ended(), None, "{way:?}");
        served.kill();
        let found = compare_in(place.folder.path(), &place.url, &told).await;
        println!("{way:?}: not ready after {not_ready:.1?}, ready again after {back:.1?}; {}", found.line());
        assert!(found.is_whole(), "{way:?}: {found:?}");
        assert_eq!(found.receipts, 2 * phones.len(), "{way:?}");
        place.clear().await;
    }
}
