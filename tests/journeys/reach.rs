//! How people are reached: their own addresses, what providers tell back, STOP and START, and messages in a browser.

use std::io::Read;
use std::io::Write;
use std::net::TcpListener;
use std::sync::mpsc;

use axum::body::Body;
use axum::http::Method;
use axum::http::Request;
use axum::http::StatusCode;
use axum::http::header;
use hmac::Hmac;
use hmac::KeyInit;
use hmac::Mac;
use p256::SecretKey;
use p256::elliptic_curve::sec1::ToSec1Point;
use p256::pkcs8::EncodePrivateKey;
use sha2::Sha256;

use closewatch::config::NotifySettings;
use closewatch::store::addresses;
use closewatch::store::addresses::Reached;
use closewatch::store::audit;
use closewatch::store::deliveries;
use closewatch::store::deliveries::Delivery;
use closewatch::store::deliveries::DeliveryState;
use closewatch::store::ladders;
use closewatch::store::notices;
use closewatch::triage::Decision;

use crate::support;
use crate::support::Page;
use crate::support::Patient;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Staff;
use crate::support::in_danger;
use crate::support::no_danger;
use crate::support::on_each_engine;
use crate::support::send;
use crate::support::tags;

const SECRET: &str = "a secret of the provider, 32 long";

/// The same practice where a provider of texts tells back what became of them.
fn with_provider(practice: &Practice) -> Practice {
    std::fs::create_dir_all(&practice.letters).unwrap();
    let file = practice.letters.join("../sms-secret");
    std::fs::write(&file, SECRET).unwrap();
    practice.with_ways(&NotifySettings {
        notify_hosts: vec!["texts.example".to_owned()],
        sms_url: Some("https://texts.example/send".to_owned()),
        sms_secret_file: Some(file),
        ..NotifySettings::default()
    })
}

fn signed(body: &str, secret: &str, at_s: i64) -> Request<Body> {
    let mut mac = Hmac::<Sha256>::new_from_slice(secret.as_bytes()).unwrap();
    mac.update(format!("{at_s}.{body}").as_bytes());
    let signature = data_encoding::HEXLOWER.encode(&mac.finalize().into_bytes());
    Request::builder()
        .method(Method::POST)
        .uri("/provider/status")
        .header(header::HOST, "wounds.example")
        .header("closewatch-timestamp", at_s.to_string())
        .header("closewatch-signature", format!("v1={signature}"))
        .body(Body::from(body.to_owned()))
        .unwrap()
}

/// The provider tells something back, believed or not.
async fn tells(server: &Practice, body: &str) -> Page {
    send(&server.router, signed(body, SECRET, server.now().as_second())).await
}

async fn letters(practice: &Practice, state: DeliveryState) -> Vec<Delivery> {
    deliveries::in_state(&mut *practice.books().await, practice.id, state, 100).await.unwrap()
}

async fn lines(practice: &Practice, action: &str) -> Vec<String> {
    let found = audit::newest_of(&mut *practice.books().await, practice.id, action, 100).await.unwrap();
    found.into_iter().map(|line| line.detail).collect()
}

async fn adds(who: &Staff, channel: &str, address: &str) -> Page {
    who.presses("/me/addresses", &[("channel", channel), ("address", address)]).await
}

/// The ids of the member's addresses, in order.
async fn ids(who: &Staff) -> Vec<String> {
    let mut books = who.practice.books().await;
    let kept = addresses::of_staff(&mut books, who.practice.id, who.member.id).await.unwrap();
    kept.iter().map(|one| one.id.to_string()).collect()
}

