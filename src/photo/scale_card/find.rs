//! Which squares of a picture are markers, and whose.

use std::ops::RangeInclusive;

use crate::photo::Picture;
use crate::photo::scale_card::cells;
use crate::photo::scale_card::cells::Reading;
use crate::photo::scale_card::dark::HalfGrey;
use crate::photo::scale_card::dark::dark_patches;
use crate::photo::scale_card::family;
use crate::photo::scale_card::light::Light;
use crate::photo::scale_card::light::Meter;
use crate::photo::scale_card::perspective::through_corners;
use crate::photo::scale_card::quad;
use crate::photo::scale_card::quad::Quad;

/// Smallest side of a patch that is looked at, half-size px.
const SMALLEST_SIDE: u32 = 9;

/// A square with cells inside.
pub(super) struct Sighting {
    /// As printed: top left, top right, bottom right, bottom left; px.
    pub corners: Quad,
    pub id: u32,
    pub what: What,
}

/// How sure it is which marker a square is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
    /// Read.
    Marker,
    /// Read as its mirror image.
    MirrorImage,
    /// One of the practice's own as far as it is to be seen; something hides the rest.
    PartOfOwn,
}

/// Looks for markers, first with a narrow and then, when nothing is read, with a wide look around each pixel.
pub(super) fn markers(picture: &Picture, own: &RangeInclusive<u32>) -> Vec<Sighting> {
    let grey = HalfGrey::of(picture);
    let meter = Meter::new(picture, Light::Encoded);
    let mut seen: Vec<Sighting> = Vec::new();
    for reach in [10, 30] {
        for patch in dark_patches(&grey, reach, SMALLEST_SIDE) {
            let Some(corners) = square_around(patch.outline, patch.pixels) else { continue };
            let Some(sighting) = read(&meter, corners, own) else { continue };
            if !seen.iter().any(|other| same_place(&other.corners, &sighting.corners)) {
                seen.push(sighting);
            }
        }
        if seen.iter().any(|sighting| sighting.what == What::Marker) {
            break;
        }
    }
    seen
}

/// The four corners of a dark patch that could be a marker in some perspective, px of the picture, clockwise.
fn square_around(outline: Vec<[f64; 2]>, pixels: usize) -> Option<Quad> {
    let hull = quad::hull(outline);
    let within = quad::area(&hull);
    let corners = quad::four_sides(hull)?;
    let around = quad::area(&corners);
    let sides = quad::sides(&corners);
    let shortest = sides.into_iter().fold(f64::INFINITY, f64::min);
    let longest = sides.into_iter().fold(0.0, f64::max);
    let plausible = around < 1.4 * within
        && shortest >= f64::from(SMALLEST_SIDE)
        && longest < 5.0 * shortest
        && pixels as f64 > 0.15 * within;
    // Half size to full size.
    plausible.then(|| corners.map(|point| point.map(|part| part * 2.0)))
}

fn read(meter: &Meter<'_>, corners: Quad, own: &RangeInclusive<u32>) -> Option<Sighting> {
    let plane = through_corners(&corners)?;
    [0.0, 0.25].into_iter().find_map(|sharpened| {
        let reading = cells::read(meter, &plane, sharpened)?;
        named(&reading, corners, own)
    })
}

fn named(reading: &Reading, corners: Quad, own: &RangeInclusive<u32>) -> Option<Sighting> {
    let framed = reading.border_dark >= 0.85 && reading.margin_light >= 0.7;
    let upright = |turns: usize| std::array::from_fn(|at| corners[(at + turns) % 4]);
    let found = family::nearest(reading.data);
    let allowed = if own.contains(&found.id) { 3 } else { 1 };
    if framed && found.wrong_cells <= allowed {
        return Some(Sighting { corners: upright(found.turns), id: found.id, what: What::Marker });
    }
    let mirrored = family::nearest(family::mirrored(reading.data));
    if framed && mirrored.wrong_cells <= 1 {
        return Some(Sighting { corners, id: mirrored.id, what: What::MirrorImage });
    }
    let partly = reading.border_dark >= 0.6 && reading.margin_light >= 0.5 && reading.contrast > 0.1;
    if partly && own.contains(&found.id) && found.wrong_cells <= 7 {
        return Some(Sighting { corners: upright(found.turns), id: found.id, what: What::PartOfOwn });
    }
    None
}

fn same_place(a: &Quad, b: &Quad) -> bool {
    let middle = |quad: &Quad| [0, 1].map(|at| quad.iter().map(|corner| corner[at]).sum::<f64>() / 4.0);
    let ([ax, ay], [bx, by]) = (middle(a), middle(b));
    (ax - bx).hypot(ay - by) < quad::area(a).abs().sqrt() / 4.0
}
