//! Every guard, left out once: the days that show it, and the law it breaks.

use closewatch::guards::Guard;

use crate::action::Action;
use crate::action::Chosen;
use crate::action::Clock;
use crate::action::Killed;
use crate::action::Mood;
use crate::action::Rang;
use crate::action::Says;
use crate::action::Step;

/// What is left out.
#[derive(Clone, Copy, Debug)]
pub enum LeftOut {
    Guard(Guard),
    /// A guard that is the absence of something, or a line of the watch: done in the books by a trigger.
    Books(&'static str),
}

pub struct Case {
    pub left_out: LeftOut,
    /// One of these days must break a law; none may with the guard in place.
    pub days: Vec<Vec<Step>>,
    /// How the fault begins.
    pub law: &'static str,
}

const DANGER: Action = Action::Sends { patient: 0, form: 0, says: Says::Danger, photo: None };
const FINE: Action = Action::Sends { patient: 0, form: 0, says: Says::Fine, photo: None };
const NO_ANSWER: Action = Action::Rings { call: 0, rang: Rang::NoAnswer };
const MISSED: Action = Action::RingsSilent { silence: 0, rang: Rang::NoAnswer };
const PICTURE: Action = Action::Sends { patient: 0, form: 0, says: Says::Fine, photo: Some(0) };
const LOOKS: Action = Action::Looks { surgeon: 0, check: 0 };
const A_LITTLE: Action = Action::Passes(Clock::Seconds(10));

fn minutes(minutes: u8) -> Action {
    Action::Passes(Clock::Minutes(minutes))
}

fn decides(surgeon: usize, chosen: Chosen) -> Action {
    Action::Decides { surgeon, check: 0, chosen }
}

fn day(actions: &[Action]) -> Vec<Step> {
    actions.iter().copied().map(Step::from).collect()
}

/// The same day, killed in its last action; then two minutes pass and all is worked off.
fn killed_in_it(actions: &[Action], killed: Killed) -> Vec<Step> {
    let mut day = day(actions);
    day.last_mut().unwrap().killed = Some(killed);
    day.extend([minutes(2), Action::Runs].map(Step::from));
    day
}

/// The same for each of so many places.
fn killed_anywhere(actions: &[Action], places: u16) -> Vec<Vec<Step>> {
    (0..places).map(|place| killed_in_it(actions, Killed::At(place))).collect()
}

fn case(guard: Guard, law: &'static str, actions: &[Action]) -> Case {
    Case { left_out: LeftOut::Guard(guard), days: vec![day(actions)], law }
}

pub fn cases() -> Vec<Case> {
    use Action::*;
    let mut all = of_jobs();
    all.extend(of_people());
    all.extend(of_receipts_and_pages());
    all.extend([
        Case {
            left_out: LeftOut::Books(
                "CREATE TRIGGER ends AFTER UPDATE OF state ON delivery WHEN NEW.state = 'delivered' BEGIN \
                 UPDATE ladder SET state = 'stopped', ended_ms = 0, stopped_by = (SELECT id FROM staff LIMIT 1) \
                 WHERE state = 'running'; END",
            ),
            days: vec![day(&[DANGER, Runs, A_LITTLE, Runs, Reports])],
            law: "I8 only a person",
        },
        Case {
            left_out: LeftOut::Books(
                "CREATE TRIGGER silent BEFORE INSERT ON alarm WHEN NEW.kind = 'overdue' BEGIN \
                 SELECT RAISE(IGNORE); END",
            ),
            days: vec![day(&[FINE, Passes(Clock::Week), Runs])],
            law: "I5 overdue",
        },
        Case {
            left_out: LeftOut::Books(
                "CREATE TRIGGER silent BEFORE INSERT ON alarm WHEN NEW.kind = 'unopened' BEGIN \
                 SELECT RAISE(IGNORE); END",
            ),
            days: vec![day(&[DANGER, Runs, minutes(6), Runs])],
            law: "I5 unopened",
        },
        Case {
            left_out: LeftOut::Books(
                "CREATE TRIGGER silent BEFORE INSERT ON alarm WHEN NEW.kind = 'letter_failed' BEGIN \
                 SELECT RAISE(IGNORE); END",
            ),
            days: vec![day(&[Outside(Mood::RefusesForGood), DANGER, Runs, A_LITTLE, Runs])],
            law: "I6 attempt",
        },
        Case {
            left_out: LeftOut::Books(
                "CREATE TRIGGER silent BEFORE INSERT ON silence WHEN NEW.kind = 'reply' BEGIN \
                 SELECT RAISE(IGNORE); END",
            ),
            days: vec![day(&[FINE, decides(0, Chosen::Fine), Passes(Clock::Week), Runs])],
            law: "I13 unread",
        },
        // A call ends what it was about, whatever came of it.
        Case {
            left_out: LeftOut::Books(
                "CREATE TRIGGER ends AFTER INSERT ON silence_call BEGIN \
                 UPDATE silence SET state = 'ended', ended_ms = NEW.at_ms WHERE id = NEW.silence_id; END",
            ),
            days: vec![day(&[FINE, decides(0, Chosen::Fine), Passes(Clock::Week), Runs, MISSED])],
            law: "I13 unread",
        },
    ]);
    all
}

fn of_jobs() -> Vec<Case> {
    use Action::*;
    let takes_watch_then_rung = [Takes { runner: 0 }, Works { runner: 0 }, Takes { runner: 0 }];
    let stale = [
        &[DANGER, Runs, A_LITTLE, Runs, minutes(5)][..],
        &takes_watch_then_rung[..],
        // By the clock that was set back, the runner takes its lease for good a while longer.
        &[Passes(Clock::Back(20)), minutes(2), Runs, Works { runner: 0 }][..],
    ];
    let mut torn = killed_anywhere(&[DANGER], 60);
    torn.extend(killed_anywhere(&[DANGER, Runs], 90));
    vec![
        Case { left_out: LeftOut::Guard(Guard::OneTransaction), days: torn, law: "I" },
        case(Guard::OnceKey, "I5 no silence", &[Restarts, Runs]),
        case(Guard::LeaseAtTheEnd, "I6 order", &stale.concat()),
        case(Guard::ClockSetBack, "I12 time", &[DANGER, Runs, Passes(Clock::Back(60)), Runs]),
        Case {
            left_out: LeftOut::Guard(Guard::SendThenNote),
            days: vec![killed_in_it(&[DANGER, Runs, A_LITTLE, Runs], Killed::Sending)],
            law: "I6 attempt",
        },
        case(Guard::UrgentAtNight, "I6 attempt", &[Passes(Clock::Hours(12)), DANGER, Runs]),
        case(
            Guard::AnotherWay,
            "I6 attempt",
            &[Outside(Mood::RefusesForNow), DANGER, Runs, A_LITTLE, Runs, Passes(Clock::Seconds(15)), Runs],
        ),
        case(Guard::NextWhenNobody, "I6 attempt", &[Goes { who: 0 }, Goes { who: 1 }, DANGER, Runs]),
        case(Guard::BlankRoster, "I11 cover", &[DANGER, Runs]),
    ]
}

fn of_people() -> Vec<Case> {
    use Action::*;
    let unreachable =
        [DANGER, decides(0, Chosen::Emergency), NO_ANSWER, minutes(11), NO_ANSWER, GivesUp { call: 0 }];
    let two_decisions = [
        FINE,
        decides(0, Chosen::Call),
        Asks { patient: 0, says: Says::Fine },
        decides(0, Chosen::Fine),
        HandsBack { call: 0 },
    ];
    vec![
        case(Guard::NeverLower, "I3 urgency", &[DANGER, FINE]),
        case(Guard::EmergencyIsReached, "I9 refused", &unreachable),
        case(Guard::ClaimRunsOut, "I", &[DANGER, Opens { surgeon: 0, check: 0 }, minutes(16), Runs]),
        case(
            Guard::OneOwner,
            "I9 refused",
            &[DANGER, Opens { surgeon: 0, check: 0 }, decides(1, Chosen::Fine)],
        ),
        // Added by the patient in the middle of it: other words, a photo, a question.
        case(Guard::DecidedAsSeen, "I9 refused", &[FINE, LOOKS, DANGER, decides(0, Chosen::Fine)]),
        case(Guard::DecidedAsSeen, "I9 refused", &[FINE, LOOKS, PICTURE, decides(0, Chosen::Fine)]),
        case(
            Guard::DecidedAsSeen,
            "I9 refused",
            &[FINE, LOOKS, Asks { patient: 0, says: Says::Danger }, decides(0, Chosen::Fine)],
        ),
        case(Guard::OnlyALookIsSeen, "I10 status", &[FINE, Opens { surgeon: 0, check: 0 }]),
        case(Guard::AddedIsUnseen, "I10 status", &[FINE, LOOKS, DANGER]),
        case(
            Guard::DecidedAsSeen,
            "I1 conservation",
            &[FINE, decides(0, Chosen::Call), PICTURE, Rings { call: 0, rang: Rang::SpokeAndDone }],
        ),
        case(Guard::HandedBackWaits, "I1 conservation", &two_decisions),
    ]
}

fn of_receipts_and_pages() -> Vec<Case> {
    let books = |trigger, law, actions: &[Action]| Case {
        left_out: LeftOut::Books(trigger),
        days: vec![day(actions)],
        law,
    };
    vec![
        books(
            "CREATE TRIGGER lost AFTER INSERT ON photo BEGIN \
             UPDATE photo SET sent_sha256 = 'another' WHERE id = NEW.id; END",
            "I2 receipt",
            &[PICTURE],
        ),
        books(
            "CREATE TRIGGER elsewhere AFTER INSERT ON photo BEGIN \
             UPDATE photo SET small_sha256 = sent_sha256 WHERE id = NEW.id; END",
            "I2 receipt",
            &[PICTURE],
        ),
        books(
            "CREATE TRIGGER untold BEFORE INSERT ON call_attempt BEGIN SELECT RAISE(IGNORE); END",
            "I10 status",
            &[FINE, decides(0, Chosen::Call), NO_ANSWER],
        ),
    ]
}
