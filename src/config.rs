//! Settings: read once from flags and environment, checked once.

use std::net::IpAddr;
use std::net::SocketAddr;
use std::path::Path;
use std::path::PathBuf;

/// Some two thousand photos.
pub const PHOTOS_NEED_MIB: u64 = 2_048;
pub const LEAST_FREE_MIB: u64 = 256;
/// A thousand open pages of staff, and as many phones as send in a busy minute.
pub const CONNECTIONS: u32 = 1_280;
/// A plan asks for one or two checks a day.
pub const PHOTO_CHECKS_A_DAY: u32 = 20;

/// Where and how the server runs. Every flag has an environment variable.
#[derive(Clone, Debug, clap::Args)]
pub struct Settings {
    /// Address to listen on. Anything but loopback needs TLS: of its own, or of a proxy in front.
    #[arg(long, env = "CLOSEWATCH_ADDRESS", default_value = "127.0.0.1")]
    pub address: IpAddr,

    /// Port to listen on.
    #[arg(long, env = "CLOSEWATCH_PORT", default_value_t = 8080)]
    pub port: u16,

    /// File with the certificate (PEM), and those between it and its authority, to speak HTTPS by. Read again when it changes.
    #[arg(long, env = "CLOSEWATCH_TLS_CERT", requires = "tls_key")]
    pub tls_cert: Option<PathBuf>,

    /// File with the private key (PEM) of the certificate.
    #[arg(long, env = "CLOSEWATCH_TLS_KEY", requires = "tls_cert")]
    pub tls_key: Option<PathBuf>,

    /// Folder for the database and the photos.
    #[arg(long, env = "CLOSEWATCH_DATA", default_value = "data")]
    pub data: PathBuf,

    /// Database to use instead of the SQLite file in the data folder: `postgres://…` or `sqlite:PATH`.
    #[arg(long, env = "CLOSEWATCH_DATABASE_URL", hide_env_values = true)]
    pub database_url: Option<String>,

    /// The address patients and staff type, such as `https://wounds.example`; printed on sheets and in QR codes.
    /// Without it, the address and port listened on.
    #[arg(long, env = "CLOSEWATCH_PUBLIC_URL")]
    pub public_url: Option<String>,

    /// Addresses of proxies in front of the server, with commas between them: behind one stand many people, and what it says of them
    /// in `X-Forwarded-For` and `X-Forwarded-Proto` is believed.
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

