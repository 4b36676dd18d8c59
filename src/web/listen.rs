//! Listening: every connection has its deadlines. Whoever is slow is served; whoever only holds a place is let go.
//!
//! `axum::serve` sets no timer, so that a half-sent header stays open for ever (measured: 75 s and more). Hence a loop of
//! our own over hyper.

use std::collections::HashMap;
use std::io;
use std::net::IpAddr;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::task::Context;
use std::task::Poll;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use bytes::Bytes;
use http_body::Frame;
use http_body::SizeHint;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::TokioIo;
use hyper_util::rt::TokioTimer;
use hyper_util::server::graceful::GracefulConnection;
use hyper_util::server::graceful::GracefulShutdown;
use tokio::io::AsyncRead;
use tokio::io::AsyncReadExt;
use tokio::io::AsyncWrite;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpListener;
use tokio::net::TcpStream;
use tokio::sync::OwnedSemaphorePermit;
use tokio::sync::Semaphore;
use tokio::time::Instant;
use tokio::time::Sleep;
use tokio_io_timeout::TimeoutStream;
use tower::ServiceExt;

use crate::care::vitals::Numbers;
use crate::care::vitals::Vitals;
use crate::config::CONNECTIONS;
use crate::web::client_address::Carried;
use crate::web::client_address::ClientAddress;
use crate::web::client_address::CountBy;
use crate::web::client_address::is_one_of;
use crate::web::tls::Tls;

/// How long a connection may take, and how many there may be (safety promise U9).
#[derive(Clone, Debug)]
pub struct ListenLimits {
    /// For the whole header of a request.
    pub header: Duration,
    /// A body may be as slow as it likes for so long,
    pub grace: Duration,
    /// and then must have come at so many bytes a second since it began,
    pub bytes_per_second: u64,
    /// and within so long in all.
    pub body: Duration,
    /// Nothing of an answer is taken for so long: the other side is gone.
    pub unread: Duration,
    pub connections: usize,
    /// From one address.
    pub connections_each: usize,
    /// At once, of those there is no place for: they are told why.
    pub turned_away: usize,
    /// Addresses of proxies in front: behind one stand many people, and none is counted.
    pub proxies: Vec<IpAddr>,
    /// Knows whom to ring instead.
    pub vitals: Vitals,
    /// `None`: plain http, to a proxy or on this machine.
    pub tls: Option<Arc<Tls>>,
    /// For the whole handshake of a TLS connection.
    pub handshake: Duration,
}

impl Default for ListenLimits {
    fn default() -> ListenLimits {
        ListenLimits {
            header: Duration::from_secs(10),
            grace: Duration::from_secs(20),
            bytes_per_second: 1_024,
            body: Duration::from_secs(600),
            unread: Duration::from_secs(60),
            connections: CONNECTIONS as usize,
            connections_each: 64,
            turned_away: TURNED_AWAY,
            proxies: Vec::new(),
            vitals: Vitals::default(),
            tls: None,
            handshake: Duration::from_secs(10),
        }
    }
}

impl ListenLimits {
    /// No more connections than there are files for, so that the books and photos can always be opened: who is in stays in, and
    /// who comes is told to ring. `most_files`: what the system lets this process have open.
    #[must_use]
    pub fn within(self, most_files: usize) -> ListenLimits {
        let left = most_files.saturating_sub(OWN_FILES);
        let turned_away = self.turned_away.min((left / 4).max(2));
        let connections = self.connections.min(left.saturating_sub(turned_away).max(2));
        ListenLimits { connections, turned_away, ..self }
    }
}

/// What is said to whom there is no place for, and whom to ring instead; `None`: nobody knows which practice it is.
fn full(numbers: Option<&Numbers>) -> String {
    let ring = numbers.map_or_else(String::new, |numbers| {
        let Numbers { phone, emergency, .. } = numbers;
        format!(
            "Urgent? Call the practice: {phone}. An emergency? Call {emergency}.\n\
             ¿Urgente? Llame al consultorio: {phone}. ¿Una emergencia? Llame al {emergency}.\n"
        )
    });
    let body = format!(
        "Too many connections just now. Wait five seconds, then try again.\n\
         Hay demasiadas conexiones ahora. Espere cinco segundos y pruebe otra vez.\n{ring}"
    );
    format!(
        "HTTP/1.1 503 Service Unavailable\r\nRetry-After: 5\r\nContent-Type: text/plain; charset=utf-8\r\n\
         Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
        body.len()
    )
}

