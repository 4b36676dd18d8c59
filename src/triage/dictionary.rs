//! The facts a protocol may speak of: name, kind, unit and range, where each comes from, and which way is worse.
//!
//! Ranges only refuse what cannot be a reading at all; they are no limits of the protocol. Every fact says which way
//! is worse: without it the fact does not compile, and the promises are tried on it from the day it is written.

use std::collections::HashMap;
use std::sync::LazyLock;

use crate::plan::coded;

/// One fact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fact {
    pub name: &'static str,
    pub kind: Kind,
    pub from: Origin,
    pub worse: Worse,
}

/// What a fact's value looks like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    Flag,
    /// Both ends allowed.
    Number {
        unit: Unit,
        lowest: f64,
        highest: f64,
    },
    Word(&'static [&'static str]),
}

coded! {
    /// What a number of the dictionary, or a limit of a protocol, is counted in.
    pub enum Unit {
        Celsius = "celsius",
        Cm = "cm",
        PerMinute = "per_minute",
        MmHg = "mm_hg",
        MgPerDl = "mg_per_dl",
        MmolPerL = "mmol_per_l",
        Hours = "hours",
        Days = "days",
        Years = "years",
        Percent = "percent",
        /// A number of things, or of points.
        Count = "count",
    }
}

impl Unit {
    /// As written behind a number; empty for a count.
    pub fn sign(self) -> &'static str {
        match self {
            Unit::Celsius => "°C",
            Unit::Cm => "cm",
            Unit::PerMinute => "/min",
            Unit::MmHg => "mmHg",
            Unit::MgPerDl => "mg/dL",
            Unit::MmolPerL => "mmol/L",
            Unit::Hours => "h",
            Unit::Days => "days",
            Unit::Years => "years",
            Unit::Percent => "%",
            Unit::Count => "",
        }
    }

    /// How finely a number is given: 0.1 of a degree, a centimetre or a mmol/L, otherwise whole.
    pub fn decimals(self) -> usize {
        match self {
            Unit::Celsius | Unit::Cm | Unit::MmolPerL => 1,
            Unit::PerMinute
            | Unit::MmHg
            | Unit::MgPerDl
            | Unit::Hours
            | Unit::Days
            | Unit::Years
            | Unit::Percent
            | Unit::Count => 0,
        }
    }
}

/// Where a fact comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// The patient's answers, by checklist or by telephone.
    Answer,
    Enrolment,
    /// The operation and the care plan.
    Plan,
    /// The photo. Can only raise.
    Measurement,
    Clock,
    /// Worked out from other facts; never given.
    Derived,
}

/// Which way is worse. Said only where it holds whatever else is true.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Worse {
    WhenTrue,
    WhenFalse,
    Higher,
    Lower,
    /// Worse above `high` going up, and below `low` going down.
    Outside {
        low: f64,
        high: f64,
    },
    /// Each word worse than the one before; words left out have no fixed place.
    Along(&'static [&'static str]),
    /// Neither way is worse by itself, and why.
    Neither {
        because: &'static str,
    },
}

/// A fact's place in the dictionary.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FactId(u8);

impl FactId {
    /// The fact called `name`; `None` where there is no such fact.
    pub fn named(name: &str) -> Option<FactId> {
        PLACES.get(name).copied()
    }

    /// For names written in this room: a name that is no fact does not compile.
    pub(super) const fn of(name: &str) -> FactId {
        let mut place = 0;
        while place < FACTS {
            if same(DICTIONARY[place].name.as_bytes(), name.as_bytes()) {
                return FactId(place as u8);
            }
            place += 1;
        }
        panic!("no such fact")
    }

    pub fn fact(self) -> &'static Fact {
        &DICTIONARY[self.place()]
    }

    pub fn name(self) -> &'static str {
        self.fact().name
    }

    pub(super) fn place(self) -> usize {
        usize::from(self.0)
    }

    /// Every fact, in the dictionary's order.
    pub fn all() -> impl Iterator<Item = FactId> {
        (0..FACTS as u8).map(FactId)
    }
}

const fn same(one: &[u8], other: &[u8]) -> bool {
    let mut equal = one.len() == other.len();
    let mut place = 0;
    while equal && place < one.len() {
        equal = one[place] == other[place];
        place += 1;
    }
    equal
}

/// How many facts there are.
pub(super) const FACTS: usize = DICTIONARY.len();
const _: () = assert!(FACTS <= u8::MAX as usize, "a fact's place is one byte");

static PLACES: LazyLock<HashMap<&str, FactId>> =
    LazyLock::new(|| FactId::all().map(|id| (DICTIONARY[id.place()].name, id)).collect());

/// The fact called `name`.
pub fn fact(name: &str) -> Option<&'static Fact> {
    FactId::named(name).map(FactId::fact)
}

const fn sign(name: &'static str, from: Origin) -> Fact {
    Fact { name, kind: Kind::Flag, from, worse: Worse::WhenTrue }
}

