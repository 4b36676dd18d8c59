//! Directions from the wound as a clock on the photo: 12 is its top, 3 its right.

use std::f64::consts::TAU;

use crate::photo::MmPoint;
use crate::photo::PxPoint;
use crate::photo::SkinPlane;

/// How the photo's clock lies on the skin plane around a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::wound) struct Clock {
    /// Of the photo's top, in turns from the plane's x towards its y.
    twelve: f64,
}

/// Far enough in the photo to see a direction, px.
const HAND_PX: f64 = 10.0;

impl Clock {
    pub(in crate::wound) fn around(plane: &SkinPlane, middle: MmPoint) -> Clock {
        let at = plane.to_px(middle);
        let top = plane.to_mm(PxPoint { y_px: at.y_px - HAND_PX, ..at });
        let turn = (top.y_mm - middle.y_mm).atan2(top.x_mm - middle.x_mm) / TAU;
        Clock { twelve: if turn.is_finite() { turn } else { -0.25 } }
    }

    /// The hour of a direction on the skin plane, 0 (for 12) to 11.
    pub(in crate::wound) fn hour(&self, right_mm: f64, down_mm: f64) -> usize {
        let turn = down_mm.atan2(right_mm) / TAU - self.twelve;
        (turn * 12.0).round().rem_euclid(12.0) as usize % 12
    }

    /// The direction of an hour on the skin plane, in turns from its x towards its y.
    pub(in crate::wound) fn turn(&self, hour: usize) -> f64 {
        self.twelve + hour as f64 / 12.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MIDDLE: MmPoint = MmPoint { x_mm: 0.0, y_mm: 0.0 };

    /// A photo whose card lies turned by this much to the right.
    fn clock(degrees: f64) -> Clock {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let plane = [[5.0 * cos, -5.0 * sin, 800.0], [5.0 * sin, 5.0 * cos, 600.0], [0.0, 0.0, 1.0]];
        Clock::around(&SkinPlane::from_mm_to_px(plane).unwrap(), MIDDLE)
    }

    #[test]
    fn twelve_is_the_photos_top_however_the_card_lies() {
        let straight = clock(0.0);
        assert_eq!([straight.hour(0.0, -1.0), straight.hour(1.0, 0.0), straight.hour(0.0, 1.0)], [0, 3, 6]);
        // The card's own right points down in the photo.
        let turned = clock(90.0);
        assert_eq!([turned.hour(1.0, 0.0), turned.hour(0.0, -1.0), turned.hour(-1.0, 0.0)], [6, 3, 0]);
    }

    #[test]
    fn an_hour_and_its_direction_belong_together() {
        for degrees in [0.0, 37.0, 181.0, 299.0] {
            let clock = clock(degrees);
            for hour in 0..12 {
                let (sin, cos) = (clock.turn(hour) * TAU).sin_cos();
                assert_eq!(clock.hour(cos, sin), hour);
            }
        }
    }
}
