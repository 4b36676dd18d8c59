//! The first start: no account exists before somebody makes one, by the one-time address or from the command line.

use std::io::Write;
use std::process::Command;
use std::process::Stdio;

use axum::Router;
use axum::http::Method;
use axum::http::StatusCode;
use jiff::SignedDuration;

use closewatch::care::Desk;
use closewatch::care::staff;
use closewatch::ids::Chance;
use closewatch::photo::Limits;
use closewatch::store::Blobs;
use closewatch::store::Db;
use closewatch::triage::Protocol;
use closewatch::web;
use closewatch::web::App;
use closewatch::web::Clock;

use crate::support::Page;
use crate::support::Place;
use crate::support::form;
use crate::support::from_our_page;
use crate::support::send;

const FILLED: &[(&str, &str)] = &[
    ("practice_name", "Quillmere Surgical Practice"),
    ("practice_phone", "202-555-0140"),
    ("emergency_number", "911"),
    ("time_zone", "America/New_York"),
    ("paper", "a4"),
    ("name", "Samuel Okonjo"),
    ("sign_in_name", "Samuel"),
    ("password", "orchard pebble quarry river"),
    ("office", "1"),
];

/// A server nobody has set up.
async fn fresh(place: &Place) -> (App, Router) {
    let db = Db::open(&place.url).await.unwrap();
    let blobs = Blobs::in_folder(&place.folder.path().join("photos")).unwrap();
    let desk = Desk::new(db, blobs, Protocol::built_in().clone(), Limits::default());
    let clock = Clock::by_hand("2026-05-04T14:00:00Z".parse().unwrap());
    let app = App::new(desk, clock, Chance::seeded(5), "http://127.0.0.1:8080");
    let router = web::router(&app);
    (app, router)
}

async fn looks(router: &Router, path: &str) -> Page {
    send(router, from_our_page(Method::GET, path, "").body(axum::body::Body::empty()).unwrap()).await
}

async fn presses(router: &Router, path: &str, fields: &[(&str, &str)]) -> Page {
    let kind = "application/x-www-form-urlencoded";
    send(
        router,
        from_our_page(Method::POST, path, "").header("content-type", kind).body(form(fields)).unwrap(),
    )
    .await
}

fn with<'a>(field: &'a str, value: &'a str) -> Vec<(&'a str, &'a str)> {
    FILLED.iter().map(|(name, filled)| (*name, if *name == field { value } else { filled })).collect()
}

#[tokio::test]
async fn the_set_up_address_makes_the_practice_and_its_first_lead_once() {
    let place = Place::sqlite();
    let (app, router) = fresh(&place).await;
    let token = staff::open_set_up(&app.desk, &app.moment()).await.unwrap().expect("nothing is set up yet");
    let path = format!("/set-up/{}", token.reveal());
    looks(&router, &path).await.is_fine().must_say("Set up Closewatch");

    let done = presses(&router, &path, FILLED).await;
    assert_eq!(done.leads_to(), "/sign-in");
    assert_eq!(looks(&router, &path).await.status, StatusCode::NOT_FOUND);
    assert_eq!(presses(&router, &path, FILLED).await.status, StatusCode::NOT_FOUND);
    assert!(
        staff::open_set_up(&app.desk, &app.moment()).await.unwrap().is_none(),
        "a second set-up was opened"
    );

    let password = [("sign_in_name", "samuel"), ("password", "orchard pebble quarry river")];
    let entered = presses(&router, "/sign-in", &password).await;
    // The password alone opens nothing: the second step is set up first.
    assert!(entered.cookie().is_some() && entered.leads_to() == "/second-step");
}

#[tokio::test]
async fn the_set_up_address_stops_working_after_a_quarter_of_an_hour() {
    let place = Place::sqlite();
    let (app, router) = fresh(&place).await;
    let token = staff::open_set_up(&app.desk, &app.moment()).await.unwrap().unwrap();
    let path = format!("/set-up/{}", token.reveal());
    app.clock.pass(SignedDuration::from_mins(14));
    looks(&router, &path).await.is_fine();
    app.clock.pass(SignedDuration::from_mins(1));
    assert_eq!(presses(&router, &path, FILLED).await.status, StatusCode::NOT_FOUND);
    // Starting again opens a new one.
    assert!(staff::open_set_up(&app.desk, &app.moment()).await.unwrap().is_some());
}

