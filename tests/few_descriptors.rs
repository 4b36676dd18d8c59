//! The real program with hardly a file to spare: whoever is in stays in, whoever comes is told to ring, and nothing that was
//! acknowledged is lost. `prlimit` sets how many files it may have open, or how much memory it may ask for.

mod support;

use std::io::Read;
use std::io::Write;
use std::net::TcpStream;
use std::process::Command;
use std::time::Duration;

use support::Place;
use support::READY_WITHIN;
use support::Served;
use support::Told;
use support::compare;
use support::retry;
use support::send_check;
use support::senders;
use support::serve;

/// The program under a limit, as in `--nofile=64`.
fn limited(place: &Place, limit: &str) -> Command {
    let plain = serve(place);
    let mut command = Command::new("prlimit");
    command.arg(limit).arg("--").arg(plain.get_program()).args(plain.get_args());
    command
}

/// One question on a connection that stays open; the status.
fn ask(line: &mut TcpStream, address: &str, cookie: &str) -> Option<u16> {
    line.write_all(format!("GET /my HTTP/1.1\r\nHost: {address}\r\nCookie: {cookie}\r\n\r\n").as_bytes())
        .ok()?;
    let mut heard = Vec::new();
    let mut some = [0; 16_384];
    loop {
        let came = line.read(&mut some).ok()?;
        if came == 0 {
            return None;
        }
        heard.extend_from_slice(&some[..came]);
        let text = String::from_utf8_lossy(&heard);
        if let Some((head, body)) = text.split_once("\r\n\r\n") {
            let length = head.lines().find_map(|line| {
                line.to_ascii_lowercase().strip_prefix("content-length: ").map(str::to_owned)
            });
            if length.is_none_or(|length| body.len() >= length.trim().parse().unwrap_or(0)) {
                return head.get(9..12)?.parse().ok();
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_sixty_four_files_who_is_in_goes_on_and_who_comes_is_told_to_ring() {
    let place = Place::sqlite();
    let phones = senders(&place, 2).await;
    let mut served =
        Served::try_start(limited(&place, "--nofile=64")).unwrap_or_else(|ended| panic!("{ended:?}"));
    assert!(served.until_ready() <= READY_WITHIN);
    let told = Told::default();
    let address = served.address.clone();
    assert!(send_check(&address, &phones[0], &told, "before", 1).await);
    let mut living = TcpStream::connect(&address).unwrap();
    living.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    assert_eq!(ask(&mut living, &address, &phones[0].cookie), Some(200));
    // Connections that only hold a place, until there is none.
    let held: Vec<TcpStream> = (0..120).filter_map(|_| TcpStream::connect(&address).ok()).collect();
    std::thread::sleep(Duration::from_millis(1_500));
    let mut refused = String::new();
    let mut late = TcpStream::connect(&address).unwrap();
    late.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
    late.write_all(format!("GET /live HTTP/1.1\r\nHost: {address}\r\n\r\n").as_bytes()).unwrap();
    let _ = late.read_to_string(&mut refused);
    assert!(refused.starts_with("HTTP/1.1 503") && refused.contains("202-555-0100"), "{refused:?}");
    for _ in 0..10 {
        assert_eq!(ask(&mut living, &address, &phones[0].cookie), Some(200), "a living session was hurt");
    }
    let files = std::fs::read_dir(format!("/proc/{}/fd", served.id())).unwrap().count();
    let holding = held.len();
    drop(held);
    std::thread::sleep(Duration::from_millis(300));
    assert!(send_check(&address, &phones[1], &told, "after", 2).await, "it does not recover");
    assert_eq!(served.ended(), None);
    served.kill();
    let found = compare(&place, &told).await;
    println!(
        "64 files, {holding} connections held: {files} files open, new ones told to ring, 10 of 10 answers for who was in; {}",
        found.line()
    );
    assert!(found.is_whole(), "{found:?}");
    place.clear().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_hardly_any_memory_it_may_end_but_loses_nothing() {
    let place = Place::sqlite();
    let phones = senders(&place, 1).await;
    let told = Told::default();
    let (mut starts, mut ended) = (0, 0);
    // The soft limit alone: with less than reading a photo may take as the hard one it does not begin (`tests/decoder.rs`).
    for mib in [48_u64, 96, 160, 256, 512] {
        let Ok(mut served) = Served::try_start(limited(&place, &format!("--as={}:", mib * 1_024 * 1_024)))
        else {
            ended += 1;
            continue;
        };
        starts += 1;
        for number in 0..3 {
            send_check(
                &served.address,
                &phones[0],
                &told,
                &format!("with{mib}number{number}"),
                mib * 10 + number,
            )
            .await;
        }
        ended += u32::from(served.ended().is_some());
        served.kill();
    }
    let mut served = Served::start(&place);
    served.until_ready();
    retry(&served.address, &told).await;
    served.kill();
    let found = compare(&place, &told).await;
    println!(
        "5 sizes of memory from 48 to 512 MiB of addresses: {starts} starts, {ended} ends; {}",
        found.line()
    );
    assert!(found.is_whole(), "{found:?}");
    place.clear().await;
}
