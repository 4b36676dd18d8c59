//! Staff words for rungs, alarms, messages and jobs; and addresses as a colleague may see them.

use crate::store::addresses::Reached;
use crate::store::alarms::AlarmKind;
use crate::store::jobs::JobKind;
use crate::store::notices::NoticeKind;
use crate::triage::LadderKind;
use crate::triage::Told;

/// Whom a rung tells.
pub fn told(told: Told) -> &'static str {
    match told {
        Told::OnDuty => "whoever is on duty",
        Told::OnDutyEverywhere => "on duty again, everywhere",
        Told::Second => "the second person",
        Told::SurgeonByVoice => "the surgeon, by phone",
        Told::Everyone => "everyone",
        Told::Patient => "the patient: call, do not wait",
    }
}

pub fn ladder(kind: LadderKind) -> &'static str {
    match kind {
        LadderKind::GoNow => "Emergency",
        LadderKind::RingNow => "Within the hour",
        LadderKind::Overdue => "Past its due time",
    }
}

/// What is wrong.
pub fn alarm(kind: AlarmKind) -> &'static str {
    match kind {
        AlarmKind::Unopened => "Nobody has opened it for 5 minutes",
        AlarmKind::Overdue => "Past its due time",
        AlarmKind::NobodyToTell => "Nobody was there to be told",
        AlarmKind::SurgeonAsked => "A surgeon was asked, and has not answered",
        AlarmKind::LetterFailed => "A message could not be sent",
        AlarmKind::JobFailed => "A job of the program failed again and again",
        AlarmKind::NoPageOpen => "Nobody has a page open in practice hours",
        AlarmKind::NobodySignedIn => "Nobody signed in today",
        AlarmKind::ClockSetBack => "The server’s clock was set back",
        AlarmKind::QueueOld => "A check has waited longer than the practice wants any to wait",
        AlarmKind::DrillMissing => "No drill was answered for more than a week",
        AlarmKind::PhotoDamaged => "A photo cannot be read as it was kept",
        AlarmKind::TextUnreadable => "Something that was typed cannot be read any more",
        AlarmKind::PasswordGuessed => "Somebody tries one password after another",
        AlarmKind::LinksGuessed => "Somebody tries one patient link after another",
        AlarmKind::LinkFloods => "One patient link sends far more photos than a wound needs",
        AlarmKind::EnvelopeOpened => "Somebody opened the sealed envelope and looks at what waits",
        AlarmKind::EnvelopeGuessed => "Somebody types one wrong sealed code after another",
        AlarmKind::DiskFilling => "The server’s disk is nearly full",
        AlarmKind::ListNotWritten => "The downtime list could not be written",
        AlarmKind::BooksDamaged => "The books did not pass their check",
        AlarmKind::BackupOld => "No back-up was made for more than a day",
        AlarmKind::RestoreUnproved => "No back-up was restored to try it for more than a month",
        AlarmKind::ExportAsked => "A lead asked to take out everything of the practice",
        AlarmKind::ExportTaken => "Everything of the practice was taken out",
    }
}

/// What to do about it.
pub fn advice(kind: AlarmKind) -> &'static str {
    match kind {
        AlarmKind::Unopened | AlarmKind::Overdue => "",
        AlarmKind::NobodyToTell => "Enter who is on duty.",
        AlarmKind::SurgeonAsked => "A surgeon opens it and says what is to be done.",
        AlarmKind::LetterFailed => "Tell them another way.",
        AlarmKind::JobFailed => "A lead can try it again.",
        AlarmKind::NoPageOpen => "Keep the queue open on one screen.",
        AlarmKind::NobodySignedIn | AlarmKind::QueueOld => "Somebody signs in, and looks at the queue.",
        AlarmKind::DrillMissing => "A lead starts one.",
        AlarmKind::DiskFilling => {
            "Ask whoever looks after the server to make room today. When less is left, photos are refused; answers still come in."
        }
        AlarmKind::ListNotWritten => {
            "Ask whoever looks after the server today: the list you would print without it is old by now."
        }
        AlarmKind::BooksDamaged => {
            "Ask whoever looks after the server at once: what is shown may be wrong. Until the back-up is back, ring those who wait."
        }
        AlarmKind::PhotoDamaged => {
            "Ask whoever looks after the server to bring its file back from a back-up. The record names it."
        }
        AlarmKind::TextUnreadable => {
            "Its page says so. Ask whoever looks after the server whether a key is missing, or to bring it back from a back-up. The \
             record names where it stands. If it may be urgent, ring the patient."
        }
        AlarmKind::PasswordGuessed => {
            "Ask the colleague whether it was them. The record names whom it is about; browsers they use stay open."
        }
        AlarmKind::LinksGuessed => {
            "No link was found this way: they are too long to guess. Tell whoever looks after the server; patients can send as always."
        }
        AlarmKind::EnvelopeOpened => {
            "If you do not know who it is, ring a lead: each of them can end it at once. It stays here until a lead has noted what \
             happened."
        }
        AlarmKind::EnvelopeGuessed => {
            "None was right: such a code is too long to guess. See whether the envelope is where it belongs, and closed."
        }
        AlarmKind::LinkFloods => {
            "More photos of this link are not taken for a day; answers are. Ring the patient: if it is not them, the office closes \
             the link and issues another."
        }
        AlarmKind::BackupOld => "Ask whoever looks after the server why no back-up is made, and to make one.",
        AlarmKind::RestoreUnproved => {
            "Ask whoever looks after the server to restore one on another machine, and to tell the server the code it shows."
        }
        AlarmKind::ExportAsked => {
            "It needs a second person, within a day: another lead or a surgeon, under Practice → Export. Know of no reason? Ask the lead, \
             and take it back there."
        }
        AlarmKind::ExportTaken => {
            "Two people agreed to it; the record names them. Know of no reason? Tell a lead and whoever looks after the server at once."
        }
        AlarmKind::ClockSetBack => {
            "What waits was moved nearer by as much. Ask whoever looks after the server to set its clock right."
        }
    }
}

