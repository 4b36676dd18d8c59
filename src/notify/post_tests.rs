//! The post against providers that fail, hang, redirect, repeat themselves and never stop talking.

use std::path::Path;
use std::sync::Arc;
use std::sync::Mutex;
use std::time::Duration;

use jiff::SignedDuration;
use jiff::Timestamp;
use tokio::io::AsyncReadExt;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpListener;
use tokio::net::TcpStream;

use crate::config::NotifySettings;
use crate::notify::Accepted;
use crate::notify::Address;
use crate::notify::Channel;
use crate::notify::Letter;
use crate::notify::Post;
use crate::notify::PushKeys;
use crate::notify::PushSubscription;
use crate::notify::Refused;
use crate::notify::Secret;
use crate::notify::State;

const SECRET: &[u8] = b"a secret shared with one provider only";

/// What a provider does with one connection, once it has read the request.
#[derive(Clone)]
enum Turn {
    Say(String),
    SayThenHang(String),
    SayForEver(String),
    Hang,
    CloseEarly,
}

fn say(status: &str, more_heads: &str, body: &str) -> Turn {
    Turn::Say(format!("HTTP/1.1 {status}\r\n{more_heads}Content-Length: {}\r\n\r\n{body}", body.len()))
}

/// Head and body.
type Request = (String, Vec<u8>);

#[derive(Clone, Default)]
struct Heard(Arc<Mutex<Vec<Request>>>);

impl Heard {
    fn count(&self) -> usize {
        self.0.lock().unwrap().len()
    }

    /// Head (in small letters) and body of a request.
    fn request(&self, number: usize) -> Request {
        self.0.lock().unwrap()[number].clone()
    }

    fn header(&self, number: usize, name: &str) -> String {
        let (head, _) = self.request(number);
        let found = head.lines().find_map(|line| line.strip_prefix(&format!("{name}: ")).map(str::to_owned));
        found.unwrap_or_else(|| panic!("{name} is missing in {head}"))
    }
}

/// A provider on a free port: each connection gets its own turn, the last turn goes on for ever.
async fn provider(turns: Vec<Turn>) -> (u16, Heard) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let heard = Heard::default();
    let written = heard.clone();
    tokio::spawn(async move {
        for number in 0.. {
            let (stream, _) = listener.accept().await.unwrap();
            let turn = turns[number.min(turns.len() - 1)].clone();
            tokio::spawn(attend(stream, turn, written.clone()));
        }
    });
    (port, heard)
}

async fn attend(mut stream: TcpStream, turn: Turn, heard: Heard) -> Option<()> {
    let mut read = Vec::new();
    let head_end = loop {
        if stream.read_buf(&mut read).await.ok()? == 0 {
            return None;
        }
        if let Some(end) = read.windows(4).position(|four| four == b"\r\n\r\n") {
            break end;
        }
    };
    let head = String::from_utf8_lossy(&read[..head_end]).into_owned();
    let small: String = head.lines().map(small_name).collect::<Vec<_>>().join("\n");
    let length =
        small.lines().find_map(|line| line.strip_prefix("content-length: ")).unwrap().parse::<usize>();
    let length = length.unwrap();
    while read.len() < head_end + 4 + length {
        stream.read_buf(&mut read).await.ok()?;
    }
    heard.0.lock().unwrap().push((small, read[head_end + 4..].to_vec()));
    match turn {
        Turn::Say(answer) => stream.write_all(answer.as_bytes()).await.ok()?,
        Turn::SayThenHang(answer) => {
            stream.write_all(answer.as_bytes()).await.ok()?;
            std::future::pending::<()>().await;
        }
        Turn::SayForEver(answer) => {
            stream.write_all(answer.as_bytes()).await.ok()?;
            while stream.write_all(&[b'x'; 16_384]).await.is_ok() {}
        }
        Turn::Hang => std::future::pending::<()>().await,
        Turn::CloseEarly => {}
    }
    Some(())
}

/// A head line with its name in small letters.
fn small_name(line: &str) -> String {
    match line.split_once(": ") {
        Some((name, value)) => format!("{}: {value}", name.to_ascii_lowercase()),
        None => line.to_owned(),
    }
}

