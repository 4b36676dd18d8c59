//! Who answers when: the practice's hours with their holidays, and the roster of who is on duty.
//!
//! Pure: weekdays, minutes and dates in the practice's own clock turn into instants here and nowhere else.

mod cover;
mod hours;
mod local;
mod roster;
#[cfg(test)]
mod roster_checks;
#[cfg(test)]
mod roster_promises;
mod swap;
mod timeline;

pub use cover::Watch;
pub use hours::DayHours;
pub use hours::Hours;
pub use local::DAY_MINUTES;
pub use local::instant;
pub use roster::Absence;
pub use roster::DatedShift;
pub use roster::DutySpan;
pub use roster::Gap;
pub use roster::HORIZON;
pub use roster::OnDuty;
pub use roster::Rank;
pub use roster::Roster;
pub use roster::WeeklyShift;
pub use swap::NoSwap;
