//! What a surgeon can decide about a wound check, and what a call can come to.

use jiff::SignedDuration;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::plan::coded;
use crate::triage::urgency::Urgency;

coded! {
    /// The surgeon's decision. None of them is ever taken by the program.
    pub enum Decision {
        HealingAsExpected = "healing_as_expected",
        ChangeHomeCare = "change_home_care",
        /// Recorded here, prescribed elsewhere.
        Antibiotic = "antibiotic",
        ComeIn = "come_in",
        CallByOffice = "call_by_office",
        GoToEmergency = "go_to_emergency",
        AnotherPhoto = "another_photo",
    }
}

impl Decision {
    /// The decision in a staff member's words.
    pub fn words(self) -> &'static str {
        match self {
            Decision::HealingAsExpected => "Healing as expected",
            Decision::ChangeHomeCare => "Change the home care",
            Decision::Antibiotic => "Start or change an antibiotic",
            Decision::ComeIn => "Come in",
            Decision::CallByOffice => "Call by the office",
            Decision::GoToEmergency => "Go to the emergency department now",
            Decision::AnotherPhoto => "Need another photo",
        }
    }

    /// Whether the office must reach the patient by voice: a written answer alone may lie unread.
    pub fn needs_a_call(self) -> bool {
        match self {
            Decision::CallByOffice | Decision::GoToEmergency | Decision::ComeIn => true,
            Decision::HealingAsExpected
            | Decision::ChangeHomeCare
            | Decision::Antibiotic
            | Decision::AnotherPhoto => false,
        }
    }
}

/// What is nearer than this is within the hour.
const WITHIN_THE_HOUR: SignedDuration = SignedDuration::from_mins(60);

/// When a decision was made, and what times went with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decided {
    pub at: Timestamp,
    /// For "come in": when.
    pub come_in: Option<Timestamp>,
    /// For a call by the office: by when it was to be made, as it stood when it was asked for.
    pub call_due: Option<Timestamp>,
}

impl Decision {
    /// How urgent the surgeon judged the check, read from what they decided; `None`: the decision judges nothing.
    /// A surgeon who says it themselves overrules this. Our own mapping, no source:
    ///
    /// - healing as expected: on track. Change the home care: by the next working day. An antibiotic: today.
    /// - come in: within the hour when the visit is, today when it is on the same local date, else by the next
    ///   working day.
    /// - call by the office: within the hour when the call is due by then, else today. When a call is due follows
    ///   from the class the check was assessed as, so that this reading can hardly disagree with it.
    /// - go to the emergency department: go now. Another photo: nothing can be said yet.
    ///
    /// A time that was not kept counts as within the hour: an unknown is never read as calm.
    pub fn judged(self, decided: &Decided, zone: &TimeZone) -> Option<Urgency> {
        let is_within_the_hour = |when: Timestamp| when.duration_since(decided.at) <= WITHIN_THE_HOUR;
        let date = |when: Timestamp| when.to_zoned_datetime(zone.clone()).date();
        match self {
            Decision::HealingAsExpected => Some(Urgency::OnTrack),
            Decision::ChangeHomeCare => Some(Urgency::Tomorrow),
            Decision::Antibiotic => Some(Urgency::Today),
            Decision::ComeIn => Some(match decided.come_in {
                Some(when) if is_within_the_hour(when) => Urgency::RingNow,
                Some(when) if date(when) <= date(decided.at) => Urgency::Today,
                Some(_) => Urgency::Tomorrow,
                None => Urgency::RingNow,
            }),
            Decision::CallByOffice => Some(match decided.call_due {
                Some(when) if is_within_the_hour(when) => Urgency::RingNow,
                Some(_) => Urgency::Today,
                None => Urgency::RingNow,
            }),
            Decision::GoToEmergency => Some(Urgency::GoNow),
            Decision::AnotherPhoto => None,
        }
    }
}

coded! {
    /// How one call attempt went.
    pub enum CallResult { NoAnswer = "no_answer", MessageLeft = "message_left", Spoke = "spoke" }
}

impl CallResult {
    pub fn words(self) -> &'static str {
        match self {
            CallResult::NoAnswer => "No answer",
            CallResult::MessageLeft => "Message left",
            CallResult::Spoke => "Spoke",
        }
    }
}

