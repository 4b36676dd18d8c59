//! What holds when all that is due was worked off and no job is in anybody's hands.

use crate::books;
use crate::books::Books;
use crate::books::Delivery;
use crate::laws::Fault;
use crate::laws::Seen;
use crate::laws::rung;
use crate::laws::rungs;
use crate::laws::steepness;
use crate::model::CallStands;
use crate::model::Model;
use crate::model::Stands;
use crate::model::When;

/// Between two looks of the watch.
const LOOK_MS: i64 = 30_000;
/// Whoever says that they see to it has so long.
const SEEN_TO_MS: i64 = 10 * 60_000;
const UNOPENED_MS: i64 = 5 * 60_000;

/// What patients are reminded by.
const REMINDERS: [&str; 5] = ["step_due", "not_heard", "reply_unread", "come_in_unanswered", "call_missed"];

/// Something that waits and that nobody looks at.
struct Alone {
    about: String,
    rank: Option<u8>,
    /// True time since when.
    since: i64,
    /// True time since when it is as urgent as it is.
    ranked: i64,
    due: i64,
    /// By the wall's clock.
    received: i64,
}

/// A job is in somebody's hands, dead or alive: for the time of its lease the laws of rest do not hold yet.
pub fn is_at_rest(books: &Books, when: When) -> bool {
    books.jobs.iter().all(|job| job.state == "failed" || job.leased_until <= when.wall())
}

pub fn laws_of_rest(books: &Books, model: &Model, seen: &Seen, when: When) -> Result<(), Fault> {
    jobs(books, when)?;
    for one in alone(books, model, when) {
        alarms(&one, books, seen, when)?;
        ladder(&one, books, seen, when)?;
    }
    for ladder in books.ladders.iter().filter(|ladder| ladder.state == "running") {
        let fired: Vec<_> = books.rungs_of(ladder).collect();
        let (steps, again) = rungs(&ladder.kind);
        let since_last = fired.last().map(|last| when.truth - seen.fired(&ladder.id, last.number));
        let due = seen.begun(ladder) + rung(&ladder.kind, fired.len()).1;
        let is_late = match fired.len() < steps.len() {
            true => {
                due <= when.truth
                    || fired.last().is_some_and(|last| {
                        last.reached == 0 && last.told != "everyone" && last.told != "patient"
                    })
            }
            false => due <= when.truth && since_last.is_none_or(|since| since >= again * 60_000),
        };
        if is_late {
            return Err(format!("I6 attempt: rung {} of {ladder:?} did not fire", fired.len()));
        }
    }
    letters(books, when)
}

/// I4: by class, then by due time, then as they came; what is late counts one class higher, up to the highest.
pub fn reading_order(books: &Books, queue: &[String], when: When) -> Result<(), Fault> {
    let waits = |check: &&books::Check| check.state == "queued" || check.state == "in_review";
    let mut expected: Vec<_> = books.checks.iter().enumerate().filter(|(_, check)| waits(check)).collect();
    expected.sort_by_key(|(came, check)| {
        let risen = u8::from(check.due < when.wall());
        (check.rank.saturating_sub(risen), check.due, *came)
    });
    let expected: Vec<&String> = expected.into_iter().map(|(_, check)| &check.id).collect();
    match queue.iter().eq(expected.iter().copied()) {
        true => Ok(()),
        false => Err(format!("I4 order: {queue:?} is read for {expected:?}")),
    }
}

fn jobs(books: &Books, when: When) -> Result<(), Fault> {
    let watches: Vec<_> = books.jobs.iter().filter(|job| job.kind == "watch").collect();
    if watches.len() != 1 || watches[0].due > when.wall() + LOOK_MS {
        return Err(format!("I5 no silence: the watch is {watches:?}"));
    }
    for job in &books.jobs {
        if job.kind != "send_letter" && !job.why.is_empty() {
            return Err(format!("a job failed: {job:?}"));
        }
        if job.state == "waiting" && job.due <= when.wall() {
            return Err(format!("I5 no silence: {job:?} is due and was not done"));
        }
    }
    Ok(())
}

fn alone(books: &Books, model: &Model, when: When) -> Vec<Alone> {
    let mut all = Vec::new();
    for (check, kept) in model.checks.iter().zip(&books.checks) {
        let since = match check.stands {
            Stands::Queued => check.since,
            Stands::InReview { until, .. } => until,
            Stands::AwaitingCall | Stands::Closed => continue,
        };
        let about = format!("check:{}", kept.id);
        // What becomes more urgent may be late in that moment.
        let due = (kept.due + when.behind).max(check.ranked);
        all.push(Alone {
            about,
            rank: Some(check.rank),
            since,
            ranked: check.ranked,
            due,
            received: kept.received,
        });
    }
    for (call, kept) in model.calls.iter().zip(&books.calls) {
        if call.stands == CallStands::Open {
            let about = format!("callback:{}", kept.id);
            all.push(Alone {
                about,
                rank: None,
                since: 0,
                ranked: 0,
                due: kept.due + when.behind,
                received: 0,
            });
        }
    }
    all.retain(|one| one.since < when.truth - LOOK_MS);
    all
}

