//! Mail by SMTP, encrypted unless it stays on this machine.

use std::fmt;
use std::path::Path;
use std::time::Duration;
use std::time::SystemTime;

use jiff::Timestamp;
use lettre::AsyncSmtpTransport;
use lettre::AsyncTransport;
use lettre::Message;
use lettre::Tokio1Executor;
use lettre::message::Mailbox;
use lettre::message::header::ContentType;
use lettre::message::header::HeaderName;
use lettre::message::header::HeaderValue;
use lettre::transport::smtp::Error;
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::Certificate;
use lettre::transport::smtp::client::Tls;
use lettre::transport::smtp::client::TlsParameters;
use lettre::transport::smtp::extension::ClientId;
use reqwest::Url;

use crate::config::NotifySettings;
use crate::notify::answered;
use crate::notify::hosts::Hosts;
use crate::notify::hosts::is_this_machine;
use crate::notify::letter::Accepted;
use crate::notify::letter::Letter;
use crate::notify::letter::Refused;
use crate::notify::secret;

/// A server that takes mail, and whom the mail comes from.
#[derive(Clone)]
pub(crate) struct Mail {
    server: AsyncSmtpTransport<Tokio1Executor>,
    from: Mailbox,
}

impl Mail {
    /// `None` when no server is named. A connection is made for each letter: an idle one that the server has closed
    /// looks like a letter that failed.
    pub fn from_settings(settings: &NotifySettings, hosts: &Hosts) -> Result<Option<Mail>, String> {
        let Some(address) = &settings.smtp_url else { return Ok(None) };
        let from = settings.mail_from.as_deref().ok_or("CLOSEWATCH_SMTP_URL needs CLOSEWATCH_MAIL_FROM")?;
        let from: Mailbox = from.parse().map_err(|_| {
            "CLOSEWATCH_MAIL_FROM: write it as `Name <notices@practice.example>` or the address alone"
                .to_owned()
        })?;
        let line = Line::read(address, hosts, settings.smtp_ca_file.as_deref())
            .map_err(|why| format!("CLOSEWATCH_SMTP_URL: {why}"))?;
        let mut builder = AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(line.host)
            .port(line.port)
            .tls(line.tls)
            .hello_name(ClientId::Domain(from.email.domain().to_owned()))
            .timeout(Some(Duration::from_secs(8)));
        if let Some(user) = &settings.smtp_user {
            let file = settings.smtp_password_file.as_deref();
            let password =
                secret::text_of(file.ok_or("CLOSEWATCH_SMTP_USER needs CLOSEWATCH_SMTP_PASSWORD_FILE")?)?;
            builder = builder.credentials(Credentials::new(user.clone(), password));
        }
        Ok(Some(Mail { server: builder.build(), from }))
    }

    pub async fn take(&self, letter: &Letter, address: &str, now: Timestamp) -> Result<Accepted, Refused> {
        let message = self.message(letter, address, now)?;
        match self.server.send(message).await {
            Ok(_) => Ok(Accepted { provider_id: None }),
            Err(fault) => Err(refusal(&fault)),
        }
    }

    /// Signs in at the server and leaves again.
    pub async fn probe(&self) -> Result<(), String> {
        match self.server.test_connection().await {
            Ok(true) => Ok(()),
            Ok(false) => Err("the mail server does not answer".to_owned()),
            Err(_) => Err("the mail server does not let us in".to_owned()),
        }
    }

    fn message(&self, letter: &Letter, address: &str, now: Timestamp) -> Result<Message, Refused> {
        let to = address.parse().map_err(|_| Refused::never("no e-mail address"))?;
        let id = format!("<{}@{}>", letter.reference, self.from.email.domain());
        Message::builder()
            .from(self.from.clone())
            .to(Mailbox::new(None, to))
            .subject(letter.subject.clone())
            // Both fixed by the letter: a server that gets it twice can tell.
            .date(SystemTime::try_from(now).unwrap_or(SystemTime::UNIX_EPOCH))
            .message_id(Some(id))
            // No out-of-office answers (RFC 3834, section 5).
            .raw_header(raw("Auto-Submitted", "auto-generated"))
            .raw_header(raw("Content-Language", letter.language))
            .header(ContentType::TEXT_PLAIN)
            .body(letter.body.clone())
            .map_err(|_| Refused::never("the mail cannot be written"))
    }
}

impl fmt::Debug for Mail {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("Mail")
    }
}

fn raw(name: &'static str, value: &str) -> HeaderValue {
    HeaderValue::new(HeaderName::new_from_ascii_str(name), value.to_owned())
}

/// Where the server listens and how the line to it is kept closed.
struct Line {
    host: String,
    port: u16,
    tls: Tls,
}

impl Line {
    fn read(address: &str, hosts: &Hosts, ca_file: Option<&Path>) -> Result<Line, String> {
        let url = Url::parse(address).map_err(|fault| format!("no address ({fault})"))?;
        if !url.username().is_empty() || url.password().is_some() || url.query().is_some() {
            return Err(
                "no user or password in the address; they are CLOSEWATCH_SMTP_USER and its password file"
                    .to_owned(),
            );
        }
        let host = url.host_str().unwrap_or_default().to_ascii_lowercase();
        hosts.named(&host)?;
        let (usual_port, tls) = match url.scheme() {
            "smtp" => (587, Tls::Required(parameters(&host, ca_file)?)),
            "smtps" => (465, Tls::Wrapper(parameters(&host, ca_file)?)),
            "smtp+plain" if is_this_machine(&host) => (25, Tls::None),
            "smtp+plain" => return Err("smtp+plain:// only to a server on this machine".to_owned()),
            _ => return Err("begin with smtp:// (STARTTLS), smtps:// or smtp+plain://".to_owned()),
        };
        Ok(Line { host, port: url.port().unwrap_or(usual_port), tls })
    }
}

fn parameters(host: &str, ca_file: Option<&Path>) -> Result<TlsParameters, String> {
    let mut builder = TlsParameters::builder(host.to_owned());
    if let Some(path) = ca_file {
        let pem = secret::text_of(path)?;
        let named = |fault: Error| format!("{}: {fault}", path.display());
        builder = builder.add_root_certificate(Certificate::from_pem(pem.as_bytes()).map_err(named)?);
    }
    builder.build().map_err(|fault| fault.to_string())
}

/// What the server's answer comes to; its text may name the person and is left out.
fn refusal(fault: &Error) -> Refused {
    match fault.status().map(u16::from) {
        // Ours to mend, not the address's fault: sign-in and encryption (RFC 4954, section 6; RFC 3207, section 4).
        Some(code @ (530 | 534 | 535 | 538)) => {
            Refused::later(format!("the mail server answered {code}: it does not accept our sign-in"))
        }
        Some(code) if fault.is_permanent() => Refused::never(format!("the mail server answered {code}")),
        Some(code) => Refused::later(format!("the mail server answered {code}")),
        None if answered::is_about_certificate(fault) => {
            Refused::later("the mail server's certificate is not valid")
        }
        None if fault.is_tls() => Refused::later("no safe line to the mail server"),
        None if fault.is_timeout() => Refused::later("the mail server did not answer in time"),
        None => Refused::later("the mail server could not be reached or broke off"),
    }
}
