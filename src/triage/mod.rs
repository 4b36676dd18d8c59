//! What to do about a wound check: answers, facts, protocol, urgency, reading order.

mod answers;
mod assess;
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
pub use said::{NOT_SURE, Said};
pub use urgency::Urgency;
