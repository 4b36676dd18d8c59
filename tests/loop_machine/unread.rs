//! What holds of answers that nobody reads, and of visits nobody notes (I13): each comes back to the office's list, is rung
//! about, and ends only because the patient read it or a person says why nobody waits any more.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::books::Books;
use crate::books::Silence;
use crate::laws::Fault;
use crate::laws::Seen;
use crate::model::When;

/// Between two looks of the watch.
const LOOK_MS: i64 = 30_000;
/// Whoever says that they see to it has so long.
const SEEN_TO_MS: i64 = 10 * 60_000;

/// What was seen of it so far. Times are true ones.
#[derive(Debug, Default)]
pub struct Unread {
    read: BTreeSet<String>,
    ended: BTreeSet<String>,
    /// By when each answer was to be read.
    read_by: BTreeMap<String, i64>,
    /// The step of each open silence, and by when it was to be taken.
    steps: BTreeMap<String, (String, i64)>,
    /// When a call was last open about a check that came through a link.
    rung: BTreeMap<String, i64>,
}

impl Unread {
    /// `reader`: the link through which somebody said in this step that they have read.
    pub fn after_step(
        &mut self,
        books: &Books,
        seen: &Seen,
        reader: Option<&str>,
        when: When,
    ) -> Result<(), Fault> {
        let acted = |silence: &Silence| seen.last_act(&about(silence)) == Some(when.truth);
        for reply in &books.replies {
            if reply.is_read {
                let missing = format!("message:{}", reply.id);
                let told = books.silences.iter().any(|silence| silence.missing == missing && acted(silence));
                let is_new = self.read.insert(reply.id.clone());
                if is_new && !told && reader != Some(books.link_of(reply)) {
                    return Err(format!("I13 unread: nobody read {reply:?}"));
                }
                continue;
            }
            let read_by = reply.read_by + when.behind;
            if self.read_by.insert(reply.id.clone(), read_by).is_some_and(|before| read_by > before) {
                return Err(format!("I12 time: {reply:?} is to be read later than before"));
            }
        }
        let mut open = BTreeSet::new();
        for silence in &books.silences {
            if silence.is_open {
                if !open.insert((&silence.kind, &silence.missing)) {
                    return Err(format!("I7 duplicates: {silence:?} is open twice"));
                }
                self.step(silence, acted(silence), when)?;
            } else if self.ended.insert(silence.id.clone()) {
                let came = self.read.iter().any(|id| silence.missing == format!("message:{id}"));
                let by_person = acted(silence) && !silence.ended_by.is_empty();
                if !came && !by_person {
                    return Err(format!("I13 unread: {silence:?} ended, and nobody read or said why"));
                }
            }
        }
        for call in books.calls.iter().filter(|call| call.state == "open") {
            if let Some(check) = books.checks.iter().find(|check| check.id == call.check) {
                self.rung.insert(check.link.clone(), when.truth);
            }
        }
        Ok(())
    }

    /// The same step is never to be taken later than before, unless a person did something.
    fn step(&mut self, silence: &Silence, acted: bool, when: When) -> Result<(), Fault> {
        let by = silence.by + when.behind;
        let before = self.steps.insert(silence.id.clone(), (silence.step.clone(), by));
        match before {
            Some((step, before)) if step == silence.step && by > before && !acted => {
                Err(format!("I12 time: {silence:?} is to be taken {} ms later than before", by - before))
            }
            Some(_) | None => Ok(()),
        }
    }

    pub fn at_rest(&self, books: &Books, seen: &Seen, when: When) -> Result<(), Fault> {
        for reply in books.replies.iter().filter(|reply| !reply.is_read) {
            let is_late = reply.read_by + LOOK_MS < when.wall();
            // Whoever is rung about something is told on the phone.
            let is_rung = self.rung.get(books.link_of(reply)).is_some_and(|at| when.truth - at <= LOOK_MS);
            let missing = format!("message:{}", reply.id);
            let is_looked_for = books.silences.iter().any(|silence| {
                silence.missing == missing && (silence.is_open || !silence.ended_by.is_empty())
            });
            if is_late && !is_rung && !is_looked_for {
                return Err(format!("I13 unread: {reply:?} is late and on nobody's list"));
            }
        }
        for silence in books.open_silences() {
            let about = about(silence);
            if silence.step == "reminder" && silence.from + LOOK_MS < when.wall() {
                return Err(format!("I13 unread: nobody was reminded by {silence:?}"));
            }
            let acted = seen.last_act(&about);
            if silence.step == "reminder"
                || silence.by + LOOK_MS >= when.wall()
                || acted.is_some_and(|at| when.truth - at <= LOOK_MS)
            {
                continue;
            }
            if !books.has_alarm("overdue", &about) {
                return Err(format!("I5 overdue: {silence:?} is late and no alarm says so"));
            }
            let seen_to = acted.is_some_and(|at| when.truth - at <= SEEN_TO_MS + LOOK_MS);
            if !seen_to && books.running(&about).is_none() {
                return Err(format!("I6 ladder: {silence:?} is late and nothing climbs"));
            }
        }
        Ok(())
    }
}

fn about(silence: &Silence) -> String {
    format!("silence:{}", silence.id)
}
