//! What was reached in all the days that were lived: a law that is never put to the test proves nothing.

use std::collections::BTreeMap;

use crate::books::Books;

#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub days: u64,
    pub steps: u64,
    pub killed: u64,
    pub rests: u64,
    reached: BTreeMap<String, u64>,
}

impl Tally {
    pub fn note(&mut self, what: impl Into<String>) {
        *self.reached.entry(what.into()).or_default() += 1;
    }

    /// Counts what stands in the books at a day's end.
    pub fn note_books(&mut self, books: &Books) {
        for ladder in &books.ladders {
            if ladder.about.starts_with("silence:") {
                self.note("ladder about a silence");
            }
            self.note(format!("ladder {} {}", ladder.kind, ladder.state));
        }
        for rung in &books.rungs {
            let kind = books
                .ladders
                .iter()
                .find(|ladder| ladder.id == rung.ladder)
                .map(|ladder| ladder.kind.clone());
            let number = rung.number.min(7);
            self.note(format!("rung {} {number} {}", kind.unwrap_or_default(), rung.told));
        }
        for delivery in &books.deliveries {
            self.note(format!("letter {}", delivery.state));
        }
    }

    pub fn add(&mut self, other: Tally) {
        self.days += other.days;
        self.steps += other.steps;
        self.killed += other.killed;
        self.rests += other.rests;
        for (what, times) in other.reached {
            *self.reached.entry(what).or_default() += times;
        }
    }

    /// Those of these that were never reached.
    pub fn missing(&self, wanted: &[&str]) -> Vec<String> {
        wanted
            .iter()
            .filter(|what| !self.reached.contains_key(**what))
            .map(|what| (*what).to_owned())
            .collect()
    }
}

impl std::fmt::Display for Tally {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Tally { days, steps, killed, rests, reached } = self;
        writeln!(out, "{days} days, {steps} steps, {killed} times killed, {rests} times at rest")?;
        for (what, times) in reached {
            writeln!(out, "{times:>9}  {what}")?;
        }
        Ok(())
    }
}

/// Every rung of every ladder, every state and every alarm must have been reached.
pub const SOMETIMES: &[&str] = &[
    "ladder go_now running",
    "ladder go_now stopped",
    "ladder ring_now stopped",
    "ladder ring_now replaced",
    "ladder overdue stopped",
    "ladder overdue replaced",
    "rung go_now 0 on_duty",
    "rung go_now 1 on_duty_everywhere",
    "rung go_now 2 second",
    "rung go_now 3 surgeon_by_voice",
    "rung go_now 4 everyone",
    "rung go_now 5 patient",
    "rung go_now 6 everyone",
    "rung ring_now 0 on_duty",
    "rung ring_now 1 on_duty_everywhere",
    "rung ring_now 2 second",
    "rung ring_now 3 surgeon_by_voice",
    "rung ring_now 4 everyone",
    "rung ring_now 5 patient",
    "rung ring_now 6 everyone",
    "rung overdue 0 on_duty",
    "rung overdue 1 on_duty_everywhere",
    "rung overdue 2 second",
    "rung overdue 3 everyone",
    "rung overdue 4 everyone",
    "letter waiting",
    "letter sent",
    "letter delivered",
    "letter dead",
    "check queued",
    "check in_review",
    "check awaiting_call",
    "check closed",
    "photo",
    "page Queued NotYet None",
    "page Queued All None",
    "page Queued Part None",
    "page Queued All Some(NoAnswer)",
    "page InReview NotYet None",
    "page InReview All None",
    "page InReview Part None",
    "page AwaitingCall All None",
    "page AwaitingCall Part None",
    "page AwaitingCall All Some(NoAnswer)",
    "page AwaitingCall All Some(Spoke)",
    "page Closed All None",
    "page Closed All Some(NoAnswer)",
    "page Closed All Some(Spoke)",
    "call instead of a letter",
    "call open",
    "call handed_back",
    "call closed",
    "silence reminder",
    "silence call",
    "silence letter",
    "silence came",
    "silence ended by a person",
    "ladder about a silence",
    "alarm unopened",
    "alarm overdue",
    "alarm nobody_to_tell",
    "alarm letter_failed",
    "alarm clock_set_back",
    "killed with nothing done",
    "killed with all done",
];
