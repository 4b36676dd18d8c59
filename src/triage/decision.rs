//! What a surgeon can decide about a wound check, and what a call can come to.

use crate::plan::coded;

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

    #[test]
    fn a_blank_is_lower_case_letters_in_braces() {
        assert_eq!(first_blank("Come in on {day} at {time}."), Some("{day}"));
        assert_eq!(first_blank("A smile :-} and {} and {1} are none."), None);
        assert_eq!(first_blank("{x {time}"), Some("{time}"));
    }
}
