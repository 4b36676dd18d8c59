//! A storm of tries to sign in while patients send (safety promises L9 and A10), and whether the time of an answer tells which
//! names there are (A12).

use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;
use std::time::Duration;
use std::time::Instant;

use argon2::Argon2;
use argon2::PasswordHasher;
use tokio::runtime::Runtime;
use tokio::task::JoinHandle;

use closewatch::ids::Chance;
use closewatch::ids::StaffId;
use closewatch::store::staff;
use closewatch::store::staff::Roles;
use closewatch::store::staff::StaffMember;

use crate::Quiet;
use crate::Scale;
use crate::checks::steadily;
use crate::checks::took;
use crate::checks::whole_pct;
use crate::figures::Figure;
use crate::figures::percentile_ms;
use crate::phone::Answer;
use crate::phone::Browser;
use crate::pictures::Picture;
use crate::rank_test::rank_test;
use crate::server::House;
use crate::server::Server;
use crate::support::Practice;

const STORM_NET: u8 = 8;
const NAMES_NET: u8 = 9;
/// At once, each from addresses of its own.
const AT_ONCE: usize = 200;
/// Below the thirty wrong tries in five minutes that one address has.
const TRIES_EACH: usize = 25;
/// What two cores can hash, two at once and some 60 ms each (the promise's own figure).
const CEILING_PER_S: f64 = 33.0;

async fn tries(browser: &Browser, name: &str) -> reqwest::Result<Answer> {
    browser.post_form("/sign-in", "", &[("sign_in_name", name), ("password", "a wrong password")]).await
}

#[derive(Default)]
struct Tally {
    looked_at: AtomicUsize,
    sent_away: AtomicUsize,
    otherwise: AtomicUsize,
}

/// Strangers have machines of their own. Here theirs and the server's are the same two cores: what they do stands back for it.
fn elsewhere() -> Runtime {
    tokio::runtime::Builder::new_multi_thread()
        .on_thread_start(|| {
            let _ = rustix::process::setpriority_process(None, 19);
        })
        .enable_all()
        .build()
        .expect("a runtime")
}

fn storm(
    strangers: &Runtime,
    server: &Server,
    stop: &Arc<AtomicBool>,
    tally: &Arc<Tally>,
) -> Vec<JoinHandle<()>> {
    let one = |number: usize| {
        let (address, stop, tally) = (server.address().to_owned(), Arc::clone(stop), Arc::clone(tally));
        strangers.spawn(async move {
            let mut browser = Browser::at(&address, STORM_NET, number);
            for round in 1.. {
                // Each moves on to another address before this one has had its tries.
                if round % TRIES_EACH == 0 {
                    browser =
                        Browser::at(&address, STORM_NET, (number + AT_ONCE * (round / TRIES_EACH)) % 60_000);
                }
                if stop.load(Ordering::Relaxed) {
                    return;
                }
                let counter = match tries(&browser, &format!("somebody{number}in{round}")).await {
                    Ok(Answer { status: 422, .. }) => &tally.looked_at,
                    Ok(Answer { status: 429, after: Some(_), .. }) => &tally.sent_away,
                    Ok(_) | Err(_) => &tally.otherwise,
                };
                counter.fetch_add(1, Ordering::Relaxed);
                tokio::time::sleep(Duration::from_millis(200)).await;
            }
        })
    };
    (0..AT_ONCE).map(one).collect()
}

