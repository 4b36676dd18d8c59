//! HTTPS of the program's own: who is believed, what is refused, a certificate renewed while it runs, and nobody who holds a place
//! by half a handshake.

mod support;

use std::fs;
use std::io::Write;
use std::net::SocketAddr;
use std::path::Path;
use std::path::PathBuf;
use std::process::Command;
use std::process::Stdio;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::routing::get;
use rcgen::BasicConstraints;
use rcgen::CertificateParams;
use rcgen::IsCa;
use rcgen::Issuer;
use rcgen::KeyPair;
use rustls::ClientConfig;
use rustls::ProtocolVersion;
use rustls::RootCertStore;
use rustls::SupportedProtocolVersion;
use rustls::crypto::ring;
use rustls::pki_types::CertificateDer;
use rustls::pki_types::ServerName;
use rustls::version::TLS12;
use rustls::version::TLS13;
use tempfile::TempDir;
use tokio::io::AsyncReadExt;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpListener;
use tokio::net::TcpStream;
use tokio::sync::oneshot;
use tokio::time::Instant;
use tokio::time::sleep;
use tokio::time::timeout;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;

use closewatch::web::listen;
use closewatch::web::listen::ListenLimits;
use closewatch::web::tls::Looked;
use closewatch::web::tls::Tls;
use support::Place;
use support::Served;
use support::serve;

/// A certificate that is renewed must be served by then: a look every two seconds, and a busy machine.
const RENEWED_WITHIN: Duration = Duration::from_secs(8);
const PATIENCE: Duration = Duration::from_secs(10);

/// An authority that vouches for certificates, made for one test.
struct Authority {
    certificate: CertificateDer<'static>,
    issuer: Issuer<'static, KeyPair>,
}

impl Authority {
    fn new() -> Authority {
        let key = KeyPair::generate().unwrap();
        let mut params = CertificateParams::new(Vec::new()).unwrap();
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let certificate = params.self_signed(&key).unwrap().der().clone();
        Authority { certificate, issuer: Issuer::new(params, key) }
    }

    /// Certificate and key for `localhost`, PEM.
    fn pair(&self) -> (String, String) {
        let key = KeyPair::generate().unwrap();
        let params = CertificateParams::new(vec!["localhost".to_owned()]).unwrap();
        (params.signed_by(&key, &self.issuer).unwrap().pem(), key.serialize_pem())
    }

    /// A client that believes this authority alone.
    fn client(&self, versions: &[&'static SupportedProtocolVersion]) -> TlsConnector {
        let mut roots = RootCertStore::empty();
        roots.add(self.certificate.clone()).unwrap();
        let mut config = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
            .with_protocol_versions(versions)
            .unwrap()
            .with_root_certificates(roots)
            .with_no_client_auth();
        config.alpn_protocols = vec![b"h2".to_vec(), b"http/1.1".to_vec()];
        TlsConnector::from(Arc::new(config))
    }
}

/// Two files to serve from.
struct Files(TempDir);

impl Files {
    fn new(pair: &(String, String)) -> Files {
        let files = Files(tempfile::tempdir().unwrap());
        files.put(pair);
        files
    }

    fn certificate(&self) -> PathBuf {
        self.0.path().join("certificate.pem")
    }

    fn key(&self) -> PathBuf {
        self.0.path().join("key.pem")
    }

