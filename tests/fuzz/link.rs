//! Links and codes: only the right one opens, however it is written, and nothing else does.

use std::time::Duration;

use axum::body::Body;
use axum::http::Method;
use axum::http::StatusCode;
use axum::http::header;

use crate::Came;
use crate::Target;
use crate::support::Page;
use crate::support::Patient;
use crate::support::Place;
use crate::support::Practice;
use crate::support::from_our_page;
use crate::support::send;

const LINK: u8 = 0;
const CODE: u8 = 1;

const PIECES: &[&[u8]] = &[
    b"-",
    b" ",
    b"\t",
    b"O",
    b"l",
    b"\0",
    b"/",
    b"..",
    b"%00",
    b"?",
    b"#",
    b"\xE2\x80\x93",
    b"\xC4\xB1",
    b"\xEF\xBC\xA1",
];

/// Every byte but letters and digits written as `%XX`.
fn in_address(text: &str) -> String {
    text.bytes()
        .map(|byte| match byte.is_ascii_alphanumeric() {
            true => char::from(byte).to_string(),
            false => format!("%{byte:02X}"),
        })
        .collect()
}

/// As the README tells people: 64 letters are looked at, dashes and blanks do not matter, nor do small letters, nor O for 0, nor I or L
/// for 1.
fn means(typed: &str, code: &str) -> bool {
    let plain = |text: &str| {
        let letters =
            text.chars().take(64).filter(|letter| !letter.is_whitespace() && !"-‐–".contains(*letter));
        letters.map(|letter| letter.to_ascii_uppercase()).collect::<String>()
    };
    let one_of = |letter: char, expected: char| match expected {
        '0' => "0O".contains(letter),
        '1' => "1IL".contains(letter),
        expected => letter == expected,
    };
    let (typed, code) = (plain(typed), plain(code));
    typed.chars().count() == code.len()
        && typed.chars().zip(code.chars()).all(|(one, other)| one_of(one, other))
}

async fn tries(patient: &Patient, door: u8, text: &str) -> Page {
    let router = &patient.practice.router;
    let request = if door == LINK {
        from_our_page(Method::POST, &format!("/k/{}", in_address(text)), "").body(Body::empty())
    } else {
        let body = Body::from(serde_urlencoded::to_string([("code", text)]).unwrap());
        from_our_page(Method::POST, "/go", "")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(body)
    };
    send(router, request.unwrap()).await
}

#[test]
fn links_and_codes() {
    let engine = tokio::runtime::Builder::new_multi_thread().enable_all().worker_threads(2).build().unwrap();
    let place = Place::sqlite();
    let patient = engine.block_on(async {
        let practice = Practice::open(&place).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        office.enrols("Mia Stone", &surgeon).await
    });
    let (token, code) = (patient.issued.token.reveal().to_owned(), patient.issued.code.reveal().to_owned());
    let input = |door: u8, text: &str| [&[door][..], text.as_bytes()].concat();
    let spaced = code.chars().map(|letter| format!("{letter} ")).collect::<String>();
    let target = Target {
        name: "link",
        samples: vec![
            input(LINK, &token),
            input(CODE, &code),
            input(CODE, &code.to_lowercase()),
            input(CODE, &spaced),
            input(CODE, &code.replace('0', "o").replace('1', "l")),
        ],
        pieces: PIECES,
        within: Duration::from_secs(10),
        most_kib: 96 * 1024,
    };
    target.run(|input| {
        let (door, rest) = input.split_first().map_or((LINK, &[][..]), |(door, rest)| (door % 2, rest));
        let text = String::from_utf8_lossy(rest);
        // A NUL is no letter (`web::plain`): it is left out of everything that is typed.
        let meant = text.replace('\0', "");
        let right = if door == LINK { meant == token } else { means(&meant, &code) };
        let page = engine.block_on(tries(&patient, door, &text));
        assert!(!page.status.is_server_error(), "{}: {}", page.status, page.words());
        let opened = page.status == StatusCode::SEE_OTHER && page.leads_to() == "/my";
        assert_eq!((opened, page.cookie().is_some()), (right, right), "{text:?} answered {}", page.status);
        if opened { Came::Taken } else { Came::Refused }
    });
}
