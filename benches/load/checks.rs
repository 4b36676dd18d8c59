//! Checks that come in: in quiet, sixty a minute, and many at once (safety promises L1 and L2).

use std::sync::Arc;
use std::time::Duration;
use std::time::Instant;

use crate::Scale;
use crate::figures::Figure;
use crate::figures::percentile_ms;
use crate::phone::Browser;
use crate::phone::Sent;
use crate::phone::audit;
use crate::phone::send_check;
use crate::pictures::Picture;
use crate::server::House;
use crate::server::Server;

/// Phones send from this net of loopback.
const NET: u8 = 1;
/// Photos of one check.
pub const PHOTOS: usize = 2;

/// Sends checks at an even pace, whether or not those before are through, and waits for all of them.
pub async fn steadily(
    server: &Server,
    house: &House,
    picture: &Arc<Picture>,
    name: &str,
    how_many: usize,
    every: Duration,
) -> Vec<Sent> {
    let mut sending = Vec::new();
    let begun = tokio::time::Instant::now();
    for number in 0..how_many {
        tokio::time::sleep_until(begun + every * u32::try_from(number).expect("not so many")).await;
        sending.push(tokio::spawn(one(server, house, picture, name, number)));
    }
    ended(sending).await
}

fn one(
    server: &Server,
    house: &House,
    picture: &Arc<Picture>,
    name: &str,
    number: usize,
) -> impl Future<Output = Sent> + use<> {
    // The first two phones are the hostile one's and its neighbour's.
    let phone = 2 + number % (house.phones.len() - 2);
    let (browser, by) = (Browser::at(server.address(), NET, phone), house.phones[phone].clone());
    let (picture, form_key) = (Arc::clone(picture), format!("{name}{number}"));
    // Not two files alike in all the runs of one house.
    let salt = name.bytes().fold(0_u64, |sum, byte| sum * 31 + u64::from(byte)) << 20;
    async move {
        let files: Vec<Vec<u8>> =
            (0..PHOTOS).map(|at| picture.numbered(salt + (number * PHOTOS + at) as u64)).collect();
        send_check(&browser, &by, &form_key, &files, Duration::from_secs(180)).await
    }
}

async fn ended(sending: Vec<tokio::task::JoinHandle<Sent>>) -> Vec<Sent> {
    let mut all = Vec::new();
    for one in sending {
        all.push(one.await.expect("a phone does not fall over"));
    }
    all
}

pub fn took(all: &[Sent]) -> Vec<Duration> {
    all.iter().map(|sent| sent.took).collect()
}

/// Whole ones, of all, in hundredths.
pub fn whole_pct(all: &[Sent]) -> f64 {
    100.0 * all.iter().filter(|sent| sent.is_whole()).count() as f64 / all.len() as f64
}

/// L1: sixty a minute, each with two large photos.
pub async fn minutes(
    server: &Server,
    house: &House,
    picture: &Arc<Picture>,
    scale: &Scale,
) -> (Vec<Figure>, Vec<Sent>) {
    server.forget_peak();
    let (cpu_s, begun) = (server.cpu_s(), Instant::now());
    let all = steadily(server, house, picture, "minute", scale.checks, Duration::from_secs(1)).await;
    let (passed_s, used_s) = (begun.elapsed().as_secs_f64(), server.cpu_s() - cpu_s);
    let mut times = took(&all);
    let mut answers: Vec<Duration> = all.iter().map(|sent| sent.answers_took).collect();
    let faults = all.iter().filter(|sent| !sent.is_whole()).count();
    let turned_away: usize = all.iter().map(|sent| sent.turned_away).sum();
    let figures = vec![
        Figure::told("L1", "checks sent, 60 a minute, two photos each", all.len() as f64, ""),
        Figure::told("L1", "answers in, p95", percentile_ms(&mut answers, 95), "ms"),
        Figure::told("L1", "answers and photos in, p50", percentile_ms(&mut times, 50), "ms"),
        Figure::at_most("L1", "answers and photos in, p95", percentile_ms(&mut times, 95), 3_000.0, "ms"),
        Figure::at_most("L1", "answers and photos in, p99", percentile_ms(&mut times, 99), 8_000.0, "ms"),
        Figure::at_most("L1", "checks not taken whole", faults as f64, 0.0, ""),
        Figure::told("L1", "times a phone was told to come again", turned_away as f64, ""),
        Figure::told("L1", "cores used", used_s / passed_s, ""),
        Figure::told("L1", "most memory, the server alone", server.peak_mib(), "MiB"),
        Figure::told("L1", "most memory, with what reads photos", server.peak_together_mib(), "MiB"),
    ];
    (figures, all)
}

/// L2: many at once. All of them are in at the end, and after a kill the books hold every receipt.
pub async fn burst(
    server: Server,
    house: &House,
    picture: &Arc<Picture>,
    scale: &Scale,
    before: Vec<Sent>,
) -> Vec<Figure> {
    server.forget_peak();
    let every = scale.burst_within / u32::try_from(scale.burst).expect("not so many");
    let begun = Instant::now();
    let all = steadily(&server, house, picture, "burst", scale.burst, every).await;
    let took_s = begun.elapsed().as_secs_f64();
    let (peak_mib, together_mib) = (server.peak_mib(), server.peak_together_mib());
    server.kill();
    let told: Vec<Sent> = before.into_iter().chain(all.iter().cloned()).collect();
    let lost = audit(house, &told).await;
    let not_in = all.iter().filter(|sent| !sent.is_whole()).count();
    let turned_away = all.iter().filter(|sent| sent.turned_away > 0).count();
    let within_s = scale.burst_within.as_secs_f64();
    vec![
        Figure::told("L2", &format!("checks sent within {within_s:.0} s"), all.len() as f64, ""),
        Figure::told("L2", "of them told to come again", turned_away as f64, ""),
        Figure::told("L2", "until all were in", took_s, "s"),
        Figure::at_most("L2", "never taken whole", not_in as f64, 0.0, ""),
        Figure::told("L2", "receipts held against the books after a kill", told.len() as f64, ""),
        Figure::at_most("L2", "checks and photos lost or doubled", lost.all() as f64, 0.0, ""),
        Figure::told("L2", "most memory, the server alone", peak_mib, "MiB"),
        Figure::at_most("L2", "most memory, with what reads photos", together_mib, 1_024.0, "MiB"),
    ]
}
