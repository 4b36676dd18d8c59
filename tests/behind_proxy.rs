//! Behind a proxy: whose word counts about where a request comes from and how it was carried (safety promises A21 and A34).

mod support;

use std::net::IpAddr;
use std::net::SocketAddr;
use std::time::Duration;

use axum::Extension;
use axum::Router;
use axum::routing::get;
use tokio::io::AsyncReadExt;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpListener;
use tokio::net::TcpSocket;
use tokio::sync::oneshot;
use tokio::time::timeout;

use closewatch::web;
use closewatch::web::client_address::ClientAddress;
use closewatch::web::listen;
use closewatch::web::listen::ListenLimits;
use support::Place;
use support::Practice;

const PROXY: [u8; 4] = [127, 0, 0, 1];
const STRANGER: [u8; 4] = [127, 0, 0, 9];

struct Server {
    address: SocketAddr,
    _stop: oneshot::Sender<()>,
}

async fn start(router: Router) -> Server {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = oneshot::channel();
    let limits = ListenLimits { proxies: vec![IpAddr::from(PROXY)], ..ListenLimits::default() };
    tokio::spawn(listen::serve(listener, router, limits, async move { stopped.await.unwrap_or(()) }));
    Server { address, _stop: stop }
}

/// The whole answer to a question from one of loopback's many addresses; `head`: lines that end in `\r\n`.
async fn asks(server: &Server, from: [u8; 4], what: &str, head: &str) -> String {
    let socket = TcpSocket::new_v4().unwrap();
    socket.bind(SocketAddr::from((from, 0))).unwrap();
    let mut stream = socket.connect(server.address).await.unwrap();
    let request = format!("{what} HTTP/1.1\r\nHost: wounds.example\r\nConnection: close\r\n{head}\r\n");
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut said = Vec::new();
    timeout(Duration::from_secs(10), stream.read_to_end(&mut said)).await.expect("it answers").unwrap();
    String::from_utf8_lossy(&said).into_owned()
}

#[tokio::test]
async fn only_the_named_proxy_s_word_counts_about_who_asks() {
    let who = get(async |Extension(client): Extension<ClientAddress>| client.0.to_string());
    let server = start(Router::new().route("/", who)).await;
    let forged = "X-Forwarded-For: 203.0.113.7\r\n";
    assert!(asks(&server, STRANGER, "GET /", forged).await.ends_with("\r\n127.0.0.9"));
    assert!(asks(&server, STRANGER, "GET /", "").await.ends_with("\r\n127.0.0.9"));
    assert!(asks(&server, PROXY, "GET /", forged).await.ends_with("\r\n203.0.113.7"));
    let appended = "X-Forwarded-For: 198.51.100.1\r\nX-Forwarded-For: 203.0.113.7\r\n";
    assert!(asks(&server, PROXY, "GET /", appended).await.ends_with("\r\n203.0.113.7"));
}

#[tokio::test]
async fn what_came_in_the_open_is_led_to_https_and_a_change_is_refused() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    assert!(practice.app.is_https());
    let server = start(web::router(&practice.app)).await;
    let public_url = practice.app.public_url.to_string();
    let press = "POST /sign-in";
    let form = "Sec-Fetch-Site: same-origin\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 0\r\n";
    let https = "X-Forwarded-Proto: https\r\n";
    let http = "X-Forwarded-Proto: http\r\n";
    for (from, said) in [(STRANGER, ""), (STRANGER, https), (PROXY, http)] {
        let led = asks(&server, from, "GET /sign-in?a=1", said).await;
        assert!(led.starts_with("HTTP/1.1 308 "), "{led}");
        assert!(led.contains(&format!("location: {public_url}/sign-in?a=1\r\n")), "{led}");
        let refused = asks(&server, from, press, &format!("{said}{form}")).await;
        assert!(refused.starts_with("HTTP/1.1 403 ") && !refused.contains("set-cookie"), "{refused}");
        assert!(refused.contains("Not sent: the line was not private"), "{refused}");
        let live = asks(&server, from, "GET /live", said).await;
        assert!(live.starts_with("HTTP/1.1 200 "), "machines ask over plain http: {live}");
    }
    for said in ["", https] {
        let shown = asks(&server, PROXY, "GET /sign-in", said).await;
        assert!(shown.starts_with("HTTP/1.1 200 "), "{shown}");
        let taken = asks(&server, PROXY, press, &format!("{said}{form}")).await;
        assert!(!taken.contains("the line was not private"), "{taken}");
    }
}
