//! A painted piece of skin from above, for the tests of this room: a disc of wound, a ring of redness, a line of ink.

use crate::photo::MmPoint;
use crate::wound::view::Light;
use crate::wound::view::View;

pub(in crate::wound) const SKIN: Light = [0.42, 0.24, 0.17];
pub(in crate::wound) const BED: Light = [0.30, 0.04, 0.03];
pub(in crate::wound) const RED: Light = [0.40, 0.17, 0.125];
pub(in crate::wound) const INK: Light = [0.10, 0.08, 0.20];

/// Skin 200 mm by 200 mm with its middle at (0, 0), 1.5 px/mm; `paint` gives the light at a place. A little grain makes it
/// a photo: colours that never vary teach nothing.
pub(in crate::wound) fn view(paint: impl Fn(MmPoint) -> Light) -> View {
    let (side, px_per_mm) = (300usize, 1.5f32);
    let mut view = View {
        width: side,
        height: side,
        px_per_mm,
        corner: MmPoint { x_mm: -100.0, y_mm: -100.0 },
        light: Vec::new(),
        skin: vec![true; side * side],
        pictured: vec![true; side * side],
    };
    let mut grain = 1u32;
    for at in 0..side * side {
        grain = grain.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let shade = 1.0 + ((grain >> 16) as f32 / 65_536.0 - 0.5) * 0.04;
        let place = view.mm_of((at % side) as f32, (at / side) as f32);
        view.light.push(paint(place).map(|light| light * shade));
    }
    view
}

/// Distance from the middle, mm.
pub(in crate::wound) fn far_mm(at: MmPoint) -> f64 {
    at.x_mm.hypot(at.y_mm)
}

/// A wound of this radius with redness reaching so far beyond its edge.
pub(in crate::wound) fn wound(radius_mm: f64, redness_mm: f64) -> View {
    view(|at| match far_mm(at) {
        far if far <= radius_mm => BED,
        far if far <= radius_mm + redness_mm => RED,
        _ => SKIN,
    })
}
