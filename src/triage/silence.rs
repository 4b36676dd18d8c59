//! Silence: something was due from a patient and did not come. What is tried next, when, and who is at risk.
//!
//! A reminder, two calls on one day, the second contact, a letter: common practice; the times are ours.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::plan::coded;
use crate::triage::answers::Answers;
use crate::triage::dictionary::FactId;
use crate::triage::facts::Facts;
use crate::triage::from_check::Enrolled;
use crate::triage::protocol::Protocol;
use crate::triage::urgency::Urgency;

coded! {
    /// What was due.
    pub enum SilenceKind {
        /// Word that a patient arrived at the emergency department.
        Arrival = "arrival",
        /// Word that the strip is out.
        Strip = "strip",
        /// The answer to "come in".
        ComeIn = "come_in",
        /// A visit nobody noted.
        Visit = "visit",
        /// A reply of the practice that was not read.
        Reply = "reply",
        /// A wound check.
        Check = "check",
        /// The laboratory's answer.
        Culture = "culture",
    }
}

coded! {
    /// What is tried next.
    pub enum SilenceStep {
        /// A fixed sentence on the patient's phone.
        Reminder = "reminder",
        Call = "call",
        SecondContact = "second_contact",
        Letter = "letter",
        /// Everything was tried: a call a day, until a person ends it.
        KeepTrying = "keep_trying",
    }
}

coded! {
    /// Whom a call rings.
    pub enum Whom {
        Patient = "patient",
        /// Whoever helps at home, as named at enrolment.
        SecondContact = "second_contact",
        /// Somebody who is not the patient's side: the emergency department, a laboratory.
        Elsewhere = "elsewhere",
    }
}

/// Two unanswered calls, at the least so far apart, before somebody else is rung.
const SECOND_CALL_AFTER: SignedDuration = SignedDuration::from_hours(2);
const NEXT_CONTACT_AFTER: SignedDuration = SignedDuration::from_hours(1);
/// From the beginning of the silence to the letter.
const LETTER_AFTER: SignedDuration = SignedDuration::from_hours(72);
const EACH_DAY: SignedDuration = SignedDuration::from_hours(24);
/// A strip this long past its grace in a patient nobody reaches: the surgeon decides what is done.
const SURGEON_DECIDES_AFTER: SignedDuration = SignedDuration::from_hours(24);

/// An answer about something urgent is to be read within this long, any other within a day (ours; safety promise I13).
const URGENT_READ_WITHIN: SignedDuration = SignedDuration::from_hours(4);
const READ_WITHIN: SignedDuration = SignedDuration::from_hours(24);

/// How long a patient has to read the answer to a check of this class.
pub fn read_within(class: Urgency) -> SignedDuration {
    match class {
        Urgency::OnTrack | Urgency::Tomorrow => READ_WITHIN,
        Urgency::Today | Urgency::RingNow | Urgency::GoNow => URGENT_READ_WITHIN,
    }
}

/// What was tried since the thing was due, and since the patient was last spoken with.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tried {
    pub reminded: Option<Timestamp>,
    /// Calls to the patient that nobody answered, in order.
    pub unanswered: Vec<Timestamp>,
    /// The last unanswered call to the second contact.
    pub second_unanswered: Option<Timestamp>,
    pub letter: Option<Timestamp>,
    /// When somebody spoke with them and agreed to wait until then.
    pub waits_until: Option<Timestamp>,
}

/// Whether there is somebody else to ring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SecondContact {
    Named,
    Nobody,
}

impl SilenceKind {
    /// Whether the patient can be reminded by a notice: nobody is reminded of what others owe.
    pub fn is_reminded(self) -> bool {
        match self {
            SilenceKind::Strip
            | SilenceKind::ComeIn
            | SilenceKind::Visit
            | SilenceKind::Reply
            | SilenceKind::Check => true,
            SilenceKind::Arrival | SilenceKind::Culture => false,
        }
    }

    /// From the beginning of the silence to the first call.
    fn first_call_after(self) -> SignedDuration {
        match self {
            SilenceKind::Arrival | SilenceKind::Culture => SignedDuration::ZERO,
            SilenceKind::Visit => SignedDuration::from_hours(1),
            SilenceKind::Strip | SilenceKind::ComeIn => SignedDuration::from_hours(2),
            SilenceKind::Reply | SilenceKind::Check => SignedDuration::from_hours(4),
        }
    }

