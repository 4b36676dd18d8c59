//! Connections that are slow, silent or too many, against the program's own listening on loopback: what is slow and goes on
//! is served, what only holds a place is let go, and others are served meanwhile.

use std::net::SocketAddr;
use std::time::Duration;

use axum::Router;
use axum::body::Bytes;
use axum::extract::ConnectInfo;
use axum::routing::get;
use axum::routing::post;
use tokio::io::AsyncReadExt;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpListener;
use tokio::net::TcpSocket;
use tokio::net::TcpStream;
use tokio::sync::oneshot;
use tokio::time::Instant;
use tokio::time::sleep;
use tokio::time::timeout;

use closewatch::web::listen;
use closewatch::web::listen::ListenLimits;

/// The program's own, made quicker.
fn limits() -> ListenLimits {
    ListenLimits {
        header: Duration::from_millis(400),
        grace: Duration::from_millis(400),
        bytes_per_second: 1_000,
        body: Duration::from_secs(4),
        unread: Duration::from_millis(600),
        connections: 60,
        connections_each: 20,
        proxies: Vec::new(),
        ..ListenLimits::default()
    }
}

struct Server {
    address: SocketAddr,
    stop: Option<oneshot::Sender<()>>,
    ended: tokio::task::JoinHandle<std::io::Result<()>>,
}

async fn start(limits: ListenLimits) -> Server {
    let router = Router::new()
        .route("/", get(async |ConnectInfo(peer): ConnectInfo<SocketAddr>| peer.ip().to_string()))
        .route("/large", get(async || vec![b'x'; 40 * 1024 * 1024]))
        .route(
            "/slow",
            get(async || {
                sleep(Duration::from_millis(300)).await;
                "done"
            }),
        )
        .route("/length", post(async |body: Bytes| body.len().to_string()));
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = oneshot::channel();
    let stopped = async move { stopped.await.unwrap_or(()) };
    let ended = tokio::spawn(listen::serve(listener, router, limits, stopped));
    Server { address, stop: Some(stop), ended }
}

/// A connection from one of the many addresses of loopback.
async fn connect(server: &Server, from: [u8; 4]) -> TcpStream {
    let socket = TcpSocket::new_v4().unwrap();
    socket.bind(SocketAddr::from((from, 0))).unwrap();
    socket.connect(server.address).await.unwrap()
}

/// Everything that comes until the other side closes, within ten seconds.
async fn all_of(stream: &mut TcpStream) -> String {
    let mut said = Vec::new();
    let _ = timeout(Duration::from_secs(10), stream.read_to_end(&mut said)).await.expect("it is let go");
    String::from_utf8_lossy(&said).into_owned()
}

async fn asks(server: &Server, from: [u8; 4]) -> String {
    let mut stream = connect(server, from).await;
    stream.write_all(b"GET / HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n").await.unwrap();
    all_of(&mut stream).await
}

#[tokio::test]
async fn a_header_that_is_never_finished_is_let_go_in_its_time() {
    let server = start(limits()).await;
    for half in ["", "GET", "GET / HTTP/1.1\r\nHost: a\r\nX-More: "] {
        let mut stream = connect(&server, [127, 0, 0, 1]).await;
        stream.write_all(half.as_bytes()).await.unwrap();
        let began = Instant::now();
        all_of(&mut stream).await;
        let held = began.elapsed();
        assert!(held >= Duration::from_millis(300) && held < Duration::from_secs(3), "{half:?}: {held:?}");
    }
    // One letter now and then keeps no header alive.
    let mut stream = connect(&server, [127, 0, 0, 1]).await;
    let began = Instant::now();
    loop {
        let sent = stream.write_all(b"G").await;
        sleep(Duration::from_millis(50)).await;
        if sent.is_err() || began.elapsed() > Duration::from_secs(3) {
            break;
        }
    }
    assert!(began.elapsed() < Duration::from_secs(3), "{:?}", began.elapsed());
}

#[tokio::test]
async fn a_body_that_keeps_its_pace_is_taken_and_one_that_does_not_is_not() {
    let server = start(limits()).await;
    let begin = b"POST /length HTTP/1.1\r\nHost: a\r\nContent-Length: 3000\r\nConnection: close\r\n\r\n";
    // 3,000 bytes in 2.4 seconds: slow, and above 1,000 a second.
    let mut fair = connect(&server, [127, 0, 0, 1]).await;
    fair.write_all(begin).await.unwrap();
    for _ in 0..12 {
        sleep(Duration::from_millis(200)).await;
        fair.write_all(&[b'a'; 250]).await.unwrap();
    }
    let said = all_of(&mut fair).await;
    assert!(said.starts_with("HTTP/1.1 200") && said.ends_with("3000"), "{said}");
    // 100 bytes a second.
    let mut slow = connect(&server, [127, 0, 0, 1]).await;
    slow.write_all(begin).await.unwrap();
    let began = Instant::now();
    for _ in 0..30 {
        sleep(Duration::from_millis(100)).await;
        if slow.write_all(&[b'a'; 10]).await.is_err() {
            break;
        }
    }
    let said = all_of(&mut slow).await;
    assert!(!said.contains("200 OK") && began.elapsed() < Duration::from_secs(5), "{said}");
}

