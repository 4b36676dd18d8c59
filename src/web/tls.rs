//! TLS of our own: certificate and key from two files, read again when they change (safety promise A34).

use std::fs;
use std::io;
use std::path::Path;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::RwLock;
use std::time::Duration;

use rustls::ServerConfig;
use rustls::crypto::CryptoProvider;
use rustls::crypto::ring;
use rustls::pki_types::CertificateDer;
use rustls::pki_types::PrivateKeyDer;
use rustls::pki_types::pem::PemObject;
use rustls::server::ClientHello;
use rustls::server::ResolvesServerCert;
use rustls::sign::CertifiedKey;
use rustls::version::TLS12;
use rustls::version::TLS13;
use sha2::Digest;
use sha2::Sha256;
use tokio::net::TcpStream;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;

use crate::web::listen::tell;

/// Between two looks at the files: a renewed certificate is served within this time and a handshake.
const LOOK: Duration = Duration::from_secs(2);

/// The first byte of every TLS connection: a handshake record (RFC 8446, section 5.1).
const HANDSHAKE_RECORD: u8 = 22;

/// Said to whoever speaks plain http to the port.
const PLAIN_HTTP: &str = "This address answers over HTTPS only. Put https:// in front of it.\n\
    Esta dirección responde solo por HTTPS. Escriba https:// delante.\n";

/// Why a pair of files cannot be used; in words for whoever runs the server.
#[derive(Debug, thiserror::Error)]
pub enum BadPair {
    #[error("{} cannot be read: {fault}", path.display())]
    Unreadable { path: PathBuf, fault: io::Error },
    #[error("{} holds no certificate in PEM form", .0.display())]
    NoCertificate(PathBuf),
    #[error("{} holds no private key in PEM form without a password", .0.display())]
    NoKey(PathBuf),
    #[error("certificate and key do not go together, or are of a kind that is not known: {0}")]
    DoNotMatch(rustls::Error),
}

/// A certificate (the server's own first, then those between it and the authority) and its private key, both PEM.
#[derive(Debug)]
struct Files {
    certificate: PathBuf,
    key: PathBuf,
}

/// What the files held: bytes to tell a change by, and to read a pair from.
struct Held {
    certificate: Vec<u8>,
    key: Vec<u8>,
}

impl Files {
    fn read(&self) -> Result<Held, BadPair> {
        let read = |path: &Path| {
            fs::read(path).map_err(|fault| BadPair::Unreadable { path: path.to_owned(), fault })
        };
        Ok(Held { certificate: read(&self.certificate)?, key: read(&self.key)? })
    }

    fn pair(&self, held: &Held, provider: &CryptoProvider) -> Result<CertifiedKey, BadPair> {
        let chain: Vec<CertificateDer<'static>> = CertificateDer::pem_slice_iter(&held.certificate)
            .collect::<Result<_, _>>()
            .map_err(|_| BadPair::NoCertificate(self.certificate.clone()))?;
        if chain.is_empty() {
            return Err(BadPair::NoCertificate(self.certificate.clone()));
        }
        let key = PrivateKeyDer::from_pem_slice(&held.key).map_err(|_| BadPair::NoKey(self.key.clone()))?;
        CertifiedKey::from_der(chain, key, provider).map_err(BadPair::DoNotMatch)
    }
}

impl Held {
    fn print(&self) -> [u8; 32] {
        let each = [Sha256::digest(&self.certificate), Sha256::digest(&self.key)];
        Sha256::digest(each.concat()).into()
    }
}

/// The pair that is served just now.
#[derive(Debug)]
struct Current(RwLock<Arc<CertifiedKey>>);

impl ResolvesServerCert for Current {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        Some(Arc::clone(&self.0.read().unwrap_or_else(PoisonError::into_inner)))
    }
}

/// What came of one look at the files.
#[derive(Debug)]
pub enum Looked {
    AsBefore,
    /// Served from now on.
    Renewed,
    /// The old pair stays. Said once for each state of the files.
    Refused(BadPair),
}

/// TLS 1.2 and 1.3 with the pair in two files.
///
/// Invariant: there is always a pair to serve, and its certificate and key go together.
#[derive(Debug)]
pub struct Tls {
    files: Files,
    provider: CryptoProvider,
    current: Arc<Current>,
    config: Arc<ServerConfig>,
    /// What the files held at the last look; `None`: they could not be read.
    seen: Mutex<Option<[u8; 32]>>,
}

impl Tls {
    /// Reads the pair; a pair that cannot be used is refused with the reason.
    pub fn open(certificate: &Path, key: &Path) -> Result<Tls, BadPair> {
        let provider = ring::default_provider();
        let files = Files { certificate: certificate.to_owned(), key: key.to_owned() };
        let held = files.read()?;
        let current = Arc::new(Current(RwLock::new(Arc::new(files.pair(&held, &provider)?))));
        let mut config = ServerConfig::builder_with_provider(Arc::new(provider.clone()))
            .with_protocol_versions(&[&TLS13, &TLS12])
            .map_err(BadPair::DoNotMatch)?
            .with_no_client_auth()
            .with_cert_resolver(Arc::<Current>::clone(&current));
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        let seen = Mutex::new(Some(held.print()));
        Ok(Tls { files, provider, current, config: Arc::new(config), seen })
    }

    /// Looks whether the files changed, and takes the new pair if it can be used. Connections that stand keep theirs.
    pub fn look(&self) -> Looked {
        let read = self.files.read();
        let print = read.as_ref().ok().map(Held::print);
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        if *seen == print {
            return Looked::AsBefore;
        }
        *seen = print;
        match read.and_then(|held| self.files.pair(&held, &self.provider)) {
            Ok(pair) => {
                *self.current.0.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(pair);
                Looked::Renewed
            }
            Err(why) => Looked::Refused(why),
        }
    }

    /// Looks every two seconds, for ever.
    pub async fn keep_looking(self: Arc<Self>) {
        loop {
            tokio::time::sleep(LOOK).await;
            let tls = Arc::clone(&self);
            match tokio::task::spawn_blocking(move || tls.look()).await {
                Ok(Looked::AsBefore) | Err(_) => {}
                Ok(Looked::Renewed) => tracing::warn!("a new certificate is served from now on"),
                Ok(Looked::Refused(why)) => {
                    tracing::warn!(%why, "the new certificate cannot be used; the old one is served");
                }
            }
        }
    }

    /// Shakes hands within `deadline`; whoever speaks plain http is told what to type. `None`: there is nobody to talk to.
    pub async fn shake_hands(&self, stream: TcpStream, deadline: Duration) -> Option<TlsStream<TcpStream>> {
        tokio::time::timeout(deadline, self.begin(stream)).await.ok().flatten()
    }

    async fn begin(&self, stream: TcpStream) -> Option<TlsStream<TcpStream>> {
        let mut first = [0; 1];
        if stream.peek(&mut first).await.ok()? == 0 {
            return None;
        }
        if first[0].is_ascii_uppercase() {
            let _ = tell(stream, &https_only()).await;
            return None;
        }
        if first[0] != HANDSHAKE_RECORD {
            return None;
        }
        TlsAcceptor::from(Arc::clone(&self.config)).accept(stream).await.ok()
    }
}

/// The answer to a plain request.
fn https_only() -> String {
    let length = PLAIN_HTTP.len();
    format!(
        "HTTP/1.1 400 Bad Request\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Length: {length}\r\n\
         Connection: close\r\n\r\n{PLAIN_HTTP}"
    )
}