/// So many at once are told why, each within this time; the rest are let go without a word.
const TURNED_AWAY: usize = 64;
/// Of the files a process may have open, so many are the program's own: the books by eight connections, their log and its
/// index, photos being written, letters being sent, the runtime (seen: 43 in all while 16 connections were held).
const OWN_FILES: usize = 48;
const TOLD_WITHIN: Duration = Duration::from_secs(1);

/// Says the words and closes. What the other side sent is read first: closing over it would take the words back.
pub(in crate::web) async fn tell(
    mut stream: impl AsyncRead + AsyncWrite + Unpin,
    words: &str,
) -> io::Result<()> {
    stream.write_all(words.as_bytes()).await?;
    stream.shutdown().await?;
    let mut heard = [0; 4_096];
    while stream.read(&mut heard).await? > 0 {}
    Ok(())
}

/// Tells whom there is no place for, in the language of the port.
async fn turn_away(stream: TcpStream, tls: Option<Arc<Tls>>, words: String, _turn: OwnedSemaphorePermit) {
    let told = async {
        match tls {
            None => tell(stream, &words).await,
            Some(tls) => match tls.shake_hands(stream, TOLD_WITHIN).await {
                Some(stream) => tell(stream, &words).await,
                None => Ok(()),
            },
        }
    };
    let _ = tokio::time::timeout(TOLD_WITHIN, told).await;
}

/// After the system could not give a connection, such as for want of file descriptors.
const BREATHER: Duration = Duration::from_millis(200);

/// Serves until `stop` ends; then no new connection is taken, and requests under way are answered.
pub async fn serve(
    listener: TcpListener,
    router: Router,
    limits: ListenLimits,
    stop: impl Future<Output = ()>,
) -> io::Result<()> {
    let turned_away = Arc::new(Semaphore::new(limits.turned_away));
    let vitals = limits.vitals.clone();
    let places = Places::new(limits);
    let graceful = GracefulShutdown::new();
    tokio::pin!(stop);
    loop {
        let (stream, peer) = tokio::select! {
            taken = listener.accept() => match taken {
                Ok(taken) => taken,
                Err(fault) => {
                    tracing::warn!(%fault, "a connection could not be taken");
                    tokio::time::sleep(BREATHER).await;
                    continue;
                }
            },
            () = &mut stop => break,
        };
        let Some(place) = places.take(peer.ip()) else {
            if let Ok(turn) = Arc::clone(&turned_away).try_acquire_owned() {
                let words = full(vitals.numbers(None).as_ref());
                tokio::spawn(turn_away(stream, places.limits.tls.clone(), words, turn));
            }
            continue;
        };
        let _ = stream.set_nodelay(true);
        let (watcher, router, limits) = (graceful.watcher(), router.clone(), Arc::clone(&places.limits));
        tokio::spawn(async move {
            // A connection cut off is the other side's own affair.
            let _ = match limits.tls.clone() {
                None => {
                    watcher.watch(answer(stream, CameFrom { peer, over_tls: false }, router, limits)).await
                }
                Some(tls) => match tls.shake_hands(stream, limits.handshake).await {
                    Some(stream) => {
                        watcher.watch(answer(stream, CameFrom { peer, over_tls: true }, router, limits)).await
                    }
                    None => Ok(()),
                },
            };
            drop(place);
        });
    }
    drop(listener);
    graceful.shutdown().await;
    Ok(())
}

/// Where a connection comes from.
#[derive(Clone, Copy)]
struct CameFrom {
    peer: SocketAddr,
    over_tls: bool,
}

fn answer(
    stream: impl AsyncRead + AsyncWrite + Send + 'static,
    from: CameFrom,
    router: Router,
    limits: Arc<ListenLimits>,
) -> impl GracefulConnection<Error = hyper::Error> {
    let CameFrom { peer, over_tls } = from;
    let mut stream = TimeoutStream::new(stream);
    stream.set_write_timeout(Some(limits.unread));
    let header = limits.header;
    let service = service_fn(move |request: hyper::Request<Incoming>| {
        let client = ClientAddress::of(peer.ip(), request.headers(), &limits.proxies);
        let carried = Carried::of(peer.ip(), over_tls, request.headers(), &limits.proxies);
        let mut request = request.map(|body| Body::new(Paced::new(body, Arc::clone(&limits))));
        request.extensions_mut().insert(ConnectInfo(peer));
        request.extensions_mut().insert(client);
        request.extensions_mut().insert(CountBy::of(client, &limits.proxies));
        request.extensions_mut().insert(carried);
        router.clone().oneshot(request)
    });
    http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(header)
        .serve_connection(TokioIo::new(Box::pin(stream)), service)
}

