//! The first look: the skin around a place laid flat, its own colour, the lines drawn on it.

use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::ScaleCard;
use crate::wound::mask::Mask;
use crate::wound::outline::Outline;
use crate::wound::outline::ring_holds;
use crate::wound::pen;
use crate::wound::segment::Colours;
use crate::wound::tint;
use crate::wound::tint::SkinTint;
use crate::wound::view::View;

/// Looked at around a place, mm.
const REACH_MM: f64 = 108.0;
/// Pixels of the flat view, per mm; halved before colours are compared.
const PX_PER_MM: f64 = 3.0;
/// The skin's own colour is taken from this far, mm.
const SKIN_FROM_MM: f32 = 25.0;
const SKIN_TO_MM: f32 = 108.0;
/// The card from the middle of its marker, mm: left, top, right, bottom.
const CARD_MM: [f64; 4] = [-18.0, -20.0, 44.0, 20.0];
/// The card with what its edge and shadow may colour, mm.
const CARD_MARGIN_MM: f64 = 1.5;

/// Where the card lies on its own plane.
#[derive(Clone, Copy)]
pub(in crate::wound) struct CardPlace {
    ring: [MmPoint; 4],
}

impl CardPlace {
    /// `printed` is the marker's edge as printed over the edge as designed: a card printed larger covers more.
    pub(in crate::wound) fn of(printed: f64) -> CardPlace {
        let [left, top, right, bottom] = CARD_MM.map(|mm| mm * printed);
        let (left, top) = (left - CARD_MARGIN_MM, top - CARD_MARGIN_MM);
        let (right, bottom) = (right + CARD_MARGIN_MM, bottom + CARD_MARGIN_MM);
        let at = |x_mm: f64, y_mm: f64| MmPoint { x_mm, y_mm };
        CardPlace { ring: [at(left, top), at(right, top), at(right, bottom), at(left, bottom)] }
    }

    pub(in crate::wound) fn covers(&self, place: MmPoint) -> bool {
        ring_holds(&self.ring, place)
    }
}

pub(in crate::wound) struct Survey {
    /// Half the first view's resolution, lines filled in.
    pub(in crate::wound) view: View,
    pub(in crate::wound) ink: Mask,
    pub(in crate::wound) colours: Colours,
    /// `None`: too little skin in view to know its colour.
    pub(in crate::wound) skin: Option<SkinTint>,
}

impl Survey {
    /// Looks around a place.
    pub(in crate::wound) fn around(
        picture: &Picture,
        card: &ScaleCard,
        covers: &CardPlace,
        place: MmPoint,
    ) -> Survey {
        let view =
            View::flat(picture, &card.plane, place, REACH_MM, PX_PER_MM, |at| covers.covers(at)).halved();
        let tints = tint::tints(&view);
        let middle = view.width as f32 / 2.0;
        let ring: Vec<tint::Tint> = (0..tints.len())
            .filter(|at| {
                let (x, y) = ((at % view.width) as f32 - middle, (at / view.width) as f32 - middle);
                let far_mm = x.hypot(y) / view.px_per_mm;
                view.skin[*at] && far_mm > SKIN_FROM_MM && far_mm < SKIN_TO_MM
            })
            .map(|at| tints[at])
            .collect();
        let skin = SkinTint::of(&ring);
        let nothing = Mask::new(view.width, view.height, vec![false; tints.len()]);
        let ink = skin.map_or(nothing, |skin| pen::pen(&view, &tints, &skin, None));
        let view = if ink.count() == 0 { view } else { pen::without(&view, &ink) };
        let colours = Colours::of(&view, skin);
        Survey { view, ink, colours, skin }
    }

    /// What lies within a distance of a place; `None` when the place is outside the view.
    pub(in crate::wound) fn near(&self, place: MmPoint, reach_mm: f32) -> Option<Near> {
        Near::of(&self.view, &self.colours, place, reach_mm)
    }

    /// As `near`, at half the resolution: for a wound too long for the first look.
    pub(in crate::wound) fn wider(&self, place: MmPoint, reach_mm: f32) -> Option<Near> {
        let view = self.view.halved();
        Near::of(&view, &Colours::of(&view, self.skin), place, reach_mm)
    }

    /// An outline as pixels of this view.
    pub(in crate::wound) fn mask_of(&self, outline: &Outline) -> Mask {
        raster(&self.view, outline)
    }
}

/// The surroundings of a tapped place.
pub(in crate::wound) struct Near {
    pub(in crate::wound) view: View,
    pub(in crate::wound) colours: Colours,
    /// The tapped place, in view pixels.
    pub(in crate::wound) tap: (usize, usize),
    pub(in crate::wound) reach_mm: f32,
}

/// Skin shown beyond the reach, mm: a rim to judge what touches it by.
const MARGIN_MM: f32 = 4.0;

