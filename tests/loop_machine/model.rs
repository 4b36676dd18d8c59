//! What the books must say of checks and calls, told anew in the simplest words: no clock, no engine, no jobs.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

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

/// Whether a person has looked at a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    NotYet,
    All,
    /// Something was added since.
    Part,
}

#[derive(Clone, Debug)]
pub struct Check {
    pub patient: usize,
    pub form: u8,
    pub stands: Stands,
    pub rank: u8,
    /// True time since when it is as urgent as it is.
    pub ranked: i64,
    says: Says,
    /// Every body its form sent, by what it said.
    bodies: Vec<Says>,
    /// A form said that a photo comes with it.
    expects_photo: bool,
    /// Which of the town's pictures it has.
    pub photos: BTreeSet<usize>,
    pub seen: Seen,
    /// How often a surgeon read it.
    looks: usize,
    /// Bodies and photos so far.
    added: usize,
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

/// Somebody rang the patient.
#[derive(Clone, Copy, Debug)]
pub struct Rung {
    pub check: usize,
    /// By the wall's clock.
    pub at: i64,
    pub spoke: bool,
}

#[derive(Clone, Debug, Default)]
pub struct Model {
    pub checks: Vec<Check>,
    pub calls: Vec<Call>,
    pub rung: Vec<Rung>,
    /// How much each patient asked.
    asked: [usize; 2],
    /// How much there was of a check when this surgeon last read it.
    read: BTreeMap<(usize, usize), (usize, usize)>,
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

