//! The operation, the patient's risk factors, and the dated steps of home care that follow from them.

mod antibiotic;
mod coded;
mod ending;
pub mod ical;
mod operation;
mod packing_out;
mod risk;
mod steps;
mod text;

pub use antibiotic::{ANTIBIOTIC_CHECK_H, antibiotic_steps};
pub use coded::UnknownCode;
pub(crate) use coded::coded;
pub use ending::{EndWhy, LOST_APART, LOST_ATTEMPTS, tried_enough};
pub use operation::{Operation, Packing, Side, Site, WoundSize, WrongOperation};
pub use packing_out::{CountSays, CountedOut, OutPart, OutPress, OutTimes, count_says};
pub use risk::{Antibiotic, Diabetes, Immunity, RiskFactors};
pub use steps::{
    PLAN_DAYS, PlanStep, STRIP_DUE_H, STRIP_NEVER_H, STRIP_OVERDUE_H, StepKind, StepShape, Strip, care_plan,
    care_plan_by, day_number, strip_may_be_due, strip_state, strip_state_by,
};
pub use text::{Both, NUMBER_LIMITS, NumberLimit, PlanNumbers, PlanText, StepText, TextFault};
