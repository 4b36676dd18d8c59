//! What can happen on a day, and how likely it is.

use proptest::prelude::*;

use crate::town::PICTURES;

/// What a patient says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Says {
    /// Nothing to worry about.
    Fine,
    /// 39.0 °C: a voice within the hour.
    Fever,
    /// Cannot breathe.
    Danger,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chosen {
    Fine,
    Call,
    Emergency,
    ComeIn,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rang {
    NoAnswer,
    SpokeAndOpen,
    SpokeAndDone,
}

/// How the outside is disposed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mood {
    Takes,
    RefusesForNow,
    RefusesForGood,
    /// Takes the letter, and no answer comes in time.
    TakesAndHangs,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clock {
    Seconds(u8),
    Minutes(u8),
    Hours(u8),
    Week,
    /// The wall's clock is set back by so many minutes while the program runs.
    Back(u8),
    /// The same while it is down.
    BackWhileDown(u8),
}

/// Numbers choose among what is there: `check: 5` of three checks is the last one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    Sends {
        patient: usize,
        form: u8,
        says: Says,
        /// Which of the town's pictures comes with it.
        photo: Option<usize>,
    },
    Asks {
        patient: usize,
        says: Says,
    },
    Opens {
        surgeon: usize,
        check: usize,
    },
    /// Reads all of it, claimed or not.
    Looks {
        surgeon: usize,
        check: usize,
    },
    Leaves {
        surgeon: usize,
        check: usize,
    },
    /// By what this surgeon last read of it.
    Decides {
        surgeon: usize,
        check: usize,
        chosen: Chosen,
    },
    Rings {
        call: usize,
        rang: Rang,
    },
    GivesUp {
        call: usize,
    },
    HandsBack {
        call: usize,
    },
    /// A patient says that they have read whatever was answered.
    Reads {
        patient: usize,
    },
    /// The office rings a patient from whom something was due.
    RingsSilent {
        silence: usize,
        rang: Rang,
    },
    /// And says that nobody needs to wait for it any more.
    EndsSilence {
        silence: usize,
    },
    Acknowledges {
        who: usize,
        ladder: usize,
    },
    /// A member of staff is switched off, or on again.
    Goes {
        who: usize,
    },
    Comes {
        who: usize,
    },
    Outside(Mood),
    /// The outside reports every letter as delivered, twice.
    Reports,
    /// One runner claims a job and does nothing with it yet.
    Takes {
        runner: usize,
    },
    /// It does what it has in hand, however long ago it was claimed.
    Works {
        runner: usize,
    },
    /// All that is due is worked off.
    Runs,
    Passes(Clock),
    Restarts,
}

/// Where the program dies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Killed {
    /// When it waits for this many-th answer, mostly one for each statement.
    At(u16),
    /// While a letter is on its way to the outside, which then never has it.
    Sending,
}

/// One step of a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    pub action: Action,
    pub killed: Option<Killed>,
}

impl From<Action> for Step {
    fn from(action: Action) -> Step {
        Step { action, killed: None }
    }
}

/// A few days begin with what chance would seldom bring about: nobody on duty, something late for hours, an answer that
/// nobody reads, and one that no message tells of.
pub fn day(longest: usize) -> impl Strategy<Value = Vec<Step>> {
    let fine = Action::Sends { patient: 0, form: 0, says: Says::Fine, photo: None };
    let nobody = [Action::Goes { who: 0 }, Action::Goes { who: 1 }];
    let late =
        [fine, Action::Passes(Clock::Week), Action::Runs, Action::Passes(Clock::Hours(4)), Action::Runs];
    let answered = Action::Decides { surgeon: 0, check: 0, chosen: Chosen::Fine };
    let unread = [fine, answered, Action::Passes(Clock::Week), Action::Runs, Action::Passes(Clock::Hours(9))];
    let missed = Action::RingsSilent { silence: 0, rang: Rang::NoAnswer };
    let rung = [fine, answered, Action::Passes(Clock::Week), Action::Runs, missed, missed];
    let refuses = Action::Outside(Mood::RefusesForGood);
    let untold = [refuses, fine, answered, Action::Runs, Action::Passes(Clock::Minutes(1)), Action::Runs];
    let begins = prop_oneof![
        20 => Just(Vec::new()),
        1 => Just(nobody.to_vec()),
        1 => Just(late.to_vec()),
        2 => Just(unread.to_vec()),
        1 => Just(rung.to_vec()),
        1 => Just(untold.to_vec()),
    ];
    (begins, prop::collection::vec(step(), 4..longest)).prop_map(|(begins, goes_on)| {
        let mut day: Vec<Step> = begins.into_iter().map(Step::from).collect();
        day.extend(goes_on);
        day
    })
}

