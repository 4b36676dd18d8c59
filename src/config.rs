//! Settings: read once from flags and environment, checked once.

use std::net::IpAddr;
use std::net::SocketAddr;
use std::path::Path;
use std::path::PathBuf;

/// Some two thousand photos.
pub const PHOTOS_NEED_MIB: u64 = 2_048;
pub const LEAST_FREE_MIB: u64 = 256;

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

    /// Addresses of proxies in front of the server, with commas between them: behind one stand many people.
    #[arg(long, env = "CLOSEWATCH_PROXIES", value_delimiter = ',', default_value = "127.0.0.1,::1")]
    pub proxies: Vec<IpAddr>,

    /// File with the keys that seal photos and texts. Without it, one is made in the data folder at the first start: then
    /// whoever takes the folder takes the keys with it.
    #[arg(long, env = "CLOSEWATCH_SEALING_KEYS_FILE")]
    pub sealing_keys_file: Option<PathBuf>,

    /// File with the private key (Ed25519, PEM) that signs the record's head once a day. Without it, one is made in the data
    /// folder at the first start.
    #[arg(long, env = "CLOSEWATCH_RECORD_KEY_FILE")]
    pub record_key_file: Option<PathBuf>,

    /// Folder that takes the signed heads, to be copied to another machine. Without it, `heads` in the data folder.
    #[arg(long, env = "CLOSEWATCH_HEADS_FOLDER")]
    pub heads_folder: Option<PathBuf>,

    /// Photos are refused with less room than this on the disk, in MiB, or with less than a tenth of it, whichever is less;
    /// answers are still taken. An alarm comes at twice as much.
    #[arg(long, env = "CLOSEWATCH_PHOTOS_NEED_MIB", default_value_t = PHOTOS_NEED_MIB)]
    pub photos_need_mib: u64,

    /// With less room than this on the disk, in MiB, the server says that it is not ready.
    #[arg(long, env = "CLOSEWATCH_LEAST_FREE_MIB", default_value_t = LEAST_FREE_MIB)]
    pub least_free_mib: u64,

    /// Back-ups are made by other means than `closewatch backup`: none is missed, and nobody is told how old they are.
    #[arg(long, env = "CLOSEWATCH_BACKUPS_ELSEWHERE")]
    pub backups_elsewhere: bool,

    /// Folder that takes, every quarter of an hour, a list of what is open, encrypted: best on another machine. `closewatch
    /// downtime-list` reads it without the server.
    #[arg(long, env = "CLOSEWATCH_DOWNTIME_FOLDER", requires = "downtime_key")]
    pub downtime_folder: Option<PathBuf>,

    /// Who can read those lists: a public key (age1…), or the file it stands in.
    #[arg(long, env = "CLOSEWATCH_DOWNTIME_KEY", requires = "downtime_folder")]
    pub downtime_key: Option<String>,

    /// How much faster than the machine's the practice's clock goes: for trying things out.
    #[arg(long, env = "CLOSEWATCH_SPEED", hide = true, default_value_t = 1.0, value_parser = speed)]
    pub speed: f64,

    #[command(flatten)]
    pub heartbeat: HeartbeatSettings,

    #[command(flatten)]
    pub notify: NotifySettings,
}

/// A number from 1 to 600.
pub fn speed(typed: &str) -> Result<f64, String> {
    match typed.parse::<f64>() {
        Ok(speed) if (1.0..=600.0).contains(&speed) => Ok(speed),
        Ok(_) | Err(_) => Err("give a number from 1 to 600".to_owned()),
    }
}

/// Whom the server tells every minute that it lives.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct HeartbeatSettings {
    /// Address of `closewatch watch` on another host; its host must be among CLOSEWATCH_NOTIFY_HOSTS.
    #[arg(long, env = "CLOSEWATCH_HEARTBEAT_URL")]
    pub heartbeat_url: Option<String>,

    /// File with the secret, at least 32 characters, that signs of life are signed with.
    #[arg(long, env = "CLOSEWATCH_HEARTBEAT_SECRET_FILE")]
    pub heartbeat_secret_file: Option<PathBuf>,
}