    /// Checks with photos that one patient link may send within 24 hours. Of more, only the answers are taken, and the leads are
    /// told.
    #[arg(long, env = "CLOSEWATCH_PHOTO_CHECKS_A_DAY", default_value_t = PHOTO_CHECKS_A_DAY,
        value_parser = clap::value_parser!(u32).range(1..))]
    pub photo_checks_a_day: u32,

    /// Connections open at once, those of all addresses together. The system must let the process have as many files open.
    #[arg(long, env = "CLOSEWATCH_CONNECTIONS", default_value_t = CONNECTIONS,
        value_parser = clap::value_parser!(u32).range(16..=60_000))]
    pub connections: u32,

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
        let named = named.into_iter().chain([&self.tls_cert, &self.tls_key]);
        named.flatten().cloned().chain([self.sealing_keys(), self.record_key()]).collect()
    }

    /// The files of its own TLS, certificate first; `None`: it speaks plain http.
    pub fn tls_files(&self) -> Option<(&Path, &Path)> {
        Some((self.tls_cert.as_deref()?, self.tls_key.as_deref()?))
    }

    /// What its own port speaks.
    pub fn scheme(&self) -> &'static str {
        if self.tls_files().is_some() { "https" } else { "http" }
    }

    /// Without a slash at the end.
    pub fn public_url(&self) -> String {
        match &self.public_url {
            Some(url) => url.trim_end_matches('/').to_owned(),
            None => format!("{}://{}", self.scheme(), self.listen_on()),
        }
    }

    /// A database on another machine is asked over TLS, by a certificate that is checked: its password and every row go that way.
    fn check_way_to_database(&self) -> Result<(), String> {
        let Some(url) = self.database_url.as_deref().filter(|url| url.starts_with("postgres")) else {
            return Ok(());
        };
        let parsed = reqwest::Url::parse(url).map_err(|fault| format!("--database-url: {fault}"))?;
        let host = parsed.host_str().unwrap_or_default();
        let near = |host: &str| {
            let bare = host.trim_matches(['[', ']']);
            // An encoded path is a socket in the file system.
            matches!(bare, "" | "localhost")
                || bare.starts_with("%2F")
                || bare.parse::<IpAddr>().is_ok_and(|ip| ip.is_loopback())
        };
        let checked = parsed.query_pairs().any(|(key, value)| key == "sslmode" && value == "verify-full");
        if near(host)
            || checked
            || parsed.query_pairs().any(|(key, value)| key == "host" && value.starts_with('/'))
        {
            return Ok(());
        }
        Err(format!(
            "the database on {host} would be asked over a line that others can read. Put ?sslmode=verify-full behind --database-url, and \
             &sslrootcert=FILE for an authority of your own."
        ))
    }

    /// Refused, with what to do instead: whatever would carry passwords and photos where others can read them (safety promise
    /// A34). Plain http is for this machine, and for a proxy with HTTPS that is named.
    pub fn check_nobody_listens_in(&self) -> Result<(), String> {
        self.check_way_to_database()?;
        let public_url = self.public_url();
        let is_https = public_url.starts_with("https://");
        if self.address.is_unspecified() && self.public_url.is_none() {
            return Err(format!(
                "on {} it cannot know what people type: give --public-url, such as https://wounds.your-practice.example, and HTTPS by \
                 --tls-cert FILE --tls-key FILE or by a proxy named with --proxies ADDRESS; or listen on this machine only (--address \
                 127.0.0.1).",
                self.address
            ));
        }
        if self.tls_files().is_some() {
            return if is_https {
                Ok(())
            } else {
                Err(format!(
                    "it speaks HTTPS by --tls-cert: give --public-url as https://…, not {public_url}"
                ))
            };
        }
        if self.address.is_loopback() {
            return Ok(());
        }
        let address = self.address;
        if self.proxies.iter().all(IpAddr::is_loopback) {
            return Err(format!(
                "on {address} it would carry passwords and photos over plain http, where others can read them. Give it a \
                 certificate (--tls-cert FILE --tls-key FILE), or name the proxy with HTTPS that stands in front (--proxies \
                 ADDRESS), or listen on this machine only (--address 127.0.0.1)."
            ));
        }
        if !is_https {
            return Err(format!(
                "behind a proxy with HTTPS, --public-url says what people type, such as https://wounds.your-practice.example; \
                 it is {public_url}."
            ));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        settings: Settings,
    }

    fn refused(flags: &str) -> Option<String> {
        let line = Line::try_parse_from(["closewatch"].into_iter().chain(flags.split_whitespace()));
        line.unwrap().settings.check_nobody_listens_in().err()
    }

    #[test]
    fn plain_http_is_for_this_machine_and_for_named_proxies_only() {
        assert_eq!(refused(""), None);
        assert_eq!(refused("--address ::1"), None);
        let told = refused("--address 0.0.0.0").unwrap();
        for way_out in ["--tls-cert", "--proxies", "--address 127.0.0.1"] {
            assert!(told.contains(way_out), "{told}");
        }
        assert!(refused("--address 192.0.2.1 --proxies 127.0.0.1").is_some());
        assert!(refused("--address 192.0.2.1 --proxies 192.0.2.9").unwrap().contains("--public-url"));
        assert_eq!(refused("--address 192.0.2.1 --proxies 192.0.2.9 --public-url https://a.example"), None);
        let files = "--address 192.0.2.1 --tls-cert c.pem --tls-key k.pem";
        assert_eq!(refused(files), None);
        let everywhere = "--address 0.0.0.0 --tls-cert c.pem --tls-key k.pem";
        assert!(refused(everywhere).unwrap().contains("--public-url"));
        assert_eq!(refused(&format!("{everywhere} --public-url https://a.example")), None);
        assert!(refused(&format!("{files} --public-url http://a.example")).unwrap().contains("https://"));
    }

    #[test]
    fn a_database_elsewhere_is_asked_over_tls_that_is_checked() {
        for near in
            ["postgres://u@127.0.0.1:5433/c", "postgres://u@localhost/c", "postgres://u@[::1]/c", "sqlite:/x"]
        {
            assert_eq!(refused(&format!("--database-url {near}")), None, "{near}");
        }
        assert_eq!(refused("--database-url postgres:///c?host=/run/postgresql"), None);
        let away = "--database-url postgres://u@db.practice.example/c";
        assert_eq!(refused(&format!("{away}?sslmode=verify-full")), None);
        for open in ["", "?sslmode=disable", "?sslmode=prefer", "?sslmode=require", "?sslmode=verify-ca"] {
            assert!(refused(&format!("{away}{open}")).unwrap().contains("sslmode=verify-full"), "{open}");
        }
    }

    #[test]
    fn a_certificate_comes_with_its_key_and_both_are_looked_after() {
        assert!(Line::try_parse_from(["closewatch", "--tls-cert", "c.pem"]).is_err());
        assert!(Line::try_parse_from(["closewatch", "--tls-key", "k.pem"]).is_err());
        let line = Line::try_parse_from(["closewatch", "--tls-cert", "c.pem", "--tls-key", "k.pem"]).unwrap();
        assert!(line.settings.key_files().contains(&PathBuf::from("k.pem")));
        assert_eq!(line.settings.public_url(), "https://127.0.0.1:8080");
    }
}