fn step() -> impl Strategy<Value = Step> {
    let killed = prop_oneof![
        7 => Just(None),
        1 => (0u16..12).prop_map(|place| Some(Killed::At(place))),
        1 => (0u16..40).prop_map(|place| Some(Killed::At(place))),
        1 => (0u16..200).prop_map(|place| Some(Killed::At(place))),
        1 => Just(Some(Killed::Sending)),
    ];
    (action(), killed).prop_map(|(action, killed)| Step { action, killed })
}

fn action() -> impl Strategy<Value = Action> {
    let patients = prop_oneof![
        5 => (0usize..2, 0u8..2, says(), carried())
            .prop_map(|(patient, form, says, photo)| Action::Sends { patient, form, says, photo }),
        1 => (0usize..2, says()).prop_map(|(patient, says)| Action::Asks { patient, says }),
        1 => (0usize..2).prop_map(|patient| Action::Reads { patient }),
    ];
    let surgeons = prop_oneof![
        3 => (0usize..2, 0usize..4).prop_map(|(surgeon, check)| Action::Opens { surgeon, check }),
        2 => (0usize..2, 0usize..4).prop_map(|(surgeon, check)| Action::Looks { surgeon, check }),
        1 => (0usize..2, 0usize..4).prop_map(|(surgeon, check)| Action::Leaves { surgeon, check }),
        3 => (0usize..2, 0usize..4, chosen())
            .prop_map(|(surgeon, check, chosen)| Action::Decides { surgeon, check, chosen }),
    ];
    let office = prop_oneof![
        3 => (0usize..3, rang()).prop_map(|(call, rang)| Action::Rings { call, rang }),
        1 => (0usize..3).prop_map(|call| Action::GivesUp { call }),
        1 => (0usize..3).prop_map(|call| Action::HandsBack { call }),
        2 => (0usize..3, rang()).prop_map(|(silence, rang)| Action::RingsSilent { silence, rang }),
        1 => (0usize..3).prop_map(|silence| Action::EndsSilence { silence }),
        1 => (0usize..3, 0usize..3).prop_map(|(who, ladder)| Action::Acknowledges { who, ladder }),
    ];
    let house = prop_oneof![
        2 => (0usize..3).prop_map(|who| Action::Goes { who }),
        1 => (0usize..3).prop_map(|who| Action::Comes { who }),
        2 => mood().prop_map(Action::Outside),
        1 => Just(Action::Reports),
        2 => Just(Action::Restarts),
    ];
    let runners = prop_oneof![
        6 => Just(Action::Runs),
        2 => (0usize..2).prop_map(|runner| Action::Takes { runner }),
        2 => (0usize..2).prop_map(|runner| Action::Works { runner }),
    ];
    prop_oneof![
        4 => patients,
        3 => surgeons,
        2 => office,
        1 => house,
        6 => runners,
        5 => clock().prop_map(Action::Passes),
    ]
}

fn says() -> impl Strategy<Value = Says> {
    prop_oneof![1 => Just(Says::Fine), 1 => Just(Says::Fever), 2 => Just(Says::Danger)]
}

fn carried() -> impl Strategy<Value = Option<usize>> {
    prop_oneof![2 => Just(None), 1 => (0..PICTURES).prop_map(Some)]
}

fn chosen() -> impl Strategy<Value = Chosen> {
    prop::sample::select(&[Chosen::Fine, Chosen::Call, Chosen::Emergency, Chosen::ComeIn][..])
}

fn rang() -> impl Strategy<Value = Rang> {
    prop::sample::select(&[Rang::NoAnswer, Rang::SpokeAndOpen, Rang::SpokeAndDone][..])
}

fn mood() -> impl Strategy<Value = Mood> {
    prop::sample::select(&[Mood::Takes, Mood::RefusesForNow, Mood::RefusesForGood, Mood::TakesAndHangs][..])
}

fn clock() -> impl Strategy<Value = Clock> {
    prop_oneof![
        2 => (1u8..60).prop_map(Clock::Seconds),
        8 => (1u8..20).prop_map(Clock::Minutes),
        3 => (1u8..14).prop_map(Clock::Hours),
        1 => Just(Clock::Week),
        2 => (1u8..180).prop_map(Clock::Back),
        1 => (1u8..180).prop_map(Clock::BackWhileDown),
    ]
}