const fn number(name: &'static str, unit: Unit, range: [f64; 2], from: Origin, worse: Worse) -> Fact {
    Fact { name, kind: Kind::Number { unit, lowest: range[0], highest: range[1] }, from, worse }
}

const fn word(name: &'static str, words: &'static [&'static str], from: Origin, worse: Worse) -> Fact {
    Fact { name, kind: Kind::Word(words), from, worse }
}

const SITES: &[&str] = &[
    "face",
    "scalp",
    "neck",
    "axilla",
    "breast",
    "trunk",
    "arm",
    "hand",
    "groin",
    "genital",
    "buttock",
    "pilonidal",
    "perianal",
    "thigh",
    "leg",
    "foot",
];
const TRENDS: &[&str] = &["smaller", "same", "bigger"];
const PAIN_TRENDS: &[&str] = &["better", "same", "worse"];
const BLEEDING: &[&str] =
    &["none", "spots", "after_wash_stopped", "soaks_pad_hour", "wont_stop_10min", "spurting"];
const PUS: &[&str] = &["none", "thin", "thick"];
const DIABETES: &[&str] = &["none", "other", "t2", "t1"];
const IMMUNO: &[&str] = &["none", "moderate", "chemo", "asplenia"];
const PACKING: &[&str] = &["none", "out", "fell_out", "partly", "unsure", "in"];
const URINE_KETONES: &[&str] = &["none", "trace", "small", "moderate", "large"];
const RASH: &[&str] = &["none", "mild", "hives", "blister"];
const BED: &[&str] = &["red", "pink", "yellow", "black"];

const WOUND_AGE: &str = "some signs alarm early, some late, and silence is allowed longer later";

use Origin::Answer;
use Origin::Clock;
use Origin::Derived;
use Origin::Enrolment;
use Origin::Measurement;
use Origin::Plan;

/// Every fact there is.
pub const DICTIONARY: &[Fact] = &[
    // The clock and the plan.
    number("day", Unit::Days, [0.0, 3650.0], Clock, Worse::Neither { because: WOUND_AGE }),
    number("hours_since_op", Unit::Hours, [0.0, 87600.0], Clock, Worse::Neither { because: WOUND_AGE }),
    number(
        "hours_since_pack",
        Unit::Hours,
        [0.0, 87600.0],
        Clock,
        Worse::Neither { because: "a strip can be out too early and in too long" },
    ),
    number("hours_silent", Unit::Hours, [0.0, 87600.0], Clock, Worse::Higher),
    number("abx_hours", Unit::Hours, [0.0, 87600.0], Clock, Worse::Higher),
    word("site", SITES, Plan, Worse::Neither { because: "each place has its own dangers" }),
    sign("still_open", Plan),
    // Who the patient is.
    number("age", Unit::Years, [0.0, 120.0], Enrolment, Worse::Outside { low: 18.0, high: 54.0 }),
    word("diabetes", DIABETES, Enrolment, Worse::Along(DIABETES)),
    sign("sglt2", Enrolment),
    word("immuno", IMMUNO, Enrolment, Worse::Along(&["none", "moderate", "chemo"])),
    sign("anticoag", Enrolment),
    sign("pregnant", Enrolment),
    sign("valve", Enrolment),
    sign("poor_circulation", Enrolment),
    sign("mrsa", Enrolment),
    sign("pain_pill", Enrolment),
    sign("abx", Enrolment),
    sign("abx_recent", Enrolment),
    sign("red_hard_to_see", Enrolment),
    // The danger screen.
    Fact { name: "danger_screen_answered", kind: Kind::Flag, from: Answer, worse: Worse::WhenFalse },
    word("bleeding", BLEEDING, Answer, Worse::Along(BLEEDING)),
    sign("bleed_half_can", Answer),
    sign("bleed_repeat", Answer),
    sign("groin_pulse_lump", Answer),
    sign("mind_changed", Answer),
    sign("fainted", Answer),
    sign("hard_to_wake", Answer),
    sign("breath_hard", Answer),
    sign("chest_pain", Answer),
    sign("leg_clot_and_breathless", Answer),
    sign("face_throat_swelling", Answer),
    sign("dead_skin", Answer),
    sign("crackle", Answer),
    sign("pain_beyond", Answer),
    sign("numb_skin", Answer),
    sign("numb_saddle", Answer),
    sign("scrotum_swell", Answer),
    sign("eye_signs", Answer),
    sign("throat_signs", Answer),
    sign("self_harm", Answer),
    // The whole body.
    sign("worried", Answer),
    sign("says_very_ill", Answer),
    sign("cannot_get_up", Answer),
    sign("new_weakness", Answer),
    number("temp_c", Unit::Celsius, [25.0, 45.0], Answer, Worse::Outside { low: 36.0, high: 37.0 }),
    sign("temp_repeat_low", Answer),
    sign("feels_feverish", Answer),
    sign("fever_pill_6h", Answer),
    sign("chills", Answer),
    number("hr", Unit::PerMinute, [20.0, 300.0], Answer, Worse::Higher),
    number("rr", Unit::PerMinute, [3.0, 100.0], Answer, Worse::Higher),
    number("sbp", Unit::MmHg, [40.0, 300.0], Answer, Worse::Lower),
    // The wound.
    number("red_cm", Unit::Cm, [0.0, 60.0], Answer, Worse::Higher),
    word("red_trend", TRENDS, Answer, Worse::Along(TRENDS)),
    number("red_grew_cm_6h", Unit::Cm, [0.0, 60.0], Answer, Worse::Higher),
    sign("warm", Answer),
    sign("hard", Answer),
    word("swell_trend", TRENDS, Answer, Worse::Along(TRENDS)),
    sign("streaks", Answer),
    number("pain", Unit::Count, [0.0, 10.0], Answer, Worse::Higher),
    word("pain_trend", PAIN_TRENDS, Answer, Worse::Along(PAIN_TRENDS)),
    sign("pain_at_rest", Answer),
    Fact { name: "pain_just_packed", kind: Kind::Flag, from: Answer, worse: Worse::WhenFalse },
    word("pus", PUS, Answer, Worse::Along(PUS)),
    sign("odor", Answer),
    sign("drain_grey", Answer),
    sign("draining", Answer),
    sign("draining_pinhole", Answer),
    sign("lump_back", Answer),
    sign("closed_over", Answer),
    sign("itchy", Answer),
    sign("square_edged", Answer),
    sign("over_granulation", Answer),
    // Where the wound is.
    sign("finger_bent", Answer),
    sign("joint_stiff", Answer),
    number("cant_pee_hours", Unit::Hours, [0.0, 240.0], Answer, Worse::Higher),
    sign("deep_pressure", Answer),
    sign("cant_pass_stool", Answer),
    sign("stool_in_wound", Answer),
    // Sugar.
    number("glucose", Unit::MgPerDl, [10.0, 2000.0], Answer, Worse::Outside { low: 70.0, high: 150.0 }),
    sign("glucose_hi", Answer),
    number("glucose_median7", Unit::MgPerDl, [10.0, 2000.0], Answer, Worse::Higher),
    number("ketones", Unit::MmolPerL, [0.0, 20.0], Answer, Worse::Higher),
    word("urine_ketones", URINE_KETONES, Answer, Worse::Along(URINE_KETONES)),
    sign("sugar_sick", Answer),
    sign("vomiting", Answer),
    sign("cannot_swallow", Answer),
    // Drugs.
    word("rash", RASH, Answer, Worse::Along(RASH)),
    sign("vomit_abx", Answer),
    number("abx_missed", Unit::Count, [0.0, 100.0], Answer, Worse::Higher),
    number("loose_stools_24h", Unit::Count, [0.0, 100.0], Answer, Worse::Higher),
    sign("stool_blood", Answer),
    // The strip and the washing.
    word("packing", PACKING, Answer, Worse::Along(&["none", "out", "fell_out", "partly", "unsure"])),
    sign("packing_stuck", Answer),
    number("washes_per_day", Unit::Count, [0.0, 24.0], Answer, Worse::Lower),
    // The photo.
    number("area_change_pct", Unit::Percent, [-100.0, 10000.0], Measurement, Worse::Higher),
    number("par_28", Unit::Percent, [-10000.0, 100.0], Measurement, Worse::Lower),
    sign("both_scaled", Measurement),
    Fact { name: "photo_ok", kind: Kind::Flag, from: Measurement, worse: Worse::WhenFalse },
    word("bed", BED, Measurement, Worse::Along(BED)),
    // Worked out.
    sign("has_diabetes", Derived),
    sign("host_immuno", Derived),
    sign("host_weak", Derived),
    number("red_limit", Unit::Cm, [0.0, 60.0], Derived, Worse::Lower),
    sign("hot_hard_growing", Derived),
    number("local_signs", Unit::Count, [0.0, 5.0], Derived, Worse::Higher),
    number("sick_count", Unit::Count, [0.0, 3.0], Derived, Worse::Higher),
    number("qsofa", Unit::Count, [0.0, 3.0], Derived, Worse::Higher),
    number("silent_limit", Unit::Hours, [0.0, 87600.0], Derived, Worse::Lower),
];

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::plan::Site;

    #[test]
    fn each_fact_has_one_name_and_every_site_is_a_word() {
        let names: BTreeSet<&str> = DICTIONARY.iter().map(|fact| fact.name).collect();
        assert_eq!(names.len(), DICTIONARY.len());
        assert_eq!(SITES.to_vec(), Site::ALL.iter().map(|site| site.code()).collect::<Vec<_>>());
    }
}
