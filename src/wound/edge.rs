//! A second, closer look at the edge: the border cut again at the picture's own resolution, in a narrow band.

use crate::photo::MmPoint;
use crate::photo::Picture;
use crate::photo::ScaleCard;
use crate::photo::SkinPlane;
use crate::wound::Outline;
use crate::wound::Piece;
use crate::wound::blur::blurred;
use crate::wound::blur::softened;
use crate::wound::contour;
use crate::wound::contour::Place;
use crate::wound::mask::Mask;
use crate::wound::pen;
use crate::wound::segment;
use crate::wound::segment::Colours;
use crate::wound::segment::Prior;
use crate::wound::snap;
use crate::wound::snap::WoundLies;
use crate::wound::survey::CardPlace;
use crate::wound::survey::Near;
use crate::wound::survey::Survey;
use crate::wound::survey::raster;
use crate::wound::tint::SkinTint;
use crate::wound::tint::tints;
use crate::wound::view::View;

/// Skin taken in around the wound, mm.
const AROUND_MM: f64 = 8.0;
/// More than this beyond the first edge is skin for sure, mm.
const SURE_SKIN_MM: f32 = 3.0;
/// More than this inside the first edge is wound for sure, mm.
const SURE_WOUND_MM: f32 = 2.0;
/// Colours of both sides are learnt from places at least this far from the first edge, mm.
const CLEAR_MM: f32 = 0.6;
/// Most view pixels looked at.
const MOST_PX: f64 = 260_000.0;
/// View pixels for one picture pixel.
const FINER: f64 = 1.2;
/// Blur of the light before colours are compared, mm: sensor noise and grain.
const SOFT_MM: f32 = 0.25;
/// Blur of the cut's staircase before its half-way line is taken, mm.
const SMOOTH_MM: f32 = 0.3;
/// A line around less than this is a speck, mm².
const SPECK_BELOW_MM2: f32 = 2.0;
/// Another part of the wound is at least this large, mm².
const PIECE_FROM_MM2: f32 = 8.0;
/// The kept line stays this close to the one found, mm.
const THINNED_MM: f32 = 0.03;

/// A wound edge at the picture's own resolution.
pub(in crate::wound) struct Edge {
    pub(in crate::wound) view: View,
    pub(in crate::wound) mask: Mask,
    pub(in crate::wound) outline: Outline,
}

/// Looks again at an edge found in a coarser view. `None`: nothing of it is left.
pub(in crate::wound) fn closer(
    picture: &Picture,
    card: &ScaleCard,
    near: &Near,
    skin: Option<SkinTint>,
    found: &Mask,
    covers: &CardPlace,
) -> Option<Edge> {
    let (middle, reach_mm) = span(&near.view, found)?;
    let view = close_view(picture, &card.plane, middle, reach_mm, covers);
    let beyond = beyond_mm(&view, &near.view, found);
    let view = without_lines(view, skin, &beyond);
    let soft = softened(&view, SOFT_MM * view.px_per_mm);
    let colours = Colours::of(&soft, skin);
    let prior: Vec<Prior> = beyond
        .iter()
        .zip(&view.skin)
        .map(|(beyond, skin)| match *beyond {
            _ if !skin => Prior::SureSkin,
            far if far > SURE_SKIN_MM => Prior::SureSkin,
            far if far > 0.0 => Prior::MaybeSkin,
            far if far > -SURE_WOUND_MM => Prior::MaybeWound,
            _ => Prior::SureWound,
        })
        .collect();
    let learnt = segment::learn(
        &colours,
        |at| soft.skin[at] && beyond[at] < -CLEAR_MM,
        |at| soft.skin[at] && beyond[at] > CLEAR_MM,
    )?;
    let mask = solid(&segment::cut_by(&soft, &colours, &prior, &learnt), &soft, &colours)?;
    let outline = outline(picture, &card.plane, &view, &mask)?;
    Some(Edge { mask: raster(&view, &outline), view, outline })
}

/// An edge a person drew, with the same closer view.
pub(in crate::wound) fn drawn(
    picture: &Picture,
    card: &ScaleCard,
    survey: &Survey,
    outline: Outline,
    covers: &CardPlace,
) -> Edge {
    let coarse = survey.mask_of(&outline);
    let extent = outline.extent();
    let (middle, reach_mm) = span(&survey.view, &coarse).unwrap_or((outline.middle(), extent.length_mm));
    let view = close_view(picture, &card.plane, middle, reach_mm, covers);
    Edge { mask: raster(&view, &outline), view, outline }
}

fn close_view(
    picture: &Picture,
    plane: &SkinPlane,
    middle: MmPoint,
    reach_mm: f64,
    covers: &CardPlace,
) -> View {
    let reach_mm = reach_mm + AROUND_MM;
    let native = 1.0 / plane.mm_per_px_at(middle);
    let affordable = MOST_PX.sqrt() / (2.0 * reach_mm);
    View::flat(picture, plane, middle, reach_mm, (FINER * native).min(affordable), |at| covers.covers(at))
}

/// Every view pixel's distance beyond an edge found in a coarser view, mm, negative inside.
fn beyond_mm(view: &View, coarse: &View, found: &Mask) -> Vec<f32> {
    let (outside, inside) = (found.distances(), found.inverted().distances());
    let pixel = |at: usize| {
        let place = view.mm_of((at % view.width) as f32, (at / view.width) as f32);
        let (x, y) = coarse.px_of(place);
        signed(found, &outside, &inside, x, y) / coarse.px_per_mm
    };
    (0..view.light.len()).map(pixel).collect()
}

