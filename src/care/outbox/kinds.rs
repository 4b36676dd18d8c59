//! What each kind of notice says, where it leads, and at how many places it is left.

use crate::store::notices::Notice;
use crate::store::notices::NoticeKind;
use crate::store::notices::Recipient;
use crate::words::notices::NoticeWords;

/// At how many of somebody's places a notice is left.
pub enum Places {
    First,
    All,
}

pub fn how_many(kind: NoticeKind) -> Places {
    match kind {
        NoticeKind::UrgentCheckAgain | NoticeKind::NotReached => Places::All,
        NoticeKind::AnswerReady
        | NoticeKind::UrgentCheck
        | NoticeKind::UrgentCheckByVoice
        | NoticeKind::Alarm
        | NoticeKind::CallToMake
        | NoticeKind::StepDue
        | NoticeKind::NotHeard
        | NoticeKind::ReplyUnread
        | NoticeKind::ComeInUnanswered
        | NoticeKind::CallMissed
        | NoticeKind::TestLetter
        | NoticeKind::LadderTimes
        | NoticeKind::DutyChanged
        | NoticeKind::ThingsWillGo
        | NoticeKind::LateKnock
        | NoticeKind::WrongPins => Places::First,
    }
}

pub fn words(kind: NoticeKind) -> NoticeWords {
    match kind {
        NoticeKind::AnswerReady => NoticeWords::AnswerReady,
        NoticeKind::UrgentCheck => NoticeWords::DutyPage,
        NoticeKind::UrgentCheckAgain | NoticeKind::UrgentCheckByVoice => NoticeWords::DutyPageAgain,
        NoticeKind::NotReached => NoticeWords::NotReached,
        NoticeKind::Alarm => NoticeWords::Alarm,
        NoticeKind::CallToMake => NoticeWords::CallToMake,
        NoticeKind::WrongPins => NoticeWords::WrongPins,
        NoticeKind::LateKnock => NoticeWords::LateKnock,
        NoticeKind::StepDue => NoticeWords::CheckDue,
        NoticeKind::NotHeard => NoticeWords::CheckMissed,
        NoticeKind::ReplyUnread => NoticeWords::ReadReply,
        NoticeKind::ComeInUnanswered => NoticeWords::ComeInUnanswered,
        NoticeKind::CallMissed => NoticeWords::CallMissed,
        NoticeKind::TestLetter => NoticeWords::TestLetter,
        NoticeKind::LadderTimes => NoticeWords::LadderTimes,
        NoticeKind::DutyChanged => NoticeWords::DutyChanged,
        NoticeKind::ThingsWillGo => NoticeWords::ThingsWillGo,
    }
}

/// Where the letter's link leads; no id, no name.
pub fn page_of(notice: &Notice) -> &'static str {
    match (notice.recipient, notice.kind) {
        (Recipient::Link(_), _) => "/my",
        (Recipient::Staff(_) | Recipient::Office, NoticeKind::TestLetter) => "/me",
        (Recipient::Staff(_) | Recipient::Office, NoticeKind::LadderTimes) => "/practice/ladder",
        (Recipient::Staff(_) | Recipient::Office, NoticeKind::DutyChanged) => "/practice/duty",
        (Recipient::Staff(_) | Recipient::Office, NoticeKind::ThingsWillGo) => "/practice/keeping",
        // Every member of staff may look there, and from there a surgeon opens the check.
        (
            Recipient::Staff(_) | Recipient::Office,
            NoticeKind::UrgentCheck
            | NoticeKind::UrgentCheckAgain
            | NoticeKind::UrgentCheckByVoice
            | NoticeKind::NotReached
            | NoticeKind::Alarm,
        ) => "/alarms",
        (
            Recipient::Staff(_) | Recipient::Office,
            NoticeKind::AnswerReady
            | NoticeKind::StepDue
            | NoticeKind::NotHeard
            | NoticeKind::ReplyUnread
            | NoticeKind::ComeInUnanswered
            | NoticeKind::CallMissed
            | NoticeKind::WrongPins,
        ) => "/patients",
        (Recipient::Staff(_) | Recipient::Office, NoticeKind::CallToMake | NoticeKind::LateKnock) => {
            "/callbacks"
        }
    }
}