fn alarms(one: &Alone, books: &Books, seen: &Seen, when: When) -> Result<(), Fault> {
    if one.due < when.truth - LOOK_MS && !books.has_alarm("overdue", &one.about) {
        return Err(format!("I5 overdue: {} is late and no alarm says so", one.about));
    }
    let quiet = seen.last_act(&one.about).is_some_and(|acted| acted >= when.truth - LOOK_MS);
    // A check says when it was received, and nothing moves that: until the clock is past it again, it counts as unopened.
    let age = when.wall() - one.received;
    let is_looked_at = one.ranked.max(seen.set_back) >= when.truth - LOOK_MS;
    let unopened = one.rank == Some(0) && !is_looked_at && !(0..UNOPENED_MS + LOOK_MS).contains(&age);
    if unopened && !quiet && !books.has_alarm("unopened", &one.about) {
        return Err(format!(
            "I5 unopened: {} waits since {} ms and no alarm says so",
            one.about,
            when.truth - one.since
        ));
    }
    Ok(())
}

fn ladder(one: &Alone, books: &Books, seen: &Seen, when: When) -> Result<(), Fault> {
    let is_late = one.due < when.truth - LOOK_MS;
    let kind = match one.rank {
        Some(0) => "go_now",
        Some(1) => "ring_now",
        Some(_) | None if is_late => "overdue",
        Some(_) | None => return Ok(()),
    };
    if seen.last_act(&one.about).is_some_and(|acted| when.truth - acted <= SEEN_TO_MS + LOOK_MS) {
        return Ok(());
    }
    match books.running(&one.about) {
        None => Err(format!("I6 ladder: {} is {kind} and nothing climbs", one.about)),
        Some(ladder) if steepness(&ladder.kind) > steepness(kind) => {
            Err(format!("I6 ladder: {} is {kind} and climbs {ladder:?}", one.about))
        }
        Some(_) => Ok(()),
    }
}

fn letters(books: &Books, when: When) -> Result<(), Fault> {
    for notice in &books.notices {
        let call = books.calls.iter().find(|call| notice.about == format!("callback:{}", call.id));
        let waits_for_morning = REMINDERS.contains(&notice.kind.as_str())
            || notice.kind == "call_to_make"
                && (notice.about.starts_with("silence:")
                    || call.is_some_and(|call| call.rank > 1 || call.missed > 0));
        // An alarm that reaches nobody stays open and is told again: no second alarm is made of it.
        let tells_of_alarm = notice.kind == "alarm";
        match notice.state.as_str() {
            "waiting" if !waits_for_morning => return Err(format!("I6 attempt: {notice:?} was told nobody")),
            "waiting" | "addressed" | "kept" => {}
            "nobody" if tells_of_alarm => {}
            "nobody" if books.has_alarm("letter_failed", &format!("notice:{}", notice.id)) => {}
            _ => return Err(format!("I6 attempt: {notice:?} without an alarm")),
        }
    }
    for delivery in &books.deliveries {
        let job = books.jobs.iter().find(|job| job.kind == "send_letter" && job.about == delivery.id);
        let tells_of_alarm = books.notices.iter().any(|one| one.id == delivery.notice && one.kind == "alarm");
        match (delivery.state.as_str(), job.map(|job| job.state.as_str())) {
            ("dead", _) if tells_of_alarm => {}
            ("waiting", Some("waiting")) | ("sent" | "delivered", _) => {}
            ("dead", _) if books.has_alarm("letter_failed", &format!("delivery:{}", delivery.id)) => {}
            _ => return Err(format!("I6 attempt: nobody sends {delivery:?} at {}", when.truth)),
        }
        another_way(delivery, books)?;
    }
    Ok(())
}

/// After two refusals another of a colleague's two addresses is used as well; every patient has two ways too.
fn another_way(delivery: &Delivery, books: &Books) -> Result<(), Fault> {
    let refused = delivery.state == "dead" || delivery.state == "waiting" && delivery.tries >= 2;
    let of_office =
        books.notices.iter().any(|notice| notice.id == delivery.notice && notice.recipient == "office");
    let ways = books.deliveries.iter().filter(|other| other.notice == delivery.notice).count();
    if refused && ways < 2 && !of_office {
        return Err(format!("I6 attempt: {delivery:?} was refused and nothing else was tried"));
    }
    Ok(())
}
