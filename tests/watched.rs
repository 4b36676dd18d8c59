//! The server and its checker as two real programs: whatever takes the server's ability to work away makes the checker call,
//! and a healthy server never does.
//!
//! The server's clock goes twenty times as fast: a sign of life every three seconds, a canary every six. The checker waits
//! nine seconds, which are the server's three minutes.

use std::fs;
use std::io::BufRead;
use std::io::BufReader;
use std::path::Path;
use std::path::PathBuf;
use std::process::Child;
use std::process::Command;
use std::process::Stdio;
use std::time::Duration;

use sqlx::Connection;
use sqlx::Executor;
use tempfile::TempDir;
use tokio::time::Instant;

const SECRET: &str = "only for tests: thirty-two bytes and more";
/// The checker's patience.
const SILENT_S: u64 = 9;
/// A fault is called about within four of the server's minutes, and a bit for a busy machine.
const CALLED_WITHIN: Duration = Duration::from_secs(12 + 13);

/// Ended when the test is.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Starts the program and waits for the line that holds `ready`; gives that line back.
fn start(arguments: &[String], ready: &str) -> (Running, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_closewatch"))
        .args(arguments)
        .env("RUST_LOG", "warn")
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let line = loop {
        let line = lines.next().expect("it ended before it was ready").unwrap();
        if line.contains(ready) {
            break line;
        }
    };
    // Whatever else it says must not fill its pipe.
    std::thread::spawn(move || lines.for_each(drop));
    (Running(child), line)
}

struct World {
    place: TempDir,
    server: Running,
    _checker: Running,
    /// Where the server listens.
    home: String,
}

impl World {
    fn path(&self, name: &str) -> PathBuf {
        self.place.path().join(name)
    }

    /// What the checker said, first said first.
    fn calls(&self) -> Vec<String> {
        calls(&self.path("calls"))
    }

    /// Waits for a call that says `words`; how long that took.
    fn is_called(&self, words: &str) -> Duration {
        let began = Instant::now();
        while !self.calls().iter().any(|call| call.contains(words)) {
            assert!(began.elapsed() < CALLED_WITHIN, "no call says {words:?}: {:?}", self.calls());
            std::thread::sleep(Duration::from_millis(100));
        }
        began.elapsed()
    }
}

fn calls(folder: &Path) -> Vec<String> {
    let Ok(found) = fs::read_dir(folder) else { return Vec::new() };
    let mut files: Vec<PathBuf> = found.map(|file| file.unwrap().path()).collect();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "json"));
    files.sort();
    files.iter().map(|file| fs::read_to_string(file).unwrap()).collect()
}

fn arguments(list: &[&str]) -> Vec<String> {
    list.iter().map(|argument| (*argument).to_owned()).collect()
}

/// A checker that has heard a healthy server.
fn healthy() -> World {
    let place = tempfile::tempdir().unwrap();
    let path = |name: &str| place.path().join(name).display().to_string();
    fs::write(place.path().join("secret"), SECRET).unwrap();
    let (secret, state, called) = (path("secret"), path("state.json"), path("calls"));
    let silent = SILENT_S.to_string();
    let (checker, line) = start(
        &arguments(&[
            "watch",
            "--port",
            "0",
            "--secret-file",
            &secret,
            "--state",
            &state,
            "--call",
            "sms:+12025550150",
            "--notify-folder",
            &called,
            "--silent-after",
            &silent,
            "--repeat-every",
            "5",
        ]),
        "/heartbeat",
    );
    let url = line.split_whitespace().last().unwrap().to_owned();
    let (data, letters) = (path("data"), path("letters"));
    let (server, line) = start(
        &arguments(&[
            "serve",
            "--port",
            "0",
            "--data",
            &data,
            "--speed",
            "20",
            "--notify-folder",
            &letters,
            "--notify-hosts",
            "127.0.0.1",
            "--heartbeat-url",
            &url,
            "--heartbeat-secret-file",
            &secret,
        ]),
        "Closewatch listens on",
    );
    let home = line.split_whitespace().find(|word| word.starts_with("http://")).unwrap().to_owned();
    let world = World { server, _checker: checker, home, place };
    let began = Instant::now();
    while !fs::read_to_string(world.path("state.json")).is_ok_and(|text| !text.contains("\"counter\":0")) {
        assert!(began.elapsed() < Duration::from_secs(SILENT_S), "the server was never heard");
        std::thread::sleep(Duration::from_millis(100));
    }
    world
}

