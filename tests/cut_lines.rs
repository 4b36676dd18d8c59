//! A line that breaks anywhere in a check on its way (safety promise U12): the phone sends again as its page does, and every check
//! and photo is there once.

mod support;

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::Mutex;
use std::time::Duration;

use tokio::io::AsyncReadExt;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpListener;
use tokio::net::TcpStream;
use tokio::task::JoinHandle;

use closewatch::ids::Chance;

use support::Place;
use support::Sender;
use support::Served;
use support::Told;
use support::compare;
use support::jpeg;
use support::photo_body;
use support::send_check;
use support::senders;

/// Each is one check with a photo; `CUT_RUNS` asks for more or fewer.
const RUNS: u64 = 200;
const PHONES: usize = 4;

/// Where a line breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Cut {
    /// Before anything of the request is through.
    AtOnce,
    /// After so many bytes of the request: in its head, or in its body, by how many there are.
    Sending { bytes: usize },
    /// After the whole request, before a byte of the answer is back.
    Waiting,
    /// After so many bytes of the answer.
    Hearing { bytes: usize },
}

/// Parts of a request or an answer a break can fall into. Lengths are those of the requests of `support::senders`.
const CLASSES: [&str; 9] = [
    "before the first byte",
    "in the first line",
    "in the head",
    "between head and body",
    "in the fields before the photo",
    "in the photo",
    "in the last bytes",
    "before the answer",
    "in the answer",
];

/// A break of one class, somewhere in it. `whole`: bytes of the request; `head`: of its head.
fn cut_in(class: usize, whole: usize, head: usize, chance: &Chance) -> Cut {
    let between = |from: usize, to: usize| {
        let wide = u32::try_from(to.saturating_sub(from)).unwrap_or(u32::MAX);
        Cut::Sending { bytes: from + chance.below(wide.max(1)) as usize }
    };
    match class {
        0 => Cut::AtOnce,
        1 => between(1, 20),
        2 => between(20, head - 1),
        3 => Cut::Sending { bytes: head },
        4 => between(head + 1, head + 40),
        5 => between(head + 40, whole.saturating_sub(12).max(head + 41)),
        6 => between(whole - 12, whole),
        7 => Cut::Waiting,
        _ => Cut::Hearing { bytes: 1 + chance.below(120) as usize },
    }
}

/// What the next lines are to suffer: each connection takes one; with none left it is a good line.
type Plan = Arc<Mutex<Vec<(usize, Cut)>>>;

/// A line between the phones and the server that breaks as planned. Gives its address.
async fn bad_line(server: String, plan: Plan, met: Arc<Mutex<Vec<usize>>>) -> (SocketAddr, JoinHandle<()>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let carrying = tokio::spawn(async move {
        loop {
            let (phone, _) = listener.accept().await.unwrap();
            let cut = plan.lock().unwrap().pop();
            let (server, met) = (server.clone(), Arc::clone(&met));
            tokio::spawn(async move {
                let broke = carry(phone, &server, cut.map(|(_, cut)| cut)).await;
                if let Some((class, _)) = cut.filter(|_| broke) {
                    met.lock().unwrap().push(class);
                }
            });
        }
    });
    (address, carrying)
}

/// Carries one connection. True: it was broken as planned.
async fn carry(mut phone: TcpStream, server: &str, cut: Option<Cut>) -> bool {
    let Ok(mut server) = TcpStream::connect(server).await else { return false };
    let (mut to_server, mut to_phone) = (0_usize, 0_usize);
    let (mut up, mut down) = (vec![0; 16 * 1_024], vec![0; 16 * 1_024]);
    let (mut length, mut head) = (None, Vec::new());
    if cut == Some(Cut::AtOnce) {
        return true;
    }
    loop {
        tokio::select! {
            read = phone.read(&mut up) => {
                let Ok(read @ 1..) = read else { return false };
                if length.is_none() {
                    head.extend_from_slice(&up[..read]);
                    length = length_of(&head);
                }
                let left = match cut {
                    Some(Cut::Sending { bytes }) => bytes.saturating_sub(to_server).min(read),
                    Some(Cut::AtOnce | Cut::Waiting | Cut::Hearing { .. }) | None => read,
                };
                if server.write_all(&up[..left]).await.is_err() {
                    return false;
                }
                to_server += left;
                if left < read {
                    return true;
                }
                if cut == Some(Cut::Waiting) && length.is_some_and(|length| to_server >= length) {
                    // The server has all of it and works: the answer finds nobody.
                    tokio::time::sleep(Duration::from_millis(5)).await;
                    return true;
                }
            }
            read = server.read(&mut down) => {
                let Ok(read @ 1..) = read else { return false };
                let left = match cut {
                    Some(Cut::Hearing { bytes }) => bytes.saturating_sub(to_phone).min(read),
                    Some(Cut::AtOnce | Cut::Waiting | Cut::Sending { .. }) | None => read,
                };
                if phone.write_all(&down[..left]).await.is_err() {
                    return false;
                }
                to_phone += left;
                if left < read {
                    return true;
                }
            }
        }
    }
}