#[tokio::test]
async fn a_faulty_set_up_says_what_to_do_and_keeps_what_was_typed() {
    let place = Place::sqlite();
    let (app, router) = fresh(&place).await;
    let token = staff::open_set_up(&app.desk, &app.moment()).await.unwrap().unwrap();
    let path = format!("/set-up/{}", token.reveal());
    let cases = [
        ("password", "fourteen chars", "at least 15 characters"),
        ("password", "samuel samuel samuel", "Leave “samuel” out"),
        ("password", "aaaaaaaaaaaaaaaaa", "Repeats are tried early."),
        ("time_zone", "Quillmere/Harbor", "Enter a time zone such as"),
        ("practice_phone", "ask the desk", "Enter the phone number"),
        ("sign_in_name", "two words", "without spaces"),
    ];
    for (field, value, words) in cases {
        let page = presses(&router, &path, &with(field, value)).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        page.must_say(words);
        if field != "practice_phone" {
            assert_eq!(page.field("practice_phone").as_deref(), Some("202-555-0140"), "{field}");
        }
    }
    // Fifteen characters are enough, and the address still works after all those faults.
    assert_eq!(presses(&router, &path, &with("password", "kestrel-mopweek")).await.leads_to(), "/sign-in");
}

#[tokio::test]
async fn no_name_and_password_open_a_server_that_nobody_set_up() {
    let place = Place::sqlite();
    let (_, router) = fresh(&place).await;
    for name in ["admin", "root", "lead", "closewatch", ""] {
        let tried = presses(&router, "/sign-in", &[("sign_in_name", name), ("password", name)]).await;
        assert!(tried.cookie().is_none(), "{name}");
        tried.must_say("do not go together");
    }
}

/// Runs `closewatch staff add` with a password on its standard input.
fn staff_add(place: &Place, password: &str, more: &[&str]) -> (bool, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_closewatch"))
        .args(["staff", "add", "--data"])
        .arg(place.folder.path())
        .args(["--database-url", &place.url, "--name", "Dr. Odile Brandt"])
        .args(more)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(format!("{password}\n").as_bytes()).unwrap();
    let out = child.wait_with_output().unwrap();
    let said = format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
    (out.status.success(), said)
}

#[tokio::test]
async fn the_first_member_can_be_added_from_the_command_line() {
    let place = Place::sqlite();
    let practice = ["--practice-name", "Quillmere", "--practice-phone", "202-555-0140"];
    let brandt = ["--sign-in-name", "brandt", "--roles", "surgeon,lead"];
    let password = "timber umbrella velvet";

    let (_, said) = staff_add(&place, password, &brandt);
    assert!(said.contains("--practice-name"), "{said}");
    let (_, said) = staff_add(&place, "short", &[&practice[..], &brandt].concat());
    assert!(said.contains("at least 15 characters"), "{said}");
    let (_, said) = staff_add(&place, password, &["--sign-in-name", "x", "--roles", "owner"]);
    assert!(said.contains("use surgeon, office, lead"), "{said}");

    // What was refused left nothing behind.
    let (_, said) = staff_add(&place, password, &brandt);
    assert!(said.contains("has no practice yet"), "{said}");
    let (added, said) = staff_add(&place, password, &[&practice[..], &brandt].concat());
    assert!(added && said.contains("Added Dr. Odile Brandt (brandt)."), "{said}");
    let (_, said) = staff_add(&place, password, &brandt);
    assert!(said.contains("signs in with this name already"), "{said}");

    let (_, router) = fresh(&place).await;
    let entered = presses(&router, "/sign-in", &[("sign_in_name", "brandt"), ("password", password)]).await;
    assert!(entered.cookie().is_some() && entered.leads_to() == "/second-step");
}
