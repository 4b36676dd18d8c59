//! Two servers on one folder: the second is told so and ends; the first goes on, and after its death the next may start.

use std::io::BufRead;
use std::io::BufReader;
use std::path::Path;
use std::process::Child;
use std::process::Command;
use std::process::Stdio;
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

fn serve(data: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_closewatch"));
    command.args(["serve", "--port", "0", "--data", data.to_str().unwrap()]);
    command.stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// A server that runs until it is dropped.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Starts one and waits until it listens and holds the folder.
fn started(data: &Path) -> Running {
    let mut running = Running(serve(data).spawn().unwrap());
    let stdout = BufReader::new(running.0.stdout.take().unwrap());
    let (told, listens) = mpsc::channel();
    // Read to the end: a server that cannot print would fall over.
    thread::spawn(move || {
        for line in stdout.lines().map_while(Result::ok) {
            let _ = told.send(line);
        }
    });
    let wait = Duration::from_secs(30);
    while !listens.recv_timeout(wait).expect("it did not start").starts_with("Closewatch listens") {}
    // The folder is taken right after.
    for _ in 0..100 {
        if data.join("closewatch.lock").exists() {
            break;
        }
        thread::sleep(Duration::from_millis(50));
    }
    running
}

#[test]
fn a_second_server_on_the_same_folder_ends_with_words_and_may_start_once_the_first_is_gone() {
    let folder = tempfile::tempdir().unwrap();
    let mut first = started(folder.path());
    let second = serve(folder.path()).output().unwrap();
    assert_eq!(second.status.code(), Some(2));
    let told = String::from_utf8_lossy(&second.stderr).into_owned();
    assert!(told.contains("another server works in") && told.contains("Stop it first"), "{told}");
    assert!(first.0.try_wait().unwrap().is_none(), "the first goes on");
    drop(first);
    drop(started(folder.path()));
}