impl Near {
    pub(in crate::wound) fn of(
        view: &View,
        colours: &Colours,
        place: MmPoint,
        reach_mm: f32,
    ) -> Option<Near> {
        let (x, y) = view.px_of(place);
        let inside = |at: f32, size: usize| at >= -0.5 && at < size as f32 - 0.5;
        if !(inside(x, view.width) && inside(y, view.height)) {
            return None;
        }
        let at = (x.round().max(0.0) as usize, y.round().max(0.0) as usize);
        let reach_px = ((reach_mm + MARGIN_MM) * view.px_per_mm) as usize;
        let tap = (at.0.min(reach_px), at.1.min(reach_px));
        let colours = colours.cropped(view, at, reach_px);
        let view = view.cropped(at, reach_px);
        Some(Near { view, colours, tap, reach_mm })
    }
}

/// The pixels of a view whose middles lie in an outline.
pub(in crate::wound) fn raster(view: &View, outline: &Outline) -> Mask {
    let mut cells = vec![false; view.width * view.height];
    for piece in outline.pieces() {
        let rings = std::iter::once(&piece.edge).chain(&piece.islands);
        for ring in rings {
            let places: Vec<(f32, f32)> = ring.iter().map(|place| view.px_of(*place)).collect();
            flip_inside(&mut cells, view.width, view.height, &places);
        }
    }
    Mask::new(view.width, view.height, cells)
}

/// Turns over every pixel whose middle lies inside a ring, by rows.
fn flip_inside(cells: &mut [bool], width: usize, height: usize, ring: &[(f32, f32)]) {
    let sides = || ring.iter().zip(ring.iter().cycle().skip(1));
    let low = ring.iter().map(|place| place.1).fold(f32::INFINITY, f32::min).max(0.0).ceil() as usize;
    let high = ring.iter().map(|place| place.1).fold(f32::NEG_INFINITY, f32::max).min(height as f32 - 1.0);
    for y in low..=high.max(-1.0).floor() as isize as usize {
        if y >= height {
            break;
        }
        let line = y as f32;
        let mut crossings: Vec<f32> = sides()
            .filter(|(a, b)| (a.1 > line) != (b.1 > line))
            .map(|(a, b)| a.0 + (b.0 - a.0) * (line - a.1) / (b.1 - a.1))
            .collect();
        crossings.sort_by(f32::total_cmp);
        for pair in crossings.chunks_exact(2) {
            let from = pair[0].max(0.0).ceil() as usize;
            let to = pair[1].min(width as f32 - 1.0).floor();
            if to >= 0.0 {
                for x in from..=to as usize {
                    cells[y * width + x] = !cells[y * width + x];
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wound::Piece;
    use crate::wound::scene;

    #[test]
    fn an_outline_covers_as_many_pixels_as_its_area() {
        let view = scene::view(|_| scene::SKIN);
        let ring = |points: &[[f64; 2]]| points.iter().map(|at| MmPoint::from(*at)).collect::<Vec<MmPoint>>();
        let edge = ring(&[[-30.0, -20.0], [40.0, -10.0], [10.0, 35.0]]);
        let island = ring(&[[0.0, 0.0], [8.0, 0.0], [8.0, 8.0], [0.0, 8.0]]);
        let outline = Outline::new(vec![Piece { edge, islands: vec![island] }]).unwrap();
        let covered = raster(&view, &outline).count() as f64 / 2.25;
        assert!((covered / outline.area_mm2() - 1.0).abs() < 0.02, "{covered} {}", outline.area_mm2());
    }

    #[test]
    fn what_lies_outside_the_view_covers_nothing() {
        let view = scene::view(|_| scene::SKIN);
        let far = Outline::of_ring([[300.0, 0.0], [310.0, 0.0], [310.0, 10.0]].map(MmPoint::from).to_vec())
            .unwrap();
        assert_eq!(raster(&view, &far).count(), 0);
        let across = Outline::of_ring(
            [[-200.0, -200.0], [200.0, -200.0], [200.0, 200.0], [-200.0, 200.0]].map(MmPoint::from).to_vec(),
        );
        assert_eq!(raster(&view, &across.unwrap()).count(), 300 * 300);
    }

    #[test]
    fn the_card_covers_its_own_place_with_a_margin() {
        let card = CardPlace::of(1.0);
        let covers = |x_mm: f64, y_mm: f64| card.covers(MmPoint { x_mm, y_mm });
        assert!(covers(0.0, 0.0) && covers(45.0, 0.0) && covers(-19.0, 20.5));
        assert!(!covers(46.0, 0.0) && !covers(-20.0, 0.0) && !covers(0.0, 22.0));
        assert!(CardPlace::of(1.2).covers(MmPoint { x_mm: 53.0, y_mm: 0.0 }));
    }
}