#[tokio::test]
async fn whoever_never_reads_the_answer_is_let_go() {
    let server = start(ListenLimits { connections: 1, ..limits() }).await;
    let mut deaf = connect(&server, [127, 0, 0, 1]).await;
    deaf.write_all(b"GET /large HTTP/1.1\r\nHost: a\r\n\r\n").await.unwrap();
    // There is one place, and it comes free.
    let began = Instant::now();
    loop {
        if asks(&server, [127, 0, 0, 2]).await.contains("127.0.0.2") {
            break;
        }
        assert!(began.elapsed() < Duration::from_secs(8), "the place is never given back");
        sleep(Duration::from_millis(200)).await;
    }
}

#[tokio::test]
async fn one_address_gets_no_more_than_its_places_and_the_others_are_served() {
    let server = start(ListenLimits { header: Duration::from_secs(5), ..limits() }).await;
    let mut held = Vec::new();
    for _ in 0..20 {
        held.push(connect(&server, [127, 0, 0, 9]).await);
    }
    sleep(Duration::from_millis(100)).await;
    let told = asks(&server, [127, 0, 0, 9]).await;
    assert!(told.starts_with("HTTP/1.1 503") && told.contains("Retry-After: 5"), "{told}");
    assert!(told.contains("then try again.\n") && told.ends_with("pruebe otra vez.\n"), "said whole: {told}");
    assert!(asks(&server, [127, 0, 0, 8]).await.ends_with("127.0.0.8"));
    drop(held);
    sleep(Duration::from_millis(200)).await;
    assert!(asks(&server, [127, 0, 0, 9]).await.ends_with("127.0.0.9"), "places are given back");
}

#[tokio::test]
async fn behind_a_proxy_only_the_whole_is_counted() {
    let proxies = vec!["127.0.0.9".parse().unwrap()];
    let server = start(ListenLimits { header: Duration::from_secs(5), proxies, ..limits() }).await;
    let mut held = Vec::new();
    for _ in 0..59 {
        held.push(connect(&server, [127, 0, 0, 9]).await);
    }
    sleep(Duration::from_millis(100)).await;
    assert!(asks(&server, [127, 0, 0, 9]).await.ends_with("127.0.0.9"));
    held.push(connect(&server, [127, 0, 0, 9]).await);
    sleep(Duration::from_millis(100)).await;
    assert!(asks(&server, [127, 0, 0, 8]).await.starts_with("HTTP/1.1 503"));
}

/// As a flood of half-open requests has it: every second one silent, the others a letter now and then.
#[tokio::test]
async fn under_five_hundred_slow_connections_everybody_else_is_served() {
    let server = start(ListenLimits { connections: 512, connections_each: 16, ..limits() }).await;
    let flood: Vec<_> = (0..500u32)
        .map(|number| {
            let address = server.address;
            tokio::spawn(async move {
                let from = [127, 0, 1, (number % 50) as u8];
                for _ in 0..6 {
                    let socket = TcpSocket::new_v4().unwrap();
                    socket.bind(SocketAddr::from((from, 0))).unwrap();
                    let Ok(mut stream) = socket.connect(address).await else { continue };
                    for _ in 0..8 {
                        if number % 2 == 0 && stream.write_all(b"G").await.is_err() {
                            break;
                        }
                        sleep(Duration::from_millis(100)).await;
                    }
                }
            })
        })
        .collect();
    sleep(Duration::from_millis(300)).await;
    let mut served = 0;
    for number in 0..100u32 {
        // A phone asks once more after five seconds; here after a moment.
        for _ in 0..3 {
            if asks(&server, [127, 0, 2, (number % 100) as u8]).await.starts_with("HTTP/1.1 200") {
                served += 1;
                break;
            }
            sleep(Duration::from_millis(50)).await;
        }
        sleep(Duration::from_millis(20)).await;
    }
    assert!(served >= 99, "{served} of 100 were served");
    for one in flood {
        one.await.unwrap();
    }
}

#[tokio::test]
async fn told_to_stop_it_answers_what_is_under_way_and_takes_nothing_new() {
    let mut server = start(limits()).await;
    let mut under_way = connect(&server, [127, 0, 0, 1]).await;
    under_way.write_all(b"GET /slow HTTP/1.1\r\nHost: a\r\n\r\n").await.unwrap();
    sleep(Duration::from_millis(100)).await;
    server.stop.take().unwrap().send(()).unwrap();
    assert!(all_of(&mut under_way).await.ends_with("done"));
    timeout(Duration::from_secs(5), server.ended).await.unwrap().unwrap().unwrap();
    assert!(TcpStream::connect(server.address).await.is_err());
}
