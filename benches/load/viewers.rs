//! Pages of staff that stay open: when the last of them hears of a check, and what they cost (safety promise L3).

use std::sync::Arc;
use std::time::Duration;
use std::time::Instant;

use tokio::sync::mpsc;
use tokio::task::JoinHandle;

use crate::Scale;
use crate::figures::Figure;
use crate::figures::percentile_ms;
use crate::phone::Browser;
use crate::phone::send_check;
use crate::server::House;
use crate::server::Server;

const NET: u8 = 2;
/// The program gives one address 64 places.
const EACH: usize = 60;
/// News of a check that takes longer counts as this long.
const NEVER: Duration = Duration::from_secs(20);

/// Opens so many live lines; each sends the moment it heard of a change. Dropped, they close.
struct Lines {
    listening: Vec<JoinHandle<()>>,
    heard: mpsc::UnboundedReceiver<Instant>,
    open: usize,
}

impl Lines {
    async fn open(server: &Server, house: &House, how_many: usize) -> Lines {
        let (tell, heard) = mpsc::unbounded_channel();
        let (opened, mut is_open) = mpsc::unbounded_channel();
        let cookie: Arc<str> = house.surgeon.as_str().into();
        let mut listening = Vec::new();
        for number in 0..how_many {
            let browser = Browser::at(server.address(), NET, number / EACH);
            let (tell, opened, cookie) = (tell.clone(), opened.clone(), Arc::clone(&cookie));
            listening.push(tokio::spawn(async move {
                let Ok(mut line) = browser.listen("/queue/stream", &cookie).await else { return };
                if line.status().as_u16() != 200 {
                    return;
                }
                let _ = opened.send(());
                while let Ok(Some(word)) = line.chunk().await {
                    if word.windows(7).any(|part| part == b"changed") {
                        let _ = tell.send(Instant::now());
                    }
                }
            }));
            // Hundreds at the very same moment would measure the opening.
            if number % 20 == 19 {
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
        }
        drop(opened);
        let mut open = 0;
        while open < how_many {
            match tokio::time::timeout(NEVER, is_open.recv()).await {
                Ok(Some(())) => open += 1,
                Ok(None) | Err(_) => break,
            }
        }
        Lines { listening, heard, open }
    }

    /// When the last line heard of what was sent at `since`.
    async fn last_heard(&mut self, since: Instant) -> Duration {
        let mut last = since;
        for _ in 0..self.open {
            match tokio::time::timeout(NEVER, self.heard.recv()).await {
                Ok(Some(at)) => last = last.max(at),
                Ok(None) | Err(_) => return NEVER,
            }
        }
        last - since
    }

    /// Whatever was still to be heard of the last change.
    async fn fall_silent(&mut self) {
        tokio::time::sleep(Duration::from_millis(400)).await;
        while self.heard.try_recv().is_ok() {}
    }

    fn close(self) {
        for line in self.listening {
            line.abort();
        }
    }
}

pub async fn viewers(server: &Server, house: &House, scale: &Scale) -> Vec<Figure> {
    let before_mib = server.memory_mib();
    let mut lines = Lines::open(server, house, scale.viewers).await;
    let mut last = Vec::new();
    for round in 0..scale.rounds {
        lines.fall_silent().await;
        let phone = round % house.phones.len();
        let browser = Browser::at(server.address(), 3, phone);
        let since = Instant::now();
        let form_key = format!("viewed{round}");
        let sent = send_check(&browser, &house.phones[phone], &form_key, &[], NEVER).await;
        assert!(sent.receipt.is_some(), "a check without photos is always taken");
        last.push(lines.last_heard(since).await);
    }
    let not_open = scale.viewers - lines.open;
    lines.close();
    tokio::time::sleep(Duration::from_secs(2)).await;
    let idle = Lines::open(server, house, scale.idle).await;
    tokio::time::sleep(Duration::from_secs(3)).await;
    let held_mib = server.memory_mib() - before_mib;
    let idle_open = idle.open;
    idle.close();
    let (viewers, idle) = (scale.viewers as f64, scale.idle as f64);
    vec![
        Figure::at_least("L3", "live lines open", viewers - not_open as f64, viewers, ""),
        Figure::at_most(
            "L3",
            "a check heard of at the last line, p95",
            percentile_ms(&mut last, 95),
            1_000.0,
            "ms",
        ),
        Figure::at_least("L3", "idle live lines open", idle_open as f64, idle, ""),
        Figure::at_most("L3", "memory they add", held_mib, 150.0, "MiB"),
    ]
}
