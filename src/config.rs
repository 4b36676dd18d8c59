//! Settings: read once from flags and environment, checked once.

use std::net::IpAddr;
use std::net::SocketAddr;
use std::path::Path;
use std::path::PathBuf;

/// Where and how the server runs. Every flag has an environment variable.
#[derive(Clone, Debug, clap::Args)]
pub struct Settings {
    /// Address to listen on. Anything but loopback needs HTTPS in front of it.
    #[arg(long, env = "CLOSEWATCH_ADDRESS", default_value = "127.0.0.1")]
    pub address: IpAddr,

    /// Port to listen on.
    #[arg(long, env = "CLOSEWATCH_PORT", default_value_t = 8080)]
    pub port: u16,

    /// Folder for the database and the photos.
    #[arg(long, env = "CLOSEWATCH_DATA", default_value = "data")]
    pub data: PathBuf,

    /// Database to use instead of the SQLite file in the data folder: `postgres://…` or `sqlite:PATH`.
    #[arg(long, env = "CLOSEWATCH_DATABASE_URL", hide_env_values = true)]
    pub database_url: Option<String>,

    /// The address patients and staff type, such as `https://wounds.example`; printed on sheets and in QR codes.
    /// Without it, `http://ADDRESS:PORT`.
    #[arg(long, env = "CLOSEWATCH_PUBLIC_URL")]
    pub public_url: Option<String>,
}

impl Settings {
    pub fn listen_on(&self) -> SocketAddr {
        SocketAddr::new(self.address, self.port)
    }

    pub fn database_url(&self) -> String {
        match &self.database_url {
            Some(url) => url.clone(),
            None => format!("sqlite:{}", self.data.join("closewatch.sqlite").display()),
        }
    }

    pub fn photo_folder(&self) -> PathBuf {
        self.data.join("photos")
    }

    pub fn data_folder(&self) -> &Path {
        &self.data
    }

    /// Without a slash at the end.
    pub fn public_url(&self) -> String {
        match &self.public_url {
            Some(url) => url.trim_end_matches('/').to_owned(),
            None => format!("http://{}", self.listen_on()),
        }
    }
}
