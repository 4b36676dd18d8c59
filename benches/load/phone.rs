//! Phones: each at an address of its own on loopback, sending as the pages do, and trying again as they do.

use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::time::Duration;
use std::time::Instant;

use data_encoding::HEXLOWER;
use reqwest::header::ACCEPT;
use reqwest::header::CONTENT_TYPE;
use reqwest::header::COOKIE;
use reqwest::header::RETRY_AFTER;
use sha2::Digest;
use sha2::Sha256;

use closewatch::ids::Chance;
use closewatch::store::BlobName;
use closewatch::store::Blobs;
use closewatch::store::Db;
use closewatch::store::checks;
use closewatch::store::key_file;
use closewatch::store::photos;

use crate::server::House;
use crate::support::Sender;
use crate::support::photo_body;

/// What a page waits between its tries, as in `static/patient/sending.js`.
const WAITS_S: [u64; 7] = [1, 2, 4, 8, 16, 32, 60];
/// No answer for so long: the line counts as lost.
const UNANSWERED: Duration = Duration::from_secs(60);

/// A browser at one address.
#[derive(Clone)]
pub struct Browser {
    client: reqwest::Client,
    server: String,
}

/// What came back.
pub struct Answer {
    pub status: u16,
    pub after: Option<u64>,
    pub body: Vec<u8>,
}

impl Browser {
    /// `net` and `number` make the address `127.net.a.b`.
    pub fn at(server: &str, net: u8, number: usize) -> Browser {
        let address = address(net, number);
        let client = reqwest::Client::builder()
            .local_address(IpAddr::V4(address))
            .redirect(reqwest::redirect::Policy::none())
            .timeout(UNANSWERED)
            .build()
            .expect("a client for plain http");
        Browser { client, server: format!("http://{server}") }
    }

    pub async fn get(&self, path: &str, cookie: &str) -> reqwest::Result<Answer> {
        answer(self.client.get(format!("{}{path}", self.server)).header(COOKIE, cookie).send().await?).await
    }

    /// The answer itself, for a stream.
    pub async fn listen(&self, path: &str, cookie: &str) -> reqwest::Result<reqwest::Response> {
        let request = self.client.get(format!("{}{path}", self.server)).header(COOKIE, cookie);
        request.timeout(Duration::from_secs(1_200)).send().await
    }

    pub async fn post(&self, path: &str, cookie: &str, kind: &str, body: Vec<u8>) -> reqwest::Result<Answer> {
        let request = self
            .client
            .post(format!("{}{path}", self.server))
            .header(COOKIE, cookie)
            .header(ACCEPT, "application/json")
            .header("sec-fetch-site", "same-origin")
            .header(CONTENT_TYPE, kind)
            .body(body);
        answer(request.send().await?).await
    }

    pub async fn post_form(
        &self,
        path: &str,
        cookie: &str,
        fields: &[(&str, &str)],
    ) -> reqwest::Result<Answer> {
        let body = serde_urlencoded::to_string(fields).expect("words can be written as a form");
        self.post(path, cookie, "application/x-www-form-urlencoded", body.into_bytes()).await
    }

    /// Sends until the server says something final, and gives up at `until`.
    async fn insist(&self, path: &str, cookie: &str, body: &Body, until: Instant) -> Insisted {
        let (kind, bytes) = body;
        let mut turned_away = 0;
        for wait in WAITS_S.iter().chain(std::iter::repeat(&WAITS_S[6])) {
            let answer = self.post(path, cookie, kind, bytes.clone()).await.ok();
            let again = answer.as_ref().is_none_or(|answer| matches!(answer.status, 408 | 429 | 500..=506));
            if !again || Instant::now() >= until {
                return Insisted { answer: answer.filter(|_| !again), turned_away };
            }
            turned_away += 1;
            let after = answer.and_then(|answer| answer.after).unwrap_or(0);
            // As the page does: never sooner than asked, and not everybody at once.
            let spread = 0.75 + f64::from(Chance::OperatingSystem.below(1_000)) / 2_000.0;
            let pause_s = (*wait).max(after) as f64 * spread + after as f64 / 4.0;
            tokio::time::sleep(Duration::from_secs_f64(pause_s)).await;
        }
        Insisted { answer: None, turned_away }
    }
}

