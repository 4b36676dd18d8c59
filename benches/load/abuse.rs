//! Abuse: guessed links and slow connections while patients send, and one link that sends far too much (safety promises L5, L6
//! and C13).

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::time::Duration;
use std::time::Instant;

use data_encoding::BASE64URL_NOPAD;
use tokio::io::AsyncReadExt;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpSocket;
use tokio::net::TcpStream;
use tokio::task::JoinHandle;

use closewatch::ids::Chance;

use crate::Scale;
use crate::checks::steadily;
use crate::checks::took;
use crate::checks::whole_pct;
use crate::figures::Figure;
use crate::figures::percentile_ms;
use crate::phone::Browser;
use crate::phone::Sent;
use crate::phone::address;
use crate::phone::send_check;
use crate::pictures::Picture;
use crate::server::House;
use crate::server::Server;

const JUNK_NET: u8 = 5;
const SLOW_NET: u8 = 6;
const HOSTILE_NET: u8 = 7;
/// So many guess side by side, each at an address of its own.
const GUESSERS: usize = 40;
/// Slow connections from one address; the program gives it 64.
const SLOW_EACH: usize = 10;
/// A letter of a request's head this often.
const LETTER_EVERY: Duration = Duration::from_secs(2);

/// What is done until it is told to stop.
struct Abuse {
    stop: Arc<AtomicBool>,
    at_it: Vec<JoinHandle<()>>,
    answered: Arc<AtomicUsize>,
    opened: Arc<AtomicUsize>,
    begun: Instant,
}

impl Abuse {
    fn begin(server: &Server, scale: &Scale) -> Abuse {
        let stop = Arc::new(AtomicBool::new(false));
        let (answered, opened) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicUsize::new(0)));
        let mut at_it = Vec::new();
        for number in 0..GUESSERS {
            let browser = Browser::at(server.address(), JUNK_NET, number);
            let (stop, answered, opened) = (Arc::clone(&stop), Arc::clone(&answered), Arc::clone(&opened));
            let every = Duration::from_secs_f64(GUESSERS as f64 / scale.junk_per_s as f64);
            at_it.push(tokio::spawn(guess(browser, every, stop, answered, opened)));
        }
        let server: SocketAddr = server.address().parse().expect("an address and a port");
        for number in 0..scale.slow {
            at_it.push(tokio::spawn(dawdle(server, number / SLOW_EACH, Arc::clone(&stop))));
        }
        Abuse { stop, at_it, answered, opened, begun: Instant::now() }
    }

    /// Guesses answered a second, and links that opened.
    async fn end(self) -> (f64, usize) {
        let passed_s = self.begun.elapsed().as_secs_f64();
        let answered = self.answered.load(Ordering::Relaxed);
        self.stop.store(true, Ordering::Relaxed);
        for one in self.at_it {
            one.abort();
            let _ = one.await;
        }
        (answered as f64 / passed_s, self.opened.load(Ordering::Relaxed))
    }
}

async fn guess(
    browser: Browser,
    every: Duration,
    stop: Arc<AtomicBool>,
    answered: Arc<AtomicUsize>,
    opened: Arc<AtomicUsize>,
) {
    let mut tick = tokio::time::interval(every);
    tick.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    while !stop.load(Ordering::Relaxed) {
        tick.tick().await;
        let token = BASE64URL_NOPAD.encode(&Chance::OperatingSystem.bytes::<20>());
        if let Ok(answer) = browser.post_form(&format!("/k/{token}"), "", &[]).await {
            answered.fetch_add(1, Ordering::Relaxed);
            opened.fetch_add(usize::from(answer.status == 303), Ordering::Relaxed);
        }
    }
}

