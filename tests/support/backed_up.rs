//! `closewatch` as whoever looks after a server runs it: a server on a socket, back-ups of it, and restores.

use std::fs;
use std::io::BufRead;
use std::io::BufReader;
use std::path::Path;
use std::path::PathBuf;
use std::process::Child;
use std::process::Command;
use std::process::Output;
use std::process::Stdio;
use std::thread;

use serde_json::Value;
use tempfile::TempDir;
use tokio::io::AsyncReadExt;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;

use super::Place;

/// The program, with these words behind its name.
pub fn closewatch(words: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_closewatch"));
    command.args(words);
    command
}

/// Everything it said.
pub fn said_by(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// A path as a word of the command line.
pub fn word(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Where back-ups go, and the key they are made for.
pub struct Safe {
    pub folder: TempDir,
    pub recipient: String,
}

impl Safe {
    /// Makes the key pair by the program itself.
    pub fn new() -> Safe {
        let folder = tempfile::tempdir().unwrap();
        let identity = folder.path().join("identity");
        let made = closewatch(&["backup", "new-key", "--to", word(&identity)]).output().unwrap();
        assert!(made.status.success(), "{}", said_by(&made));
        let recipient = String::from_utf8(made.stdout).unwrap().lines().next().unwrap().to_owned();
        Safe { folder, recipient }
    }

    pub fn identity(&self) -> PathBuf {
        self.folder.path().join("identity")
    }

    pub fn target(&self) -> PathBuf {
        self.folder.path().join("back-ups")
    }

    /// Not yet run.
    pub fn backing_up(&self, place: &Place) -> Command {
        let mut command =
            closewatch(&["backup", "--to", word(&self.target()), "--recipient", &self.recipient]);
        command.args(["--data", word(place.folder.path()), "--database-url", &place.url]);
        command
    }

    /// Makes a back-up, and says in which folder it is.
    pub fn backs_up(&self, place: &Place) -> PathBuf {
        let made = self.backing_up(place).output().unwrap();
        assert!(made.status.success(), "{}", said_by(&made));
        self.backups().pop().unwrap()
    }

    /// The back-ups there are, oldest first: whatever looks like one.
    pub fn backups(&self) -> Vec<PathBuf> {
        let Ok(entries) = fs::read_dir(self.target()) else { return Vec::new() };
        let mut found: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
        found.retain(|path| path.file_name().unwrap().to_str().unwrap().starts_with("books-"));
        found.sort();
        found
    }

    /// Not yet run: `from` comes back into `data`, with the sealing keys of `place`.
    pub fn restoring(&self, from: &Path, place: &Place, data: &Path, url: &str) -> Command {
        let mut command =
            closewatch(&["restore", "--from", word(from), "--identity", word(&self.identity())]);
        command.args(["--data", word(data), "--database-url", url, "--sealing-keys-file"]);
        command.arg(place.folder.path().join("sealing-keys"));
        command
    }
}

/// The program on a socket, until it is dropped.
pub struct OnSocket {
    child: Child,
    /// As in `127.0.0.1:40123`.
    pub address: String,
}

impl OnSocket {
    pub fn serves(place: &Place) -> OnSocket {
        let mut child = closewatch(&["serve", "--port", "0", "--data", word(place.folder.path())])
            .args(["--database-url", &place.url])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map_while(Result::ok);
        let listens = lines.find(|line| line.starts_with("Closewatch listens on http://"));
        let line = listens.expect("the program says where it listens");
        let address = line.trim_start_matches("Closewatch listens on http://").split(' ').next().unwrap();
        let address = address.to_owned();
        // Read to the end: a program that cannot print would fall over.
        thread::spawn(move || lines.for_each(drop));
        OnSocket { child, address }
    }

    /// Sends a check with a photo from the phone with this cookie. Its receipt, once the photo is in too.
    pub async fn takes_check(address: &str, cookie: &str, form_key: &str, picture: &[u8]) -> Option<String> {
        let body = format!("form_key={form_key}&danger=none&better=same&photos_expected=1");
        let kind = "application/x-www-form-urlencoded";
        let answer = post(address, "/my/check/answers", cookie, kind, body.as_bytes()).await?;
        let receipt = answer["receipt"].as_str()?.to_owned();
        let mut body = Vec::new();
        for (name, value) in [("form_key", form_key), ("position", "1")] {
            let part =
                format!("--edge\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
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
        (answer["ok"] == Value::Bool(true)).then_some(receipt)
    }
}

impl Drop for OnSocket {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The JSON of an answer that is fine; `None`: it is none, or the line broke.
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
    let json: Value = serde_json::from_str(&body[body.find('{')?..=body.rfind('}')?]).ok()?;
    head.starts_with("HTTP/1.1 200").then_some(json)
}