    fn put(&self, (certificate, key): &(String, String)) {
        replace(&self.certificate(), certificate);
        replace(&self.key(), key);
    }
}

/// As renewing programs do it: written beside it, then renamed.
fn replace(path: &Path, text: &str) {
    let beside = path.with_extension("new");
    fs::write(&beside, text).unwrap();
    fs::rename(&beside, path).unwrap();
}

struct Server {
    address: SocketAddr,
    _stop: oneshot::Sender<()>,
}

async fn start(files: &Files, limits: ListenLimits) -> Server {
    let tls = Arc::new(Tls::open(&files.certificate(), &files.key()).unwrap());
    let router = Router::new().route("/", get(async || "here"));
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = oneshot::channel();
    let limits = ListenLimits { tls: Some(tls), ..limits };
    tokio::spawn(listen::serve(listener, router, limits, async move { stopped.await.unwrap_or(()) }));
    Server { address, _stop: stop }
}

async fn shakes_hands(client: &TlsConnector, address: SocketAddr) -> std::io::Result<TlsStream<TcpStream>> {
    let name = ServerName::try_from("localhost").unwrap();
    let stream = TcpStream::connect(address).await.unwrap();
    timeout(PATIENCE, client.connect(name, stream)).await.expect("the handshake ends")
}

/// The whole answer to a request on its own connection.
async fn asks(client: &TlsConnector, address: SocketAddr, request: &str) -> String {
    let mut stream = shakes_hands(client, address).await.unwrap();
    stream.write_all(request.as_bytes()).await.unwrap();
    all_of(&mut stream).await
}

async fn all_of(stream: &mut (impl AsyncReadExt + Unpin)) -> String {
    let mut said = Vec::new();
    let _ = timeout(PATIENCE, stream.read_to_end(&mut said)).await.expect("it is let go");
    String::from_utf8_lossy(&said).into_owned()
}

const ASK: &str = "GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n";

#[tokio::test]
async fn a_client_that_knows_the_authority_is_served_by_1_2_and_1_3_and_no_other_client_is() {
    let authority = Authority::new();
    let server = start(&Files::new(&authority.pair()), ListenLimits::default()).await;
    for (version, expected) in [(&TLS12, ProtocolVersion::TLSv1_2), (&TLS13, ProtocolVersion::TLSv1_3)] {
        let client = authority.client(&[version]);
        let stream = shakes_hands(&client, server.address).await.unwrap();
        let (_, session) = stream.get_ref();
        assert_eq!(session.protocol_version(), Some(expected));
        assert_eq!(
            session.alpn_protocol(),
            Some(&b"http/1.1"[..]),
            "what it cannot speak, it does not offer"
        );
        assert!(asks(&client, server.address, ASK).await.ends_with("here"));
    }
    let stranger = Authority::new().client(&[&TLS12, &TLS13]);
    let refused = shakes_hands(&stranger, server.address).await.unwrap_err();
    // Its own authority has the same name, and another key.
    assert!(refused.to_string().starts_with("invalid peer certificate"), "{refused}");
}

/// A client's greeting as TLS 1.2 has it (RFC 5246, section 7.4.1.2), that says this version: one cipher, and the extensions for it.
fn greeting(version: [u8; 2]) -> Vec<u8> {
    let signatures: [u8; 8] = [0, 13, 0, 4, 0, 2, 4, 3];
    let curves: [u8; 8] = [0, 10, 0, 4, 0, 2, 0, 23];
    let points: [u8; 6] = [0, 11, 0, 2, 1, 0];
    let extensions = [&signatures[..], &curves, &points].concat();
    let mut hello = version.to_vec();
    hello.extend([7; 32]);
    // No session; TLS_ECDHE_ECDSA_WITH_AES_128_GCM_SHA256; no compression.
    hello.extend([0, 0, 2, 0xC0, 0x2B, 1, 0, 0]);
    hello.push(u8::try_from(extensions.len()).unwrap());
    hello.extend(extensions);
    let length = u8::try_from(hello.len()).unwrap();
    let mut record = vec![22, 3, 1, 0, length + 4, 1, 0, 0, length];
    record.extend(hello);
    record
}

/// The first seven bytes that come back.
async fn answered(server: &Server, greeting: &[u8]) -> [u8; 7] {
    let mut stream = TcpStream::connect(server.address).await.unwrap();
    stream.write_all(greeting).await.unwrap();
    let mut said = [0; 7];
    timeout(PATIENCE, stream.read_exact(&mut said)).await.expect("it answers").unwrap();
    said
}

#[tokio::test]
async fn tls_1_1_and_1_0_are_refused_by_an_alert() {
    let server = start(&Files::new(&Authority::new().pair()), ListenLimits::default()).await;
    // A handshake record with the server's greeting: the same words in 1.2 are understood.
    let understood = answered(&server, &greeting([3, 3])).await;
    assert_eq!((understood[0], understood[5]), (22, 2), "{understood:?}");
    for old in [[3, 2], [3, 1]] {
        // An alert record: fatal, protocol_version (RFC 5246, section 7.2).
        let refused = answered(&server, &greeting(old)).await;
        assert_eq!((refused[0], &refused[5..]), (21, &[2, 70][..]), "{old:?}");
    }
}

#[tokio::test]
async fn whoever_speaks_plain_http_to_it_is_told_what_to_type() {
    let server = start(&Files::new(&Authority::new().pair()), ListenLimits::default()).await;
    for asked in [ASK, "POST /sign-in HTTP/1.1\r\nHost: localhost\r\nContent-Length: 4\r\n\r\na=bc"] {
        let mut plain = TcpStream::connect(server.address).await.unwrap();
        plain.write_all(asked.as_bytes()).await.unwrap();
        plain.shutdown().await.unwrap();
        let said = all_of(&mut plain).await;
        assert!(said.starts_with("HTTP/1.1 400 ") && said.contains("https://"), "{said}");
        let (head, body) = said.split_once("\r\n\r\n").unwrap();
        assert!(head.contains(&format!("Content-Length: {}", body.len())), "{said}");
    }
}

#[tokio::test]
async fn half_a_handshake_holds_no_place() {
    let authority = Authority::new();
    let handshake = Duration::from_millis(400);
    let limits = ListenLimits { handshake, connections: 2, ..ListenLimits::default() };
    let server = start(&Files::new(&authority.pair()), limits).await;
    let client = authority.client(&[&TLS13]);
    for half in [&b""[..], &[22, 3, 1], &greeting([3, 3])[..20]] {
        let mut held = Vec::new();
        let began = Instant::now();
        for _ in 0..2 {
            let mut stream = TcpStream::connect(server.address).await.unwrap();
            stream.write_all(half).await.unwrap();
            held.push(stream);
        }
        for stream in &mut held {
            assert_eq!(all_of(stream).await, "");
        }
        let took = began.elapsed();
        assert!(took >= handshake * 3 / 4 && took < Duration::from_secs(4), "{half:?}: {took:?}");
        assert!(asks(&client, server.address, ASK).await.ends_with("here"), "its place is given back");
    }
}

#[tokio::test]
async fn whom_there_is_no_place_for_is_told_so_over_tls() {
    let authority = Authority::new();
    let limits = ListenLimits { connections: 1, ..ListenLimits::default() };
    let server = start(&Files::new(&authority.pair()), limits).await;
    let client = authority.client(&[&TLS13]);
    let _holds_it = shakes_hands(&client, server.address).await.unwrap();
    let told = asks(&client, server.address, ASK).await;
    assert!(told.starts_with("HTTP/1.1 503 ") && told.contains("Retry-After: 5"), "{told}");
}

#[test]
fn a_pair_that_cannot_be_used_is_refused_with_its_reason_and_the_old_one_stays() {
    let authority = Authority::new();
    let (pair, other) = (authority.pair(), authority.pair());
    let files = Files::new(&pair);
    let tls = Tls::open(&files.certificate(), &files.key()).unwrap();
    assert!(matches!(tls.look(), Looked::AsBefore));
    for (certificate, key, reason) in [
        (&pair.0, &other.1, "do not go together"),
        (&String::new(), &pair.1, "no certificate"),
        (&"-----BEGIN CERTIFICATE-----\nAAAA".to_owned(), &pair.1, "no certificate"),
        (&pair.0, &String::new(), "no private key"),
        (&pair.0, &pair.0, "no private key"),
    ] {
        files.put(&(certificate.clone(), key.clone()));
        let Looked::Refused(why) = tls.look() else { panic!("it was taken: {reason}") };
        assert!(why.to_string().contains(reason), "{why}");
        assert!(Tls::open(&files.certificate(), &files.key()).is_err());
        assert!(matches!(tls.look(), Looked::AsBefore), "said once");
    }
    fs::remove_file(files.key()).unwrap();
    let Looked::Refused(why) = tls.look() else { panic!("there is no key") };
    assert!(why.to_string().contains("cannot be read") && why.to_string().contains("key.pem"), "{why}");
    files.put(&other);
    assert!(matches!(tls.look(), Looked::Renewed));
}

/// `closewatch serve` with these files.
fn serves(place: &Place, files: &Files) -> Served {
    let mut command = serve(place);
    command.arg("--tls-cert").arg(files.certificate()).arg("--tls-key").arg(files.key());
    Served::try_start(command).unwrap_or_else(|ended| panic!("it did not start: {ended:?}"))
}

fn served_now(stream: &TlsStream<TcpStream>) -> Vec<u8> {
    stream.get_ref().1.peer_certificates().unwrap()[0].to_vec()
}

#[tokio::test]
async fn a_renewed_certificate_is_served_without_a_restart_and_a_broken_one_is_not() {
    let authority = Authority::new();
    let (files, place) = (Files::new(&authority.pair()), Place::sqlite());
    let served = serves(&place, &files);
    let address: SocketAddr = served.address.parse().unwrap();
    let client = authority.client(&[&TLS12, &TLS13]);
    let first = served_now(&shakes_hands(&client, address).await.unwrap());

    let broken = (authority.pair().0, authority.pair().1);
    files.put(&broken);
    let began = Instant::now();
    while !served.words().contains("the old one is served") {
        assert!(began.elapsed() < RENEWED_WITHIN, "nobody is told: {}", served.words());
        sleep(Duration::from_millis(100)).await;
    }
    assert_eq!(served_now(&shakes_hands(&client, address).await.unwrap()), first);

    files.put(&authority.pair());
    let began = Instant::now();
    while served_now(&shakes_hands(&client, address).await.unwrap()) == first {
        assert!(began.elapsed() < RENEWED_WITHIN, "the old certificate is still served");
        sleep(Duration::from_millis(100)).await;
    }
}

#[tokio::test]
async fn over_tls_cookies_are_bound_to_the_host_and_browsers_are_told_to_stay_with_https() {
    let authority = Authority::new();
    let (files, place) = (Files::new(&authority.pair()), Place::sqlite());
    let served = serves(&place, &files);
    add_lead(&place);
    let address: SocketAddr = served.address.parse().unwrap();
    let client = authority.client(&[&TLS13]);
    let page =
        asks(&client, address, "GET /sign-in HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n").await;
    assert!(page.starts_with("HTTP/1.1 200 "), "{page}");
    assert!(page.contains("strict-transport-security: max-age=63072000; includeSubDomains\r\n"), "{page}");

    let body = serde_urlencoded::to_string([("sign_in_name", "sam"), ("password", PASSWORD)]).unwrap();
    let request = format!(
        "POST /sign-in HTTP/1.1\r\nHost: localhost\r\nSec-Fetch-Site: same-origin\r\nConnection: close\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    let entered = asks(&client, address, &request).await;
    let cookies: Vec<&str> = entered.lines().filter_map(|line| line.strip_prefix("set-cookie: ")).collect();
    assert!(!cookies.is_empty(), "{entered}");
    for cookie in cookies {
        assert!(cookie.starts_with("__Host-") && cookie.contains("; Secure"), "{cookie}");
        assert!(
            cookie.contains("; Path=/; HttpOnly; SameSite=Lax") && !cookie.contains("Domain"),
            "{cookie}"
        );
    }
}

const PASSWORD: &str = "orchard pebble quarry river";

fn add_lead(place: &Place) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_closewatch"))
        .args(["staff", "add", "--database-url", &place.url, "--data"])
        .arg(place.folder.path())
        .args(["--practice-name", "Quillmere Surgical Practice", "--practice-phone", "202-555-0140"])
        .args(["--name", "Samuel Okonjo", "--sign-in-name", "sam", "--roles", "lead"])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(format!("{PASSWORD}\n").as_bytes()).unwrap();
    assert!(child.wait().unwrap().success());
}

#[test]
fn it_does_not_start_where_others_could_read_along() {
    let place = Place::sqlite();
    let refused = |more: &[&str]| {
        let mut command = serve(&place);
        command.args(more);
        let ended = Served::try_start(command).err().expect("it started");
        assert_eq!(ended.status.code(), Some(2), "{}", ended.words);
        ended.words
    };
    let words = refused(&["--address", "0.0.0.0"]);
    assert!(words.contains("--tls-cert") && words.contains("--proxies"), "{words}");
    let pair = Authority::new().pair();
    let files = Files::new(&(pair.0, Authority::new().pair().1));
    let (certificate, key) = (files.certificate().display().to_string(), files.key().display().to_string());
    let words = refused(&["--tls-cert", &certificate, "--tls-key", &key]);
    assert!(words.contains("do not go together"), "{words}");
}
