//! What the books must say of checks and calls, told anew in the simplest words: no clock, no engine, no jobs.

use crate::action::Action;
use crate::action::Chosen;
use crate::action::Rang;
use crate::action::Says;
use crate::books;
use crate::books::Books;
use crate::town::Town;

/// Milliseconds that a surgeon has a check for.
pub const CLAIM_MS: i64 = 15 * 60_000;
const TEN_MINUTES_MS: i64 = 10 * 60_000;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    Queued,
    /// `until` in true time.
    InReview {
        by: usize,
        until: i64,
    },
    AwaitingCall,
    Closed,
}

#[derive(Clone, Debug)]
pub struct Check {
    pub patient: usize,
    pub form: u8,
    pub stands: Stands,
    pub rank: u8,
    /// True time since when it is as urgent as it is.
    pub ranked: i64,
    said: Vec<Says>,
    /// True time since when it stands as it does.
    pub since: i64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CallStands {
    Open,
    HandedBack,
    Closed,
}

#[derive(Clone, Debug)]
pub struct Call {
    pub check: usize,
    pub stands: CallStands,
    pub rank: u8,
    missed: i64,
    sent_to_emergency: bool,
    /// When nobody answered, by the wall's clock.
    unanswered: Vec<i64>,
}

/// What a step must come to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Expected {
    Done,
    Refused,
    /// Nobody and nothing is there to do it with.
    Nothing,
}

#[derive(Clone, Debug, Default)]
pub struct Model {
    pub checks: Vec<Check>,
    pub calls: Vec<Call>,
}

/// When a step happens.
#[derive(Clone, Copy, Debug)]
pub struct When {
    /// Milliseconds of a clock that nobody sets.
    pub truth: i64,
    /// By how many of them the wall's clock lags behind it.
    pub behind: i64,
}

impl When {
    pub fn wall(self) -> i64 {
        self.truth - self.behind
    }
}

impl Model {
    pub fn check_of(&self, patient: usize, form: u8) -> Option<usize> {
        self.checks.iter().position(|check| check.patient == patient && check.form == form)
    }

    pub fn newest_of(&self, patient: usize) -> Option<usize> {
        self.checks.iter().rposition(|check| check.patient == patient)
    }

    /// Does what the action does. What a harmless answer is classed as hangs on the day: it is taken from `seen`, which is
    /// held to its bounds.
    pub fn does(&mut self, action: Action, when: When, seen: &Books) -> Expected {
        let now = when.truth;
        match action {
            Action::Sends { patient, form, says } => self.is_sent(patient, form, says, now, seen),
            Action::Asks { patient, says } => {
                let Some(check) = self.newest_of(patient) else { return Expected::Refused };
                let class = if says == Says::Danger { 0 } else { 2 };
                self.rises(check, class, now);
                match self.checks[check].stands {
                    Stands::Closed | Stands::AwaitingCall => self.moves(check, Stands::Queued, now),
                    Stands::Queued | Stands::InReview { .. } => {}
                }
                Expected::Done
            }
            Action::Opens { surgeon, check } => {
                let Some(check) = at(check, self.checks.len()) else { return Expected::Nothing };
                match self.checks[check].stands {
                    Stands::InReview { by, until } if by != surgeon && until > now => Expected::Refused,
                    Stands::Queued | Stands::InReview { .. } => {
                        self.moves(check, Stands::InReview { by: surgeon, until: now + CLAIM_MS }, now);
                        Expected::Done
                    }
                    Stands::AwaitingCall | Stands::Closed => Expected::Done,
                }
            }
            Action::Leaves { surgeon, check } => {
                let Some(check) = at(check, self.checks.len()) else { return Expected::Nothing };
                if matches!(self.checks[check].stands, Stands::InReview { by, .. } if by == surgeon) {
                    self.moves(check, Stands::Queued, now);
                }
                Expected::Done
            }
            Action::Decides { surgeon, check, chosen } => self.is_decided(surgeon, check, chosen, now),
            Action::Rings { call, rang } => self.is_rung(call, rang, when),
            Action::GivesUp { call } => {
                let Some(call) = at(call, self.calls.len()) else { return Expected::Nothing };
                let (first, last) =
                    (self.calls[call].unanswered.iter().min(), self.calls[call].unanswered.iter().max());
                let apart = first.zip(last).is_some_and(|(first, last)| last - first >= TEN_MINUTES_MS);
                let about = &self.calls[call];
                let is_emergency = about.sent_to_emergency || self.checks[about.check].rank == 0;
                if about.stands != CallStands::Open || is_emergency || !apart {
                    return Expected::Refused;
                }
                self.ends(call, CallStands::HandedBack, now)
            }
            Action::HandsBack { call } => match at(call, self.calls.len()) {
                Some(call) if self.calls[call].stands == CallStands::Open => {
                    self.ends(call, CallStands::HandedBack, now)
                }
                Some(_) => Expected::Refused,
                None => Expected::Nothing,
            },
            Action::RingsSilent { .. } | Action::EndsSilence { .. } if seen.open_silences().is_empty() => {
                Expected::Nothing
            }
            Action::RingsSilent { .. }
            | Action::EndsSilence { .. }
            | Action::Reads { .. }
            | Action::Acknowledges { .. }
            | Action::Goes { .. }
            | Action::Comes { .. }
            | Action::Outside(_)
            | Action::Reports
            | Action::Takes { .. }
            | Action::Works { .. }
            | Action::Runs
            | Action::Passes(_)
            | Action::Restarts => Expected::Done,
        }
    }

