//! What whoever runs the server leans on: the service manager is told, `closewatch healthy` asks, keys are made before the first start,
//! and the page for the proxy says whom to ring.

mod support;

use std::fs;
use std::os::unix::net::UnixDatagram;
use std::path::Path;
use std::process::Command;
use std::process::Output;
use std::time::Duration;

use rcgen::CertificateParams;
use rcgen::KeyPair;
use tokio::time::Instant;

use support::Place;
use support::Practice;
use support::Served;
use support::attribute;
use support::serve;
use support::tags;

fn program(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_closewatch")).args(arguments).output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// Everything the manager hears within a time.
fn heard(socket: &UnixDatagram, time: Duration) -> Vec<String> {
    socket.set_read_timeout(Some(Duration::from_millis(50))).unwrap();
    let (began, mut heard) = (Instant::now(), Vec::new());
    let mut letter = [0; 256];
    while began.elapsed() < time {
        if let Ok(length) = socket.recv(&mut letter) {
            heard.extend(String::from_utf8_lossy(&letter[..length]).lines().map(str::to_owned));
        }
    }
    heard
}

#[test]
fn the_service_manager_hears_that_it_listens_and_lives_and_nothing_when_it_is_stuck() {
    let place = Place::sqlite();
    let path = place.folder.path().join("manager");
    let manager = UnixDatagram::bind(&path).unwrap();
    let mut command = serve(&place);
    command.env("NOTIFY_SOCKET", &path).env("WATCHDOG_USEC", "600000").env_remove("WATCHDOG_PID");
    let served = Served::try_start(command).unwrap();
    let first = heard(&manager, Duration::from_secs(3));
    assert_eq!(first.first().map(String::as_str), Some("READY=1"), "{first:?}");
    // Every 200 ms; a busy machine may miss some.
    let lives = first.iter().filter(|line| *line == "WATCHDOG=1").count();
    assert!((4..=20).contains(&lives), "{first:?}");
    let signal = |name: &str| {
        let sent = Command::new("kill").args([name, &served.id().to_string()]).status().unwrap();
        assert!(sent.success());
    };
    signal("-STOP");
    heard(&manager, Duration::from_millis(300));
    let stuck = heard(&manager, Duration::from_secs(1));
    signal("-CONT");
    assert!(stuck.is_empty(), "a stuck program vouches for itself: {stuck:?}");
}

#[test]
fn healthy_asks_the_server_on_this_machine_and_its_status_says_what_it_heard() {
    let place = Place::sqlite();
    let mut served = Served::start(&place);
    served.until_ready();
    let port = served.address.rsplit(':').next().unwrap().to_owned();
    let asked = program(&["healthy", "--port", &port]);
    assert!(asked.status.success() && said(&asked).contains("ready"), "{}", said(&asked));
    served.kill();
    let asked = program(&["healthy", "--port", &port]);
    assert_eq!(asked.status.code(), Some(1));
    assert!(said(&asked).contains("does not answer"), "{}", said(&asked));
}

#[test]
fn healthy_asks_over_tls_where_the_server_speaks_it() {
    let place = Place::sqlite();
    let key = KeyPair::generate().unwrap();
    let certificate =
        CertificateParams::new(vec!["wounds.example".to_owned()]).unwrap().self_signed(&key).unwrap();
    let path = |name: &str| place.folder.path().join(name).display().to_string();
    fs::write(path("cert.pem"), certificate.pem()).unwrap();
    fs::write(path("key.pem"), key.serialize_pem()).unwrap();
    let files = ["--tls-cert", &path("cert.pem"), "--tls-key", &path("key.pem")].map(str::to_owned);
    let mut command = serve(&place);
    command.args(&files);
    let served = Served::try_start(command).unwrap();
    let port = served.address.rsplit(':').next().unwrap().to_owned();
    let began = Instant::now();
    loop {
        let asked = Command::new(env!("CARGO_BIN_EXE_closewatch"))
            .args(["healthy", "--port", &port])
            .args(&files)
            .output()
            .unwrap();
        if asked.status.success() {
            break;
        }
        assert!(began.elapsed() < Duration::from_secs(10), "{}", said(&asked));
    }
}

#[test]
fn keys_are_made_before_the_first_start_and_never_twice() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).display().to_string();
    let make = || {
        program(&[
            "keys",
            "new",
            "--sealing-keys-file",
            &path("sealing-keys"),
            "--record-key-file",
            &path("record-key.pem"),
        ])
    };
    let files = ["sealing-keys", "record-key.pem", "record-key.pub.pem"];
    let held = || files.map(|name| fs::read(folder.path().join(name)).unwrap());
    let made = make();
    assert!(made.status.success() && said(&made).matches(": made").count() == 2, "{}", said(&made));
    let first = held();
    let again = make();
    assert_eq!(said(&again).matches("was there already").count(), 2, "{}", said(&again));
    assert_eq!(held(), first);
    let place = Place::sqlite();
    let mut command = serve(&place);
    command.args([
        "--sealing-keys-file",
        &path("sealing-keys"),
        "--record-key-file",
        &path("record-key.pem"),
    ]);
    Served::try_start(command).unwrap().until_ready();
    assert!(!place.folder.path().join("sealing-keys").exists(), "it made others beside them");
    assert_eq!(held(), first);
}

fn fail_page(place: &Place, more: &[&str]) -> Output {
    let folder = place.folder.path().display().to_string();
    program(&[&["fail-page", "--database-url", &place.url, "--data", &folder][..], more].concat())
}

#[tokio::test]
async fn the_proxy_s_page_says_whom_to_ring_in_both_languages_and_holds_nothing_that_could_swallow_a_form() {
    let place = Place::sqlite();
    let empty = fail_page(&place, &[]);
    assert_eq!(empty.status.code(), Some(2), "nobody's number could stand on it");
    assert!(said(&empty).contains("no practice is set up yet"), "{}", said(&empty));

    let practice = Practice::open(&place).await;
    sqlx::query("UPDATE practice SET name = $1 WHERE id = $2")
        .bind("Harbor <b>Surgery</b>")
        .bind(practice.id.to_string())
        .execute(&mut *practice.books().await)
        .await
        .unwrap();
    let to = place.folder.path().join("fail.html");
    let written = fail_page(&place, &["--to", to.to_str().unwrap()]);
    assert!(written.status.success(), "{}", said(&written));
    let html = fs::read_to_string(&to).unwrap();
    assert_eq!(html, String::from_utf8(fail_page(&place, &[]).stdout).unwrap());

    let dialled: Vec<String> = tags(&html).into_iter().filter_map(|tag| attribute(tag, "href")).collect();
    assert_eq!(
        dialled,
        ["tel:911", "tel:2025550100", "tel:911", "tel:2025550100"],
        "the emergency first, twice"
    );
    for language in ["lang=\"en\"", "lang=\"es\""] {
        assert!(html.contains(&format!("<section {language}>")), "{html}");
    }
    for said in
        ["We do NOT have it", "NO lo tenemos", "No espere", "Do not wait", "Harbor &#60;b&#62;Surgery"]
    {
        assert!(html.contains(said), "{said}: {html}");
    }
    for swallows in ["<form", "<input", "<script", "<link", "<style", "src=", "http:", "https:"] {
        assert!(!html.contains(swallows), "{swallows}: {html}");
    }
    assert!(Path::new(&to).metadata().unwrap().len() < 8 * 1024, "it is there at once on a bad line");
}
