//! The program under load: the release build, on loopback and a folder of its own, watched through the system's own figures.

use std::fs;
use std::process::Command;
use std::time::Duration;

use closewatch::care::Desk;
use closewatch::care::text_sealing;
use closewatch::store::Db;
use closewatch::web::Clock;

use crate::phone::Browser;
use crate::support::Place;
use crate::support::Practice;
use crate::support::Sender;
use crate::support::Served;
use crate::support::Staff;
use crate::support::Together;

const SURGEON_NET: u8 = 10;
/// A session of staff ends after fifteen minutes without a page.
const LOOK_EVERY: Duration = Duration::from_secs(60);
const MIB: f64 = 1_024.0 * 1_024.0;
/// Of a clock tick in `/proc/PID/stat` (`USER_HZ` is 100 on Linux).
const TICKS_PER_S: f64 = 100.0;

/// A practice with its people, whose books a program can be started on.
pub struct House {
    pub place: Place,
    pub phones: Vec<Sender>,
    /// The cookie of a surgeon who is signed in.
    pub surgeon: String,
}

impl House {
    /// Enrols so many patients, each with an open link on a phone.
    pub async fn with_phones(how_many: usize) -> House {
        House::with(how_many, async |_, _, _| {}).await
    }

    /// The same, with more done to its books before they are closed.
    pub async fn with(
        how_many: usize,
        more: impl AsyncFn(&Practice, &Staff, &[crate::support::Phone]),
    ) -> House {
        let place = Place::sqlite();
        let practice = Practice::open_by(&place, Clock::Machine).await;
        let (office, surgeon) = (practice.office().await, practice.surgeon().await);
        let mut phones = Vec::new();
        for number in 0..how_many {
            phones.push(office.enrols(&format!("Mia Stone {number}"), &surgeon).await.opens_link().await);
        }
        more(&practice, &surgeon, &phones).await;
        // As a start long ago left them: rows that were copied in the database look as if an older program had written them.
        text_sealing::seal_all(practice.desk(), practice.moment().now).await.expect("texts can be sealed");
        let senders = phones.iter().map(Sender::of).collect();
        close(practice.desk()).await;
        // Over plain http on loopback the cookie has its plain name.
        let cookie = surgeon.cookie.trim_start_matches("__Host-").to_owned();
        House { place, phones: senders, surgeon: cookie }
    }

    /// Starts the program on the house, with more said to it.
    pub fn opens(&self, more: &[&str]) -> Server {
        let mut command = Command::new(env!("CARGO_BIN_EXE_closewatch"));
        command.args(["serve", "--port", "0", "--proxies", "127.0.0.1", "--data"]);
        command.arg(self.place.folder.path()).args(["--database-url", &self.place.url]).args(more);
        let mut served =
            Served::try_start(command).unwrap_or_else(|ended| panic!("it did not start: {ended:?}"));
        let ready = served.until_ready();
        let together = Together::of(served.id());
        Server { served, ready, together }
    }

    /// Waits until every photo was measured, at most so long: what comes after is to begin in quiet. The surgeon looks at the queue
    /// now and then, or the session would end.
    pub async fn until_measured(&self, server: &Server, most: Duration) {
        let begun = std::time::Instant::now();
        let browser = Browser::at(server.address(), SURGEON_NET, 0);
        let mut looks = 0;
        let db = Db::open(&self.place.url).await.expect("the books open beside the server");
        while begun.elapsed() < most {
            let mut conn = db.read().await.expect("the books can be read");
            let left: i64 = sqlx::query_scalar("SELECT COUNT(*) FROM measuring_job")
                .fetch_one(&mut *conn)
                .await
                .expect("jobs can be counted");
            drop(conn);
            if begun.elapsed() >= LOOK_EVERY * looks {
                browser.get("/queue", &self.surgeon).await.expect("the server answers");
                looks += 1;
            }
            if left == 0 {
                break;
            }
            tokio::time::sleep(Duration::from_millis(500)).await;
        }
        db.close().await;
    }
}

async fn close(desk: &Desk) {
    desk.db.close().await;
}

/// The program, running.
pub struct Server {
    served: Served,
    /// How long it took until it was ready.
    pub ready: Duration,
    together: Together,
}

impl Server {
    pub fn address(&self) -> &str {
        &self.served.address
    }

    /// What it wrote about its work.
    pub fn words(&self) -> String {
        self.served.words()
    }

    /// Memory it holds now, MiB.
    pub fn memory_mib(&self) -> f64 {
        self.status_mib("VmRSS:")
    }

    /// The most memory it held by itself since [`Server::forget_peak`], MiB.
    pub fn peak_mib(&self) -> f64 {
        self.status_mib("VmHWM:")
    }

    /// The most that it and the processes which read photos for it held together since then, MiB.
    pub fn peak_together_mib(&self) -> f64 {
        self.together.most_mib()
    }

    /// The peaks begin anew with what is held now.
    pub fn forget_peak(&self) {
        self.together.forget();
        let path = format!("/proc/{}/clear_refs", self.served.id());
        fs::write(path, "5").expect("the peak of a process of our own can be reset");
    }

    fn status_mib(&self, name: &str) -> f64 {
        let path = format!("/proc/{}/status", self.served.id());
        let status = fs::read_to_string(path).expect("the program runs");
        let line = status.lines().find(|line| line.starts_with(name)).expect("the system counts memory");
        let kib: f64 = line.split_whitespace().nth(1).and_then(|kib| kib.parse().ok()).expect("a number");
        kib * 1_024.0 / MIB
    }

    /// Processor time that it, and the processes that read photos for it, used so far, of all cores together. Those that still read do
    /// not count yet.
    pub fn cpu_s(&self) -> f64 {
        let stat = fs::read_to_string(format!("/proc/{}/stat", self.served.id())).expect("the program runs");
        // The name may hold blanks; it ends with the last bracket.
        let after = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
        let field = |at: usize| after.split_whitespace().nth(at).and_then(|field| field.parse::<f64>().ok());
        // Its own in user and system mode, and the same of children that have ended: fields 14 to 17 of proc(5).
        let ticks: f64 = (11..=14).filter_map(field).sum();
        ticks / TICKS_PER_S
    }

    /// Ends it as a power cut would.
    pub fn kill(self) {
        self.served.kill();
    }
}