#[tokio::test]
async fn people_keep_their_own_addresses_in_order_and_test_them() {
    on_each_engine(async |practice| {
        let (surgeon, lead) = (practice.surgeon().await, practice.lead().await);
        surgeon.opens("/me").await.must_say("Nothing reaches you outside this page.");
        lead.opens("/practice/duty").await.must_say("Dr. Rosa Lind has no address that works");
        let bad = adds(&surgeon, "sms", "202-555-01x2").await;
        assert_eq!(bad.status, StatusCode::UNPROCESSABLE_ENTITY);
        bad.must_say("Nothing was added.").must_say("Enter a phone number of 7 to 15 digits");
        assert_eq!(bad.field("address").as_deref(), Some("202-555-01x2"), "what was typed stays");
        assert!(
            tags(&bad.html()).iter().any(|tag| tag.contains("value=\"sms\"") && tag.ends_with("checked"))
        );
        adds(&surgeon, "email", "rosa at harbor").await.must_say("Enter an e-mail address");
        adds(&surgeon, "", "202-555-0150").await.must_say("Choose text, phone call or e-mail.");
        adds(&surgeon, "sms", "202-555-0150").await.is_fine();
        adds(&surgeon, "sms", "+1 (202) 555-0150").await.must_say("You are reached here already.");
        adds(&surgeon, "email", "rosa@harbor.example").await.is_fine();
        adds(&surgeon, "voice", "202-555-0150").await.is_fine();
        lead.opens("/practice/duty").await.must_not_say("Called, but not reached");
        let before = ids(&surgeon).await;
        surgeon.presses("/me/addresses/first", &[("id", &before[2])]).await.is_fine();
        let after = ids(&surgeon).await;
        assert_eq!(after, [before[2].clone(), before[0].clone(), before[1].clone()]);
        surgeon.presses("/me/addresses/test", &[("id", &before[1])]).await.is_fine();
        surgeon.opens("/me").await.must_say("never tested");
        practice.minutes_of_work_pass(1).await;
        let sent = letters(&practice, DeliveryState::Sent).await;
        assert_eq!(sent.len(), 1);
        assert_eq!((sent[0].channel, sent[0].address.as_str()), (Reached::Email, "rosa@harbor.example"));
        assert!(sent[0].body.starts_with("This is a test."));
        surgeon.opens("/me").await.must_say("Test sent 11:00.");
        // Nobody else's can be touched.
        let office = practice.office().await;
        for path in ["/me/addresses/remove", "/me/addresses/first", "/me/addresses/test"] {
            let other = office.presses(path, &[("id", &before[0])]).await;
            assert_eq!(other.status, StatusCode::NOT_FOUND, "{path}");
        }
        for id in &before {
            surgeon.presses("/me/addresses/remove", &[("id", id)]).await.is_fine();
        }
        surgeon.opens("/me").await.must_say("Nothing reaches you outside this page.");
        assert_eq!(lines(&practice, "address.add").await, ["channel=voice", "channel=email", "channel=sms"]);
        assert_eq!(lines(&practice, "address.remove").await.len(), 3);
        lead.opens("/practice/record").await.must_say("removed an address of Dr. Rosa Lind");
    })
    .await;
}