    /// Does what the action does. What a harmless answer is classed as hangs on the day: it is taken from `seen`, the books
    /// after it, which are held to its bounds.
    pub fn does(&mut self, action: Action, when: When, before: &Books, seen: &Books) -> Expected {
        let now = when.truth;
        match action {
            Action::Sends { patient, form, says, photo } => {
                self.is_sent(patient, form, (says, photo), now, seen)
            }
            Action::Asks { patient, says } => {
                let Some(check) = self.newest_of(patient) else { return Expected::Refused };
                self.asked[patient] += 1;
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
            Action::Looks { check, .. } => {
                let Some(check) = at(check, self.checks.len()) else { return Expected::Nothing };
                self.checks[check].seen = Seen::All;
                self.checks[check].looks += 1;
                Expected::Done
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
            Action::RingsSilent { .. } | Action::EndsSilence { .. } if before.open_silences().is_empty() => {
                Expected::Nothing
            }
            Action::RingsSilent { silence, rang } => self.rings_silent(silence, rang, before, when),
            Action::EndsSilence { .. }
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

    /// How much there is of a check to read.
    fn extent(&self, check: usize) -> (usize, usize) {
        (self.checks[check].added, self.asked[self.checks[check].patient])
    }

    /// A surgeon has read a check to the end; with `None` they were cut off.
    pub fn is_read(&mut self, surgeon: usize, check: usize, to_the_end: Option<()>) {
        match to_the_end {
            Some(()) => drop(self.read.insert((surgeon, check), self.extent(check))),
            None => drop(self.read.remove(&(surgeon, check))),
        }
    }

    fn is_sent(
        &mut self,
        patient: usize,
        form: u8,
        (says, photo): (Says, Option<usize>),
        now: i64,
        seen: &Books,
    ) -> Expected {
        let place = self.check_of(patient, form).unwrap_or(self.checks.len());
        if place == self.checks.len() {
            self.checks.push(Check {
                patient,
                form,
                stands: Stands::Queued,
                rank: self.class(says, place, seen),
                ranked: now,
                says,
                bodies: vec![says],
                expects_photo: photo.is_some(),
                photos: photo.into_iter().collect(),
                seen: Seen::NotYet,
                looks: 0,
                added: 1 + usize::from(photo.is_some()),
                since: now,
            });
            return Expected::Done;
        }
        let check = &mut self.checks[place];
        let is_new_body = !check.bodies.contains(&says);
        let says_otherwise = is_new_body && check.says != says;
        let first_photo = photo.is_some() && !check.expects_photo;
        check.expects_photo |= photo.is_some();
        let is_new_photo = photo.is_some_and(|photo| check.photos.insert(photo));
        check.added += usize::from(is_new_body) + usize::from(is_new_photo);
        if is_new_body {
            check.bodies.push(says);
        }
        if !(says_otherwise || first_photo || is_new_photo) {
            return Expected::Done;
        }
        if says_otherwise {
            check.says = says;
        }
        check.seen = if check.seen == Seen::NotYet { Seen::NotYet } else { Seen::Part };
        let (says, stands) = (check.says, check.stands);
        let rose = self.rises(place, self.class(says, place, seen), now);
        if stands == Stands::Closed || stands == Stands::AwaitingCall && rose {
            self.moves(place, Stands::Queued, now);
        }
        Expected::Done
    }

    /// What a harmless answer comes to hangs on the day.
    fn class(&self, says: Says, place: usize, seen: &Books) -> u8 {
        let shown = seen.checks.get(place).map_or(4, |check| check.rank);
        match says {
            Says::Danger => 0,
            Says::Fever => shown.min(1),
            Says::Fine => shown.max(2),
        }
    }

    fn is_decided(&mut self, surgeon: usize, check: usize, chosen: Chosen, now: i64) -> Expected {
        let Some(check) = at(check, self.checks.len()) else { return Expected::Nothing };
        match self.checks[check].stands {
            Stands::AwaitingCall | Stands::Closed => return Expected::Refused,
            Stands::InReview { by, until } if by != surgeon && until > now => return Expected::Refused,
            Stands::Queued | Stands::InReview { .. } => {}
        }
        if self.read.get(&(surgeon, check)).is_some_and(|read| *read != self.extent(check)) {
            return Expected::Refused;
        }
        self.checks[check].seen = Seen::All;
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
        let (check, at) = (self.calls[call].check, when.wall());
        self.rung.push(Rung { check, at, spoke: rang != Rang::NoAnswer });
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

    /// The office rings about what did not come.
    fn rings_silent(&mut self, silence: usize, rang: Rang, before: &Books, when: When) -> Expected {
        let open = before.open_silences();
        let missing = at(silence, open.len()).map(|place| open[place].check.as_str());
        if let Some(check) = before.checks.iter().position(|check| Some(check.id.as_str()) == missing) {
            self.rung.push(Rung { check, at: when.wall(), spoke: rang != Rang::NoAnswer });
        }
        Expected::Done
    }

    /// The newest times somebody rang about a check, by the wall's clock: several when it was at the same moment.
    pub fn newest_calls(&self, check: usize) -> Vec<Rung> {
        let about: Vec<Rung> = self.rung.iter().filter(|rung| rung.check == check).copied().collect();
        let newest = about.iter().map(|rung| rung.at).max();
        about.into_iter().filter(|rung| Some(rung.at) == newest).collect()
    }

    /// A call that ends closes its check when it was the last one and nothing was added meanwhile; handed back, it brings the
    /// check before a surgeon.
    fn ends(&mut self, call: usize, stands: CallStands, now: i64) -> Expected {
        self.calls[call].stands = stands;
        let check = self.calls[call].check;
        let others = self.calls.iter().any(|other| other.check == check && other.stands == CallStands::Open);
        match (self.checks[check].stands, stands) {
            (Stands::AwaitingCall, CallStands::Closed) if !others => match self.checks[check].seen {
                Seen::Part => self.moves(check, Stands::Queued, now),
                Seen::NotYet | Seen::All => self.moves(check, Stands::Closed, now),
            },
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
        for (place, (check, kept)) in self.checks.iter().zip(&books.checks).enumerate() {
            let said = (check.bodies.len(), check.looks, self.asked[check.patient]);
            if said != (kept.bodies, kept.looks, kept.asked) {
                return Some(format!("I1 conservation: {check:?} is kept as {kept:?}"));
            }
            let rung = self.rung.iter().filter(|rung| rung.check == place).count();
            let noted = books.attempts.iter().filter(|one| books.check_of(one) == kept.id).count();
            if rung != noted {
                return Some(format!(
                    "I10 status: somebody rang {rung} times about {kept:?}, {noted} are noted"
                ));
            }
            let sent: BTreeSet<&str> =
                check.photos.iter().map(|photo| town.pictures[*photo].sha256.as_str()).collect();
            let here = books.photos.iter().filter(|photo| photo.check == kept.id);
            if !here.clone().map(|photo| photo.sent.as_str()).collect::<BTreeSet<_>>().eq(&sent)
                || here.count() != sent.len()
            {
                return Some(format!("I2 receipt: of {sent:?} not all are with {kept:?}"));
            }
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