#[test]
fn a_healthy_server_is_never_called_about_and_one_that_is_killed_is() {
    let mut world = healthy();
    std::thread::sleep(Duration::from_secs(3 * SILENT_S));
    assert_eq!(world.calls(), Vec::<String>::new(), "{}", world.home);
    world.server.0.kill().unwrap();
    let took = world.is_called("no sign of life");
    assert!(took >= Duration::from_secs(SILENT_S - 4), "{took:?}");
    // And again, until somebody sees to it.
    std::thread::sleep(Duration::from_secs(7));
    assert!(world.calls().len() >= 2);
    for call in world.calls() {
        assert!(call.contains("+12025550150") && call.contains("Server silent"), "{call}");
    }
}

#[test]
fn a_server_whose_letters_have_nowhere_to_go_is_called_about_until_they_have() {
    let world = healthy();
    fs::remove_dir_all(world.path("letters")).unwrap();
    fs::write(world.path("letters"), "no folder").unwrap();
    world.is_called("no sign of life");
    fs::remove_file(world.path("letters")).unwrap();
    fs::create_dir(world.path("letters")).unwrap();
    world.is_called("gives signs of life again");
}

#[test]
fn a_server_whose_books_are_locked_is_called_about() {
    let world = healthy();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let books = format!("sqlite:{}", world.path("data").join("closewatch.sqlite").display());
        sqlx::any::install_default_drivers();
        let mut lock = sqlx::AnyConnection::connect(&books).await.unwrap();
        lock.execute("BEGIN IMMEDIATE").await.unwrap();
        // Nothing can be written: the runner hangs, and no check is kept.
        world.is_called("no sign of life");
        lock.execute("ROLLBACK").await.unwrap();
        drop(lock);
    });
    world.is_called("gives signs of life again");
}

#[test]
fn a_checker_that_never_hears_anybody_calls_too_and_believes_no_stranger() {
    let place = tempfile::tempdir().unwrap();
    let path = |name: &str| place.path().join(name).display().to_string();
    fs::write(place.path().join("secret"), SECRET).unwrap();
    let (secret, state, called) = (path("secret"), path("state.json"), path("calls"));
    let list = arguments(&[
        "watch",
        "--port",
        "0",
        "--secret-file",
        &secret,
        "--state",
        &state,
        "--call",
        "email:lead@harbor.example",
        "--notify-folder",
        &called,
        "--silent-after",
        "3",
    ]);
    let (_checker, line) = start(&list, "/heartbeat");
    let address = line.rsplit("http://").next().unwrap().trim_end_matches("/heartbeat").to_owned();
    let body = r#"{"version":1,"counter":9000000000000000000}"#;
    let posted = post(&address, "/heartbeat", body);
    assert!(posted.starts_with("HTTP/1.1 401"), "{posted}");
    let began = Instant::now();
    while calls(&place.path().join("calls")).is_empty() {
        assert!(began.elapsed() < Duration::from_secs(8));
        std::thread::sleep(Duration::from_millis(100));
    }
}

fn post(address: &str, path: &str, body: &str) -> String {
    use std::io::Read;
    use std::io::Write;
    let mut line = std::net::TcpStream::connect(address).unwrap();
    let head = format!(
        "POST {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nClosewatch-Timestamp: 1\r\n\
         Closewatch-Signature: v1=00\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    line.write_all(head.as_bytes()).unwrap();
    let mut answer = String::new();
    line.read_to_string(&mut answer).unwrap();
    answer
}

#[test]
fn a_checker_that_could_call_nobody_does_not_start() {
    let place = tempfile::tempdir().unwrap();
    fs::write(place.path().join("secret"), SECRET).unwrap();
    let secret = place.path().join("secret").display().to_string();
    for (call, words) in [
        ("sms:+12025550150", "no way to send it is set up"),
        ("pigeon:12025550150", "begin with sms:"),
        ("sms:12", "7 to 15 digits"),
    ] {
        let ended = Command::new(env!("CARGO_BIN_EXE_closewatch"))
            .args(["watch", "--port", "0", "--secret-file", &secret, "--call", call])
            .output()
            .unwrap();
        assert_eq!(ended.status.code(), Some(2), "{call}");
        let said = String::from_utf8(ended.stderr).unwrap();
        assert!(said.contains(words), "{said}");
    }
}