/// Half a request, a letter now and then, and anew when it is let go.
async fn dawdle(server: SocketAddr, number: usize, stop: Arc<AtomicBool>) {
    while !stop.load(Ordering::Relaxed) {
        if let Ok(mut line) = connect(server, number).await {
            let _ = line.write_all(b"POST /my/check HTTP/1.1\r\nHost: a\r\nX-More: ").await;
            let mut heard = [0; 256];
            loop {
                match tokio::time::timeout(LETTER_EVERY, line.read(&mut heard)).await {
                    Ok(Ok(0) | Err(_)) => break,
                    Ok(Ok(_)) => {}
                    Err(_) if line.write_all(b"a").await.is_err() => break,
                    Err(_) => {}
                }
            }
        }
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
}

async fn connect(server: SocketAddr, number: usize) -> std::io::Result<TcpStream> {
    let socket = TcpSocket::new_v4()?;
    socket.bind(SocketAddr::from((address(SLOW_NET, number), 0)))?;
    socket.connect(server).await
}

/// L5: what patients send meanwhile, against what they sent in quiet.
pub async fn junk_and_slow(
    server: &Server,
    house: &House,
    picture: &Arc<Picture>,
    scale: &Scale,
    quiet: &[Sent],
) -> Vec<Figure> {
    let abuse = Abuse::begin(server, scale);
    tokio::time::sleep(Duration::from_secs(1)).await;
    let sent = steadily(server, house, picture, "abused", scale.steady, scale.steady_every).await;
    let (guesses_per_s, opened) = abuse.end().await;
    let ratio = percentile_ms(&mut took(&sent), 95) / percentile_ms(&mut took(quiet), 95);
    vec![
        Figure::told("L5", "guessed links answered", guesses_per_s, "a second"),
        Figure::told("L5", "slow connections held", scale.slow as f64, ""),
        Figure::at_least("L5", "checks taken whole meanwhile", whole_pct(&sent), 99.0, "%"),
        Figure::at_most("L5", "p95 of a check, times that in quiet", ratio, 2.0, ""),
        Figure::at_most("C13", "links opened by guessing", opened as f64, 0.0, ""),
    ]
}

/// L6: one hostile link. What it may do, and whom it pushes aside.
pub async fn hostile_link(server: &Server, house: &House, picture: &Picture, scale: &Scale) -> Vec<Figure> {
    let hostile = &house.phones[0];
    let browser = Browser::at(server.address(), HOSTILE_NET, 0);
    let (mut with_photo, mut answers) = (0, 0);
    for number in 0..scale.hostile {
        let form_key = format!("hostile{number}");
        let files = [picture.numbered(u64::MAX - number as u64)];
        let sent = send_check(&browser, hostile, &form_key, &files, Duration::from_secs(60)).await;
        answers += usize::from(sent.receipt.is_some());
        with_photo += sent.photos.len();
    }
    // Enough emergencies to fill the page.
    for number in 0..scale.emergencies {
        let form_key = format!("emergency{number}");
        let fields = [("form_key", form_key.as_str()), ("danger", "breath")];
        let answer = browser.post_form("/my/check/answers", &hostile.cookie, &fields).await;
        answers += usize::from(answer.is_ok_and(|answer| answer.status == 200));
    }
    let victim = &house.phones[1];
    let sent = send_check(&browser, victim, "beside", &[], Duration::from_secs(60)).await;
    assert!(sent.receipt.is_some(), "answers are always taken");
    let page = browser.get("/queue", &house.surgeon).await.expect("the server answers");
    let html = String::from_utf8_lossy(&page.body).into_owned();
    let rows = |name: &str| html.matches(&format!("<bdi>{name}</bdi>")).count() as f64;
    let sent = (scale.hostile + scale.emergencies) as f64;
    vec![
        Figure::at_most("L6", "checks with photos kept of one link in a day", with_photo as f64, 20.0, ""),
        Figure::at_least("L6", "of them taken before that", with_photo as f64, 20.0, ""),
        Figure::at_least("L6", "its answers taken", answers as f64, sent, ""),
        Figure::at_most("L6", "its rows on the queue", rows("Mia Stone 0"), 3.0, ""),
        Figure::at_least("L6", "rows of a patient beside it", rows("Mia Stone 1"), 1.0, ""),
    ]
}
