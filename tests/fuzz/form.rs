//! A patient's forms: whatever arrives, the server answers, nothing that was acknowledged is missing, and nothing comes twice.

use std::time::Duration;

use axum::body::Body;
use axum::http::Method;
use axum::http::Request;
use axum::http::header;
use http_body_util::BodyExt;

use crate::Came;
use crate::Target;
use crate::photo_samples::sample;
use crate::support::File;
use crate::support::Page;
use crate::support::Phone;
use crate::support::Place;
use crate::support::Practice;
use crate::support::form_with_files;
use crate::support::from_our_page;
use crate::support::send;

/// The doors a phone sends forms to: path and kind. The first byte of an input chooses.
const DOORS: &[(&str, Kind)] = &[
    ("/my/check", Kind::Parts),
    ("/my/check/photo", Kind::Parts),
    ("/my/check/answers", Kind::Fields),
    ("/my/check/steps", Kind::Fields),
    ("/my/answers", Kind::Fields),
    ("/my/strip", Kind::Fields),
    ("/my/language", Kind::Fields),
];

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Parts,
    Fields,
}

/// As `form_with_files` writes it.
const EDGE: &str = "x-edge-of-a-part-x";

const PIECES: &[&[u8]] = &[
    b"\r\n--x-edge-of-a-part-x\r\n",
    b"\r\n--x-edge-of-a-part-x--\r\n",
    b"Content-Disposition: form-data; name=\"photo\"; filename=\"..%2F..\\x\r\nSet-Cookie: a=b\"\r\n\r\n",
    b"Content-Disposition: form-data; name=\"danger\"\r\n\r\nbleed\r\n",
    b"Content-Transfer-Encoding: base64\r\n",
    b"&danger=bleed",
    b"&form_key=",
    b"&position=-9223372036854775808",
    b"&tap_x=1e9",
    b"&urgency=on_track&state=closed",
    b"%00",
    b"%F0%9F%A9%B9",
    b"%ff%fe",
    b"\xE2\x80\xAE",
    b"=&=&=",
    b"<script>alert(1)</script>",
];

const ANSWERS: &[(&str, &str)] = &[
    ("form_key", "one key"),
    ("danger", "none"),
    ("better", "same"),
    ("temp", "37.2"),
    ("pain", "3"),
    ("note", "A bit red at the edge, así está."),
    ("photos_expected", "1"),
    ("position", "1"),
    ("tap_x", "5000"),
    ("tap_y", "5000"),
];

async fn body_of(request: Request<Body>) -> Vec<u8> {
    request.into_body().collect().await.unwrap().to_bytes().to_vec()
}

async fn samples() -> Vec<Vec<u8>> {
    let picture = sample("kind-baseline.jpg");
    let files = [File { name: "wound.jpg", bytes: &picture }];
    let parts = body_of(form_with_files("/", "", ANSWERS, &files)).await;
    let without = body_of(form_with_files("/", "", ANSWERS, &[])).await;
    let fields = serde_urlencoded::to_string(ANSWERS).unwrap().into_bytes();
    let asks = b"form_key=two&question=May+I+swim%3F".to_vec();
    [
        (0, &parts),
        (0, &without),
        (1, &parts),
        (2, &fields),
        (3, &fields),
        (4, &asks),
        (6, &b"language=es".to_vec()),
    ]
    .into_iter()
    .map(|(door, body)| [&[door][..], body].concat())
    .collect()
}

async fn sends(phone: &Phone, input: &[u8]) -> Page {
    let (door, body) = input.split_first().map_or((0, &[][..]), |(door, body)| (*door, body));
    let (path, kind) = DOORS[usize::from(door) % DOORS.len()];
    let kind = match kind {
        Kind::Parts => format!("multipart/form-data; boundary={EDGE}"),
        Kind::Fields => "application/x-www-form-urlencoded".to_owned(),
    };
    let request = from_our_page(Method::POST, path, &phone.cookie).header(header::CONTENT_TYPE, kind);
    send(&phone.patient.practice.router, request.body(Body::from(body.to_vec())).unwrap()).await
}

/// What the answer acknowledges: by the page it leads to, or as told to a script.
fn receipt(page: &Page) -> Option<String> {
    if let Some(code) = page.leads_to().strip_prefix("/my/sent/") {
        return Some(code.to_owned());
    }
    let told: serde_json::Value = serde_json::from_slice(&page.body).ok()?;
    told["receipt"].as_str().map(str::to_owned)
}

#[test]
fn forms() {
    let engine = tokio::runtime::Builder::new_multi_thread().enable_all().worker_threads(2).build().unwrap();
    let place = Place::sqlite();
    let (phone, samples) = engine.block_on(async {
        let practice = Practice::open(&place).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        (office.enrols("Mia Stone", &surgeon).await.opens_link().await, samples().await)
    });
    let target = Target {
        name: "form",
        samples,
        pieces: PIECES,
        within: Duration::from_secs(20),
        most_kib: 128 * 1024,
    };
    let mut kept = 0;
    target.run(|input| {
        engine.block_on(async {
            let page = sends(&phone, input).await;
            assert!(!page.status.is_server_error(), "{}: {}", page.status, page.words());
            assert!(page.headers.get_all(header::SET_COOKIE).iter().count() == 0, "a form sets no cookie");
            let checks = phone.checks().await;
            assert!(
                checks.len() == kept || checks.len() == kept + 1,
                "{} checks, and {kept} before",
                checks.len()
            );
            kept = checks.len();
            if let Some(code) = receipt(&page) {
                assert!(
                    checks.iter().any(|check| check.receipt == code),
                    "{code} is acknowledged and not kept"
                );
            }
            if page.status.is_client_error() { Came::Refused } else { Came::Taken }
        })
    });
}
