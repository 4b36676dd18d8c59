//! Phones that send check after check to the real program, what each was told, and whether all of it is there.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::sync::Mutex;
use std::time::Duration;

use data_encoding::HEXLOWER;
use futures::future::join_all;
use serde_json::Value;
use sha2::Digest;
use sha2::Sha256;
use tokio::io::AsyncReadExt;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;
use tokio::task::JoinHandle;

use closewatch::ids::Chance;
use closewatch::ids::LinkId;
use closewatch::ids::PracticeId;
use closewatch::store::BlobName;
use closewatch::store::Blobs;
use closewatch::store::Conn;
use closewatch::store::Db;
use closewatch::store::audit;
use closewatch::store::checks;
use closewatch::store::key_file;
use closewatch::store::measurements;
use closewatch::store::measuring_jobs;
use closewatch::store::photos;
use closewatch::web::Clock;

use super::Phone;
use super::Place;
use super::Practice;
use super::jpeg;
use super::rows_of;

/// A phone in a patient's hand.
#[derive(Clone, Debug)]
pub struct Sender {
    pub cookie: String,
    pub link: LinkId,
    pub practice: PracticeId,
}

impl Sender {
    pub fn of(phone: &Phone) -> Sender {
        let link = &phone.patient.issued.link;
        // Over plain http on loopback the cookie has its plain name.
        let cookie = format!("closewatch-phone={}", phone.token);
        Sender { cookie, link: link.id, practice: link.practice }
    }
}

/// Enrols so many patients in a practice on the machine's clock, and closes the books again.
pub async fn senders(place: &Place, how_many: usize) -> Vec<Sender> {
    let practice = Practice::open_by(place, Clock::Machine).await;
    let (office, surgeon) = (practice.office().await, practice.surgeon().await);
    let mut all = Vec::new();
    for number in 0..how_many {
        let name = format!("Mia Stone {number}");
        let phone = office.enrols(&name, &surgeon).await.opens_link().await;
        all.push(Sender::of(&phone));
    }
    practice.desk().db.close().await;
    all
}

/// One check on its way: what the phone sent, and what it was told.
#[derive(Clone, Debug)]
pub struct Sent {
    pub by: Sender,
    /// The seed of its picture.
    pub picture: u64,
    /// The server's word that the answers are in.
    pub receipt: Option<String>,
    /// SHA-256 of the picture, when the server said that it is in.
    pub photo: Option<String>,
}

/// By form key.
pub type Told = Arc<Mutex<BTreeMap<String, Sent>>>;

/// What came back: the status line's number, and the body. `None`: the line broke.
pub async fn post(address: &str, path: &str, cookie: &str, kind: &str, body: &[u8]) -> Option<(u16, String)> {
    let mut line = TcpStream::connect(address).await.ok()?;
    let head = format!(
        "POST {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nSec-Fetch-Site: same-origin\r\n\
         Accept: application/json\r\nCookie: {cookie}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\n\r\n",
        body.len()
    );
    line.write_all(head.as_bytes()).await.ok()?;
    line.write_all(body).await.ok()?;
    let mut answer = String::new();
    line.read_to_string(&mut answer).await.ok()?;
    let (head, body) = answer.split_once("\r\n\r\n")?;
    Some((head.get(9..12)?.parse().ok()?, body.to_owned()))
}

/// The JSON in an answer that is fine; `None`: it is none.
fn fine(answer: Option<(u16, String)>) -> Option<Value> {
    let (status, body) = answer?;
    let json: Value = serde_json::from_str(&body[body.find('{')?..=body.rfind('}')?]).ok()?;
    (status == 200).then_some(json)
}

/// What the server said to a check's answers.
pub async fn post_answers(address: &str, by: &Sender, form_key: &str) -> Option<(u16, String)> {
    let body = format!("form_key={form_key}&danger=none&better=same&photos_expected=1");
    let kind = "application/x-www-form-urlencoded";
    post(address, "/my/check/answers", &by.cookie, kind, body.as_bytes()).await
}

/// What the server said to a check's photo.
pub async fn post_photo(address: &str, by: &Sender, form_key: &str, picture: &[u8]) -> Option<(u16, String)> {
    let body = photo_body(form_key, 1, picture);
    post(address, "/my/check/photo", &by.cookie, "multipart/form-data; boundary=edge", &body).await
}

