//! What a picture says about the wound: outline, area, redness, tissue, measurement, healing course.

mod compare;
pub mod course;
mod measure;
mod measurement;
mod outline;

pub use compare::Differences;
pub use compare::SideBySide;
pub use compare::Warp;
pub use compare::differences;
pub use compare::side_by_side;
pub use measure::Asked;
pub use measure::HandDrawn;
pub use measure::measure;
pub use measure::measure_by_hand;
pub use measurement::Because;
pub use measurement::Bed;
pub use measurement::Family;
pub use measurement::Figure;
pub use measurement::METHOD;
pub use measurement::Measurement;
pub use measurement::PenLine;
pub use measurement::Probed;
pub use measurement::Redness;
pub use measurement::RednessReach;
pub use measurement::Size;
pub use measurement::Standing;
pub use outline::Extent;
pub use outline::FARTHEST_MM;
pub use outline::MOST_POINTS;
pub use outline::NoOutline;
pub use outline::Outline;
pub use outline::Piece;
