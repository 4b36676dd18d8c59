//! Is there enough cover? How long checks of each class wait for a reviewer: by formula where one holds, and by playing
//! the practice's weeks with the queue's own order.

mod answer;
mod arrivals;
mod by_class;
mod cobham;
mod draw;
mod duty;
mod erlang;
mod lengths;
mod outcome;
#[cfg(test)]
mod outside_numbers;
mod question;
mod simulation;
#[cfg(test)]
mod simulation_promises;
mod student;

pub use answer::{Answer, Scenario, answer};
pub use arrivals::{ArrivalRates, FEWEST_RECORDED, FEWEST_WEEKS, HOURS_OF_WEEK, RecordedArrivals};
pub use by_class::ByClass;
pub use cobham::{FormulaWaits, formula_waits};
pub use duty::DutyWeek;
pub use erlang::waiting_share;
pub use lengths::{LOG_NORMAL_CV, ReviewLengths, Spread};
pub use outcome::{ClassDifference, ClassFigures, Figures};
pub use question::{Question, Unanswerable, Unmet};
pub use student::{Estimate, T_TABLE, t_95};
