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
const SKIN_FROM_MM: f32 = 15.0;
const SKIN_TO_MM: f32 = 75.0;
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

    /// The view pixel a place lies in; `None` outside the view.
    pub(in crate::wound) fn pixel(&self, place: MmPoint) -> Option<(usize, usize)> {
        let (x, y) = self.view.px_of(place);
        let inside =
            x >= -0.5 && y >= -0.5 && x < self.view.width as f32 - 0.5 && y < self.view.height as f32 - 0.5;
        inside.then(|| (x.round().max(0.0) as usize, y.round().max(0.0) as usize))
    }

    /// An outline as pixels of this view.
    pub(in crate::wound) fn mask_of(&self, outline: &Outline) -> Mask {
        raster(&self.view, outline)
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