/// How many places each address has.
type Counts = Arc<Mutex<HashMap<IpAddr, usize>>>;

/// The places there are for connections.
struct Places {
    limits: Arc<ListenLimits>,
    all: Arc<Semaphore>,
    each: Counts,
}

/// A place that somebody has; given back when it is dropped.
struct Place {
    _of_all: OwnedSemaphorePermit,
    counted: Option<(IpAddr, Counts)>,
}

impl Places {
    fn new(limits: ListenLimits) -> Places {
        Places {
            all: Arc::new(Semaphore::new(limits.connections)),
            each: Arc::default(),
            limits: Arc::new(limits),
        }
    }

    /// `None`: there is none left, for this address or for anybody.
    fn take(&self, address: IpAddr) -> Option<Place> {
        let _of_all = Arc::clone(&self.all).try_acquire_owned().ok()?;
        if is_one_of(&self.limits.proxies, address) {
            return Some(Place { _of_all, counted: None });
        }
        let mut each = self.each.lock().unwrap_or_else(PoisonError::into_inner);
        let taken = each.entry(address).or_insert(0);
        if *taken >= self.limits.connections_each {
            return None;
        }
        *taken += 1;
        Some(Place { _of_all, counted: Some((address, Arc::clone(&self.each))) })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let Some((address, each)) = &self.counted else { return };
        let mut each = each.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(taken) = each.get_mut(address) {
            *taken -= 1;
            if *taken == 0 {
                each.remove(address);
            }
        }
    }
}

/// A body that must keep up its pace.
struct Paced {
    body: Incoming,
    limits: Arc<ListenLimits>,
    began: Instant,
    came: u64,
    late: Pin<Box<Sleep>>,
}

impl Paced {
    fn new(body: Incoming, limits: Arc<ListenLimits>) -> Paced {
        let began = Instant::now();
        let late = Box::pin(tokio::time::sleep_until(began + limits.grace.min(limits.body)));
        Paced { body, limits, began, came: 0, late }
    }

    /// By when more must have come.
    fn deadline(&self) -> Instant {
        let earned =
            Duration::from_millis(self.came.saturating_mul(1_000) / self.limits.bytes_per_second.max(1));
        self.began + (self.limits.grace + earned).min(self.limits.body)
    }
}

/// Why the rest of a body is not waited for.
#[derive(Debug, thiserror::Error)]
#[error("the body came too slowly")]
struct TooSlow;

impl http_body::Body for Paced {
    type Data = Bytes;
    type Error = axum::BoxError;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::BoxError>>> {
        if let Poll::Ready(frame) = Pin::new(&mut self.body).poll_frame(context) {
            let frame = frame.map(|frame| frame.map_err(axum::BoxError::from));
            if let Some(Ok(frame)) = &frame {
                self.came += frame.data_ref().map_or(0, |data| data.len() as u64);
                let deadline = self.deadline();
                self.late.as_mut().reset(deadline);
            }
            return Poll::Ready(frame);
        }
        match self.late.as_mut().poll(context) {
            Poll::Ready(()) => Poll::Ready(Some(Err(TooSlow.into()))),
            Poll::Pending => Poll::Pending,
        }
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_are_never_more_connections_than_files_for_them() {
        let of = |most_files: usize| {
            let limits = ListenLimits::default().within(most_files);
            (limits.connections, limits.turned_away)
        };
        assert_eq!(of(64), (12, 4));
        assert_eq!(of(256), (156, 52));
        assert_eq!(of(4_096), (1_280, 64));
        assert_eq!(of(0), (2, 2), "it listens all the same");
    }

    #[test]
    fn whoever_is_turned_away_is_told_whom_to_ring() {
        let practice = crate::ids::PracticeId::mint(&crate::ids::Moment::new(
            jiff::Timestamp::UNIX_EPOCH,
            crate::ids::Chance::seeded(1),
        ));
        let numbers = Numbers { practice, phone: "202-555-0100".to_owned(), emergency: "911".to_owned() };
        let told = full(Some(&numbers));
        let (head, body) = told.split_once("\r\n\r\n").unwrap();
        assert!(head.contains(&format!("Content-Length: {}", body.len())));
        assert!(body.contains("Call the practice: 202-555-0100.") && body.contains("Llame al 911."));
        assert!(!full(None).contains("Call the practice"));
    }
}