type Body = (&'static str, Vec<u8>);

struct Insisted {
    /// `None`: it was never taken.
    answer: Option<Answer>,
    turned_away: usize,
}

async fn answer(response: reqwest::Response) -> reqwest::Result<Answer> {
    let after = response.headers().get(RETRY_AFTER).and_then(|after| after.to_str().ok()?.parse().ok());
    let status = response.status().as_u16();
    Ok(Answer { status, after, body: response.bytes().await?.to_vec() })
}

/// One of the many addresses of loopback, none of them that of a proxy.
pub fn address(net: u8, number: usize) -> Ipv4Addr {
    let number = u16::try_from(number).expect("not so many addresses");
    let [high, low] = (number + 1).to_be_bytes();
    Ipv4Addr::new(127, net, high, low)
}

/// A check on its way, and what the phone was told.
#[derive(Clone)]
pub struct Sent {
    pub by: Sender,
    pub form_key: String,
    /// The server's word that the answers are in; `None`: it never said so.
    pub receipt: Option<String>,
    /// SHA-256 of each photo the server said it has.
    pub photos: Vec<String>,
    /// Photos it had to send.
    pub wanted: usize,
    /// Until the answers were in, and until all of it was.
    pub answers_took: Duration,
    pub took: Duration,
    /// Times it was told to come again, or was not answered.
    pub turned_away: usize,
}

impl Sent {
    pub fn is_whole(&self) -> bool {
        self.receipt.is_some() && self.photos.len() == self.wanted
    }
}

/// Sends one check as a page with scripts does: the answers first, then one photo after the other.
pub async fn send_check(
    browser: &Browser,
    by: &Sender,
    form_key: &str,
    pictures: &[Vec<u8>],
    patience: Duration,
) -> Sent {
    let begun = Instant::now();
    let until = begun + patience;
    let form = format!("form_key={form_key}&danger=none&better=same&photos_expected={}", pictures.len());
    let form = ("application/x-www-form-urlencoded", form.into_bytes());
    let answers = browser.insist("/my/check/answers", &by.cookie, &form, until).await;
    let mut sent = Sent {
        by: by.clone(),
        form_key: form_key.to_owned(),
        receipt: answers.answer.as_ref().and_then(receipt),
        photos: Vec::new(),
        wanted: pictures.len(),
        answers_took: begun.elapsed(),
        took: begun.elapsed(),
        turned_away: answers.turned_away,
    };
    for (number, picture) in pictures.iter().enumerate() {
        let body = photo_form(form_key, number + 1, picture);
        let photo = browser.insist("/my/check/photo", &by.cookie, &body, until).await;
        sent.turned_away += photo.turned_away;
        if photo.answer.is_some_and(|answer| answer.status == 200) {
            sent.photos.push(HEXLOWER.encode(&Sha256::digest(picture)));
        }
    }
    sent.took = begun.elapsed();
    sent
}

fn receipt(answer: &Answer) -> Option<String> {
    let json: serde_json::Value = serde_json::from_slice(&answer.body).ok()?;
    json["receipt"].as_str().map(str::to_owned)
}

pub fn photo_form(form_key: &str, position: usize, picture: &[u8]) -> Body {
    ("multipart/form-data; boundary=edge", photo_body(form_key, position, picture))
}

/// What the phones were told and the books do not hold.
#[derive(Clone, Copy, Debug, Default)]
pub struct Lost {
    pub checks: usize,
    pub photos: usize,
    /// Photos with a row whose files cannot be read as they were kept.
    pub unreadable: usize,
    pub doubled: usize,
}

impl Lost {
    pub fn all(self) -> usize {
        self.checks + self.photos + self.unreadable + self.doubled
    }
}

/// Holds every receipt against the books and the photo folder. The server is down.
pub async fn audit(house: &House, told: &[Sent]) -> Lost {
    let folder = house.place.folder.path();
    let db = Db::open(&house.place.url).await.expect("the books open");
    let keys = key_file::read_keys(&folder.join("sealing-keys")).expect("the keys can be read");
    let blobs = Blobs::in_folder(&folder.join("photos")).expect("the folder is there");
    let blobs = blobs.sealed_with(keys.expect("the keys are there"), Chance::seeded(2));
    let mut conn = db.read().await.expect("the books can be read");
    let mut lost = Lost::default();
    for sent in told {
        let Some(receipt) = &sent.receipt else { continue };
        let found = checks::by_form_key(&mut conn, sent.by.link, &sent.form_key).await.expect("a reading");
        let Some(check) = found.filter(|check| check.receipt == *receipt) else {
            lost.checks += 1;
            lost.photos += sent.photos.len();
            continue;
        };
        let kept = photos::of_check(&mut conn, check.practice, check.id).await.expect("a reading");
        lost.doubled += kept.len().saturating_sub(sent.wanted);
        for sha256 in &sent.photos {
            let Some(photo) = kept.iter().find(|photo| photo.sent_sha256 == *sha256) else {
                lost.photos += 1;
                continue;
            };
            let Some(renditions) = &photo.renditions else {
                lost.unreadable += 1;
                continue;
            };
            for name in [&renditions.full, &renditions.review, &renditions.small] {
                let bytes = blobs.get(&mut conn, check.practice, name).await.ok().flatten();
                lost.unreadable += usize::from(bytes.is_none_or(|bytes| BlobName::of(&bytes) != *name));
            }
        }
    }
    drop(conn);
    db.close().await;
    lost
}
