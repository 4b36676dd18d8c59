//! The real program, killed again and again while checks come in: whatever it had acknowledged is there afterwards,
//! whole, and once.

mod support;

use std::collections::BTreeMap;
use std::io::BufRead;
use std::io::BufReader;
use std::process::Child;
use std::process::Command;
use std::process::Stdio;
use std::sync::Arc;
use std::sync::Mutex;
use std::time::Duration;

use data_encoding::HEXLOWER;
use serde_json::Value;
use sha2::Digest;
use sha2::Sha256;
use tokio::io::AsyncReadExt;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;

use closewatch::ids::Chance;
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

use support::Phone;
use support::Place;
use support::Practice;
use support::in_each_place;
use support::jpeg;
use support::rows_of;

const ROUNDS: u32 = 10;
const SENDERS: u64 = 4;

/// The program on a socket.
struct Running {
    child: Child,
    /// As in `127.0.0.1:40123`.
    address: String,
}

impl Running {
    fn start(place: &Place) -> Running {
        let mut child = Command::new(env!("CARGO_BIN_EXE_closewatch"))
            .args(["serve", "--port", "0", "--data"])
            .arg(place.folder.path())
            .args(["--database-url", &place.url])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let listens =
            lines.map_while(Result::ok).find(|line| line.starts_with("Closewatch listens on http://"));
        let line = listens.expect("the program says where it listens");
        let address = line.trim_start_matches("Closewatch listens on http://").split(' ').next().unwrap();
        Running { child, address: address.to_owned() }
    }

