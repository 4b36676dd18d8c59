//! What to do about a wound check: answers, facts, protocol, urgency, reading order.

mod amend;
mod answers;
mod assess;
#[cfg(test)]
mod cel_checks;
mod changes;
#[cfg(test)]
mod check_promises;
mod condition;
mod condition_text;
mod contradictions;
#[cfg(test)]
mod contradictions_promises;
mod could_raise;
mod decision;
mod derived;
mod dictionary;
mod disagreements;
mod due;
mod facts;
mod facts_kept;
pub mod figures;
pub mod forecast;
mod form;
#[cfg(test)]
mod form_checks;
mod form_fields;
mod free_words;
mod from_check;
mod from_photo;
mod from_special;
mod ladder;
mod limits;
mod low_sugar;
mod not_asked;
mod protocol;
#[cfg(test)]
mod protocol_checks;
mod protocol_diff;
#[cfg(test)]
mod protocol_faults;
mod protocol_file;
#[cfg(test)]
mod protocol_limits;
#[cfg(test)]
mod protocol_promises;
#[cfg(test)]
mod protocol_sources;
mod protocol_text;
mod questions;
mod queue;
mod reach;
mod readings;
mod said;
mod silence;
mod special_answers;
mod telling;
mod truth;
mod urgency;
#[cfg(test)]
mod well_answers;
mod wording;

pub use amend::ASKED_BACK;
pub use answers::{
    Amount, Answers, Bleeding, Chills, DangerItem, Drainage, Edge, EdgeBand, EdgePace, Feels, PainTrend,
    StripAnswer, TakenTemperature, TempUnit, Temperature, Trend, WarmHard, Who, YesNo,
};
pub use assess::{
    Assessment, Confidence, CouldMatter, Group, MissingGate, Raised, Reason, Recognised, Tripped, Verdict,
    assess, assess_check, verdict, verdict_of_check,
};
pub use changes::{Change, changes};
pub use condition::{Condition, ConditionFault};
pub use contradictions::{Contradiction, contradictions};
pub use could_raise::{CouldRaise, MOST_FACTS_TOGETHER, could_raise};
pub use decision::{CallOutcome, CallResult, Decided, Decision, first_blank};
pub use dictionary::{DICTIONARY, Fact, FactId, Kind, Origin, Unit, Worse, fact};
pub use disagreements::{Disagreement, Stands, disagreements};
pub use due::ResponseTargets;
pub use facts::{FactFault, Facts, Value};
pub use facts_kept::CheckFacts;
pub use form::{Fault, FaultKind, Reading, read};
pub use free_words::names_danger;
pub use from_check::Enrolled;
pub use from_photo::{FromPhoto, from_photo, photo_setting};
pub use ladder::{LadderKind, LadderTimes, Rung, RungTime, Told, ladder_of};
pub use limits::{Limit, Limits};
pub use low_sugar::{LOW_SUGAR_MG_DL, LowSugar, VERY_LOW_SUGAR_MG_DL, low_sugar};
pub use not_asked::not_asked;
pub use protocol::{Edits, Gate, Pattern, Protocol, Raise, RaisesOn, Rule};
pub use protocol_diff::Difference;
pub use protocol_file::ProtocolFault;
pub use questions::{
    AnswerKind, Context, QUESTIONS, Question, Stage, StripKnown, heading_of, is_optional, question,
    screen_questions,
};
pub use queue::{RankKey, Waiting, effective, rank, rank_key};
pub use said::{NOT_SURE, Said};
pub use silence::{
    AtRisk, SecondContact, SilenceKind, SilenceStep, Tried, Whom, next_step, read_within, risk_order,
    silence_class, silent_limit, surgeon_decides,
};
pub use special_answers::{
    BestPhone, Ketones, MeterReading, NoneBeside, PeeSign, Rash, SUGAR_STALE_AFTER_H, Sugar, SugarSick,
    SugarUnit, UrineKetones,
};
pub use truth::Truth;
pub use urgency::Urgency;
pub use wording::Wording;
