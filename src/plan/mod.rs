//! The operation, the patient's risk factors, and the dated steps of home care that follow from them.

mod coded;
mod operation;
mod risk;
mod steps;

pub use coded::UnknownCode;
pub(crate) use coded::coded;
pub use operation::{Operation, Packing, Side, Site, WoundSize, WrongOperation};
pub use risk::{Antibiotic, Diabetes, Immunity, RiskFactors};
pub use steps::{
    PLAN_DAYS, PlanStep, STRIP_DUE_H, STRIP_OVERDUE_H, StepKind, Strip, care_plan, day_number, strip_state,
};