    /// How long a step that is due may wait before it is overdue.
    pub fn step_within(self) -> SignedDuration {
        match self {
            SilenceKind::Arrival => SignedDuration::from_mins(30),
            SilenceKind::Strip | SilenceKind::ComeIn => SignedDuration::from_hours(2),
            SilenceKind::Visit | SilenceKind::Reply | SilenceKind::Check => SignedDuration::from_hours(4),
            SilenceKind::Culture => SignedDuration::from_hours(24),
        }
    }

    /// Whether it can be rung about at night: whoever was sent to the emergency department is looked for at any hour.
    pub fn rings_at_night(self) -> bool {
        self == SilenceKind::Arrival
    }

    /// How urgent the silence itself is. A patient who is silent is looked at today (the protocol's rule `silent`).
    pub fn class(self) -> Urgency {
        match self {
            SilenceKind::Arrival => Urgency::RingNow,
            SilenceKind::Strip
            | SilenceKind::ComeIn
            | SilenceKind::Visit
            | SilenceKind::Reply
            | SilenceKind::Check => Urgency::Today,
            SilenceKind::Culture => Urgency::Tomorrow,
        }
    }
}

/// What is tried next and from when, before the night is heeded.
pub fn next_step(
    kind: SilenceKind,
    since: Timestamp,
    tried: &Tried,
    second: SecondContact,
) -> (SilenceStep, Timestamp) {
    // They were spoken with: until then nothing, and then a call like the first.
    if let Some(until) = tried.waits_until
        && tried.unanswered.iter().all(|at| *at < until)
        && tried.second_unanswered.is_none_or(|at| at < until)
    {
        return (SilenceStep::Call, until);
    }
    let first_call = since + kind.first_call_after();
    if kind.is_reminded() && tried.reminded.is_none() && tried.unanswered.is_empty() {
        return (SilenceStep::Reminder, since);
    }
    let last = tried.unanswered.iter().max().copied().max(tried.second_unanswered);
    let next_day = last.map_or(first_call, |last| last + EACH_DAY);
    match (tried.unanswered.as_slice(), tried.second_unanswered, second) {
        ([], None, _) => (SilenceStep::Call, first_call),
        ([only], None, _) => (SilenceStep::Call, *only + SECOND_CALL_AFTER),
        ([.., last], None, SecondContact::Named) => (SilenceStep::SecondContact, *last + NEXT_CONTACT_AFTER),
        (_, _, _) if tried.letter.is_some() => (SilenceStep::KeepTrying, next_day),
        (_, _, _) => {
            let letter = last.map_or(since, |last| last + NEXT_CONTACT_AFTER).max(since + LETTER_AFTER);
            if letter <= next_day { (SilenceStep::Letter, letter) } else { (SilenceStep::Call, next_day) }
        }
    }
}

/// Whether the surgeon must decide what is done: a strip is still in, long past its time, and nobody spoke with the
/// patient. `overdue_since`: the end of the strip's grace.
pub fn surgeon_decides(
    kind: SilenceKind,
    overdue_since: Timestamp,
    spoke: Option<Timestamp>,
    now: Timestamp,
) -> bool {
    kind == SilenceKind::Strip
        && spoke.is_none_or(|spoke| spoke < overdue_since)
        && now.duration_since(overdue_since) >= SURGEON_DECIDES_AFTER
}

/// How long a patient may be silent at `now` under a protocol. What is not known counts as the shorter time.
pub fn silent_limit(
    protocol: &Protocol,
    enrolled: &Enrolled<'_>,
    now: Timestamp,
    zone: &TimeZone,
) -> SignedDuration {
    let mut facts = Facts::from_check(&Answers::default(), enrolled, now, zone);
    if enrolled.operation.packing.is_some() && enrolled.strip_out_confirmed.is_none() {
        facts.word("packing", "in");
    }
    let known = facts.completed(protocol.limits());
    let hours = known.number(FactId::of("silent_limit")).map_or(0.0, |(low, _)| low);
    SignedDuration::from_secs((hours * 3600.0).round() as i64)
}

