//! The program under load and abuse, on loopback: what it promises for one machine of two cores and four gibibytes.
//!
//! `cargo bench --bench load -- [--quick] [checks|viewers|crowded|abuse|sign-ins|names …]`; without a name, all of them. It starts
//! the release build by itself on a temporary folder, ends it, prints a table in Markdown, and ends with 1 when a limit is not
//! kept. What is compared with quiet was measured in quiet in the same run. Beside anything else that works the figures mean
//! nothing; `--quick` is for seeing that everything still runs, not for its figures.
#![expect(clippy::disallowed_methods, reason = "a stopwatch is what this is")]

#[path = "../../tests/support/mod.rs"]
mod support;

mod abuse;
mod checks;
mod crowded;
mod figures;
mod phone;
mod pictures;
mod rank_test;
mod server;
mod sign_ins;
mod viewers;

use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use figures::Figure;
use phone::Sent;
use pictures::Picture;
use server::House;

/// What was sent while nothing else went on, and the most memory the server held by itself meanwhile, MiB.
pub struct Quiet {
    pub sent: Vec<Sent>,
    pub peak_mib: f64,
}

/// How much of everything.
pub struct Scale {
    phones: usize,
    picture_px: (u32, u32),
    /// Checks sent one a second.
    checks: usize,
    burst: usize,
    burst_within: Duration,
    /// Checks sent in quiet, and as many under abuse, to be compared.
    steady: usize,
    steady_every: Duration,
    viewers: usize,
    idle: usize,
    rounds: usize,
    open: usize,
    closed: usize,
    looks: usize,
    junk_per_s: usize,
    slow: usize,
    /// Checks with photos that one hostile link sends, and emergencies without.
    hostile: usize,
    emergencies: usize,
    /// Tries at known names, and as many at unknown ones.
    names: usize,
}

const WHOLE: Scale = Scale {
    phones: 62,
    picture_px: (4_032, 3_024),
    checks: 120,
    burst: 200,
    burst_within: Duration::from_secs(10),
    steady: 40,
    steady_every: Duration::from_millis(2_000),
    viewers: 200,
    idle: 1_000,
    rounds: 40,
    open: 10_000,
    closed: 200_000,
    looks: 100,
    junk_per_s: 2_000,
    slow: 500,
    hostile: 30,
    emergencies: 210,
    names: 500,
};

const QUICK: Scale = Scale {
    phones: 14,
    picture_px: (1_600, 1_200),
    checks: 6,
    burst: 24,
    burst_within: Duration::from_secs(1),
    steady: 6,
    steady_every: Duration::from_millis(500),
    viewers: 60,
    idle: 200,
    rounds: 5,
    open: 1_000,
    closed: 10_000,
    looks: 10,
    junk_per_s: 400,
    slow: 100,
    hostile: 22,
    emergencies: 20,
    names: 60,
};

const ALL: [&str; 6] = ["checks", "viewers", "crowded", "abuse", "sign-ins", "names"];
/// Photos are measured after they are taken in; what comes next waits for that.
const MEASURED_WITHIN: Duration = Duration::from_secs(900);

fn main() -> ExitCode {
    let asked: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    let is_quick = asked.iter().any(|word| word == "--quick");
    let named: Vec<&str> = asked.iter().map(String::as_str).filter(|word| *word != "--quick").collect();
    if let Some(unknown) = named.iter().find(|name| !ALL.contains(name)) {
        println!("there is no {unknown}; there are {}", ALL.join(", "));
        return ExitCode::from(2);
    }
    let is_asked = |name: &str| named.is_empty() || named.contains(&name);
    let wanted: Vec<&str> = ALL.into_iter().filter(|name| is_asked(name)).collect();
    rank_test::checked();
    let _ = rustls::crypto::ring::default_provider().install_default();
    let scale = if is_quick { QUICK } else { WHOLE };
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    let figures = runtime.block_on(run(&wanted, &scale));
    println!("\n{}", figures::TABLE_HEAD);
    for figure in &figures {
        println!("{}", figure.line());
    }
    let broken = figures.iter().filter(|figure| figure.kept == Some(false)).count();
    if is_quick {
        println!("\nThe short form: its figures say nothing of the promises.");
    }
    match broken {
        0 => ExitCode::SUCCESS,
        1 => {
            println!("\n1 limit is not kept.");
            ExitCode::FAILURE
        }
        broken => {
            println!("\n{broken} limits are not kept.");
            ExitCode::FAILURE
        }
    }
}

async fn run(wanted: &[&str], scale: &Scale) -> Vec<Figure> {
    let mut all = Vec::new();
    let sends = wanted.iter().any(|name| ["checks", "abuse", "sign-ins"].contains(name));
    if sends {
        all.extend(sending(wanted, scale).await);
    }
    if wanted.contains(&"viewers") {
        let house = House::with_phones(3).await;
        let server = house.opens(&[]);
        all.extend(viewers::viewers(&server, &house, scale).await);
        server.kill();
        told("viewers");
    }
    if wanted.contains(&"crowded") {
        all.extend(crowded::crowded(scale).await);
        told("crowded");
    }
    if wanted.contains(&"names") {
        all.extend(sign_ins::names(scale).await);
        told("names");
    }
    all
}

/// Everything that photos are sent in, on one house. The burst comes last: after it the program is killed.
async fn sending(wanted: &[&str], scale: &Scale) -> Vec<Figure> {
    let (width, height) = scale.picture_px;
    let picture = Arc::new(Picture::painted(width, height));
    let weight_mib = picture.numbered(0).len() as f64 / (1_024.0 * 1_024.0);
    let mut all = vec![Figure::told("", &format!("one photo of {width} by {height}"), weight_mib, "MiB")];
    let house = House::with_phones(scale.phones).await;
    let server = house.opens(&[]);
    server.forget_peak();
    let sent = checks::steadily(&server, &house, &picture, "quiet", scale.steady, scale.steady_every).await;
    let quiet = Quiet { sent, peak_mib: server.peak_mib() };
    let quiet_p95_ms = figures::percentile_ms(&mut checks::took(&quiet.sent), 95);
    all.push(Figure::told("", "a check with two photos in quiet, p95", quiet_p95_ms, "ms"));
    told("quiet");
    house.until_measured(&server, MEASURED_WITHIN).await;
    if wanted.contains(&"abuse") {
        all.extend(abuse::junk_and_slow(&server, &house, &picture, scale, &quiet.sent).await);
        house.until_measured(&server, MEASURED_WITHIN).await;
        all.extend(abuse::hostile_link(&server, &house, &picture, scale).await);
        told("abuse");
        house.until_measured(&server, MEASURED_WITHIN).await;
    }
    if wanted.contains(&"sign-ins") {
        all.extend(sign_ins::sign_in_storm(&server, &house, &picture, scale, &quiet).await);
        told("sign-ins");
        house.until_measured(&server, MEASURED_WITHIN).await;
    }
    if wanted.contains(&"checks") {
        let (figures, sent) = checks::minutes(&server, &house, &picture, scale).await;
        all.extend(figures);
        told("checks");
        let before = quiet.sent.into_iter().chain(sent).collect();
        all.extend(checks::burst(server, &house, &picture, scale, before).await);
        told("burst");
    } else {
        server.kill();
    }
    all
}

/// How far it is, for whoever waits.
fn told(what: &str) {
    println!("{what}: done");
}
