//! The real program on a socket: started, watched, killed.

use std::io::BufRead;
use std::io::BufReader;
use std::net::TcpStream;
use std::path::Path;
use std::path::PathBuf;
use std::process::Child;
use std::process::Command;
use std::process::ExitStatus;
use std::process::Stdio;
use std::thread;
use std::time::Duration;

use tokio::time::Instant;

use super::Place;

/// A start that takes longer is a fault (safety promise D1).
pub const READY_WITHIN: Duration = Duration::from_secs(5);

/// The program, listening. Dropped, it is killed.
pub struct Served {
    child: Child,
    /// As in `127.0.0.1:40123`.
    pub address: String,
    /// Where its last words are.
    stderr: PathBuf,
    begun: Instant,
}

/// It ended before it listened, and why.
#[derive(Debug)]
pub struct Ended {
    pub status: ExitStatus,
    pub words: String,
}

/// `closewatch serve` on the books and the folder of `place`.
pub fn serve(place: &Place) -> Command {
    serve_in(place.folder.path(), &place.url)
}

/// `closewatch serve` on these books and this folder.
pub fn serve_in(folder: &Path, database_url: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_closewatch"));
    command.args(["serve", "--port", "0", "--data"]).arg(folder).args(["--database-url", database_url]);
    // One phone of a test sends more in a minute than a patient in a month.
    command.args(["--photo-checks-a-day", "1000000"]);
    command
}

impl Served {
    pub fn start(place: &Place) -> Served {
        Served::try_start(serve(place)).unwrap_or_else(|ended| panic!("it did not start: {ended:?}"))
    }

    /// Starts what `serve` gave, perhaps with more said to it.
    pub fn try_start(mut command: Command) -> Result<Served, Ended> {
        let begun = Instant::now();
        // Its own file each time: a full disk under the data must not swallow what it says.
        let stderr = tempfile::Builder::new().prefix("served").suffix(".stderr").tempfile().unwrap();
        let (file, path) = stderr.keep().unwrap();
        let mut child = command.stdout(Stdio::piped()).stderr(file).spawn().unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
        let listens = lines.find(|line| line.starts_with("Closewatch listens on http"));
        let Some(line) = listens else {
            let status = child.wait().unwrap();
            let words = std::fs::read_to_string(&path).unwrap();
            std::fs::remove_file(&path).unwrap();
            return Err(Ended { status, words });
        };
        let (_, address) = line.split_once("://").unwrap();
        let address = address.split(' ').next().unwrap();
        let served = Served { child, address: address.to_owned(), stderr: path, begun };
        // Read to the end: a program that cannot print would fall over.
        thread::spawn(move || lines.for_each(drop));
        Ok(served)
    }

    /// Asks until it says that it can do its work, and says how long that took since it was started.
    pub fn until_ready(&mut self) -> Duration {
        while self.begun.elapsed() < READY_WITHIN * 2 {
            if let Some(status) = self.ended() {
                panic!("it ended ({status}): {}", self.words());
            }
            if self.get("/ready").is_some_and(|answer| answer.starts_with("HTTP/1.1 200")) {
                return self.begun.elapsed();
            }
            thread::sleep(Duration::from_millis(20));
        }
        panic!("not ready in {:?}: {:?} {}", READY_WITHIN * 2, self.get("/ready"), self.words());
    }

    /// The whole answer to a plain question. `None`: the line broke.
    pub fn get(&self, path: &str) -> Option<String> {
        self.get_with(path, "")
    }

    /// The same, with lines for the head, each ending in `\r\n`.
    pub fn get_with(&self, path: &str, head: &str) -> Option<String> {
        use std::io::Read;
        use std::io::Write;
        let mut line = TcpStream::connect(&self.address).ok()?;
        line.set_read_timeout(Some(Duration::from_secs(20))).ok()?;
        let address = &self.address;
        line.write_all(
            format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n{head}\r\n").as_bytes(),
        )
        .ok()?;
        let mut answer = Vec::new();
        line.read_to_end(&mut answer).ok()?;
        Some(String::from_utf8_lossy(&answer).into_owned())
    }

    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// How it ended; `None`: it runs.
    pub fn ended(&mut self) -> Option<ExitStatus> {
        self.child.try_wait().unwrap()
    }

    /// Waits for its end. `None`: it still runs.
    pub fn ends_within(&mut self, time: Duration) -> Option<ExitStatus> {
        let begun = Instant::now();
        while begun.elapsed() < time {
            if let Some(status) = self.ended() {
                return Some(status);
            }
            thread::sleep(Duration::from_millis(10));
        }
        self.ended()
    }

    /// What it wrote to standard error so far.
    pub fn words(&self) -> String {
        String::from_utf8_lossy(&std::fs::read(&self.stderr).unwrap()).into_owned()
    }

    /// As `kill -9` does it: no goodbye, nothing flushed.
    pub fn kill(mut self) {
        self.end();
    }

    fn end(&mut self) {
        let _ = self.child.kill();
        self.child.wait().unwrap();
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        self.end();
        let _ = std::fs::remove_file(&self.stderr);
    }
}