    /// As `kill -9` does it: no goodbye, nothing flushed.
    fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

/// One check on its way: what the phone sent, and what it was told.
#[derive(Clone, Default)]
struct Sent {
    /// The server's word that the answers are in.
    receipt: Option<String>,
    /// SHA-256 of the picture, when the server said that it is in.
    photo: Option<String>,
}

type Told = Arc<Mutex<BTreeMap<String, Sent>>>;

/// Posts once and reads the answer to its end. `None`: the line broke, or what came was no JSON.
async fn post(address: &str, path: &str, cookie: &str, kind: &str, body: &[u8]) -> Option<Value> {
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
    let is_fine = head.starts_with("HTTP/1.1 200");
    let json: Value = serde_json::from_str(&body[body.find('{')?..=body.rfind('}')?]).ok()?;
    is_fine.then_some(json)
}

async fn send_answers(address: &str, cookie: &str, form_key: &str) -> Option<String> {
    let body = format!("form_key={form_key}&danger=none&better=same&photos_expected=1");
    let kind = "application/x-www-form-urlencoded";
    let answer = post(address, "/my/check/answers", cookie, kind, body.as_bytes()).await?;
    Some(answer["receipt"].as_str()?.to_owned())
}

async fn send_photo(address: &str, cookie: &str, form_key: &str, picture: &[u8]) -> Option<()> {
    let mut body = Vec::new();
    for (name, value) in [("form_key", form_key), ("position", "1")] {
        let part = format!("--edge\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
        body.extend_from_slice(part.as_bytes());
    }
    body.extend_from_slice(
        b"--edge\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"photo.jpg\"\r\n\
          Content-Type: image/jpeg\r\n\r\n",
    );
    body.extend_from_slice(picture);
    body.extend_from_slice(b"\r\n--edge--\r\n");
    let kind = "multipart/form-data; boundary=edge";
    let answer = post(address, "/my/check/photo", cookie, kind, &body).await?;
    (answer["ok"] == Value::Bool(true)).then_some(())
}

/// Sends check after check until the line breaks, then stops. Each form that was begun is in `told`, with as much as
/// the server acknowledged.
async fn send_until_cut(address: String, cookie: String, told: Told, round: u32, sender: u64) {
    for number in 0.. {
        let form_key = format!("round{round}sender{sender}number{number}");
        let picture = jpeg(u64::from(round) * 10_000 + sender * 100 + number);
        told.lock().unwrap().insert(form_key.clone(), Sent::default());
        let Some(receipt) = send_answers(&address, &cookie, &form_key).await else { return };
        told.lock().unwrap().get_mut(&form_key).unwrap().receipt = Some(receipt);
        if send_photo(&address, &cookie, &form_key, &picture).await.is_none() {
            return;
        }
        let name = HEXLOWER.encode(&Sha256::digest(&picture));
        told.lock().unwrap().get_mut(&form_key).unwrap().photo = Some(name);
    }
}

/// Sends every form without a receipt once more, as a phone does that was never answered.
async fn retry(address: &str, cookie: &str, told: &Told) {
    let unanswered: Vec<String> = {
        let told = told.lock().unwrap();
        told.iter().filter(|(_, sent)| sent.receipt.is_none()).map(|(key, _)| key.clone()).collect()
    };
    for form_key in unanswered {
        let receipt = send_answers(address, cookie, &form_key).await.expect("the server is up");
        told.lock().unwrap().get_mut(&form_key).unwrap().receipt = Some(receipt);
    }
}

async fn check_everything(conn: &mut Conn, blobs: &Blobs, phone: &Phone, told: &BTreeMap<String, Sent>) {
    let link = &phone.patient.issued.link;
    let mut whole_photos = 0;
    for (form_key, sent) in told {
        let check = checks::by_form_key(conn, link.id, form_key).await.unwrap();
        let check = check.unwrap_or_else(|| panic!("{form_key} was acknowledged and is gone"));
        assert_eq!(Some(&check.receipt), sent.receipt.as_ref(), "{form_key} has another receipt");
        let kept = photos::of_check(conn, link.practice, check.id).await.unwrap();
        assert!(kept.len() <= 1, "{form_key} has a photo twice");
        if let Some(name) = &sent.photo {
            assert_eq!(&kept[0].sent_sha256, name, "{form_key}");
        }
        // Whatever row there is, its blobs are whole: they were durable before it was written.
        for photo in &kept {
            let renditions = photo.renditions.as_ref().expect("a painted picture can be read");
            for blob in [&renditions.full, &renditions.review, &renditions.small] {
                let bytes = blobs
                    .get(conn, link.practice, blob)
                    .await
                    .unwrap()
                    .unwrap_or_else(|| panic!("{form_key}: no {blob}"));
                assert_eq!(&BlobName::of(&bytes), blob, "{form_key}: half a photo");
            }
            let measured = measurements::of_photo(conn, link.practice, photo.id).await.unwrap().len();
            let waits = measuring_jobs::is_waiting(conn, link.practice, photo.id).await.unwrap();
            assert_eq!(
                (measured, waits),
                (usize::from(!waits), waits),
                "{form_key}: measured once, or waiting"
            );
            whole_photos += 1;
        }
    }
    let acknowledged = told.values().filter(|sent| sent.photo.is_some()).count();
    println!("{} checks, {acknowledged} photos acknowledged, {whole_photos} kept", told.len());
    assert!(acknowledged > 0 && whole_photos >= acknowledged, "nothing was tried");
    let begun = i64::try_from(told.len()).unwrap();
    // The canary's practice has checks of its own.
    let kept = rows_of(conn, link.practice).await["wound_check"].len();
    assert_eq!(i64::try_from(kept).unwrap(), begun, "each form is one check");
    assert_eq!(audit::first_break(conn, link.practice).await.unwrap(), None);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn what_was_acknowledged_survives_ten_kills_and_a_retry_makes_no_second_check() {
    in_each_place(async |place| {
        let practice = Practice::open_by(place, Clock::Machine).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        practice.desk().db.close().await;
        // Over plain http on loopback the cookie has its plain name.
        let cookie = format!("closewatch-phone={}", phone.token);
        let chance = Chance::seeded(41);
        let told = Told::default();
        for round in 0..ROUNDS {
            let running = Running::start(place);
            retry(&running.address, &cookie, &told).await;
            let sending: Vec<_> = (0..SENDERS)
                .map(|sender| {
                    let (address, cookie) = (running.address.clone(), cookie.clone());
                    tokio::spawn(send_until_cut(address, cookie, Arc::clone(&told), round, sender))
                })
                .collect();
            tokio::time::sleep(Duration::from_millis(100 + u64::from(chance.below(900)))).await;
            running.kill();
            for sender in sending {
                sender.await.unwrap();
            }
        }
        let running = Running::start(place);
        retry(&running.address, &cookie, &told).await;
        running.kill();
        let db = Db::open(&place.url).await.unwrap();
        let keys = key_file::open_keys(&place.folder.path().join("sealing-keys"), &Chance::seeded(1));
        let blobs = Blobs::in_folder(&place.folder.path().join("photos")).unwrap();
        let blobs = blobs.sealed_with(keys.unwrap().0, Chance::seeded(2));
        let told = told.lock().unwrap().clone();
        check_everything(&mut db.read().await.unwrap(), &blobs, &phone, &told).await;
        db.close().await;
    })
    .await;
}