fn now() -> Timestamp {
    "2026-03-02T20:00:00Z".parse().unwrap()
}

fn secret_file(folder: &Path) -> std::path::PathBuf {
    let file = folder.join("secret");
    std::fs::write(&file, [SECRET, b"\n"].concat()).unwrap();
    file
}

fn settings(folder: &Path, port: u16) -> NotifySettings {
    NotifySettings {
        notify_hosts: vec!["127.0.0.1".to_owned()],
        sms_url: Some(format!("http://127.0.0.1:{port}/texts")),
        sms_secret_file: Some(secret_file(folder)),
        ..NotifySettings::default()
    }
}

fn text(reference: &str) -> Letter {
    Letter {
        to: Address::Sms("+1 202-555-0142".to_owned()),
        subject: "1 new message".to_owned(),
        body: "You have a new message: https://wounds.example/p/x".to_owned(),
        reference: reference.to_owned(),
        language: "en",
    }
}

async fn sent(turn: Turn) -> Result<Accepted, Refused> {
    let (port, _) = provider(vec![turn]).await;
    let place = tempfile::tempdir().unwrap();
    let post = Post::from_settings(&settings(place.path(), port)).unwrap();
    post.send(&text("r-1"), now()).await
}

fn is_later(answer: &Result<Accepted, Refused>) -> bool {
    matches!(answer, Err(Refused::Later { .. }))
}

fn is_never(answer: &Result<Accepted, Refused>) -> bool {
    matches!(answer, Err(Refused::Never { .. }))
}