coded! {
    /// How a callback ended.
    pub enum CallOutcome {
        WillFollowAdvice = "will_follow_advice",
        VisitBooked = "visit_booked",
        WentToEmergency = "went_to_emergency",
        CouldNotReach = "could_not_reach",
    }
}

impl CallOutcome {
    pub fn words(self) -> &'static str {
        match self {
            CallOutcome::WillFollowAdvice => "Understood, will follow the advice",
            CallOutcome::VisitBooked => "Visit booked",
            CallOutcome::WentToEmergency => "Going to, or at, the emergency department",
            CallOutcome::CouldNotReach => "Could not reach",
        }
    }
}

/// The first blank of a reply text that nobody filled, such as `{time}`; `None` when there is none.
pub fn first_blank(reply: &str) -> Option<&str> {
    let start = reply.find('{')?;
    let end = start + reply[start..].find('}')?;
    let inside = &reply[start + 1..end];
    let is_blank =
        !inside.is_empty() && inside.chars().all(|letter| letter.is_ascii_lowercase() || letter == '_');
    if is_blank { Some(&reply[start..=end]) } else { first_blank(&reply[start + 1..]) }
}

#[cfg(test)]
mod tests {
    use super::*;

    const AT: &str = "2026-03-10T15:00:00Z";

    /// Judged at eleven in New York, with a visit and a call at these moments.
    fn judged(decision: Decision, come_in: Option<&str>, call_due: Option<&str>) -> Option<Urgency> {
        let time = |text: &str| text.parse::<Timestamp>().unwrap();
        let decided = Decided { at: time(AT), come_in: come_in.map(time), call_due: call_due.map(time) };
        decision.judged(&decided, &TimeZone::get("America/New_York").unwrap())
    }

    #[test]
    fn every_decision_but_another_photo_says_how_urgent_it_was() {
        assert_eq!(judged(Decision::HealingAsExpected, None, None), Some(Urgency::OnTrack));
        assert_eq!(judged(Decision::ChangeHomeCare, None, None), Some(Urgency::Tomorrow));
        assert_eq!(judged(Decision::Antibiotic, None, None), Some(Urgency::Today));
        assert_eq!(judged(Decision::GoToEmergency, None, None), Some(Urgency::GoNow));
        assert_eq!(judged(Decision::AnotherPhoto, None, None), None);
        let without: Vec<&Decision> =
            Decision::ALL.iter().filter(|decision| judged(**decision, None, None).is_none()).collect();
        assert_eq!(without, [&Decision::AnotherPhoto]);
    }

    #[test]
    fn a_visit_is_judged_by_when_it_is_in_the_practices_own_day() {
        let visit = |when: &str| judged(Decision::ComeIn, Some(when), None);
        assert_eq!(visit("2026-03-10T16:00:00Z"), Some(Urgency::RingNow));
        assert_eq!(visit("2026-03-10T16:00:01Z"), Some(Urgency::Today));
        // One second before midnight in New York, and midnight.
        assert_eq!(visit("2026-03-11T03:59:59Z"), Some(Urgency::Today));
        assert_eq!(visit("2026-03-11T04:00:00Z"), Some(Urgency::Tomorrow));
        assert_eq!(judged(Decision::ComeIn, None, None), Some(Urgency::RingNow));
    }

    #[test]
    fn a_call_due_within_sixty_minutes_is_a_voice_within_the_hour() {
        let call = |when: &str| judged(Decision::CallByOffice, None, Some(when));
        assert_eq!(call("2026-03-10T16:00:00Z"), Some(Urgency::RingNow));
        assert_eq!(call("2026-03-10T16:00:01Z"), Some(Urgency::Today));
        assert_eq!(judged(Decision::CallByOffice, None, None), Some(Urgency::RingNow));
    }

    #[test]
    fn a_blank_is_lower_case_letters_in_braces() {
        assert_eq!(first_blank("Come in on {day} at {time}."), Some("{day}"));
        assert_eq!(first_blank("A smile :-} and {} and {1} are none."), None);
        assert_eq!(first_blank("{x {time}"), Some("{time}"));
    }
}