/// What a message tells.
pub fn notice(kind: NoticeKind) -> &'static str {
    match kind {
        NoticeKind::AnswerReady => "An answer is there",
        NoticeKind::UrgentCheck => "Something urgent waits",
        NoticeKind::UrgentCheckAgain => "Something urgent still waits",
        NoticeKind::UrgentCheckByVoice => "Something urgent still waits, by voice",
        NoticeKind::NotReached => "Nobody was reached: call",
        NoticeKind::Alarm => "Something is wrong",
        NoticeKind::CallToMake => "A call is to be made",
        NoticeKind::WrongPins => "Somebody types wrong PINs",
        NoticeKind::LateKnock => "Somebody knocked with a closed link",
        NoticeKind::StepDue => "A step is due today",
        NoticeKind::NotHeard => "We have not heard from you",
        NoticeKind::ReplyUnread => "An answer was not read",
        NoticeKind::ComeInUnanswered => "Please answer us",
        NoticeKind::CallMissed => "We tried to call you",
        NoticeKind::TestLetter => "A test",
        NoticeKind::LadderTimes => "The ladder’s times were changed",
        NoticeKind::DutyChanged => "Somebody’s duty was changed",
        NoticeKind::ThingsWillGo => "In a week what is old begins to go",
    }
}

pub fn job(kind: JobKind) -> &'static str {
    match kind {
        JobKind::ClimbLadder => "Tell the next person",
        JobKind::AddressNotice => "Find out whom to write to",
        JobKind::SendLetter => "Send a message",
        JobKind::Watch => "Look at everything that waits",
        JobKind::Sweep => "Clear away photo files that belong to nothing",
        JobKind::CheckBooks => "Check that the books are whole",
        JobKind::Canary => "See that a check goes the whole way",
        JobKind::Purge => "Clear away what has been kept long enough",
    }
}

/// By what somebody is reached.
pub fn channel(channel: Reached) -> &'static str {
    match channel {
        Reached::Sms => "Text",
        Reached::Voice => "Phone call",
        Reached::Email => "E-mail",
        Reached::Push => "A browser",
    }
}

/// An address as others than its owner see it.
pub fn masked(channel: Reached, address: &str) -> String {
    match channel {
        Reached::Sms | Reached::Voice => {
            let digits: Vec<char> = address.chars().filter(char::is_ascii_digit).collect();
            let last: String = digits.iter().skip(digits.len().saturating_sub(2)).collect();
            format!("number ending in {last}")
        }
        Reached::Email => match address.split_once('@') {
            Some((name, host)) => {
                let first: String = name.chars().take(1).collect();
                format!("{first}…@{host}")
            }
            None => "a mail address".to_owned(),
        },
        Reached::Push => "a browser".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_of_somebody_else_is_told_apart_and_not_shown() {
        assert_eq!(masked(Reached::Sms, "+1 202-555-0143"), "number ending in 43");
        assert_eq!(masked(Reached::Voice, "7"), "number ending in 7");
        assert_eq!(masked(Reached::Email, "rosa@harbor.example"), "r…@harbor.example");
        assert_eq!(masked(Reached::Email, "odd"), "a mail address");
        assert_eq!(masked(Reached::Push, "{\"endpoint\":\"https://push.example/secret\"}"), "a browser");
    }
}