#[tokio::test]
async fn a_provider_that_says_delivered_stops_no_ladder() {
    on_each_engine(async |practice| {
        let server = with_provider(&practice);
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        adds(&surgeon, "sms", "202-555-0150").await.is_fine();
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("urgent", in_danger(), &[]).await;
        practice.minutes_of_work_pass(1).await;
        let sent = letters(&practice, DeliveryState::Sent).await;
        let told = format!(r#"{{"reference": "{}", "state": "delivered"}}"#, sent[0].id);
        for _ in 0..3 {
            tells(&server, &told).await.is_fine();
        }
        assert_eq!(lines(&practice, "letter.delivered").await.len(), 1, "told thrice, noted once");
        assert_eq!(letters(&practice, DeliveryState::Delivered).await.len(), 1);
        let running = ladders::all_running(&mut *practice.books().await, practice.id).await.unwrap();
        assert_eq!(running.len(), 1);
        practice.minutes_of_work_pass(10).await;
        let mut books = practice.books().await;
        let rungs = ladders::rungs(&mut books, practice.id, running[0].id).await.unwrap();
        assert_eq!(rungs.len(), 3, "it climbs on");
        // Of a letter nobody knows, nothing comes.
        let unknown = r#"{"reference": "0190a7c2-0000-7000-8000-000000000000", "state": "failed"}"#;
        tells(&server, unknown).await.is_fine();
        tells(&server, r#"{"reference": "no id at all", "state": "delivered"}"#).await.is_fine();
    })
    .await;
}

#[tokio::test]
async fn a_letter_that_was_taken_and_did_not_arrive_goes_another_way_once() {
    on_each_engine(async |practice| {
        let server = with_provider(&practice);
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        adds(&surgeon, "sms", "202-555-0150").await.is_fine();
        adds(&surgeon, "voice", "202-555-0151").await.is_fine();
        let phone = office.enrols("Mia Stone", &surgeon).await.opens_link().await;
        phone.sends("urgent", in_danger(), &[]).await;
        practice.minutes_of_work_pass(1).await;
        let sent = letters(&practice, DeliveryState::Sent).await;
        assert_eq!(sent.len(), 1);
        let told =
            format!(r#"{{"reference": "{}", "state": "failed", "why": "no such number"}}"#, sent[0].id);
        // Here only texts are set up, so the way on is looked for by the server with all of them.
        let everywhere = Practice {
            app: server.app.clone().with_post(server.app.post.clone(), practice.app.outside.clone()),
            ..server.clone()
        };
        let everywhere = Practice { router: closewatch::web::router(&everywhere.app), ..everywhere };
        for _ in 0..3 {
            tells(&everywhere, &told).await.is_fine();
        }
        practice.seconds_pass(5);
        practice.works().await;
        let sent = letters(&practice, DeliveryState::Sent).await;
        assert_eq!(sent.len(), 1, "{sent:?}");
        assert_eq!((sent[0].channel, sent[0].address.as_str()), (Reached::Voice, "202-555-0151"));
        let dead = letters(&practice, DeliveryState::Dead).await;
        assert_eq!(dead.len(), 1);
        assert!(dead[0].why.contains("no such number"));
        assert_eq!(lines(&practice, "letter.dead").await.len(), 1, "told thrice, done once");
    })
    .await;
}

#[tokio::test]
async fn with_no_other_way_it_goes_the_same_way_again_and_then_a_person_sees_to_it() {
    on_each_engine(async |practice| {
        let server = with_provider(&practice);
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        answered(&practice, &patient, &surgeon, "one").await;
        let mut times = 0;
        loop {
            practice.minutes_of_work_pass(3).await;
            let sent = letters(&practice, DeliveryState::Sent).await;
            let Some(sent) = sent.first() else { break };
            times += 1;
            let told = format!(r#"{{"reference": "{}", "state": "failed"}}"#, sent.id);
            tells(&server, &told).await.is_fine();
            assert!(times < 10, "for ever");
        }
        assert_eq!(times, 3);
        // What no message tells, the office tells by voice.
        let calls = office.reads_callbacks().await;
        assert_eq!(calls.len(), 1);
        assert_eq!(calls[0].callback.reason, "An answer waits, and no message reaches the patient");
        practice.lead().await.opens("/practice/jobs").await.must_say("“An answer is there” to a patient");
    })
    .await;
}

async fn answered(practice: &Practice, patient: &Patient, surgeon: &Staff, key: &str) {
    let check = patient.opens_link().await.sends(key, no_danger(), &[]).await.check;
    surgeon.decides(check, Decision::HealingAsExpected, "Good.").await.unwrap();
    practice.works().await;
}

#[tokio::test]
async fn after_stop_the_patient_is_texted_no_more_and_rung_instead_until_start() {
    on_each_engine(async |practice| {
        let server = with_provider(&practice);
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let neighbour = practice.neighbour().await;
        let patient = office.enrols("Mia Stone", &surgeon).await;
        answered(&practice, &patient, &surgeon, "one").await;
        assert_eq!(letters(&practice, DeliveryState::Sent).await.len(), 1);
        let page = format!("/patients/{}", patient.enrolled.patient.id);
        office.opens(&page).await.must_not_say("STOP");
        // As the provider knows the number, not as the office typed it.
        let stop = r#"{"state": "opted_out", "from": "+12025550143"}"#;
        for _ in 0..2 {
            tells(&server, stop).await.is_fine();
        }
        office.opens(&page).await.must_say("No texts: the patient answered STOP, 11:00.");
        assert_eq!(lines(&practice, "opt_out.keep").await.len(), 1);
        let known_to_them =
            addresses::opted_out(&mut *practice.books().await, neighbour.id, Reached::Sms, "+12025550143")
                .await;
        assert!(!known_to_them.unwrap(), "a practice that does not know the number learns nothing of it");
        answered(&practice, &patient, &surgeon, "two").await;
        assert_eq!(
            letters(&practice, DeliveryState::Sent).await.len(),
            1,
            "no text, and no machine that rings"
        );
        let calls = office.reads_callbacks().await;
        assert_eq!(calls.len(), 1);
        office.opens("/callbacks").await.must_say("An answer waits, and no message reaches the patient");
        // One call for one check, however often it is looked at.
        let message = calls[0].callback.clone();
        assert_eq!(message.urgency, closewatch::triage::Urgency::Today);
        tells(&server, r#"{"state": "opted_in", "from": "+12025550143"}"#).await.is_fine();
        tells(&server, r#"{"state": "opted_in", "from": "+12025550143"}"#).await.is_fine();
        office.opens(&page).await.must_not_say("STOP");
        assert_eq!(lines(&practice, "opt_out.end").await.len(), 1);
        answered(&practice, &patient, &surgeon, "three").await;
        assert_eq!(letters(&practice, DeliveryState::Sent).await.len(), 2);
        assert_eq!(office.reads_callbacks().await.len(), 1);
    })
    .await;
}

#[tokio::test]
async fn a_colleague_who_answers_stop_is_told_so_and_the_lead_sees_it() {
    on_each_engine(async |practice| {
        let server = with_provider(&practice);
        let (surgeon, lead) = (practice.surgeon().await, practice.lead().await);
        adds(&surgeon, "sms", "202-555-0150").await.is_fine();
        tells(&server, r#"{"state": "opted_out", "from": "2025550150"}"#).await.is_fine();
        surgeon.opens("/me").await.must_say("You answered STOP, 11:00.").must_say("Nothing reaches you");
        lead.opens("/practice/staff").await.must_say("No address that works");
    })
    .await;
}

#[tokio::test]
async fn a_call_that_is_not_signed_by_a_provider_changes_nothing_and_is_counted() {
    on_each_engine(async |practice| {
        let server = with_provider(&practice);
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let patient = office.enrols("Mia Stone", &surgeon).await;
        let stop = r#"{"state": "opted_out", "from": "+12025550143"}"#;
        let now_s = server.now().as_second();
        let wrong = signed(stop, "another secret, which is as long!", now_s);
        let page = send(&server.router, wrong).await;
        assert_eq!(page.status, StatusCode::UNAUTHORIZED);
        page.must_say("not signed by a provider of ours");
        // Replayed after its time; with no signature at all; and where no provider is set up.
        let old = send(&server.router, signed(stop, SECRET, now_s - 301)).await;
        assert_eq!(old.status, StatusCode::UNAUTHORIZED);
        let bare =
            Request::builder().method(Method::POST).uri("/provider/status").body(Body::from(stop)).unwrap();
        assert_eq!(send(&server.router, bare).await.status, StatusCode::UNAUTHORIZED);
        let nobody = send(&practice.router, signed(stop, SECRET, now_s)).await;
        assert_eq!(nobody.status, StatusCode::UNAUTHORIZED);
        assert_eq!(tells(&server, "[]").await.status, StatusCode::BAD_REQUEST);
        let long = format!("{stop}{}", " ".repeat(16 * 1024));
        assert_eq!(tells(&server, &long).await.status, StatusCode::PAYLOAD_TOO_LARGE);
        let page = format!("/patients/{}", patient.enrolled.patient.id);
        office.opens(&page).await.must_not_say("STOP");
        // The first at once, the others together a minute later.
        assert_eq!(lines(&practice, "provider.refuse").await, ["reason=signature refused=1"]);
        practice.minutes_pass(1);
        assert_eq!(tells(&server, "[]").await.status, StatusCode::BAD_REQUEST);
        assert_eq!(lines(&practice, "provider.refuse").await[0], "reason=form refused=5");
        // From a browser on another site it is no different: the signature is what counts.
        let mut from_browser = signed(stop, SECRET, server.now().as_second());
        from_browser.headers_mut().insert("sec-fetch-site", "cross-site".parse().unwrap());
        assert_eq!(send(&server.router, from_browser).await.status, StatusCode::FORBIDDEN);
    })
    .await;
}

/// A push service that answers with these statuses, one after the other, and tells what it was sent.
fn push_service(answers: Vec<&'static str>) -> (u16, mpsc::Receiver<Vec<u8>>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let (say, hear) = mpsc::channel();
    std::thread::spawn(move || {
        for answer in answers {
            let (mut stream, _) = listener.accept().unwrap();
            let mut read = Vec::new();
            let mut piece = [0; 4096];
            loop {
                let got = stream.read(&mut piece).unwrap();
                read.extend_from_slice(&piece[..got]);
                let text = String::from_utf8_lossy(&read).to_lowercase();
                let Some((head, _)) = text.split_once("\r\n\r\n") else { continue };
                let length = head.split("content-length: ").nth(1).unwrap().lines().next().unwrap();
                let whole = read.windows(4).position(|four| four == b"\r\n\r\n").unwrap() + 4;
                if read.len() >= whole + length.parse::<usize>().unwrap() {
                    break;
                }
            }
            write!(stream, "HTTP/1.1 {answer}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n").unwrap();
            let _ = say.send(read);
        }
    });
    (port, hear)
}

fn with_push(practice: &Practice) -> Practice {
    std::fs::create_dir_all(&practice.letters).unwrap();
    let file = practice.letters.join("../vapid.pem");
    let key = SecretKey::from_slice(&[7; 32]).unwrap();
    std::fs::write(&file, key.to_pkcs8_pem(p256::pkcs8::LineEnding::LF).unwrap().as_bytes()).unwrap();
    practice.with_ways(&NotifySettings {
        notify_hosts: vec!["127.0.0.1".to_owned()],
        vapid_key_file: Some(file),
        vapid_contact: Some("mailto:office@harbor.example".to_owned()),
        ..NotifySettings::default()
    })
}

/// A browser's subscription at this address.
fn subscription(endpoint: &str) -> String {
    let key = SecretKey::from_slice(&[9; 32]).unwrap().public_key();
    let point = data_encoding::BASE64URL_NOPAD.encode(key.to_sec1_point(false).as_bytes());
    let auth = data_encoding::BASE64URL_NOPAD.encode(&[3; 16]);
    format!(r#"{{"endpoint":"{endpoint}","keys":{{"p256dh":"{point}","auth":"{auth}"}}}}"#)
}

#[tokio::test]
async fn a_phone_that_asked_is_told_of_an_answer_and_forgotten_when_its_browser_is_gone() {
    let place = Place::sqlite();
    let plain = Practice::open(&place).await;
    let server = with_push(&plain);
    let (office, surgeon) = (server.office().await, server.surgeon().await);
    let patient = office.enrols("Mia Stone", &surgeon).await;
    let (port, heard) = push_service(vec!["201 Created", "410 Gone"]);
    // The button is there where push is set up, and nowhere else.
    let phone = patient.opens_link().await;
    assert!(phone.opens("/my").await.html().contains("data-push-key"));
    let elsewhere =
        support::Phone { patient: Patient { practice: plain.clone(), ..patient.clone() }, ..phone.clone() };
    assert!(!elsewhere.opens("/my").await.html().contains("data-push"));
    for bad in ["", "{}", &subscription("https://push.example/elsewhere")] {
        let refused = phone.presses("/my/push", &[("subscription", bad)]).await;
        assert_eq!(refused.status, StatusCode::BAD_REQUEST, "{bad}");
    }
    let here = subscription(&format!("http://127.0.0.1:{port}/secret"));
    phone.presses("/my/push", &[("subscription", &here)]).await.is_fine();
    phone.opens("/my").await.must_say("This phone tells you when an answer is here.");
    for key in ["one", "two"] {
        let check = phone.sends(key, no_danger(), &[]).await.check;
        surgeon.decides(check, Decision::HealingAsExpected, "Good.").await.unwrap();
        server.works_in_earnest().await;
        let sealed = heard.recv_timeout(std::time::Duration::from_secs(10)).unwrap();
        assert!(!String::from_utf8_lossy(&sealed).contains("message"), "the words are sealed");
    }
    // The second time the browser was gone: it is forgotten, and the office rings.
    let page = phone.opens("/my").await;
    assert!(page.html().contains("data-push-key") && !page.says("This phone tells you"));
    assert_eq!(lines(&plain, "address.gone").await, ["channel=push"]);
    assert_eq!(office.reads_callbacks().await.len(), 1);
    // Taken back by the patient, and by leaving.
    phone.presses("/my/push", &[("subscription", &here)]).await.is_fine();
    phone.presses("/my/push/end", &[]).await.is_fine();
    phone.presses("/my/push", &[("subscription", &here)]).await.is_fine();
    phone.presses("/my/leave", &[]).await.is_fine();
    let again = patient.opens_link().await;
    assert!(!again.opens("/my").await.says("This phone tells you"));
    assert_eq!(lines(&plain, "push.begin").await.len(), 3);
    assert_eq!(lines(&plain, "push.end").await.len(), 1);
}

#[tokio::test]
async fn a_colleagues_browser_is_an_address_like_the_others() {
    let place = Place::sqlite();
    let plain = Practice::open(&place).await;
    let server = with_push(&plain);
    let surgeon = server.surgeon().await;
    let (port, heard) = push_service(vec!["201 Created", "404 Not Found"]);
    assert!(surgeon.opens("/me").await.html().contains("data-push-key"));
    surgeon
        .presses("/me/push", &[("subscription", &subscription("https://push.example/x"))])
        .await
        .must_say("is not on this server’s list");
    surgeon.presses("/me/push", &[("subscription", "nonsense")]).await.must_say("cannot be used");
    let here = subscription(&format!("http://127.0.0.1:{port}/secret"));
    surgeon.presses("/me/push", &[("subscription", &here)]).await.is_fine();
    surgeon.opens("/me").await.must_say("A browser").must_not_say("127.0.0.1");
    for _ in 0..2 {
        let id = ids(&surgeon).await.remove(0);
        surgeon.presses("/me/addresses/test", &[("id", &id)]).await.is_fine();
        server.works_in_earnest().await;
        server.seconds_pass(3);
        server.works_in_earnest().await;
        heard.recv_timeout(std::time::Duration::from_secs(10)).unwrap();
    }
    assert_eq!(ids(&surgeon).await.len(), 0, "gone is gone");
    surgeon.opens("/me").await.must_say("Nothing reaches you outside this page.");
    let waiting = notices::count_waiting(&mut *plain.books().await, plain.id, plain.now()).await.unwrap();
    assert_eq!(waiting, 0);
}

#[tokio::test]
async fn the_browsers_worker_stands_at_the_root_and_asks_nobody_else() {
    let place = Place::sqlite();
    let practice = Practice::open(&place).await;
    let page =
        send(&practice.router, Request::builder().uri("/push-worker.js").body(Body::empty()).unwrap()).await;
    assert_eq!(page.status, StatusCode::OK);
    let kind = page.headers.get(header::CONTENT_TYPE).unwrap().to_str().unwrap();
    assert!(kind.contains("javascript"), "{kind}");
    let script = page.html();
    assert!(!script.contains("fetch(") && !script.contains("importScripts"));
}
