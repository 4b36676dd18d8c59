//! What holds after every step, killed or not. Times are told in true time: milliseconds of a clock that nobody sets.
//!
//! The numbers are those of the promises in the practice's safety notes: I1 conservation, I2 receipts, I3 urgency never
//! falls, I5 to I9 alarms, attempts, duplicates, persons and claims, I10 what a page tells, I12 time, I14 everything ends.
//! What holds at rest is in `rest.rs`.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::books::Books;
use crate::books::Ladder;
use crate::books::Rung;
use crate::model::When;
use crate::town::Town;

/// A law that was broken: its name and what is seen.
pub type Fault = String;

/// What was seen of the day so far, by nobody's clock but the true one.
#[derive(Debug, Default)]
pub struct Seen {
    begun: BTreeMap<String, i64>,
    ended: BTreeMap<String, i64>,
    fired: BTreeMap<(String, usize), i64>,
    /// In the last step.
    fired_now: Vec<(String, usize)>,
    /// When each waiting thing was due, by what it is about.
    due: BTreeMap<String, i64>,
    /// A person did something about it: whom, and when by the wall's clock.
    pub acts: Vec<Act>,
    /// How often something was cut off in the middle, or its answer lost.
    pub cut_off: usize,
    /// True time when the clock was last set back; 0: never.
    pub set_back: i64,
    behind: i64,
    took: usize,
    sent: BTreeSet<String>,
}

#[derive(Clone, Debug)]
pub struct Act {
    pub about: String,
    pub by: String,
    pub wall: i64,
    pub truth: i64,
}

/// Whom each rung tells and how many minutes after the beginning, as the practice's notes have it.
pub fn rungs(kind: &str) -> (&'static [(&'static str, i64)], i64) {
    match kind {
        "go_now" => (
            &[
                ("on_duty", 0),
                ("on_duty_everywhere", 5),
                ("second", 10),
                ("surgeon_by_voice", 20),
                ("everyone", 30),
                ("patient", 30),
            ],
            10,
        ),
        "ring_now" => (
            &[
                ("on_duty", 0),
                ("on_duty_everywhere", 10),
                ("second", 20),
                ("surgeon_by_voice", 40),
                ("everyone", 60),
                ("patient", 60),
            ],
            15,
        ),
        "overdue" => (&[("on_duty", 0), ("on_duty_everywhere", 30), ("second", 60), ("everyone", 120)], 60),
        other => panic!("no ladder is called {other}"),
    }
}

/// Whom the rung with this number tells, and how many milliseconds after the beginning.
pub fn rung(kind: &str, number: usize) -> (&'static str, i64) {
    let (steps, again) = rungs(kind);
    match steps.get(number) {
        Some((told, minutes)) => (told, minutes * 60_000),
        None => {
            let top = steps.last().unwrap().1;
            ("everyone", (top + again * (number + 1 - steps.len()) as i64) * 60_000)
        }
    }
}

pub fn steepness(kind: &str) -> usize {
    ["go_now", "ring_now", "overdue"].iter().position(|known| *known == kind).unwrap()
}

impl Seen {
    pub fn begun(&self, ladder: &Ladder) -> i64 {
        self.begun[&ladder.id]
    }

    pub fn fired(&self, ladder: &str, number: usize) -> i64 {
        self.fired[&(ladder.to_owned(), number)]
    }

    /// True time of the last act about something.
    pub fn last_act(&self, about: &str) -> Option<i64> {
        self.acts.iter().rev().find(|act| act.about == about).map(|act| act.truth)
    }

    /// Looks at the books after a step, and at all that the outside took.
    pub fn after_step(
        &mut self,
        books: &Books,
        took: &[String],
        town: &Town,
        when: When,
    ) -> Result<(), Fault> {
        if when.behind > self.behind {
            (self.behind, self.set_back) = (when.behind, when.truth);
        }
        self.ladders(books, when)?;
        self.rungs(books, when)?;
        self.cover(books, town)?;
        self.time(books, when)?;
        notices(books)?;
        self.letters(books, took)
    }

    fn ladders(&mut self, books: &Books, when: When) -> Result<(), Fault> {
        let mut running = BTreeSet::new();
        for (place, ladder) in books.ladders.iter().enumerate() {
            let begun = ladder.begun + when.behind;
            let first = *self.begun.entry(ladder.id.clone()).or_insert(begun);
            match ladder.state.as_str() {
                "running" => {
                    if begun > first {
                        return Err(format!("I12 time: {ladder:?} began later than it did"));
                    }
                    if !running.insert(&ladder.about) {
                        return Err(format!("I6 ladder: two run about {}", ladder.about));
                    }
                }
                "stopped" => {
                    let is_theirs = |act: &Act| {
                        act.about == ladder.about
                            && act.by == ladder.stopped_by
                            && Some(act.wall) == ladder.ended
                    };
                    let is_new = !self.ended.contains_key(&ladder.id);
                    if is_new && !self.acts.iter().any(is_theirs) {
                        return Err(format!("I8 only a person: nobody stopped {ladder:?}"));
                    }
                }
                "replaced" => {
                    let in_its_place =
                        books.ladders[place + 1..].iter().find(|next| next.about == ladder.about);
                    // What was due from a patient came.
                    let is_over = ladder.about.strip_prefix("silence:").is_some_and(|id| {
                        books.silences.iter().any(|silence| silence.id == id && !silence.is_open)
                    });
                    if !is_over
                        && in_its_place.is_none_or(|next| steepness(&next.kind) >= steepness(&ladder.kind))
                    {
                        return Err(format!("I8 only a person: nothing steeper replaced {ladder:?}"));
                    }
                }
                other => return Err(format!("I6 ladder: {other} is no state")),
            }
            if ladder.state != "running" {
                self.ended.entry(ladder.id.clone()).or_insert(when.truth);
            }
        }
        Ok(())
    }

