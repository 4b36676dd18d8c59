//! What to do about a wound check: answers, facts, protocol, urgency, reading order.

mod amend;
mod answers;
mod assess;
mod decision;
mod said;
mod urgency;

pub use answers::SUGAR_STALE_AFTER_H;
pub use answers::{
    Amount, Answers, Bleeding, Chills, DangerItem, Drainage, Edge, EdgeBand, EdgePace, Feels, Ketones,
    MeterReading, PainTrend, StripAnswer, Sugar, SugarSick, SugarUnit, TakenTemperature, TempUnit,
    Temperature, Trend, UrineKetones, WarmHard, Who, YesNo,
};
pub use assess::{
    Assessment, Confidence, CouldMatter, Group, MissingGate, Raised, Reason, Recognised, Tripped,
};
pub use decision::{CallOutcome, CallResult, Decision, first_blank};
pub use said::{NOT_SURE, Said};
pub use urgency::Urgency;

// STANDIN
pub struct Protocol;
impl Protocol {
    pub fn built_in() -> Protocol {
        Protocol
    }
}
impl std::fmt::Debug for Protocol {
    fn fmt(&self, _: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        Ok(())
    }
}
pub struct Facts;
pub struct CheckContext<'a> {
    pub answers: &'a Answers,
    pub operation: &'a crate::plan::Operation,
    pub risk: &'a crate::plan::RiskFactors,
    pub age_years: i16,
    pub received: jiff::Timestamp,
    pub zone: &'a jiff::tz::TimeZone,
    pub photo_usable: Option<bool>,
}
impl Facts {
    pub fn from_check(_: &CheckContext<'_>) -> Facts {
        Facts
    }
}
pub fn assess(_: &Protocol, _: &Facts) -> Assessment {
    Assessment {
        urgency: Urgency::Today,
        score: 40,
        reasons: vec![],
        raises: vec![],
        gates: vec![],
        unknowns: vec![],
        patterns: vec![],
        protocol_version: "1".into(),
    }
}
pub fn due(_: Urgency, received: jiff::Timestamp, _: &jiff::tz::TimeZone) -> jiff::Timestamp {
    received + jiff::SignedDuration::from_hours(4)
}
