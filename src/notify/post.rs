//! The post: every channel that is set up, and the one way to send a letter.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

#[cfg(feature = "doubles")]
use futures::future::BoxFuture;
use jiff::Timestamp;
use reqwest::Client;

use crate::config::NotifySettings;
use crate::ids::Chance;
use crate::notify::folder::Folder;
use crate::notify::hook::Hook;
use crate::notify::hosts::Hosts;
use crate::notify::letter::Accepted;
use crate::notify::letter::Address;
use crate::notify::letter::Channel;
use crate::notify::letter::Letter;
use crate::notify::letter::PushSubscription;
use crate::notify::letter::Refused;
use crate::notify::mail::Mail;
use crate::notify::push::Push;
use crate::notify::secret::Secret;
use crate::notify::status::BadStatus;
use crate::notify::status::Status;
use crate::notify::status::read_status;
use crate::notify::vapid::Vapid;

/// How long one letter may take. Ours: longer than a healthy provider needs, shorter than a rung of any ladder.
const PATIENCE: Duration = Duration::from_secs(10);

/// Everything that is set up, read and checked once. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Post {
    ways: Arc<Ways>,
    patience: Duration,
}

#[derive(Debug, Default)]
struct Ways {
    /// In order of preference.
    channels: Vec<Channel>,
    folder: Option<Folder>,
    sms: Option<Hook>,
    voice: Option<Hook>,
    mail: Option<Mail>,
    push: Option<Push>,
    #[cfg(feature = "doubles")]
    stand_in: Option<StandIn>,
}

/// What a stand-in does with a letter: it may wait, as every real outside makes its sender wait.
#[cfg(feature = "doubles")]
pub type Taking = dyn Fn(&Letter) -> BoxFuture<'static, Result<Accepted, Refused>> + Send + Sync;

/// Takes every letter in place of the outside, in tests.
#[cfg(feature = "doubles")]
#[derive(Clone)]
pub struct StandIn(pub Arc<Taking>);

#[cfg(feature = "doubles")]
impl std::fmt::Debug for StandIn {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str("StandIn")
    }
}

impl Default for Post {
    /// Nothing is set up.
    fn default() -> Post {
        Post { ways: Arc::default(), patience: PATIENCE }
    }
}

impl Post {
    /// Every letter goes to a stand-in, as by these channels.
    #[cfg(feature = "doubles")]
    pub fn to_stand_in(channels: &[Channel], stand_in: StandIn) -> Post {
        let ways = Ways { channels: channels.to_vec(), stand_in: Some(stand_in), ..Ways::default() };
        Post { ways: Arc::new(ways), patience: PATIENCE }
    }

    /// Refuses, in words for whoever starts the server, what is half set up, unsafe, or on no list.
    pub fn from_settings(settings: &NotifySettings) -> Result<Post, String> {
        let hosts = Hosts::new(&settings.notify_hosts);
        let mut ways = Ways {
            folder: settings.notify_folder.as_deref().map(Folder::open).transpose()?,
            sms: hook("SMS", &hosts, settings.sms_url.as_deref(), settings.sms_secret_file.as_deref())?,
            voice: hook(
                "VOICE",
                &hosts,
                settings.voice_url.as_deref(),
                settings.voice_secret_file.as_deref(),
            )?,
            mail: Mail::from_settings(settings, &hosts)?,
            push: push(settings, &hosts)?,
            channels: Vec::new(),
            #[cfg(feature = "doubles")]
            stand_in: None,
        };
        ways.channels = ways.in_order();
        if ways.folder.is_some() && ways.channels != [Channel::Folder] {
            return Err(
                "CLOSEWATCH_NOTIFY_FOLDER takes every letter: with it, set no other way to send".to_owned()
            );
        }
        Ok(Post { ways: Arc::new(ways), patience: PATIENCE })
    }

    /// Channels that are set up, in order of preference: a text, a push, mail, and a ringing phone last. `Folder`
    /// alone when letters go to a folder; empty when nothing is set up.
    pub fn channels(&self) -> &[Channel] {
        &self.ways.channels
    }

    /// Whether a letter to this address would find its way.
    pub fn reaches(&self, address: &Address) -> bool {
        [address.channel(), Channel::Folder].iter().any(|channel| self.ways.channels.contains(channel))
    }

    /// Hands a letter to the outside and says what became of it; after ten seconds at the latest.
    pub async fn send(&self, letter: &Letter, now: Timestamp) -> Result<Accepted, Refused> {
        if let Some(fault) = letter.fault() {
            return Err(Refused::never(fault));
        }
        match tokio::time::timeout(self.patience, self.ways.take(letter, now)).await {
            Ok(answer) => answer,
            Err(_) => Err(Refused::later("no answer in time")),
        }
    }

