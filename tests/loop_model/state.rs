//! The states of the loop, what can happen in each, and what must hold.

use jiff::Timestamp;

use stateright::Model;
use stateright::Property;

use closewatch::triage::LadderKind;
use closewatch::triage::LadderTimes;
use closewatch::triage::Urgency;
use closewatch::triage::Waiting;
use closewatch::triage::effective;
use closewatch::triage::ladder_of;
use closewatch::triage::rank;

const STAFF: u8 = 2;
const RUNNERS: usize = 2;
/// One tick is five minutes: the go_now ladder has a rung at 0, 5, 10 and 20.
const TICK_MINUTES: i64 = 5;
const LAST_TICK: u8 = 4;
/// What is not urgent is due then.
const DUE_TICK: u8 = 2;
/// Rungs above this one are as it is.
const MOST_RUNGS: u8 = 4;
const MOST_LEASES: u8 = 4;
const MOST_ROUNDS: u8 = 2;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeftOut {
    Lease,
    SendThenNote,
    OneOwner,
    OnlyPersons,
    ClaimRunsOut,
    JobOfTheNextRung,
}

pub struct Loop {
    pub checks: Vec<Urgency>,
    pub left_out: Option<LeftOut>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Stands {
    Unsent,
    Waiting,
    Claimed(u8),
    Closed,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Letter {
    None,
    Queued,
    /// It went out, and that is not noted yet.
    Out,
    Noted,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Climbing {
    kind: LadderKind,
    begun: u8,
    fired: u8,
    stopped_by: Option<u8>,
    stopped: bool,
    /// The job of the next rung waits, or is in somebody's hands under the lease.
    queued: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Check {
    stands: Stands,
    ladder: Option<Climbing>,
    rounds: u8,
    lease: u8,
    held: bool,
    letter: Letter,
    /// The newest letter went out at least once.
    went_out: bool,
    flying: bool,
    told: bool,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct State {
    tick: u8,
    checks: Vec<Check>,
    /// What each runner has in hand: a check, and the lease it was claimed under.
    hands: [Option<(usize, u8)>; RUNNERS],
    fired_early: bool,
    decided_by_another: bool,
    found_in_other_hands: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    Comes(usize),
    Watch(usize),
    Claims(usize, usize),
    LeaseRunsOut(usize),
    Works(usize),
    Dies(usize),
    Sends(usize),
    Notes(usize),
    ChannelLoses(usize),
    ChannelDelivers(usize),
    Opens(u8, usize),
    ClaimRunsOut(usize),
    Decides(u8, usize),
    Ticks,
}

impl Loop {
    fn stands(&self, guard: LeftOut) -> bool {
        self.left_out != Some(guard)
    }

    fn at(tick: u8) -> Timestamp {
        Timestamp::from_second(i64::from(tick) * TICK_MINUTES * 60).unwrap()
    }

    /// The ladder a check of this class needs now, by the program's own rules.
    fn needs(&self, check: usize, tick: u8) -> Option<LadderKind> {
        let late = effective(self.checks[check], Loop::at(DUE_TICK), Loop::at(tick)) != self.checks[check];
        ladder_of(self.checks[check]).or(late.then_some(LadderKind::Overdue))
    }

    fn begins(&self, state: &mut State, check: usize) {
        let Some(kind) = self.needs(check, state.tick) else { return };
        let begun = state.tick;
        let one = &mut state.checks[check];
        one.rounds += 1;
        one.ladder = Some(Climbing { kind, begun, fired: 0, stopped_by: None, stopped: false, queued: true });
        one.held = false;
    }
}

impl Climbing {
    fn is_due(&self, tick: u8) -> bool {
        let after = LadderTimes::default().rung(self.kind, usize::from(self.fired)).after;
        after.as_mins() <= i64::from(tick - self.begun) * TICK_MINUTES
    }

    fn runs(&self) -> bool {
        !self.stopped
    }
}

impl Check {
    fn climbs(&self) -> Option<Climbing> {
        self.ladder.filter(Climbing::runs)
    }
}

/// What must always hold, and what every end must come to.
pub const LAWS: &[&str] = &[
    "no rung fires early",
    "what is noted went out",
    "only its owner decides",
    "only a person stops a ladder",
    "while it waits the next rung is queued",
    "one runner has a job",
    "an emergency is read first",
    "every check comes before a person",
];

impl Model for Loop {
    type State = State;
    type Action = Action;

    fn init_states(&self) -> Vec<State> {
        let check = Check {
            stands: Stands::Unsent,
            ladder: None,
            rounds: 0,
            lease: 0,
            held: false,
            letter: Letter::None,
            went_out: false,
            flying: false,
            told: false,
        };
        vec![State {
            tick: 0,
            checks: vec![check; self.checks.len()],
            hands: [None; RUNNERS],
            fired_early: false,
            decided_by_another: false,
            found_in_other_hands: false,
        }]
    }

    fn actions(&self, state: &State, actions: &mut Vec<Action>) {
        if state.tick < LAST_TICK {
            actions.push(Action::Ticks);
        }
        for (number, check) in state.checks.iter().enumerate() {
            match check.stands {
                Stands::Unsent => actions.push(Action::Comes(number)),
                Stands::Waiting => actions.extend((0..STAFF).map(|who| Action::Opens(who, number))),
                Stands::Claimed(by) => {
                    let may = |who: &u8| *who == by || !self.stands(LeftOut::OneOwner);
                    actions.extend((0..STAFF).filter(may).map(|who| Action::Decides(who, number)));
                    if check.rounds < MOST_ROUNDS {
                        actions.push(Action::ClaimRunsOut(number));
                    }
                }
                Stands::Closed => {}
            }
            if check.stands == Stands::Waiting && check.climbs().is_none() && check.rounds < MOST_ROUNDS {
                actions.push(Action::Watch(number));
            }
            if check.climbs().is_some_and(|ladder| ladder.queued && ladder.is_due(state.tick)) && !check.held
            {
                let free = |runner: &usize| state.hands[*runner].is_none() && check.lease < MOST_LEASES;
                actions.extend((0..RUNNERS).filter(free).map(|runner| Action::Claims(runner, number)));
            }
            if check.held {
                actions.push(Action::LeaseRunsOut(number));
            }
            if matches!(check.letter, Letter::Queued | Letter::Out) {
                actions.push(Action::Sends(number));
            }
            if check.letter == Letter::Out
                || check.letter == Letter::Queued && !self.stands(LeftOut::SendThenNote)
            {
                actions.push(Action::Notes(number));
            }
            if check.flying {
                actions.extend([Action::ChannelLoses(number), Action::ChannelDelivers(number)]);
            }
        }
        for runner in (0..RUNNERS).filter(|runner| state.hands[*runner].is_some()) {
            actions.extend([Action::Works(runner), Action::Dies(runner)]);
        }
    }

    fn next_state(&self, last: &State, action: Action) -> Option<State> {
        let mut state = last.clone();
        let tick = state.tick;
        match action {
            Action::Ticks => state.tick += 1,
            Action::Comes(number) => {
                state.checks[number].stands = Stands::Waiting;
                if ladder_of(self.checks[number]).is_some() {
                    self.begins(&mut state, number);
                }
            }
            Action::Watch(number) => self.begins(&mut state, number),
            Action::Claims(runner, number) => {
                let check = &mut state.checks[number];
                (check.held, check.lease) = (true, check.lease + 1);
                state.hands[runner] = Some((number, check.lease));
            }
            Action::LeaseRunsOut(number) => state.checks[number].held = false,
            Action::Dies(runner) => state.hands[runner] = None,
            Action::Works(runner) => {
                let (number, lease) = state.hands[runner].take()?;
                let check = &mut state.checks[number];
                let is_theirs = check.held && check.lease == lease;
                if !is_theirs && self.stands(LeftOut::Lease) {
                    state.found_in_other_hands = true;
                } else if let Some(ladder) = check.ladder.as_mut().filter(|ladder| ladder.runs()) {
                    state.fired_early |= !ladder.is_due(tick);
                    ladder.fired = (ladder.fired + 1).min(MOST_RUNGS);
                    ladder.queued = ladder.fired < MOST_RUNGS && self.stands(LeftOut::JobOfTheNextRung);
                    (check.held, check.letter, check.went_out) = (false, Letter::Queued, false);
                } else {
                    check.held = false;
                }
            }
            Action::Sends(number) => {
                let check = &mut state.checks[number];
                (check.letter, check.went_out, check.flying) = (Letter::Out, true, true);
            }
            Action::Notes(number) => state.checks[number].letter = Letter::Noted,
            Action::ChannelLoses(number) => state.checks[number].flying = false,
            // It may deliver the same letter again.
            Action::ChannelDelivers(number) => {
                state.checks[number].told = true;
                if let Some(ladder) = state.checks[number].ladder.as_mut()
                    && !self.stands(LeftOut::OnlyPersons)
                {
                    ladder.stopped = true;
                }
            }
            Action::Opens(who, number) => {
                let check = &mut state.checks[number];
                check.stands = Stands::Claimed(who);
                if let Some(ladder) = check.ladder.as_mut() {
                    (ladder.stopped, ladder.stopped_by) = (true, Some(who));
                }
            }
            Action::ClaimRunsOut(number) => {
                if !self.stands(LeftOut::ClaimRunsOut) {
                    // Nobody else may open it, and whoever has it never comes back.
                    state.checks[number].stands = Stands::Claimed(STAFF);
                    state.checks[number].rounds = MOST_ROUNDS;
                } else {
                    state.checks[number].stands = Stands::Waiting;
                    self.begins(&mut state, number);
                }
            }
            Action::Decides(who, number) => {
                state.decided_by_another |= state.checks[number].stands != Stands::Claimed(who);
                state.checks[number].stands = Stands::Closed;
            }
        }
        Some(state)
    }

    fn properties(&self) -> Vec<Property<Loop>> {
        let mut all = vec![
            Property::always(LAWS[0], |_, state: &State| !state.fired_early),
            Property::always(LAWS[1], |_, state: &State| {
                state.checks.iter().all(|check| check.letter != Letter::Noted || check.went_out)
            }),
            Property::always(LAWS[2], |_, state: &State| !state.decided_by_another),
            Property::always(LAWS[3], |_, state: &State| {
                let stopped =
                    state.checks.iter().filter_map(|check| check.ladder).filter(|ladder| ladder.stopped);
                stopped.into_iter().all(|ladder| ladder.stopped_by.is_some())
            }),
            Property::always(LAWS[4], |_, state: &State| {
                let climbing = state.checks.iter().filter_map(Check::climbs);
                climbing.into_iter().all(|ladder| ladder.queued || ladder.fired == MOST_RUNGS)
            }),
            Property::always(LAWS[5], |_, state: &State| {
                (0..state.checks.len()).all(|number| {
                    let check = &state.checks[number];
                    let has = |hand: &&Option<(usize, u8)>| **hand == Some((number, check.lease));
                    !check.held || state.hands.iter().filter(has).count() <= 1
                })
            }),
            Property::always(LAWS[6], emergency_is_read_first),
            Property::eventually(LAWS[7], |_, state: &State| {
                state.checks.iter().all(|check| check.stands == Stands::Closed)
            }),
            Property::sometimes("told", |_, state: &State| state.checks.iter().any(|check| check.told)),
            Property::sometimes("all closed", |_, state: &State| {
                state.checks.iter().all(|check| check.stands == Stands::Closed)
            }),
            Property::sometimes("found in other hands", |_, state: &State| state.found_in_other_hands),
            Property::sometimes("a second ladder", |_, state: &State| {
                state.checks.iter().any(|check| check.rounds == 2)
            }),
        ];
        if self.checks.contains(&Urgency::GoNow) {
            all.push(Property::sometimes("the surgeon's phone rings", |_, state: &State| {
                let go_now = state.checks.iter().filter_map(|check| check.ladder);
                go_now
                    .into_iter()
                    .any(|ladder| ladder.fired == MOST_RUNGS && ladder.kind == LadderKind::GoNow)
            }));
        }
        all
    }
}

/// The program's own order puts a waiting emergency before whatever else waits, however late that is.
fn emergency_is_read_first(model: &Loop, state: &State) -> bool {
    let waiting: Vec<Waiting<Urgency>> = (0..)
        .zip(model.checks.iter().zip(&state.checks))
        .filter(|(_, (_, check))| check.stands == Stands::Waiting)
        .map(|(sequence, (urgency, _))| Waiting {
            check: *urgency,
            urgency: *urgency,
            due: Loop::at(DUE_TICK),
            sequence,
        })
        .collect();
    let ranked = rank(waiting, Loop::at(state.tick));
    let first_other = ranked.iter().position(|one| one.check != Urgency::GoNow);
    let last_emergency = ranked.iter().rposition(|one| one.check == Urgency::GoNow);
    match (first_other, last_emergency) {
        // Late, "ring within the hour" counts as an emergency too, and then the order is that of the due times.
        (Some(other), Some(emergency)) => emergency < other || ranked[other].check == Urgency::RingNow,
        (Some(_) | None, _) => true,
    }
}