    fn moves(&mut self, check: usize, stands: Stands, now: i64) {
        self.checks[check].stands = stands;
        self.checks[check].since = now;
    }

    /// It never becomes less urgent. True: it became more so.
    fn rises(&mut self, check: usize, class: u8, now: i64) -> bool {
        let check = &mut self.checks[check];
        let rose = class < check.rank;
        if rose {
            (check.rank, check.ranked) = (class, now);
        }
        rose
    }

    fn is_sent(&mut self, patient: usize, form: u8, says: Says, now: i64, seen: &Books) -> Expected {
        let known = self.check_of(patient, form);
        let place = known.unwrap_or(self.checks.len());
        let shown = seen.checks.get(place).map_or(4, |check| check.rank);
        let class = match says {
            Says::Danger => 0,
            Says::Fever => shown.min(1),
            Says::Fine => shown.max(2),
        };
        let Some(known) = known else {
            self.checks.push(Check {
                patient,
                form,
                stands: Stands::Queued,
                rank: class,
                ranked: now,
                said: vec![says],
                since: now,
            });
            return Expected::Done;
        };
        if self.checks[known].said.contains(&says) {
            return Expected::Done;
        }
        self.checks[known].said.push(says);
        let rose = self.rises(known, class, now);
        let stands = self.checks[known].stands;
        if stands == Stands::Closed || stands == Stands::AwaitingCall && rose {
            self.moves(known, Stands::Queued, now);
        }
        Expected::Done
    }

    fn is_decided(&mut self, surgeon: usize, check: usize, chosen: Chosen, now: i64) -> Expected {
        let Some(check) = at(check, self.checks.len()) else { return Expected::Nothing };
        match self.checks[check].stands {
            Stands::AwaitingCall | Stands::Closed => return Expected::Refused,
            Stands::InReview { by, until } if by != surgeon && until > now => return Expected::Refused,
            Stands::Queued | Stands::InReview { .. } => {}
        }
        let rank = self.checks[check].rank;
        let rank = match chosen {
            Chosen::Fine => {
                self.moves(check, Stands::Closed, now);
                return Expected::Done;
            }
            Chosen::Call | Chosen::ComeIn => rank.min(3),
            Chosen::Emergency => 0,
        };
        self.moves(check, Stands::AwaitingCall, now);
        self.calls.push(Call {
            check,
            stands: CallStands::Open,
            rank,
            missed: 0,
            sent_to_emergency: chosen == Chosen::Emergency,
            unanswered: Vec::new(),
        });
        Expected::Done
    }

    fn is_rung(&mut self, call: usize, rang: Rang, when: When) -> Expected {
        let Some(call) = at(call, self.calls.len()) else { return Expected::Nothing };
        if self.calls[call].stands != CallStands::Open {
            return Expected::Refused;
        }
        match rang {
            Rang::NoAnswer => {
                let call = &mut self.calls[call];
                call.missed += 1;
                call.unanswered.push(when.wall());
                if call.missed % 2 == 0 {
                    call.rank = call.rank.saturating_sub(1);
                }
                Expected::Done
            }
            Rang::SpokeAndOpen => Expected::Done,
            Rang::SpokeAndDone => self.ends(call, CallStands::Closed, when.truth),
        }
    }

