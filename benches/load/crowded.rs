//! A practice of many years: how soon it is up, and how long its pages take (safety promise L4).

use std::time::Duration;
use std::time::Instant;

use crate::Scale;
use crate::figures::Figure;
use crate::figures::percentile_ms;
use crate::phone::Browser;
use crate::server::House;
use crate::server::Server;
use crate::support::Crowd;
use crate::support::Due;
use crate::support::fill;
use crate::support::no_danger;

const NET: u8 = 4;
const WARM_UP: usize = 5;

pub async fn crowded(scale: &Scale) -> Vec<Figure> {
    let crowd = Crowd { kept: scale.open + scale.closed, waiting: scale.open, due: Due::Later };
    let house = House::with(1, async |practice, _, phones| {
        phones[0].sends("first", no_danger(), &[]).await;
        fill(practice, crowd).await;
    })
    .await;
    let server = house.opens(&[]);
    let browser = Browser::at(server.address(), NET, 0);
    let is_full = |html: &str| html.matches("queue-row ").count() == 200;
    let mut queue = looks(&browser, &house, &server, "/queue", scale.looks, is_full).await;
    let one = format!("Mia Stone 0 {}", scale.open / 2);
    let is_found = |html: &str| html.contains(&one);
    let asked = one.to_lowercase().replace(' ', "+");
    let mut on_queue =
        looks(&browser, &house, &server, &format!("/queue?name={asked}"), scale.looks, is_found).await;
    let mut patients =
        looks(&browser, &house, &server, &format!("/patients?name={asked}"), scale.looks, is_found).await;
    let figures = vec![
        Figure::told("L4", "checks that wait", scale.open as f64, ""),
        Figure::told("L4", "checks that are closed", scale.closed as f64, ""),
        Figure::at_most("L4", "ready after the start", server.ready.as_secs_f64(), 5.0, "s"),
        Figure::at_most("L4", "the queue, p95", percentile_ms(&mut queue, 95), 150.0, "ms"),
        Figure::at_most("L4", "a name on the queue, p95", percentile_ms(&mut on_queue, 95), 300.0, "ms"),
        Figure::at_most(
            "L4",
            "a name among the patients, p95",
            percentile_ms(&mut patients, 95),
            300.0,
            "ms",
        ),
        Figure::told("L4", "memory after that", server.memory_mib(), "MiB"),
    ];
    server.kill();
    figures
}

/// Opens a page so often. A page without its rows would be quick for the wrong reason.
async fn looks(
    browser: &Browser,
    house: &House,
    server: &Server,
    path: &str,
    times: usize,
    is_right: impl Fn(&str) -> bool,
) -> Vec<Duration> {
    let mut took = Vec::new();
    for look in 0..times + WARM_UP {
        let begun = Instant::now();
        let page = browser.get(path, &house.surgeon).await.expect("the server answers");
        if look >= WARM_UP {
            took.push(begun.elapsed());
        }
        let html = String::from_utf8_lossy(&page.body).into_owned();
        assert_eq!(page.status, 200, "{path}: {html}\n{}", server.words());
        assert!(is_right(&html), "{path}: {html}");
    }
    took
}
