//! How far the redness reaches from photo to photo.

use crate::ids::PhotoId;
use crate::wound::Figure;
use crate::wound::Redness;
use crate::wound::course::change::Change;
use crate::wound::course::change::Clear;
use crate::wound::course::change::change_of_reach;
use crate::wound::course::change::with_reach_error;
use crate::wound::course::dated::Dated;

/// Redness older than this is another story, days (ours).
pub const COMPARED_WITHIN_DAYS: f64 = 7.0;

/// One photo's reach, 95th percentile over directions, mm beyond the wound's edge, with the whole measuring error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReachPoint {
    /// Days since the operation.
    pub day: f64,
    pub photo: PhotoId,
    pub reach_mm: Figure,
}

impl ReachPoint {
    /// What has changed from this photo to a later one, mm.
    pub fn change_to(&self, later: &ReachPoint) -> Change {
        change_of_reach(self.reach_mm, later.reach_mm)
    }
}

/// The redness over time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RednessCourse {
    pub points: Vec<ReachPoint>,
    /// Days on which something was there without a clear border.
    pub cannot_tell_days: Vec<f64>,
    /// Days on which there was no contrast to the farther skin of the picture. That is not "none".
    pub no_contrast_days: Vec<f64>,
    /// The newest reach against an earlier one of the last seven days: against the least of them where it has clearly
    /// grown from that, so that a slow spread is not lost between photos; else against the one before. `None`: nothing to
    /// compare.
    pub change: Option<Change>,
    /// Days between the two that are compared.
    pub days_between: Option<f64>,
}

impl RednessCourse {
    /// From what one family said, in order of time.
    pub(super) fn of(series: &[&Dated]) -> RednessCourse {
        let mut course = RednessCourse::default();
        for one in series {
            if let Some(reach_mm) = one.counted_reach() {
                let reach_mm = with_reach_error(&reach_mm);
                course.points.push(ReachPoint { day: one.day, photo: one.photo, reach_mm });
            }
            match one.redness {
                Redness::CannotTell => course.cannot_tell_days.push(one.day),
                Redness::NoContrast { .. } => course.no_contrast_days.push(one.day),
                Redness::Reach(_) | Redness::NotGiven { .. } => {}
            }
        }
        if let Some((days_between, change)) = newest_change(&course.points) {
            (course.days_between, course.change) = (Some(days_between), Some(change));
        }
        course
    }
}

fn newest_change(points: &[ReachPoint]) -> Option<(f64, Change)> {
    let (now, earlier) = points.split_last()?;
    let days = |then: &ReachPoint| now.day - then.day;
    let recent = || earlier.iter().filter(|then| days(then) > 0.0 && days(then) <= COMPARED_WITHIN_DAYS);
    let against = |then: &ReachPoint| (days(then), then.change_to(now));
    let of_least =
        |one: &&ReachPoint, other: &&ReachPoint| one.reach_mm.value.total_cmp(&other.reach_mm.value);
    match recent().min_by(of_least).map(against) {
        Some(grown) if grown.1.says == Clear::Bigger => Some(grown),
        Some(_) | None => recent().last().map(against),
    }
}
