//! Whether the wound fills from below: a photo cannot see it, so only depths somebody typed in count.

use crate::wound::course::dated::Dated;

/// Drained wounds fill from the bottom first: up to this day the area may stand still while the depth falls (practice's
/// notes: one to two weeks; common practice).
pub const DEPTH_FIRST_DAYS: f64 = 14.0;
/// A depth is read to the millimetre by hand: less than this is no clear change, mm (ours).
const DEPTH_ERROR_MM: f64 = 2.0;
/// No wound is deeper, mm.
const DEEPEST_MM: f64 = 500.0;

/// A depth that falls.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DepthFalls {
    /// Days since the operation.
    pub from_day: f64,
    pub from_mm: f64,
    pub to_day: f64,
    pub to_mm: f64,
}

impl DepthFalls {
    /// From the first depth typed in to the last; `None` unless it has clearly fallen. Whoever drew the outline: a depth is
    /// a depth.
    pub(super) fn in_any(dated: &[Dated]) -> Option<DepthFalls> {
        let depth = |one: &Dated| one.probed.depth_mm.filter(|mm| (0.0..=DEEPEST_MM).contains(mm));
        let with_depth = dated.iter().filter(|one| one.has_day());
        let mut depths: Vec<(f64, f64)> =
            with_depth.filter_map(|one| depth(one).map(|mm| (one.day, mm))).collect();
        depths.sort_by(|one, other| one.0.total_cmp(&other.0).then(one.1.total_cmp(&other.1)));
        let ((from_day, from_mm), (to_day, to_mm)) = (*depths.first()?, *depths.last()?);
        (to_day > from_day && from_mm - to_mm > DEPTH_ERROR_MM).then_some(DepthFalls {
            from_day,
            from_mm,
            to_day,
            to_mm,
        })
    }
}