    fn rungs(&mut self, books: &Books, when: When) -> Result<(), Fault> {
        self.fired_now.clear();
        for ladder in &books.ladders {
            let mut nobody_below = false;
            for (number, fired) in books.rungs_of(ladder).enumerate() {
                let (told, after) = rung(&ladder.kind, number);
                if fired.number != number || fired.told != told {
                    return Err(format!("I6 order: {fired:?} stands where rung {number} tells {told}"));
                }
                let is_new = !self.fired.contains_key(&(ladder.id.clone(), number));
                if is_new {
                    self.fired_now.push((ladder.id.clone(), number));
                    self.fired.insert((ladder.id.clone(), number), when.truth);
                    let due = self.begun[&ladder.id] + after;
                    if when.truth < due && !nobody_below {
                        return Err(format!("I6 order: {fired:?} fired {} ms too early", due - when.truth));
                    }
                    if self.ended.get(&ladder.id).is_some_and(|ended| *ended < when.truth) {
                        return Err(format!("I8 only a person: {fired:?} fired after it was stopped"));
                    }
                }
                nobody_below = fired.reached == 0;
                let about = format!("ladder:{} rung:{number}", ladder.id);
                let told = books.notices.iter().filter(|notice| notice.about == about).count();
                if told != fired.reached {
                    return Err(format!("I6 attempt: {fired:?} has {told} notices"));
                }
            }
        }
        Ok(())
    }

    /// No roster is kept in this town: every surgeon who works there is on duty.
    fn cover(&self, books: &Books, town: &Town) -> Result<(), Fault> {
        let surgeons = town.names[..2].iter().filter(|name| books.active.contains(name)).count();
        for (ladder, number) in &self.fired_now {
            let is_it = |rung: &&Rung| rung.ladder == *ladder && rung.number == *number;
            let Some(fired) = books.rungs.iter().find(is_it) else { continue };
            let expected = match fired.told.as_str() {
                "on_duty" | "on_duty_everywhere" | "second" => surgeons,
                "everyone" => books.active.len(),
                _ => continue,
            };
            if fired.reached != expected {
                return Err(format!("I11 cover: {fired:?} should have told {expected}"));
            }
        }
        Ok(())
    }

    /// What waits never waits longer for a clock that was set.
    fn time(&mut self, books: &Books, when: When) -> Result<(), Fault> {
        let checks = books
            .checks
            .iter()
            .map(|check| (format!("check:{}", check.id), check.due, check.state != "closed"));
        let calls =
            books.calls.iter().map(|call| (format!("callback:{}", call.id), call.due, call.state == "open"));
        for (about, due, waits) in checks.chain(calls) {
            let due = due + when.behind;
            if !waits {
                self.due.remove(&about);
                continue;
            }
            let before = self.due.insert(about.clone(), due);
            // A call that nobody answered is due again soon after it.
            let rung_again = self.last_act(&about).is_some_and(|acted| acted == when.truth);
            if before.is_some_and(|before| due > before) && !rung_again {
                return Err(format!(
                    "I12 time: {about} is due {} ms later than before",
                    due - before.unwrap_or(due)
                ));
            }
        }
        Ok(())
    }

    fn letters(&mut self, books: &Books, took: &[String]) -> Result<(), Fault> {
        let mut ways = BTreeSet::new();
        for delivery in &books.deliveries {
            if !ways.insert((&delivery.notice, &delivery.channel, &delivery.address)) {
                return Err(format!("I7 duplicates: {delivery:?} stands twice"));
            }
        }
        for again in &took[self.took..] {
            if self.sent.contains(again) {
                return Err(format!("I7 duplicates: {again} went out after it was noted as sent"));
            }
            let times = took.iter().filter(|one| *one == again).count();
            if times > 1 + self.cut_off {
                let cut_off = self.cut_off;
                return Err(format!("I7 duplicates: {again} went out {times} times, {cut_off} were cut off"));
            }
        }
        self.took = took.len();
        let out: BTreeSet<&String> = took.iter().collect();
        for delivery in
            books.deliveries.iter().filter(|one| ["sent", "delivered"].contains(&one.state.as_str()))
        {
            let carried = if delivery.sent_with.is_empty() { &delivery.id } else { &delivery.sent_with };
            if !out.contains(carried) {
                return Err(format!("I6 attempt: {delivery:?} is noted as sent and never went out"));
            }
            self.sent.insert(delivery.id.clone());
        }
        Ok(())
    }
}

fn notices(books: &Books) -> Result<(), Fault> {
    let mut told = BTreeSet::new();
    for notice in &books.notices {
        if !told.insert((&notice.kind, &notice.recipient, &notice.about)) {
            return Err(format!("I7 duplicates: {notice:?} stands twice"));
        }
    }
    Ok(())
}