    /// Reads a status call of whichever provider signed it: see [`read_status`].
    pub fn read_status(
        &self,
        body: &[u8],
        timestamp: &str,
        signature: &str,
        now: Timestamp,
    ) -> Result<Status, BadStatus> {
        let hooks = [&self.ways.sms, &self.ways.voice];
        let mut read = Err(BadStatus::Signature);
        for hook in hooks.into_iter().flatten() {
            read = read_status(body, timestamp, signature, &hook.secret, now);
            if read != Err(BadStatus::Signature) {
                break;
            }
        }
        read
    }

    /// Whether messages for this browser may go where it asks for them: to a push service on the list.
    pub fn trusts(&self, subscription: &PushSubscription) -> bool {
        let endpoint = reqwest::Url::parse(&subscription.endpoint);
        let push = self.ways.push.as_ref();
        push.zip(endpoint.ok()).is_some_and(|(push, endpoint)| push.hosts.check(&endpoint).is_ok())
    }

    /// What a browser needs to subscribe to push messages (`applicationServerKey`); `None` when push is not set up.
    pub fn push_public_key(&self) -> Option<&str> {
        self.ways.push.as_ref().map(|push| push.vapid.public())
    }

    pub(crate) fn folder(&self) -> Option<&Folder> {
        self.ways.folder.as_ref()
    }

    pub(crate) fn hooks(&self) -> impl Iterator<Item = &Hook> {
        [&self.ways.sms, &self.ways.voice].into_iter().flatten()
    }

    pub(crate) fn mail(&self) -> Option<&Mail> {
        self.ways.mail.as_ref()
    }

    #[cfg(test)]
    pub(crate) fn waiting(self, patience: Duration) -> Post {
        Post { patience, ..self }
    }
}

impl Ways {
    fn in_order(&self) -> Vec<Channel> {
        let set_up = |channel: &Channel| match channel {
            Channel::Folder => self.folder.is_some(),
            Channel::Sms => self.sms.is_some(),
            Channel::Push => self.push.is_some(),
            Channel::Email => self.mail.is_some(),
            Channel::Voice => self.voice.is_some(),
        };
        let preferred = [Channel::Folder, Channel::Sms, Channel::Push, Channel::Email, Channel::Voice];
        preferred.into_iter().filter(set_up).collect()
    }

    async fn take(&self, letter: &Letter, now: Timestamp) -> Result<Accepted, Refused> {
        #[cfg(feature = "doubles")]
        if let Some(stand_in) = &self.stand_in {
            return (stand_in.0)(letter).await;
        }
        if let Some(folder) = &self.folder {
            return folder.take(letter, now).await;
        }
        let taken = match &letter.to {
            Address::Sms(number) => match &self.sms {
                Some(hook) => Some(hook.take(letter, number, now).await),
                None => None,
            },
            Address::Voice(number) => match &self.voice {
                Some(hook) => Some(hook.take(letter, number, now).await),
                None => None,
            },
            Address::Email(address) => match &self.mail {
                Some(mail) => Some(mail.take(letter, address, now).await),
                None => None,
            },
            Address::Push(subscription) => match &self.push {
                Some(push) => Some(push.take(letter, subscription, now).await),
                None => None,
            },
        };
        taken.unwrap_or_else(|| Err(Refused::never("this way of sending is not set up")))
    }
}

fn hook(
    name: &str,
    hosts: &Hosts,
    url: Option<&str>,
    secret_file: Option<&Path>,
) -> Result<Option<Hook>, String> {
    let setting = format!("CLOSEWATCH_{name}_URL");
    let Some(url) = url else { return Ok(None) };
    let file = secret_file.ok_or_else(|| format!("{setting} needs CLOSEWATCH_{name}_SECRET_FILE"))?;
    let url = hosts.web_address(&setting, url)?;
    Ok(Some(Hook { url, secret: Secret::from_file(file)?, client: client()? }))
}

fn push(settings: &NotifySettings, hosts: &Hosts) -> Result<Option<Push>, String> {
    let Some(file) = &settings.vapid_key_file else { return Ok(None) };
    let contact = settings
        .vapid_contact
        .as_deref()
        .ok_or("CLOSEWATCH_VAPID_KEY_FILE needs CLOSEWATCH_VAPID_CONTACT")?;
    let vapid = Vapid::from_file(file, contact)?;
    Ok(Some(Push { vapid, hosts: hosts.clone(), client: client()?, chance: Chance::OperatingSystem }))
}

/// Goes to the named host and nowhere else: no redirects, no proxy from the environment. A connection per letter, so
/// that an answer that comes twice is never taken for the next letter's.
pub(crate) fn client() -> Result<Client, String> {
    // Fails only where it was done before, which is as good.
    let _ = rustls::crypto::ring::default_provider().install_default();
    Client::builder()
        .redirect(reqwest::redirect::Policy::none())
        .no_proxy()
        .referer(false)
        .pool_max_idle_per_host(0)
        .user_agent("closewatch")
        .timeout(PATIENCE)
        .build()
        .map_err(|fault| format!("no way to the outside: {fault}"))
}
