//! What the practice does, one file per step of a wound check's way. Each step owns its transaction: a change, its
//! audit line and the notices that follow commit together.

pub mod addresses;
mod alarm_letters;
pub mod alarms;
pub mod antibiotic;
mod asking;
mod assessing;
pub mod attend;
pub mod backup;
pub mod books;
pub mod calendar;
mod call_attempt;
pub mod callback;
pub mod canary;
pub mod check_draft;
pub mod clock;
pub mod come_in;
pub mod correction;
pub mod decoder;
mod desk;
pub mod downtime_list;
pub mod drill;
pub mod duty;
mod duty_told;
pub mod enrol;
pub mod envelope;
pub mod explain;
pub mod export;
pub mod figures;
pub mod flood;
pub mod forecast;
pub mod gates;
pub mod hand_off;
pub mod hand_over;
mod hashing;
pub mod intake;
pub mod job_list;
pub mod keeping;
pub mod knock;
pub mod ladder;
pub mod ladder_times;
pub mod late_knock;
pub mod measuring;
pub mod outbox;
mod password;
pub mod patients;
pub mod phone_push;
pub mod phones;
pub mod pins;
pub mod plan;
pub mod plan_text;
pub mod progress;
pub mod protocol_draft;
pub mod protocols;
pub mod pulse;
pub mod queue;
pub mod ready;
pub mod record;
pub mod record_head;
pub mod replies;
pub mod review;
pub mod room;
pub mod rule_counts;
pub mod scrub;
pub mod sealing_keys;
pub mod second_step;
mod secrets;
pub mod sent_before;
pub mod sign_in;
pub mod silence;
pub mod staff;
pub mod strip_out;
pub mod sweep;
pub mod text_scrub;
pub mod text_sealing;
pub mod thread;
pub mod trial;
pub mod turned_away;
pub mod vitals;
pub mod watch;
pub mod working;

pub use desk::{Desk, News};
pub use knock::LinkHolder;
pub use secrets::{Secret, grouped, reference, sha256_hex};

use jiff::SignedDuration;
use jiff::Timestamp;

use crate::store::StoreError;
use crate::store::staff::StaffMember;

/// Why a step could not be done. `web::error` turns each into words.
#[derive(Debug, thiserror::Error)]
pub enum CareError {
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Not there, or another practice's: the two look alike on purpose.
    #[error("not found")]
    NotFound,
    /// The person's role does not do this.
    #[error("not allowed for this role")]
    NotAllowed,
    /// The link was revoked or ran out, perhaps while something was on its way.
    #[error("the link was closed")]
    LinkClosed,
    /// Somebody else is looking at the check until then.
    #[error("claimed by another surgeon")]
    Claimed { by: String, until: Timestamp },
    /// The check was decided, or the callback ended, by somebody else meanwhile.
    #[error("already done")]
    AlreadyDone,
    /// What was entered cannot stand; the words say what to do, per field.
    #[error("entered wrongly")]
    Entered(Vec<Fault>),
    /// The disk has no room for a photo; answers are taken all the same.
    #[error("no room for photos")]
    NoRoom,
    /// Too often from one network, or too many at once: nothing was looked at, and after so long there is room again.
    #[error("too many")]
    TooMany { again: SignedDuration },
    /// More pictures wait than can be read soon: this one was not kept, and after so long there is room again.
    #[error("busy")]
    Busy { again: SignedDuration },
    /// The machine could not hash or decode just now.
    #[error("work could not be done: {0}")]
    Work(String),
}

/// One thing to put right in a form.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    pub field: &'static str,
    /// In the language of the person who typed, saying what to do.
    pub words: String,
}

impl Fault {
    pub fn new(field: &'static str, words: impl Into<String>) -> Fault {
        Fault { field, words: words.into() }
    }
}

pub type Done<T> = Result<T, CareError>;

/// Refuses whoever does not judge the ranking: the office.
fn must_judge_ranking(member: &StaffMember) -> Done<()> {
    if member.roles.judge_ranking() { Ok(()) } else { Err(CareError::NotAllowed) }
}