pub async fn sign_in_storm(
    server: &Server,
    house: &House,
    picture: &Arc<Picture>,
    scale: &Scale,
    quiet: &Quiet,
) -> Vec<Figure> {
    server.forget_peak();
    let (stop, tally) = (Arc::new(AtomicBool::new(false)), Arc::new(Tally::default()));
    let begun = Instant::now();
    let strangers = elsewhere();
    let at_it = storm(&strangers, server, &stop, &tally);
    tokio::time::sleep(Duration::from_secs(1)).await;
    let sent = steadily(server, house, picture, "stormed", scale.steady, scale.steady_every).await;
    let passed_s = begun.elapsed().as_secs_f64();
    stop.store(true, Ordering::Relaxed);
    for one in at_it {
        let _ = one.await;
    }
    strangers.shutdown_background();
    let count = |of: &AtomicUsize| of.load(Ordering::Relaxed) as f64;
    let ratio = percentile_ms(&mut took(&sent), 95) / percentile_ms(&mut took(&quiet.sent), 95);
    let grown_mib = (server.peak_mib() - quiet.peak_mib).max(0.0);
    vec![
        Figure::at_most(
            "L9",
            "tries looked at",
            count(&tally.looked_at) / passed_s,
            CEILING_PER_S,
            "a second",
        ),
        Figure::told("L9", "tries told to wait", count(&tally.sent_away) / passed_s, "a second"),
        Figure::at_most("L9", "tries answered otherwise", count(&tally.otherwise), 0.0, ""),
        Figure::at_least("A10", "checks taken whole meanwhile", whole_pct(&sent), 100.0, "%"),
        Figure::at_most("A10", "p95 of a check, times that in quiet", ratio, 1.2, ""),
        Figure::at_most("A10", "most memory, above that in quiet", grown_mib, 100.0, "MiB"),
    ]
}

/// Members whose passwords are hashed at the full cost, as the program does it; four wrong tries at each are free.
pub const FREE_TRIES: usize = 4;

pub async fn hire_for_names(practice: &Practice, members: usize) {
    let phc = Argon2::default()
        .hash_password_with_salt(b"a password of nobody's", b"only for a bench")
        .expect("a password can be hashed")
        .to_string();
    let mut tx = practice.desk().db.write().await.expect("the books can be written");
    for number in 0..members {
        let moment = practice.moment();
        let member = StaffMember {
            id: StaffId::mint(&moment),
            practice: practice.id,
            name: format!("Pat Moss {number}"),
            sign_in_name: known_name(number),
            roles: Roles { office: true, ..Roles::default() },
            active: true,
            sees_photos: false,
        };
        staff::insert(&mut tx, &member, &phc, moment.now).await.expect("a member can be hired");
    }
    tx.commit().await.expect("the books can be written");
}

fn known_name(number: usize) -> String {
    format!("pat.moss.{number:04}")
}

/// A12: known and unknown names in turn, by lot; the times of both must be alike.
pub async fn names(scale: &Scale) -> Vec<Figure> {
    let members = scale.names.div_ceil(FREE_TRIES);
    let house = House::with(0, async |practice, _, _| hire_for_names(practice, members).await).await;
    let server = house.opens(&[]);
    let chance = Chance::seeded(12);
    let mut order: Vec<(bool, usize)> =
        (0..scale.names).flat_map(|number| [(true, number), (false, number)]).collect();
    for place in (1..order.len()).rev() {
        order.swap(place, chance.below(place as u32 + 1) as usize);
    }
    let (mut known, mut unknown) = (Vec::new(), Vec::new());
    let mut browser = Browser::at(server.address(), NAMES_NET, 0);
    for (at, (is_known, number)) in order.into_iter().enumerate() {
        if at % TRIES_EACH == 0 {
            browser = Browser::at(server.address(), NAMES_NET, at / TRIES_EACH);
        }
        let name = match is_known {
            true => known_name(number / FREE_TRIES),
            // As long as a known one.
            false => format!("sam.reed.{number:04}"),
        };
        // The connection is opened before the clock starts.
        browser.get("/live", "").await.expect("the server answers");
        let begun = Instant::now();
        let answer = tries(&browser, &name).await.expect("the server answers");
        let took = begun.elapsed();
        assert_eq!(answer.status, 422, "{}", String::from_utf8_lossy(&answer.body));
        if is_known { &mut known } else { &mut unknown }.push(took);
    }
    server.kill();
    let p_value = rank_test(&known, &unknown);
    let (known_ms, unknown_ms) = (percentile_ms(&mut known, 50), percentile_ms(&mut unknown, 50));
    let apart_pct = 100.0 * (known_ms / unknown_ms - 1.0).abs();
    vec![
        Figure::told("A12", "tries at known names, and as many at others", known.len() as f64, ""),
        Figure::told("A12", "a known name, p50", known_ms, "ms"),
        Figure::told("A12", "an unknown name, p50", unknown_ms, "ms"),
        Figure::at_most("A12", "the middle ones differ by", apart_pct, 10.0, "%"),
        Figure::at_least(
            "A12",
            "p of a rank-sum test (a chance difference is larger this often)",
            p_value,
            0.01,
            "",
        ),
    ]
}