/// A photo as a form brings it, with `edge` between its parts. `position`: which of the form's, from 1.
pub fn photo_body(form_key: &str, position: usize, picture: &[u8]) -> Vec<u8> {
    let mut body = Vec::new();
    for (name, value) in [("form_key", form_key), ("position", &position.to_string())] {
        let part = format!("--edge\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
        body.extend_from_slice(part.as_bytes());
    }
    body.extend_from_slice(
        b"--edge\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"photo.jpg\"\r\n\
          Content-Type: image/jpeg\r\n\r\n",
    );
    body.extend_from_slice(picture);
    body.extend_from_slice(b"\r\n--edge--\r\n");
    body
}

/// Sends the answers of a check; its receipt.
pub async fn send_answers(address: &str, by: &Sender, form_key: &str) -> Option<String> {
    Some(fine(post_answers(address, by, form_key).await)?["receipt"].as_str()?.to_owned())
}

/// Sends the photo of a check; `None`: the server did not say that it has it.
pub async fn send_photo(address: &str, by: &Sender, form_key: &str, picture: &[u8]) -> Option<()> {
    let answer = fine(post_photo(address, by, form_key, picture).await)?;
    (answer["ok"] == Value::Bool(true)).then_some(())
}

/// Sends one check, answers and then photo, and notes what it was told. False: something was not acknowledged.
pub async fn send_check(address: &str, by: &Sender, told: &Told, form_key: &str, picture: u64) -> bool {
    let bytes = jpeg(picture);
    let begun = Sent { by: by.clone(), picture, receipt: None, photo: None };
    told.lock().unwrap().entry(form_key.to_owned()).or_insert(begun);
    let Some(receipt) = send_answers(address, by, form_key).await else { return false };
    told.lock().unwrap().get_mut(form_key).unwrap().receipt = Some(receipt);
    if send_photo(address, by, form_key, &bytes).await.is_none() {
        return false;
    }
    let name = HEXLOWER.encode(&Sha256::digest(&bytes));
    told.lock().unwrap().get_mut(form_key).unwrap().photo = Some(name);
    true
}

/// Sends check after check until the line breaks, then stops.
pub async fn send_until_cut(address: String, by: Sender, told: Told, name: String) {
    for number in 0.. {
        let form_key = format!("{name}number{number}");
        let picture = told.lock().unwrap().len() as u64;
        if !send_check(&address, &by, &told, &form_key, picture).await {
            return;
        }
    }
}

/// Sends once more whatever was not acknowledged, as a phone does that was never answered.
pub async fn retry(address: &str, told: &Told) {
    let unanswered: Vec<(String, Sent)> = {
        let told = told.lock().unwrap();
        let open = told.iter().filter(|(_, sent)| sent.receipt.is_none() || sent.photo.is_none());
        open.map(|(key, sent)| (key.clone(), sent.clone())).collect()
    };
    let sending = unanswered.iter().map(async |(form_key, sent)| {
        let came = send_check(address, &sent.by, told, form_key, sent.picture).await;
        assert!(came, "{form_key} is not taken, and the server is up");
    });
    join_all(sending).await;
}

/// What a comparison found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Found {
    pub receipts: usize,
    pub photos: usize,
    /// Receipts the books do not know, or know otherwise.
    pub lost_checks: usize,
    /// Acknowledged photos without a row.
    pub lost_photos: usize,
    /// Rows whose blobs are gone, changed or cut off.
    pub broken_photos: usize,
    /// Checks or photos that are there twice.
    pub doubles: usize,
}

impl Found {
    pub fn is_whole(self) -> bool {
        (self.lost_checks, self.lost_photos, self.broken_photos, self.doubles) == (0, 0, 0, 0)
    }

    /// As in `12 receipts and 11 photos acknowledged: 0 checks lost, 0 photos lost, 0 broken, 0 doubled`.
    pub fn line(self) -> String {
        let Found { receipts, photos, lost_checks, lost_photos, broken_photos, doubles } = self;
        format!(
            "{receipts} receipts and {photos} photos acknowledged: {lost_checks} checks lost, \
             {lost_photos} photos lost, {broken_photos} broken, {doubles} doubled"
        )
    }
}