    /// A call that ends closes its check when it was the last one; handed back, it brings the check before a surgeon.
    fn ends(&mut self, call: usize, stands: CallStands, now: i64) -> Expected {
        self.calls[call].stands = stands;
        let check = self.calls[call].check;
        let others = self.calls.iter().any(|other| other.check == check && other.stands == CallStands::Open);
        match (self.checks[check].stands, stands) {
            (Stands::AwaitingCall, CallStands::Closed) if !others => self.moves(check, Stands::Closed, now),
            (Stands::AwaitingCall | Stands::Closed, CallStands::HandedBack) => {
                self.moves(check, Stands::Queued, now)
            }
            _ => {}
        }
        Expected::Done
    }

    /// Where the program itself asked for a call, because no message told a patient of an answer, it was right to: the fault
    /// otherwise. What is right is taken over.
    pub fn takes_over(&mut self, books: &Books) -> Result<(), String> {
        for kept in books.calls.iter().skip(self.calls.len()).filter(|call| call.is_instead) {
            let check = books.checks.iter().position(|check| check.id == kept.check);
            let is_untold = books.replies.iter().filter(|reply| reply.check == kept.check).any(|reply| {
                let about = format!("message:{}", reply.id);
                let told = books.notices.iter().find(|notice| notice.about == about);
                told.is_some_and(|notice| {
                    let is_dead = |of: &&books::Delivery| of.notice == notice.id && of.state == "dead";
                    notice.state == "nobody" || books.deliveries.iter().find(is_dead).is_some()
                })
            });
            let is_rung = |call: &Call| Some(call.check) == check && call.stands == CallStands::Open;
            let Some(check) = check.filter(|_| is_untold && !self.calls.iter().any(is_rung)) else {
                return Err(format!("I7 duplicates: nobody needs {kept:?}"));
            };
            self.calls.push(Call {
                check,
                stands: CallStands::Open,
                rank: 2,
                missed: 0,
                sent_to_emergency: false,
                unanswered: Vec::new(),
            });
        }
        Ok(())
    }

    /// Where the books say something else; `None`: nowhere.
    pub fn differs_from(&self, books: &Books, town: &Town, behind: i64) -> Option<String> {
        if books.checks.len() != self.checks.len() || books.calls.len() != self.calls.len() {
            let (checks, calls) = (books.checks.len(), books.calls.len());
            return Some(format!("I1 conservation: {checks} checks and {calls} calls for {self:?}"));
        }
        for (check, kept) in self.checks.iter().zip(&books.checks) {
            if !agrees(check, kept, town, behind) {
                let law = if kept.rank > check.rank { "I3 urgency" } else { "I1 conservation" };
                return Some(format!("{law}: {check:?} is kept as {kept:?}"));
            }
        }
        for (call, kept) in self.calls.iter().zip(&books.calls) {
            let state = match call.stands {
                CallStands::Open => "open",
                CallStands::HandedBack => "handed_back",
                CallStands::Closed => "closed",
            };
            let is_about = books.checks[call.check].id == kept.check;
            if kept.state != state || kept.rank != call.rank || kept.missed != call.missed || !is_about {
                return Some(format!("I1 conservation: {call:?} is kept as {kept:?}"));
            }
        }
        None
    }
}

fn agrees(check: &Check, kept: &books::Check, town: &Town, behind: i64) -> bool {
    let (state, by, until) = match check.stands {
        Stands::Queued => ("queued", "", None),
        Stands::InReview { by, until } => ("in_review", town.names[by].as_str(), Some(until)),
        Stands::AwaitingCall => ("awaiting_call", "", None),
        Stands::Closed => ("closed", "", None),
    };
    kept.state == state
        && kept.claimed_by == by
        && kept.claimed_until.map(|until| until + behind) == until
        && kept.rank == check.rank
        && kept.form == format!("form {}", check.form)
        && kept.link == town.patients[check.patient].link.to_string()
}

/// The place a number of an action means among so many; `None`: there are none.
pub fn at(number: usize, of: usize) -> Option<usize> {
    number.checked_rem(of)
}