#[tokio::test]
async fn a_text_is_posted_signed_and_with_a_key_that_makes_a_doubled_one_known() {
    let (port, heard) = provider(vec![say("202 Accepted", "", r#"{"id": "m-17"}"#)]).await;
    let place = tempfile::tempdir().unwrap();
    let post = Post::from_settings(&settings(place.path(), port)).unwrap();
    assert_eq!(post.channels(), [Channel::Sms]);
    let accepted = post.send(&text("r-1"), now()).await.unwrap();
    assert_eq!(accepted.provider_id.as_deref(), Some("m-17"));
    let (head, body) = heard.request(0);
    assert!(head.starts_with("POST /texts HTTP/1.1"), "{head}");
    assert_eq!(heard.header(0, "idempotency-key"), "r-1");
    assert_eq!(heard.header(0, "content-type"), "application/json");
    let time = heard.header(0, "closewatch-timestamp");
    assert_eq!(time, now().as_second().to_string());
    let signature = heard.header(0, "closewatch-signature");
    assert!(Secret::new(SECRET).unwrap().has_signed(&time, &body, &signature));
    let read: serde_json::Value = serde_json::from_slice(&body).unwrap();
    assert_eq!(read["to"], "+12025550142");
    assert_eq!(read["text"], text("r-1").body);
}

#[tokio::test]
async fn what_a_provider_answers_decides_whether_it_is_tried_again() {
    assert!(is_later(&sent(say("500 Oops", "", "")).await));
    assert!(is_never(&sent(say("404 Not Found", "", "")).await));
    assert!(is_never(&sent(say("422 No", "", "{}")).await));
    let busy = sent(say("429 Busy", "Retry-After: 30\r\n", "")).await;
    assert!(
        matches!(busy, Err(Refused::Later { after: Some(wait), .. }) if wait == SignedDuration::from_secs(30))
    );
    let odd = sent(say("200 OK", "", "<html>thanks</html>")).await;
    assert_eq!(odd, Ok(Accepted { provider_id: None }));
}

#[tokio::test]
async fn a_provider_that_breaks_off_talks_nonsense_or_is_not_there_is_tried_later() {
    assert!(is_later(&sent(Turn::CloseEarly).await));
    assert!(is_later(&sent(Turn::Say("SSH-2.0-what\r\n".to_owned())).await));
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    drop(listener);
    let place = tempfile::tempdir().unwrap();
    let post = Post::from_settings(&settings(place.path(), port)).unwrap();
    assert!(is_later(&post.send(&text("r-1"), now()).await));
}

#[tokio::test]
async fn a_provider_that_hangs_holds_nobody_up() {
    let (port, heard) = provider(vec![Turn::Hang]).await;
    let place = tempfile::tempdir().unwrap();
    let post =
        Post::from_settings(&settings(place.path(), port)).unwrap().waiting(Duration::from_millis(400));
    assert!(is_later(&post.send(&text("r-1"), now()).await));
    assert!(heard.count() <= 1, "one letter, one knock");
}

#[tokio::test]
async fn an_answer_that_is_huge_never_ends_or_breaks_off_was_still_a_yes() {
    let none = Ok(Accepted { provider_id: None });
    let huge = "HTTP/1.1 200 OK\r\nContent-Length: 4000000000\r\n\r\n".to_owned();
    assert_eq!(sent(Turn::SayForEver(huge)).await, none);
    let short = "HTTP/1.1 200 OK\r\nContent-Length: 40\r\n\r\n{\"id\": \"m".to_owned();
    assert_eq!(sent(Turn::Say(short.clone())).await, none, "breaks off");
    assert_eq!(sent(Turn::SayThenHang(short)).await, none, "never ends");
}

#[tokio::test]
async fn a_head_that_never_ends_is_no_answer() {
    let endless = "HTTP/1.1 200 OK\r\nX-Long: ".to_owned();
    assert!(is_later(&sent(Turn::SayForEver(endless)).await));
}

#[tokio::test]
async fn an_answer_that_comes_twice_is_never_taken_for_the_next_letters() {
    let yes = "HTTP/1.1 200 OK\r\nContent-Length: 11\r\n\r\n{\"id\": \"a\"}";
    let twice = Turn::SayThenHang(yes.repeat(2));
    let (port, heard) = provider(vec![twice, say("503 Busy", "", "")]).await;
    let place = tempfile::tempdir().unwrap();
    let post = Post::from_settings(&settings(place.path(), port)).unwrap();
    assert_eq!(post.send(&text("r-1"), now()).await.unwrap().provider_id.as_deref(), Some("a"));
    assert!(is_later(&post.send(&text("r-2"), now()).await));
    assert_eq!(heard.count(), 2);
}

#[tokio::test]
async fn a_redirect_is_not_followed() {
    let (elsewhere, heard_elsewhere) = provider(vec![say("200 OK", "", "{}")]).await;
    for status in ["301 Moved", "302 Found", "307 Temporary", "308 Permanent"] {
        let place = format!("Location: http://127.0.0.1:{elsewhere}/\r\n");
        assert!(is_later(&sent(say(status, &place, "")).await), "{status}");
    }
    assert_eq!(heard_elsewhere.count(), 0);
}

#[tokio::test]
async fn no_reason_holds_the_number_or_the_text() {
    for turn in [say("500 Oops", "", "+12025550142"), say("404 Gone", "", "202-555-0142"), Turn::CloseEarly] {
        let why = format!("{:?}", sent(turn).await.unwrap_err());
        assert!(!why.contains("555") && !why.contains("127.0.0.1") && !why.contains("message:"), "{why}");
    }
}

#[tokio::test]
async fn a_bad_number_and_a_channel_that_is_not_set_up_are_never_tried() {
    let (port, heard) = provider(vec![say("200 OK", "", "{}")]).await;
    let place = tempfile::tempdir().unwrap();
    let post = Post::from_settings(&settings(place.path(), port)).unwrap();
    let bad = Letter { to: Address::Sms("call me".to_owned()), ..text("r-1") };
    assert!(is_never(&post.send(&bad, now()).await));
    let mail = Letter { to: Address::Email("rosa@patient.example".to_owned()), ..text("r-1") };
    assert!(is_never(&post.send(&mail, now()).await));
    assert!(!post.reaches(&mail.to) && post.reaches(&text("r-1").to));
    assert_eq!(heard.count(), 0);
}

#[tokio::test]
async fn nothing_set_up_sends_nothing_and_says_so() {
    let post = Post::from_settings(&NotifySettings::default()).unwrap();
    assert!(post.channels().is_empty());
    assert!(is_never(&post.send(&text("r-1"), now()).await));
}

#[tokio::test]
async fn a_folder_takes_every_kind_of_letter() {
    let place = tempfile::tempdir().unwrap();
    let letters = place.path().join("letters");
    let settings = NotifySettings { notify_folder: Some(letters.clone()), ..NotifySettings::default() };
    let post = Post::from_settings(&settings).unwrap();
    assert_eq!(post.channels(), [Channel::Folder]);
    let every = [
        text("r").to,
        Address::Voice("202-555-0142".to_owned()),
        Address::Email("rosa@patient.example".to_owned()),
        Address::Push(subscription("https://push.example/secret-path")),
    ];
    for (number, to) in every.into_iter().enumerate() {
        assert!(post.reaches(&to));
        post.send(&Letter { to, ..text(&format!("r-{number}")) }, now()).await.unwrap();
    }
    let kept: Vec<_> = std::fs::read_dir(&letters).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert_eq!(kept.len(), 8);
    let together: String = kept.iter().map(|path| std::fs::read_to_string(path).unwrap()).collect();
    assert!(together.contains("push.example") && !together.contains("secret-path"));
}

#[test]
fn what_is_half_set_up_unsafe_or_on_no_list_stops_the_start() {
    let place = tempfile::tempdir().unwrap();
    let good = settings(place.path(), 9);
    assert!(Post::from_settings(&good).is_ok());
    let short = place.path().join("short");
    std::fs::write(&short, "too short\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n").unwrap();
    let refused = |change: &dyn Fn(&mut NotifySettings), named: &str| {
        let mut changed = good.clone();
        change(&mut changed);
        let why = Post::from_settings(&changed).unwrap_err();
        assert!(why.contains(named), "{why}");
    };
    refused(&|set| set.notify_hosts.clear(), "CLOSEWATCH_NOTIFY_HOSTS");
    refused(&|set| set.sms_url = Some("https://other.example/".to_owned()), "other.example");
    refused(&|set| set.sms_secret_file = None, "CLOSEWATCH_SMS_SECRET_FILE");
    refused(&|set| set.sms_secret_file = Some(place.path().join("none")), "none");
    refused(&|set| set.sms_secret_file = Some(short.clone()), "32 characters");
    refused(&|set| set.voice_url = set.sms_url.clone(), "CLOSEWATCH_VOICE_SECRET_FILE");
    refused(&|set| set.notify_folder = Some(place.path().join("letters")), "CLOSEWATCH_NOTIFY_FOLDER");
    refused(&|set| set.smtp_url = Some("smtp+plain://127.0.0.1".to_owned()), "CLOSEWATCH_MAIL_FROM");
    refused(&|set| set.vapid_key_file = Some(short.clone()), "CLOSEWATCH_VAPID_CONTACT");
}

#[test]
fn settings_and_post_show_no_secret() {
    let place = tempfile::tempdir().unwrap();
    let settings = settings(place.path(), 9);
    let post = Post::from_settings(&settings).unwrap();
    let shown = format!("{settings:?} {post:?}");
    assert!(!shown.contains("shared with one provider"), "{shown}");
}

#[test]
fn a_status_call_is_believed_when_either_provider_signed_it() {
    let place = tempfile::tempdir().unwrap();
    let mut settings = settings(place.path(), 9);
    let voice = place.path().join("voice");
    std::fs::write(&voice, "another secret of more than 32 bytes").unwrap();
    settings.voice_url = settings.sms_url.clone();
    settings.voice_secret_file = Some(voice);
    let post = Post::from_settings(&settings).unwrap();
    let body = br#"{"reference": "r-1", "state": "failed", "why": "no such number"}"#;
    let time = now().as_second().to_string();
    for secret in [SECRET, b"another secret of more than 32 bytes"] {
        let signature = Secret::new(secret).unwrap().sign(&time, body);
        assert_eq!(post.read_status(body, &time, &signature, now()).unwrap().state, State::Failed);
    }
    let stranger = Secret::new(b"a secret nobody here has ever heard of").unwrap().sign(&time, body);
    assert!(post.read_status(body, &time, &stranger, now()).is_err());
    let unset = Post::from_settings(&NotifySettings::default()).unwrap();
    assert!(unset.read_status(body, &time, &stranger, now()).is_err());
}

/// With the browser's keys of RFC 8291, section 5.
fn subscription(endpoint: &str) -> PushSubscription {
    PushSubscription {
        endpoint: endpoint.to_owned(),
        keys: PushKeys {
            p256dh: "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"
                .to_owned(),
            auth: "BTBZMqHH6r4Tts7J_aSIgg".to_owned(),
        },
    }
}

fn push_settings(folder: &Path) -> NotifySettings {
    use p256::pkcs8::EncodePrivateKey;
    let key = p256::SecretKey::from_slice(&[7; 32]).unwrap();
    let file = folder.join("vapid.pem");
    std::fs::write(&file, key.to_pkcs8_pem(p256::pkcs8::LineEnding::LF).unwrap().as_bytes()).unwrap();
    NotifySettings {
        notify_hosts: vec!["127.0.0.1".to_owned()],
        vapid_key_file: Some(file),
        vapid_contact: Some("mailto:office@practice.example".to_owned()),
        ..NotifySettings::default()
    }
}

#[tokio::test]
async fn a_push_is_sealed_signed_and_gone_when_the_browser_is() {
    let turns = vec![say("201 Created", "", ""), say("410 Gone", "", ""), say("503 Busy", "", "")];
    let (port, heard) = provider(turns).await;
    let place = tempfile::tempdir().unwrap();
    let post = Post::from_settings(&push_settings(place.path())).unwrap();
    assert_eq!(post.channels(), [Channel::Push]);
    let public = post.push_public_key().unwrap().to_owned();
    assert_eq!(public.len(), 87);
    let to = Address::Push(subscription(&format!("http://127.0.0.1:{port}/push/secret")));
    let letter = Letter { to, ..text("r-1") };
    assert_eq!(post.send(&letter, now()).await, Ok(Accepted { provider_id: None }));
    let authorization = heard.header(0, "authorization");
    assert!(authorization.starts_with("vapid t=") && authorization.ends_with(&format!(", k={public}")));
    assert_eq!(heard.header(0, "content-encoding"), "aes128gcm");
    assert_eq!(heard.header(0, "ttl"), "86400");
    let (_, body) = heard.request(0);
    assert!(body.len() > 86 && !String::from_utf8_lossy(&body).contains("new message"));
    assert!(matches!(post.send(&letter, now()).await, Err(Refused::Gone { .. })));
    assert!(is_later(&post.send(&letter, now()).await));
}

#[tokio::test]
async fn a_push_address_on_no_list_is_never_knocked_at() {
    let (port, heard) = provider(vec![say("201 Created", "", "")]).await;
    let place = tempfile::tempdir().unwrap();
    let mut settings = push_settings(place.path());
    settings.notify_hosts = vec!["push.example".to_owned()];
    let post = Post::from_settings(&settings).unwrap();
    for endpoint in [format!("http://127.0.0.1:{port}/"), format!("http://push.example:{port}/")] {
        let to = Address::Push(subscription(&endpoint));
        assert!(is_never(&post.send(&Letter { to, ..text("r-1") }, now()).await), "{endpoint}");
    }
    assert_eq!(heard.count(), 0);
}

#[test]
fn what_a_browser_posts_to_subscribe_is_read_and_kept_in_the_same_form() {
    let posted = r#"{"endpoint": "https://push.example/x", "expirationTime": null, "keys": {
        "p256dh": "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4",
        "auth": "BTBZMqHH6r4Tts7J_aSIgg"}}"#;
    let read = PushSubscription::read(posted).unwrap();
    assert_eq!(PushSubscription::read(&serde_json::to_string(&read).unwrap()).unwrap(), read);
    for bad in ["", "{}", &posted.replace("https", "file"), &posted.replace("BCV", "BCW"), &" ".repeat(5_000)]
    {
        assert!(PushSubscription::read(bad).is_err(), "{bad}");
    }
}