/// Bytes of the whole request, once its head is there.
fn length_of(seen: &[u8]) -> Option<usize> {
    let text = String::from_utf8_lossy(seen);
    let end = text.find("\r\n\r\n")? + 4;
    let body = text.lines().find_map(|line| line.strip_prefix("Content-Length: "))?;
    Some(end + body.trim().parse::<usize>().ok()?)
}

/// How long the head and the whole of a request of this phone are, with this much body.
fn lengths(address: &SocketAddr, by: &Sender, path: &str, kind: &str, body: usize) -> (usize, usize) {
    let head = format!(
        "POST {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nSec-Fetch-Site: same-origin\r\n\
         Accept: application/json\r\nCookie: {}\r\nContent-Type: {kind}\r\nContent-Length: {body}\r\n\r\n",
        by.cookie
    );
    (head.len(), head.len() + body)
}

/// The breaks one check meets, last first: one or two of its lines break, now at the answers, now at the photo.
fn plan_for(
    run: u64,
    address: &SocketAddr,
    by: &Sender,
    form_key: &str,
    chance: &Chance,
) -> Vec<(usize, Cut)> {
    let class = usize::try_from(run).unwrap() % CLASSES.len();
    let answers = format!("form_key={form_key}&danger=none&better=same&photos_expected=1").len();
    let kind = "application/x-www-form-urlencoded";
    let answers = lengths(address, by, "/my/check/answers", kind, answers);
    let kind = "multipart/form-data; boundary=edge";
    let photo = photo_body(form_key, 1, &jpeg(run)).len();
    let photo = lengths(address, by, "/my/check/photo", kind, photo);
    let cut = |(head, whole): (usize, usize)| (class, cut_in(class, whole, head, chance));
    // Every class comes to the answers, to the photo and to both.
    match run / CLASSES.len() as u64 % 3 {
        // The answers' line breaks, then the photo's: each is sent again.
        0 => vec![cut(answers)],
        // A good line for the answers first; a break far behind its end never comes.
        1 => vec![cut(photo), (class, Cut::Hearing { bytes: usize::MAX })],
        _ => vec![cut(photo), (class, Cut::Hearing { bytes: usize::MAX }), cut(answers)],
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn wherever_a_line_breaks_each_check_and_photo_arrives_once() {
    let runs = std::env::var("CUT_RUNS").ok().and_then(|runs| runs.parse().ok()).unwrap_or(RUNS);
    let place = Place::sqlite();
    let phones = senders(&place, PHONES).await;
    let served = Served::start(&place);
    let (plan, met) = (Plan::default(), Arc::new(Mutex::new(Vec::new())));
    let (line, carrying) = bad_line(served.address.clone(), Arc::clone(&plan), Arc::clone(&met)).await;
    let (told, chance) = (Told::default(), Chance::seeded(12));
    let mut again = 0;
    for run in 0..runs {
        let by = &phones[usize::try_from(run).unwrap() % PHONES];
        let form_key = format!("cut{run}");
        *plan.lock().unwrap() = plan_for(run, &line, by, &form_key, &chance);
        // Once for each break, and once on a good line; the page goes on for longer.
        let mut tries = 0;
        while !send_check(&line.to_string(), by, &told, &form_key, run).await {
            tries += 1;
            assert!(tries <= 4, "run {run} is not taken");
        }
        again += tries;
    }
    carrying.abort();
    served.kill();
    let met = met.lock().unwrap().clone();
    for (class, name) in CLASSES.iter().enumerate() {
        let times = met.iter().filter(|seen| **seen == class).count();
        println!("{name}: {times} breaks");
        assert!(runs < 30 || times > 0, "no line broke {name}");
    }
    assert!(again >= runs * 9 / 10, "only {again} of {runs} were sent again");
    let found = compare(&place, &told).await;
    println!("{runs} runs, sent again {again} times; {}", found.line());
    assert!(found.is_whole(), "{found:?}");
    assert_eq!(
        (found.receipts, found.photos),
        (usize::try_from(runs).unwrap(), usize::try_from(runs).unwrap())
    );
    place.clear().await;
}
