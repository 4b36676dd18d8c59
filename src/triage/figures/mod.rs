//! How well the ranking agrees with the surgeons, and how soon they answer: counts, shares with intervals, quantiles.

mod agreement;
mod period;
mod response;
mod share;

pub use agreement::{Agreement, Judged, Matrix, Origin, gravest};
pub use period::Period;
pub use response::{Answered, Response, Tally, Timed, quantile};
pub use share::{Claim, Interval, LEAST_TO_SAY, MOST_MISSED, Share, more_needed};