/// What makes a silent patient more at risk than another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AtRisk {
    pub kind: SilenceKind,
    /// The class of the last check; `None`: there was none, which is no comfort.
    pub last: Option<Urgency>,
    /// Diabetes or weak immunity, or neither was asked about.
    pub fragile: bool,
    /// Whole days since the operation.
    pub day: i64,
    /// The surgeon must decide.
    pub surgeon_decides: bool,
}

/// Reading order of the silent: most at risk first. The class of a silence is never below its kind's own.
pub fn risk_order(risk: &AtRisk, by: Timestamp) -> impl Ord + use<> {
    let last = risk.last.unwrap_or(Urgency::Today);
    let is_early = risk.day <= 7;
    (
        !risk.surgeon_decides,
        silence_class(risk).rank(),
        !(risk.fragile || is_early),
        last.rank(),
        risk.kind,
        by,
    )
}

/// The class a silence is read in.
pub fn silence_class(risk: &AtRisk) -> Urgency {
    let raised = match risk.last {
        Some(last) if risk.kind == SilenceKind::ComeIn || risk.kind == SilenceKind::Reply => last,
        Some(_) | None => Urgency::OnTrack,
    };
    let class = risk.kind.class().max(raised);
    if risk.surgeon_decides { class.max(Urgency::RingNow) } else { class }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Diabetes;
    use crate::plan::Immunity;
    use crate::plan::Operation;
    use crate::plan::Packing;
    use crate::plan::RiskFactors;
    use crate::plan::Side;
    use crate::plan::Site;

    fn at(hours: i64) -> Timestamp {
        "2026-03-02T12:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_hours(hours)
    }

    fn next(kind: SilenceKind, tried: &Tried) -> (SilenceStep, i64) {
        let (step, when) = next_step(kind, at(0), tried, SecondContact::Named);
        (step, when.duration_since(at(0)).as_hours())
    }

    #[test]
    fn a_reminder_then_two_calls_the_second_contact_and_a_letter() {
        let mut tried = Tried::default();
        assert_eq!(next(SilenceKind::Check, &tried), (SilenceStep::Reminder, 0));
        tried.reminded = Some(at(0));
        assert_eq!(next(SilenceKind::Check, &tried), (SilenceStep::Call, 4));
        assert_eq!(next(SilenceKind::Strip, &tried), (SilenceStep::Call, 2));
        tried.unanswered.push(at(4));
        assert_eq!(next(SilenceKind::Check, &tried), (SilenceStep::Call, 6));
        tried.unanswered.push(at(6));
        assert_eq!(next(SilenceKind::Check, &tried), (SilenceStep::SecondContact, 7));
        tried.second_unanswered = Some(at(7));
        // Until the letter a call each day.
        assert_eq!(next(SilenceKind::Check, &tried), (SilenceStep::Call, 31));
        tried.unanswered.push(at(31));
        assert_eq!(next(SilenceKind::Check, &tried), (SilenceStep::Call, 55));
        tried.unanswered.push(at(55));
        assert_eq!(next(SilenceKind::Check, &tried), (SilenceStep::Letter, 72));
        tried.letter = Some(at(73));
        assert_eq!(next(SilenceKind::Check, &tried), (SilenceStep::KeepTrying, 79));
    }

    #[test]
    fn without_a_second_contact_the_letter_follows_the_calls() {
        let tried =
            Tried { reminded: Some(at(0)), unanswered: vec![at(4), at(6), at(54)], ..Tried::default() };
        let (step, when) = next_step(SilenceKind::Check, at(0), &tried, SecondContact::Nobody);
        assert_eq!((step, when), (SilenceStep::Letter, at(72)));
    }

    #[test]
    fn whoever_was_spoken_with_is_left_alone_until_the_time_agreed_and_never_longer() {
        let mut tried = Tried { reminded: Some(at(0)), waits_until: Some(at(30)), ..Tried::default() };
        assert_eq!(next(SilenceKind::Check, &tried), (SilenceStep::Call, 30));
        tried.unanswered.push(at(31));
        assert_eq!(next(SilenceKind::Check, &tried), (SilenceStep::Call, 33));
    }

    #[test]
    fn nobody_is_reminded_of_what_others_owe() {
        assert_eq!(next(SilenceKind::Arrival, &Tried::default()), (SilenceStep::Call, 0));
        assert_eq!(next(SilenceKind::Culture, &Tried::default()), (SilenceStep::Call, 0));
    }

    #[test]
    fn something_always_comes_next_and_never_before_the_silence_began() {
        let times: [Option<Timestamp>; 3] = [None, Some(at(5)), Some(at(100))];
        for kind in SilenceKind::ALL {
            for reminded in times {
                for second_unanswered in times {
                    for letter in times {
                        for calls in 0..5 {
                            let unanswered = (0..calls).map(|call| at(3 + call * 7)).collect();
                            let tried =
                                Tried { reminded, unanswered, second_unanswered, letter, waits_until: None };
                            for second in [SecondContact::Named, SecondContact::Nobody] {
                                let (_, when) = next_step(*kind, at(0), &tried, second);
                                assert!(when >= at(0), "{kind:?} {tried:?}");
                            }
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn the_surgeon_decides_about_a_strip_a_day_past_its_grace_unless_somebody_spoke_with_the_patient() {
        let decides = |spoke, hours| surgeon_decides(SilenceKind::Strip, at(0), spoke, at(hours));
        assert!(!decides(None, 23));
        assert!(decides(None, 24));
        assert!(!decides(Some(at(2)), 30));
        assert!(decides(Some(at(-2)), 30));
        assert!(!surgeon_decides(SilenceKind::Check, at(0), None, at(500)));
    }

    fn limit(risk: RiskFactors, packed: bool, now: Timestamp) -> i64 {
        let operated = at(0);
        let packing = packed.then_some(Packing { pieces: 1, length_cm: None, placed: operated });
        let operation = Operation {
            site: Site::Thigh,
            side: Side::Left,
            procedure: "abscess drained".to_owned(),
            operated,
            size: None,
            packing,
            pen_line: None,
        };
        let enrolled =
            Enrolled { operation: &operation, risk: &risk, age_years: None, strip_out_confirmed: None };
        silent_limit(Protocol::built_in(), &enrolled, now, &TimeZone::UTC).as_hours()
    }

    /// The protocol's own numbers (rule `silent`: own rule, no source).
    #[test]
    fn silence_may_last_36_hours_in_week_1_and_96_later_half_as_long_for_the_fragile() {
        let well = RiskFactors {
            diabetes: Some(Diabetes::None),
            immunity: Some(Immunity::None),
            ..RiskFactors::default()
        };
        assert_eq!(limit(well.clone(), false, at(7 * 24)), 36);
        assert_eq!(limit(well.clone(), false, at(8 * 24)), 96);
        assert_eq!(limit(RiskFactors { diabetes: Some(Diabetes::T2), ..well.clone() }, false, at(24)), 18);
        // A strip past its time halves it; before, it does not.
        assert_eq!(limit(well.clone(), true, at(48)), 36);
        assert_eq!(limit(well, true, at(49)), 18);
        // Nobody asked: the shorter time.
        assert_eq!(limit(RiskFactors::default(), false, at(24)), 18);
    }

    #[test]
    fn those_at_risk_are_read_first() {
        let risk = |kind, last, fragile, day| AtRisk { kind, last, fragile, day, surgeon_decides: false };
        let calm = risk(SilenceKind::Check, Some(Urgency::OnTrack), false, 20);
        let order = |risk: &AtRisk| risk_order(risk, at(0));
        assert!(order(&risk(SilenceKind::Arrival, None, false, 20)) < order(&calm));
        assert!(order(&AtRisk { fragile: true, ..calm }) < order(&calm));
        assert!(order(&AtRisk { day: 3, ..calm }) < order(&calm));
        assert!(order(&AtRisk { last: Some(Urgency::Today), ..calm }) < order(&calm));
        assert!(order(&risk(SilenceKind::Strip, Some(Urgency::OnTrack), false, 20)) < order(&calm));
        let undecided = AtRisk { surgeon_decides: true, ..risk(SilenceKind::Strip, None, true, 4) };
        assert!(order(&undecided) < order(&risk(SilenceKind::Arrival, None, true, 1)));
        // An unread answer to an urgent check is as urgent as the check.
        assert_eq!(silence_class(&risk(SilenceKind::Reply, Some(Urgency::GoNow), false, 20)), Urgency::GoNow);
        assert_eq!(silence_class(&calm), Urgency::Today);
    }
}