/// How messages reach patients and staff. Without any of these, none leave the house. Secrets are named by their files.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct NotifySettings {
    /// Folder that takes every message in place of the outside world: for trying things out.
    #[arg(long, env = "CLOSEWATCH_NOTIFY_FOLDER")]
    pub notify_folder: Option<PathBuf>,

    /// Hosts that messages may be sent by, exactly as in the addresses below, with commas between them; for push
    /// messages, the push services of the browsers. Nothing is sent to any other.
    #[arg(long, env = "CLOSEWATCH_NOTIFY_HOSTS", value_delimiter = ',')]
    pub notify_hosts: Vec<String>,

    /// Address that takes text messages as signed JSON.
    #[arg(long, env = "CLOSEWATCH_SMS_URL")]
    pub sms_url: Option<String>,

    /// File with the secret, at least 32 characters, that texts and their status calls are signed with.
    #[arg(long, env = "CLOSEWATCH_SMS_SECRET_FILE")]
    pub sms_secret_file: Option<PathBuf>,

    /// Address that takes calls, read out by a machine, as signed JSON.
    #[arg(long, env = "CLOSEWATCH_VOICE_URL")]
    pub voice_url: Option<String>,

    /// File with the secret for calls and their status calls.
    #[arg(long, env = "CLOSEWATCH_VOICE_SECRET_FILE")]
    pub voice_secret_file: Option<PathBuf>,

    /// Mail server: `smtp://HOST` (STARTTLS, port 587), `smtps://HOST` (TLS, 465), or `smtp+plain://` on this machine.
    #[arg(long, env = "CLOSEWATCH_SMTP_URL")]
    pub smtp_url: Option<String>,

    /// Name to sign in to the mail server with.
    #[arg(long, env = "CLOSEWATCH_SMTP_USER")]
    pub smtp_user: Option<String>,

    /// File with the password for the mail server.
    #[arg(long, env = "CLOSEWATCH_SMTP_PASSWORD_FILE")]
    pub smtp_password_file: Option<PathBuf>,

    /// File with the certificate (PEM) of an authority of your own that vouches for the mail server.
    #[arg(long, env = "CLOSEWATCH_SMTP_CA_FILE")]
    pub smtp_ca_file: Option<PathBuf>,

    /// Whom mail comes from: `Name <notices@practice.example>`. The name shows on locked screens: it names no specialty.
    #[arg(long, env = "CLOSEWATCH_MAIL_FROM")]
    pub mail_from: Option<String>,

    /// File with the private key (P-256, PEM) that signs push messages.
    #[arg(long, env = "CLOSEWATCH_VAPID_KEY_FILE")]
    pub vapid_key_file: Option<PathBuf>,

    /// Whom a push service may write to about our messages: `mailto:…` or `https://…`.
    #[arg(long, env = "CLOSEWATCH_VAPID_CONTACT")]
    pub vapid_contact: Option<String>,
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

    /// The keys that seal photos and texts.
    pub fn sealing_keys(&self) -> PathBuf {
        self.sealing_keys_file.clone().unwrap_or_else(|| self.data.join("sealing-keys"))
    }

    /// The key that signs the record's heads.
    pub fn record_key(&self) -> PathBuf {
        self.record_key_file.clone().unwrap_or_else(|| self.data.join("record-key.pem"))
    }

    pub fn heads(&self) -> PathBuf {
        self.heads_folder.clone().unwrap_or_else(|| self.data.join("heads"))
    }

    pub fn data_folder(&self) -> &Path {
        &self.data
    }

    /// Every file with a secret that the settings name.
    pub fn key_files(&self) -> Vec<PathBuf> {
        let named = [
            &self.heartbeat.heartbeat_secret_file,
            &self.notify.sms_secret_file,
            &self.notify.voice_secret_file,
            &self.notify.smtp_password_file,
            &self.notify.smtp_ca_file,
            &self.notify.vapid_key_file,
        ];
        named.into_iter().flatten().cloned().chain([self.sealing_keys(), self.record_key()]).collect()
    }

    /// Without a slash at the end.
    pub fn public_url(&self) -> String {
        match &self.public_url {
            Some(url) => url.trim_end_matches('/').to_owned(),
            None => format!("http://{}", self.listen_on()),
        }
    }
}