fn without_lines(view: View, skin: Option<SkinTint>, beyond: &[f32]) -> View {
    let Some(skin) = skin else { return view };
    let first = Mask::new(view.width, view.height, beyond.iter().map(|beyond| *beyond < 0.0).collect());
    let ink = pen::pen(&view, &tints(&view), &skin, Some(&first));
    if ink.count() == 0 { view } else { pen::without(&view, &ink) }
}

/// The cut without hair-thin arms and clefts; holes are filled unless they are islands of skin.
fn solid(mask: &Mask, view: &View, colours: &Colours) -> Option<Mask> {
    let per_mm = view.px_per_mm;
    let opened = mask.shrunk(0.4 * per_mm).grown(0.4 * per_mm);
    let parts = opened.parts();
    let large = |count: usize| count as f32 >= PIECE_FROM_MM2 * per_mm * per_mm;
    let mut kept = parts.first()?.1.clone();
    for (_, part) in parts.iter().skip(1).filter(|(count, _)| large(*count)) {
        kept = kept.with(part);
    }
    let closed = kept.grown(0.6 * per_mm).shrunk(0.6 * per_mm);
    let mut holes = closed.holes();
    holes.keep_parts(|hole| !segment::is_island(hole, colours, per_mm));
    Some(closed.with(&holes))
}

/// The mask's border, drawn to where the light is half wound and half skin.
fn outline(picture: &Picture, plane: &SkinPlane, view: &View, mask: &Mask) -> Option<Outline> {
    let field = blurred(mask, SMOOTH_MM * view.px_per_mm);
    let lines = contour::closed_lines(&field, view.width, view.height, 0.5);
    let large =
        |line: &&Vec<Place>| contour::twice_area(line).abs() > 2.0 * SPECK_BELOW_MM2 * view.px_per_mm.powi(2);
    let mm = |line: &Vec<Place>| line.iter().map(|at| view.mm_of(at[0], at[1])).collect::<Vec<MmPoint>>();
    // What is above one half lies to one side throughout, so outer lines and holes turn in opposite ways.
    let widest =
        lines.iter().max_by(|a, b| contour::twice_area(a).abs().total_cmp(&contour::twice_area(b).abs()))?;
    let outwards = contour::twice_area(widest).signum();
    let is_outer = |line: &&Vec<Place>| contour::twice_area(line).signum() == outwards;
    let snapped = |line: &Vec<Place>, side| snap::snapped(picture, plane, &mm(line), side);
    let build = |snap: bool| {
        let ring = |line: &Vec<Place>, side| if snap { snapped(line, side) } else { mm(line) };
        let mut pieces: Vec<Piece> = lines
            .iter()
            .filter(large)
            .filter(is_outer)
            .map(|line| Piece { edge: kept(&ring(line, WoundLies::Inside)), islands: Vec::new() })
            .collect();
        for line in lines.iter().filter(large).filter(|line| !is_outer(line)) {
            let hole = kept(&ring(line, WoundLies::Outside));
            let Some(first) = hole.first() else { continue };
            if let Some(piece) =
                pieces.iter_mut().find(|piece| crate::wound::outline::ring_holds(&piece.edge, *first))
            {
                piece.islands.push(hole);
            }
        }
        Outline::new(pieces)
    };
    // A snapped line may cross itself in a narrow cleft; the line as cut does not.
    build(true).or_else(|_| build(false)).ok()
}

fn kept(ring: &[MmPoint]) -> Vec<MmPoint> {
    let places: Vec<Place> = ring.iter().map(|at| [at.x_mm as f32, at.y_mm as f32]).collect();
    let back = |at: &Place| MmPoint { x_mm: f64::from(at[0]), y_mm: f64::from(at[1]) };
    contour::thinned(&places, THINNED_MM).iter().map(back).collect()
}

/// The middle of a mask and how far it reaches from there, mm.
fn span(view: &View, mask: &Mask) -> Option<(MmPoint, f64)> {
    let (mut low, mut high) = ([f32::INFINITY; 2], [f32::NEG_INFINITY; 2]);
    for (at, inside) in mask.cells.iter().enumerate() {
        if *inside {
            let place = [(at % mask.width) as f32, (at / mask.width) as f32];
            for axis in 0..2 {
                low[axis] = low[axis].min(place[axis]);
                high[axis] = high[axis].max(place[axis]);
            }
        }
    }
    let reach_px = (high[0] - low[0]).max(high[1] - low[1]) / 2.0;
    reach_px.is_finite().then(|| {
        let middle = view.mm_of((low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0);
        (middle, f64::from(reach_px / view.px_per_mm))
    })
}

/// Distance beyond a mask's edge at a place, px, negative inside; interpolated between pixels.
fn signed(mask: &Mask, outside: &[f32], inside: &[f32], x: f32, y: f32) -> f32 {
    let at = |x: f32, y: f32| {
        let column = x.clamp(0.0, mask.width as f32 - 1.0) as usize;
        let row = y.clamp(0.0, mask.height as f32 - 1.0) as usize;
        let at = row * mask.width + column;
        if mask.cells[at] { 0.5 - inside[at] } else { outside[at] - 0.5 }
    };
    let (left, top) = (x.floor(), y.floor());
    let (fx, fy) = (x - left, y - top);
    let upper = at(left, top) * (1.0 - fx) + at(left + 1.0, top) * fx;
    let lower = at(left, top + 1.0) * (1.0 - fx) + at(left + 1.0, top + 1.0) * fx;
    upper * (1.0 - fy) + lower * fy
}