/// Compares what the phones were told with the books and the photo folder. The server is down.
pub async fn compare(place: &Place, told: &Told) -> Found {
    compare_in(place.folder.path(), &place.url, told).await
}

/// The same, for these books and this folder.
pub async fn compare_in(folder: &Path, database_url: &str, told: &Told) -> Found {
    let db = Db::open(database_url).await.unwrap();
    let keys = key_file::read_keys(&folder.join("sealing-keys")).unwrap();
    let blobs = Blobs::in_folder(&folder.join("photos")).unwrap();
    let blobs = blobs.sealed_with(keys.unwrap(), Chance::seeded(2));
    let told = told.lock().unwrap().clone();
    let mut conn = db.read().await.unwrap();
    let mut found = Found::default();
    for (form_key, sent) in &told {
        compare_one(&mut conn, &blobs, form_key, sent, &mut found).await;
    }
    let practices: std::collections::BTreeSet<PracticeId> =
        told.values().map(|sent| sent.by.practice).collect();
    for practice in practices {
        // The canary's practice has checks of its own.
        let kept = rows_of(&mut conn, practice).await["wound_check"].len();
        found.doubles += kept.saturating_sub(told.len());
        assert_eq!(audit::first_break(&mut conn, practice).await.unwrap(), None, "the record is broken");
    }
    drop(conn);
    db.close().await;
    found
}

async fn compare_one(conn: &mut Conn, blobs: &Blobs, form_key: &str, sent: &Sent, found: &mut Found) {
    found.receipts += usize::from(sent.receipt.is_some());
    found.photos += usize::from(sent.photo.is_some());
    let practice = sent.by.practice;
    let Some(check) = checks::by_form_key(conn, sent.by.link, form_key).await.unwrap() else {
        found.lost_checks += usize::from(sent.receipt.is_some());
        found.lost_photos += usize::from(sent.photo.is_some());
        return;
    };
    found.lost_checks += usize::from(sent.receipt.as_ref().is_some_and(|receipt| *receipt != check.receipt));
    let kept = photos::of_check(conn, practice, check.id).await.unwrap();
    found.doubles += kept.len().saturating_sub(1);
    let is_kept = |name: &String| kept.iter().any(|photo| photo.sent_sha256 == *name);
    found.lost_photos += usize::from(sent.photo.as_ref().is_some_and(|name| !is_kept(name)));
    // Whatever row there is, its blobs are whole: they were durable before it was written.
    for photo in &kept {
        let renditions = photo.renditions.as_ref().expect("a painted picture can be read");
        let mut is_whole = true;
        for blob in [&renditions.full, &renditions.review, &renditions.small] {
            let bytes = blobs.get(conn, practice, blob).await.ok().flatten();
            is_whole &= bytes.is_some_and(|bytes| BlobName::of(&bytes) == *blob);
        }
        found.broken_photos += usize::from(!is_whole);
        let measured = measurements::of_photo(conn, practice, photo.id).await.unwrap().len();
        let waits = measuring_jobs::is_waiting(conn, practice, photo.id).await.unwrap();
        let once = (usize::from(!waits), waits);
        assert_eq!((measured, waits), once, "{form_key}: measured once, or waiting");
    }
}

/// Phones that send.
pub struct Sending(Vec<JoinHandle<()>>);

/// Has every phone send, until its line breaks.
pub fn all_send(address: &str, phones: &[Sender], told: &Told, name: &str) -> Sending {
    let each = phones.iter().enumerate().map(|(number, phone)| {
        let (address, phone, name) = (address.to_owned(), phone.clone(), format!("{name}phone{number}"));
        tokio::spawn(send_until_cut(address, phone, Arc::clone(told), name))
    });
    Sending(each.collect())
}

impl Sending {
    /// Waits until the line of each is broken.
    pub async fn ends(self) {
        for sender in self.0 {
            sender.await.unwrap();
        }
    }
}

/// Sends from every phone at once for so long, then ends the server by `end`, and waits for the phones.
pub async fn send_for(
    address: &str,
    phones: &[Sender],
    told: &Told,
    name: &str,
    time: Duration,
    end: impl FnOnce(),
) {
    let sending = all_send(address, phones, told, name);
    tokio::time::sleep(time).await;
    end();
    sending.ends().await;
}
